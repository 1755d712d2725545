"""What a sprayer's walks, rows of cups and whole checks come to, each with how well it is known.

SI: metres, metres per second, litres per square metre.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

from server.core.checkcard import RateEntry, SwathEntry, WalkEntry
from server.core.entered import Stated, in_si
from server.core.errors import EntryError
from server.core.log import Floats
from server.core.pace import REACTION_S, pace_from_walks, walk_spread
from server.core.pattern import Swath, find_swath, overlap_spread, widest_spacing
from server.core.quantity import convert
from server.core.ratecheck import SMALL_PLOT_M2, RateCheck, dose_on_area, dose_on_plot, judge_dose
from server.core.sprayercard import SprayerCard
from server.core.uncertainty import Estimate, add_doubt, average_runs

AREA_SHARE = 0.01
COURSE_SHARE = 0.002
"""Standard uncertainties of a plot's area and of a course, laid out by tape (common practice, no source)."""
VESSEL_ERROR = 0.01
FEWEST_ROWS = 3
_FLAT, _PEAKED = 0.85, 0.15
"""Top over base from which a pattern is called flat, and up to which a triangle."""


@dataclass(frozen=True, slots=True)
class SwathResult:
    """A swath [m] with its uncertainty, the pattern, how uneven passes at it are, and how wide they may lie [m].

    `shape` is that of the pattern, empty where fewer than two cups stood on a slope: then it cannot be told.
    """

    swath: Estimate
    pattern: Swath
    shape: str
    unevenness: float
    widest_m: float


def judge_walk(given: WalkEntry) -> tuple[Estimate, float | None]:
    """The pace of timed walks, and how evenly they were walked.

    Parameters
    ----------
    given
        Course and times.

    Returns
    -------
    tuple
        Pace [m/s], and the scatter of the times as a share of their mean [-]; None of a single walk.

    Raises
    ------
    EntryError
        If no walk was timed or the pace is none that people walk.

    References
    ----------
    As `server.core.pace.pace_from_walks`.

    Examples
    --------
    >>> pace, spread = judge_walk(WalkEntry(Stated(100, "ft"), (25.0, 24.0, 26.0)))
    >>> round(pace.value, 3), round(spread, 3)
    (1.219, 0.04)
    """
    course = in_si(given.course, measures="course")
    pace = pace_from_walks(course, given.times_s, course_sd_m=COURSE_SHARE * course)
    return pace, walk_spread(given.times_s) if len(given.times_s) > 1 else None


def judge_swath(given: SwathEntry) -> SwathResult:
    """The swath from rows of cups, by all walks together.

    Its uncertainty is the scatter of the walks' own swaths from three walks on; to that come the two half-rate points,
    each taken to lie within a quarter of the cups' spacing of where the straight line between two cups has it.

    Parameters
    ----------
    given
        Spacing and amounts.

    Returns
    -------
    SwathResult
        Offsets are seen from the cup under the nozzle, to the right as one walks.

    Raises
    ------
    EntryError
        If no walk is there, walks have different numbers of cups, or they make no pattern (see `find_swath`).

    References
    ----------
    `server.core.pattern.find_swath`; JCGM 100:2008 (GUM), 4.3.7; a quarter of the spacing: common practice, no source.

    Examples
    --------
    >>> from server.core.checkcard import CupRow
    >>> row = CupRow((0, 25, 50, 75, 100, 75, 50, 25, 0))
    >>> found = judge_swath(SwathEntry(Stated(25, "cm"), (row,)))
    >>> round(found.swath.value, 2), round(found.swath.sd, 3), found.shape
    (1.0, 0.051, 'triangle')
    """
    amounts, offsets = _read_rows(given)
    spacing = in_si(given.spacing, measures="cup spacing")
    whole = amounts.sum(axis=0)
    pattern = find_swath(offsets, whole)
    doubt = spacing / 4.0 / sqrt(3.0) * sqrt(2.0)
    swath = Estimate(pattern.swath_m, doubt)
    if len(amounts) >= FEWEST_ROWS:
        scatter = average_runs([find_swath(offsets, row).swath_m for row in amounts])
        swath = add_doubt(Estimate(pattern.swath_m, scatter.sd, scatter.freedom), [doubt])
    shape = _name_shape(pattern, offsets)
    uneven = overlap_spread(offsets, whole, spacing_m=pattern.swath_m)
    return SwathResult(swath, pattern, shape, uneven, widest_spacing(offsets, whole))


