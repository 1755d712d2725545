"""How fast to walk for a dose, how many passes an area takes, and what a timed walk tells of the pace.

Metres, metres per second, litres per minute, litres per square metre.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

from server.core.entries import check_entry
from server.core.errors import EntryError
from server.core.uncertainty import Estimate, add_doubt, average_runs, multiply_powers
from server.core.units import FOOT_M

SLOW_MPS = 0.4
FAST_MPS = 1.9
"""Paces between which a walk with a sprayer can be kept (common practice, no source)."""
REACTION_S = 0.2
"""Standard uncertainty of a time stopped by hand, at both ends together (common practice, no source)."""
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Pace:
    """A pace with its seconds for 10 m and for 100 ft; `verdict` is "walkable", "too slow" or "too fast"."""

    pace_mps: float
    seconds_per_10_m: float
    seconds_per_100_ft: float
    verdict: str


@dataclass(frozen=True, slots=True)
class PassPlan:
    """So many passes, how far apart they lie so that they come out even, and the way walked on them [m]."""

    passes: int
    spacing_m: float
    way_m: float


def pace_for(flow_l_per_min: float, *, swath_m: float, target_l_per_m2: float) -> Pace:
    """The pace at which a flow over a swath lays the dose wanted.

    Pace = flow / (swath x dose).

    Parameters
    ----------
    flow_l_per_min
        What leaves the nozzle [L/min].
    swath_m
        Spacing of the passes [m].
    target_l_per_m2
        Dose wanted [L/m²].

    Returns
    -------
    Pace
        "too slow" below 0.4 m/s, "too fast" above 1.9 m/s: change nozzle, pressure or swath, or walk twice at half
        the dose.

    Raises
    ------
    EntryError
        If a number is outside its limits.

    References
    ----------
    Cornell Crop and Pest Management Guidelines 2024 (Grapes), 7.6 (rate = flow / (speed x spacing)); bounds of the
    verdict: common practice, no source.

    Examples
    --------
    >>> pace = pace_for(2.4, swath_m=1.0, target_l_per_m2=0.04)
    >>> pace.pace_mps, pace.seconds_per_10_m, pace.seconds_per_100_ft, pace.verdict
    (1.0, 10.0, 30.48, 'walkable')
    """
    check_entry("flow", flow_l_per_min)
    check_entry("swath", swath_m)
    check_entry("carrier rate", target_l_per_m2)
    pace = flow_l_per_min / 60.0 / (swath_m * target_l_per_m2)
    verdict = "too slow" if pace < SLOW_MPS else "too fast" if pace > FAST_MPS else "walkable"
    return Pace(pace, seconds_for(10.0, pace_mps=pace), seconds_for(100.0 * FOOT_M, pace_mps=pace), verdict)


def rate_at(flow_l_per_min: float, *, swath_m: float, pace_mps: float) -> float:
    """The dose that a flow lays over a swath at a pace.

    Parameters
    ----------
    flow_l_per_min
        What leaves the nozzle [L/min].
    swath_m
        Spacing of the passes, or of a boom's nozzles if the flow is one nozzle's [m].
    pace_mps
        Pace [m/s].

    Returns
    -------
    float
        Dose [L/m²].

    Raises
    ------
    EntryError
        If a number is outside its limits.

    References
    ----------
    Mesa County, Colorado, stationary calibration (5940 x gal/min over mph x in), the same in SI: L/min / (60 m/s m).

    Examples
    --------
    >>> rate_at(2.4, swath_m=1.0, pace_mps=1.0)
    0.04
    """
    check_entry("flow", flow_l_per_min)
    return flow_l_per_min / 60.0 / (check_entry("swath", swath_m) * check_entry("pace", pace_mps))


def flow_for(target_l_per_m2: float, *, swath_m: float, pace_mps: float) -> float:
    """The flow that lays a dose over a swath at a pace.

    Parameters
    ----------
    target_l_per_m2
        Dose wanted [L/m²].
    swath_m
        Spacing of the passes, or of a boom's nozzles if the flow is one nozzle's [m].
    pace_mps
        Pace [m/s].

    Returns
    -------
    float
        Flow [L/min].

    Raises
    ------
    EntryError
        If a number is outside its limits.

    References
    ----------
    As `rate_at`.

    Examples
    --------
    >>> flow_for(0.04, swath_m=1.0, pace_mps=1.0)
    2.4
    """
    check_entry("carrier rate", target_l_per_m2)
    return 60.0 * target_l_per_m2 * check_entry("swath", swath_m) * check_entry("pace", pace_mps)


def seconds_for(way_m: float, *, pace_mps: float) -> float:
    """How long a way takes.

    Parameters
    ----------
    way_m
        The way [m].
    pace_mps
        Pace [m/s]; above 0.

    Returns
    -------
    float
        Time [s].

    Raises
    ------
    ValueError
        If the pace is not above 0.

    References
    ----------
    Pesticide Environmental Stewardship, walking speeds.

    Examples
    --------
    >>> seconds_for(10.0, pace_mps=1.25)
    8.0
    """
    if not pace_mps > 0.0:
        raise ValueError(f"a pace above 0 is wanted, not {pace_mps:g} m/s")
    return way_m / pace_mps


def plan_passes(area_m2: float, *, length_m: float, swath_m: float, directions: int = 1) -> PassPlan:
    """How many passes of a length an area takes, spaced so that they come out even.

    Parameters
    ----------
    area_m2
        What is to be treated [m²].
    length_m
        Length of a pass [m]: the longer side of a rectangle, or a mean.
    swath_m
        Widest spacing of the passes [m].
    directions
        1, or 2 for half the dose along each side: across, passes are as long as the first ones lie wide.

    Returns
    -------
    PassPlan
        Spacing of those along the length.

    Raises
    ------
    EntryError
        If a number is outside its limits, or directions are neither 1 nor 2.

    References
    ----------
    Derivation: width over swath, rounded up; half the dose in each of two directions: Kansas State University, turf
    blog.

    Examples
    --------
    >>> plan_passes(450.0, length_m=30.0, swath_m=2.0)
    PassPlan(passes=8, spacing_m=1.875, way_m=240.0)
    """
    check_entry("area", area_m2)
    check_entry("width", length_m)
    check_entry("swath", swath_m)
    if directions not in (1, 2):
        raise EntryError("directions", f"1 or 2 are wanted, not {directions}")
    width_m = area_m2 / length_m
    along = max(1, ceil(width_m / swath_m - _SLACK))
    across = max(1, ceil(length_m / swath_m - _SLACK)) if directions == 2 else 0
    return PassPlan(along + across, width_m / along, along * length_m + across * width_m)


def pace_from_walks(
    course_m: float, times_s: Sequence[float], *, course_sd_m: float = 0.0, reaction_s: float = REACTION_S
) -> Estimate:
    """The pace from walks over a course, with its uncertainty.

    The scatter of the times, the hand on the watch and the length of the course, added as squares. The hand's share is
    kept whole, for it may be early or late each time.

    Parameters
    ----------
    course_m
        Length of the course [m].
    times_s
        Time of each walk [s]; one is enough to tell a pace, but not how well it is kept.
    course_sd_m
        Standard uncertainty of the length [m].
    reaction_s
        Standard uncertainty of a stopped time [s].

    Returns
    -------
    Estimate
        Pace [m/s]. Of one walk the uncertainty is that of watch and course alone.

    Raises
    ------
    EntryError
        If the course or a time is outside its limits, no time is given, or the pace is none that people walk.

    References
    ----------
    JCGM 100:2008 (GUM), equations 5, 10 and 12; each operator for himself, half loaded: University of Missouri, G6751.

    Examples
    --------
    >>> pace = pace_from_walks(30.0, [25.0, 24.0, 26.0])
    >>> round(pace.value, 3), round(pace.sd, 3)
    (1.2, 0.029)
    """
    check_entry("course", course_m)
    if not times_s:
        raise EntryError("time", "at least one timed walk is wanted")
    for time in times_s:
        check_entry("time", time)
    mean = average_runs(times_s) if len(times_s) > 1 else Estimate(times_s[0])
    seconds = add_doubt(mean, [reaction_s])
    pace = multiply_powers([(Estimate(course_m, course_sd_m), 1.0), (seconds, -1.0)])
    check_entry("pace", pace.value)
    return pace


def walk_spread(times_s: Sequence[float]) -> float:
    """How evenly the walks were walked: the scatter of their times as a share of the mean.

    Parameters
    ----------
    times_s
        Time of each walk over one course, two or more [s].

    Returns
    -------
    float
        Standard deviation over mean [-].

    Raises
    ------
    ValueError
        If there are fewer than two.

    References
    ----------
    JCGM 100:2008 (GUM), equation 4.

    Examples
    --------
    >>> round(walk_spread([25.0, 24.0, 26.0]), 3)
    0.04
    """
    mean = average_runs(times_s)
    return mean.share * sqrt(len(times_s))