def apply_swath(card: SprayerCard, found: SwathResult) -> SprayerCard:
    """A sprayer with a measured swath and pattern; the swath in the unit that it had.

    Parameters
    ----------
    card
        The sprayer.
    found
        The swath.

    Returns
    -------
    SprayerCard
        With the width of the even middle where the pattern is a trapezoid; the card's own pattern where it cannot be
        told.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> from server.core.checkcard import CupRow
    >>> row = CupRow((0, 25, 50, 75, 100, 75, 50, 25, 0))
    >>> card = SprayerCard("One", Stated(4, "ft"), (450.0,))
    >>> made = apply_swath(card, judge_swath(SwathEntry(Stated(25, "cm"), (row,))))
    >>> made.swath, made.pattern
    (Stated(value=3.28, unit='ft'), 'triangle')
    """
    unit = card.swath.unit

    def state(metres: float) -> Stated:
        return Stated(float(f"{convert(metres, 'm', into=unit):.3g}"), unit)

    swath = state(found.swath.value)
    if not found.shape:
        top = card.pattern_top
        is_kept = top is not None and convert(top.value, top.unit, into=unit) <= swath.value
        return replace(card, swath=swath, pattern_top=top if is_kept else None)
    middle = state(min(found.pattern.top_m, found.swath.value)) if found.shape == "trapezoid" else None
    return replace(card, swath=swath, pattern=found.shape, pattern_top=middle)


def judge_rate(given: RateEntry) -> RateCheck:
    """The whole check: the dose that was laid, against the one wanted.

    Parameters
    ----------
    given
        Plot or refilled area.

    Returns
    -------
    RateCheck
        The verdict with its margin.

    Raises
    ------
    EntryError
        If no time of the plot is there, the area is missing, a catch is too small for its vessel, or a figure is
        outside its limits.

    References
    ----------
    As `server.core.ratecheck.dose_on_plot` and `dose_on_area`.

    Examples
    --------
    >>> given = RateEntry("plot", Stated(31, "gal/acre"), Stated(31, "fl oz"), Stated(1, "fl oz"), times_s=(20.0,))
    >>> check = judge_rate(given)
    >>> round(check.share, 9), check.verdict
    (1.0, 'right')
    """
    litres = in_si(given.volume, measures="catch")
    step = in_si(given.step, measures="vessel step")
    if step / 2.0 > 0.02 * litres * (1.0 + 1e-9):
        raise EntryError(
            "volume", f"is too small for steps of {given.step.value:g} {given.step.unit}: take a finer one"
        )
    used = Estimate(litres, hypot(step / sqrt(12.0), VESSEL_ERROR / sqrt(3.0) * litres))
    if given.area is None and given.method == "refill":
        raise EntryError("area", "is needed: how much was sprayed")
    area_m2 = SMALL_PLOT_M2 if given.area is None else in_si(given.area, measures="area")
    area = Estimate(area_m2, AREA_SHARE * area_m2)
    target = in_si(given.target, measures="carrier rate")
    if given.method == "refill":
        return judge_dose(dose_on_area(used, area=area), target_l_per_m2=target)
    return judge_dose(_dose_on_plot(given, used, area), target_l_per_m2=target)


def _name_shape(pattern: Swath, offsets: Floats) -> str:
    """Flat, trapezoid or triangle; empty where too few cups stood on a slope to tell."""
    apart = np.abs(offsets - pattern.centre_m)
    slope = (apart > pattern.top_m / 2.0 + 1e-9) & (apart < pattern.base_m / 2.0 - 1e-9)
    steep = pattern.top_m / pattern.base_m
    if min(np.sum(slope & (offsets < pattern.centre_m)), np.sum(slope & (offsets > pattern.centre_m))) < 2:
        return ""
    return "flat" if steep > _FLAT else "triangle" if steep < _PEAKED else "trapezoid"


def _dose_on_plot(given: RateEntry, used: Estimate, area: Estimate) -> Estimate:
    """The dose on a plot that was timed, from what was caught in a time."""
    if not given.times_s:
        raise EntryError("times_s", "time at least one spraying of the plot")
    mean = average_runs(given.times_s) if len(given.times_s) > 1 else Estimate(given.times_s[0])
    seconds = add_doubt(mean, [REACTION_S])
    caught_s = given.caught_s or mean.value
    flow = 60.0 / caught_s
    sd = flow * hypot(used.sd, used.value * REACTION_S / caught_s)
    return dose_on_plot(Estimate(flow * used.value, sd), seconds=seconds, area=area)


def _read_rows(given: SwathEntry) -> tuple[Floats, Floats]:
    """Amounts of each walk, and the cups' places [m]."""
    if not given.rows:
        raise EntryError("rows", "catch at least one walk over the cups")
    counts: Sequence[int] = [len(row.amounts) for row in given.rows]
    if len(set(counts)) != 1:
        raise EntryError("rows", f"each walk needs the same cups, not {', '.join(map(str, counts))}")
    middle = (counts[0] + 1) / 2.0 if given.middle is None else given.middle
    places = (np.arange(counts[0]) + 1.0 - middle) * in_si(given.spacing, measures="cup spacing")
    return np.array([row.amounts for row in given.rows], dtype=float), places
