"""How far the tank goes, and where along the strips to come it runs dry.

East, north in metres on the local plane, litres. The strips to come lie as those so far: at their spacing, on the side
to which they moved on, as long as the ground is there or as the strips before.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import atan2, cos, degrees, hypot, inf, pi, sin, sqrt
from statistics import median, pstdev

import numpy as np

from server.core.lanes import Lane, LaneBook, Point, axis_of
from server.core.log import Floats
from server.core.uncertainty import Estimate

PACE_SD = 0.05
PACE_M = 18.0
"""A walker's dose wanders by this share, and stays so for about that way (common practice, no source)."""
WANTED_SD = 0.10
"""So far off may be what is wanted from what will be laid, before anything was laid."""
LAID_M, LAID_LANES = 10.0, 3
"""What is laid on a metre is told from the newest strips, once they come to so much way."""
SPACING_SHARES = (0.4, 2.5)
PARALLEL_DEG = 30.0
END_SD_M = 0.5
"""How well an end of a strip to come is known from those before (common practice, no source)."""
LEAST_CHORD_M = 1.0
MOST_LANES = 60
MOST_INSET_M = 3.0
BEYOND_M = 1.0
"""So far beyond the end of a strip, or of its ground, the next one is what comes."""


@dataclass(frozen=True, slots=True)
class Use:
    """What goes onto a metre of strip [L/m], how far that wanders as a share [-], the way it was told from [m]."""

    l_per_m: float
    share_sd: float
    seen_m: float


@dataclass(frozen=True, slots=True)
class Site:
    """What is known of the ground and the walker: outlines of the ground, of what is left out, swath, place.

    `place_m` is where the rig is, None where that is not known.
    """

    zones: tuple[tuple[Floats, ...], ...]
    keep_outs: tuple[tuple[Floats, ...], ...]
    swath_m: float
    place_m: Point | None = None
    heading_deg: float | None = None
    place_sd_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the tank goes: sprayed way [m] with its standard deviation, and where that ends.

    `lanes` strips are done before the one in which it ends, the present or the next one counted first; `into_m` of
    `lane_m` sprayed metres of it. `place_m` None: it cannot be told where. `is_enough`: the strips to come end first.
    """

    way_m: float
    way_sd_m: float
    is_between: bool = False
    lanes: int = 0
    into_m: float | None = None
    lane_m: float | None = None
    place_m: Point | None = None
    heading_deg: float | None = None
    is_enough: bool = False


@dataclass(frozen=True, slots=True)
class _Rows:
    """Strips as rows of a field: `axis` along, rows at `aside_m` + k `step_m`.

    They lie between `ends_m` where no outline is told (None: not known), else within it less `insets_m` at both ends.
    """

    axis: Point
    aside_m: float
    step_m: float | None
    ends_m: Point | None = None
    insets_m: Point = (0.0, 0.0)


def measure_use(book: LaneBook, *, wanted_l_per_m: float) -> Use | None:
    """What goes onto a metre: as laid on the newest strips, their turns included, else as wanted.

    Parameters
    ----------
    book
        The strips so far.
    wanted_l_per_m
        Pass rate times swath [L/m]; not above 0 where there is no target.

    Returns
    -------
    Use or None
        None where nothing is known.

    References
    ----------
    Derivation: litres over metres; its wandering from the scatter between strips, at least 5 %.

    Examples
    --------
    >>> lane = Lane((0.0, 0.0), (0.0, 20.0), 0.0, 1.0, 20.0)
    >>> measure_use(LaneBook((lane,)), wanted_l_per_m=0.04)
    Use(l_per_m=0.05, share_sd=0.05, seen_m=20.0)
    >>> measure_use(LaneBook(), wanted_l_per_m=0.04).l_per_m
    0.04
    """
    lanes = [lane for lane in (*book.done, book.now) if lane is not None][-LAID_LANES:]
    seen_m = sum(lane.sprayed_m for lane in lanes)
    litres = lanes[-1].end_l - lanes[0].begin_l if lanes else 0.0
    if seen_m < LAID_M or litres <= 0.0:
        return Use(wanted_l_per_m, WANTED_SD, 0.0) if wanted_l_per_m > 0.0 else None
    rates = [(lane.end_l - lane.begin_l) / lane.sprayed_m for lane in lanes if lane.sprayed_m > 0.5 * LAID_M]
    scatter = pstdev(rates) / (litres / seen_m) if len(rates) > 1 else 0.0
    return Use(litres / seen_m, max(PACE_SD, scatter), seen_m)


def foretell_dry(book: LaneBook, *, left_l: Estimate, use: Use, site: Site) -> Reach:
    """Where the tank runs dry.

    Parameters
    ----------
    book
        The strips so far.
    left_l
        In the tank [L] with its standard uncertainty.
    use
        What goes onto a metre.
    site
        Ground, swath and place.

    Returns
    -------
    Reach
        The way, and the place where it can be told: not before a strip has a direction, nor beyond the present strip
        before it is known on which side the next one lies.

    References
    ----------
    JCGM 100:2008, equation 12, for the way's uncertainty; the wandering of the dose counts with the mean square of an
    average of exponentially correlated values over long ways, 2 PACE_M / way (common text-book result, from memory).

    Examples
    --------
    >>> lanes = [Lane((k, 20.0 * (k % 2)), (k, 20.0 * (1 - k % 2)), k, k + 1.0, 20.0) for k in (0.0, 1.0)]
    >>> book = LaneBook((lanes[0],), lanes[1])
    >>> site = Site((), (), 1.0, (1.0, 0.0))
    >>> reach = foretell_dry(book, left_l=Estimate(1.5, 0.0), use=Use(0.05, 0.05, 40.0), site=site)
    >>> reach.is_between, reach.lanes, round(reach.into_m, 6), reach.place_m
    (True, 1, 10.0, (3.0, 10.0))
    """
    way_m = max(0.0, left_l.value) / use.l_per_m
    reach = Reach(way_m, _doubt_way(way_m, left_l.sd, use))
    lane, begun_m = book.now, 0.0
    if lane is not None and axis_of(lane) is None and book.done:
        # Its first steps tell no direction: it is reckoned as the one that comes after the one before.
        begun_m, lane, book = lane.sprayed_m, book.done[-1], replace(book, done=book.done[:-1])
    rows = _lay_rows(book.done, lane, site.swath_m)
    if rows is None or lane is None:
        return reach
    rows = _guess_side(_place_ends(rows, book.done, site), site, lane)
    found = _walk_rows(replace(reach, way_m=way_m + begun_m), rows, lane, site)
    return replace(found, way_m=way_m)


def _doubt_way(way_m: float, left_sd_l: float, use: Use) -> float:
    """The way's standard deviation: level, wandering to come, wandering of what it is told from."""
    coming = use.share_sd**2 * way_m * 2.0 * PACE_M * way_m / (way_m + 2.0 * PACE_M)
    share = use.share_sd**2 * 2.0 * PACE_M / (use.seen_m + 2.0 * PACE_M)
    return sqrt((left_sd_l / use.l_per_m) ** 2 + coming + share * way_m**2)


def _along(point: Point, axis: Point) -> float:
    return point[0] * axis[0] + point[1] * axis[1]


def _aside(point: Point, axis: Point) -> float:
    """To the right of the axis."""
    return point[0] * axis[1] - point[1] * axis[0]


def _lay_rows(done: Sequence[Lane], now: Lane | None, swath_m: float) -> _Rows | None:
    """The present strip's direction, and spacing and side of those before; None where nothing has a direction yet."""
    axis = axis_of(now) if now is not None else None
    if now is None or axis is None:
        return None
    lanes = [lane for lane in (*done[-4:], now) if _is_parallel(lane, axis)]
    axis = _mean_axis(lanes, axis)
    middles = [0.5 * (_aside(lane.begin_m, axis) + _aside(lane.end_m, axis)) for lane in lanes]
    steps = [after - before for before, after in pairwise(middles)]
    return _Rows(axis, middles[-1], _choose_step(steps, swath_m))


def _is_parallel(lane: Lane, axis: Point) -> bool:
    other = axis_of(lane)
    return other is not None and abs(other[0] * axis[0] + other[1] * axis[1]) > cos(PARALLEL_DEG * pi / 180.0)


def _mean_axis(lanes: Sequence[Lane], axis: Point) -> Point:
    """The strips' common direction, each turned the way of `axis` and counted by its length."""
    east = north = 0.0
    for lane in lanes:
        step = lane.end_m[0] - lane.begin_m[0], lane.end_m[1] - lane.begin_m[1]
        sign = 1.0 if _along(step, axis) >= 0.0 else -1.0
        east, north = east + sign * step[0], north + sign * step[1]
    size = hypot(east, north)
    return east / size, north / size


def _choose_step(steps: Sequence[float], swath_m: float) -> float | None:
    """How far and to which side the next strip lies; None where the strips so far do not agree."""
    low, high = (share * swath_m for share in SPACING_SHARES)
    usual = [step for step in steps if low <= abs(step) <= high][-3:]
    if not usual or steps[-1] not in usual:
        return None
    return median(usual) if all(step * usual[0] > 0.0 for step in usual) else usual[-1]


def _guess_side(rows: _Rows, site: Site, lane: Lane) -> _Rows:
    """Where no strip before tells the side: the one on which there is ground, if there is none on the other."""
    if rows.step_m is not None or not site.zones:
        return rows
    sides = [replace(rows, step_m=sign * site.swath_m) for sign in (-1.0, 1.0)]
    grounded = [each for each in sides if _length(_find_spans(each, site, lane, 1) or []) > LEAST_CHORD_M]
    return grounded[0] if len(grounded) == 1 else rows


def _place_ends(rows: _Rows, done: Sequence[Lane], site: Site) -> _Rows:
    """Between which lines across them strips lie: as the newest that are done, or so far within the outline as those.

    What a receiver is off goes into the insets, too, and so out of what is foretold.
    """
    lanes = [lane for lane in done[-LAID_LANES:] if _is_parallel(lane, rows.axis)]
    if not lanes:
        return rows
    ends = [sorted((_along(lane.begin_m, rows.axis), _along(lane.end_m, rows.axis))) for lane in lanes]
    if not site.zones:
        return replace(rows, ends_m=(median(low for low, _ in ends), median(high for _, high in ends)))
    insets = []
    for lane, (low, high) in zip(lanes, ends, strict=True):
        aside = 0.5 * (_aside(lane.begin_m, rows.axis) + _aside(lane.end_m, rows.axis))
        whole = [span for zone in site.zones for span in _cross(zone, rows.axis, aside) if _cut([span], low, high)]
        if whole:
            insets.append((low - min(whole)[0], max(top for _, top in whole) - high))
    usual = [median(each) for each in zip(*insets, strict=True)]
    return replace(rows, insets_m=(usual[0], usual[1])) if usual and max(map(abs, usual)) < MOST_INSET_M else rows


Spans = list[tuple[float, float]]


def _walk_rows(reach: Reach, rows: _Rows, lane: Lane, site: Site) -> Reach:
    """Go along the strips until the way is used up."""
    here_m = _along(site.place_m or lane.end_m, rows.axis)
    spans = _find_spans(rows, site, lane, 0)
    if spans is None:
        return reach
    is_between = _has_ended(spans, rows, lane, site, here_m)
    rest = [] if is_between else _cut(spans, here_m, inf)
    left_m, sign, turns = reach.way_m, 1.0, 0
    for number in range(MOST_LANES):
        if number > 0 or is_between:
            if rows.step_m is None:
                return replace(reach, is_between=is_between)
            turns, sign = turns + 1, -sign
            rest = _find_spans(rows, site, lane, turns) or []
            if _length(rest) < LEAST_CHORD_M:
                return replace(reach, is_between=is_between, lanes=number, is_enough=True)
        length = _length(rest)
        if left_m <= length:
            return _end_in(replace(reach, is_between=is_between, lanes=number), rows, rest, left_m, sign, turns, lane)
        left_m -= length
    return replace(reach, is_between=is_between)


def _end_in(reach: Reach, rows: _Rows, spans: Spans, left_m: float, sign: float, turns: int, lane: Lane) -> Reach:
    """The place in the strip where the way ends."""
    along = _spend(spans, left_m, sign)
    aside = rows.aside_m + turns * (rows.step_m or 0.0)
    east, north = rows.axis
    place = along * east + aside * north, along * north - aside * east
    before = lane.sprayed_m if turns == 0 else 0.0
    return replace(
        reach,
        way_sd_m=hypot(reach.way_sd_m, END_SD_M * sqrt(turns)),
        into_m=before + left_m,
        lane_m=before + _length(spans),
        place_m=place,
        heading_deg=degrees(atan2(sign * east, sign * north)) % 360.0,
    )


def _spend(spans: Spans, left_m: float, sign: float) -> float:
    """Where along the axis so many metres of the spans are used up, walked up or down the axis."""
    for low, high in spans if sign > 0 else reversed(spans):
        if left_m <= high - low:
            return low + left_m if sign > 0 else high - left_m
        left_m -= high - low
    return spans[-1][1] if sign > 0 else spans[0][0]


def _has_ended(spans: Spans, rows: _Rows, lane: Lane, site: Site, here_m: float) -> bool:
    """Whether the present strip is done and the walker on the way to the next one."""
    axis = rows.axis
    if site.heading_deg is not None:
        angle = site.heading_deg * pi / 180.0
        if _along((sin(angle), cos(angle)), axis) < -0.5:
            return True
    place = site.place_m or lane.end_m
    is_aside = abs(_aside(place, axis) - rows.aside_m) > 0.6 * site.swath_m
    return _length(_cut(spans, here_m, inf)) < 0.2 or (is_aside and here_m > _along(lane.end_m, axis) + BEYOND_M)


def _find_spans(rows: _Rows, site: Site, lane: Lane, turns: int) -> Spans | None:
    """Where a strip is sprayed along the axis; None where it is not known where strips end."""
    if not site.zones:
        return None if rows.ends_m is None else [rows.ends_m]
    aside = rows.aside_m + turns * (rows.step_m or 0.0)
    middle = 0.5 * (_along(lane.begin_m, rows.axis) + _along(lane.end_m, rows.axis))
    own = [zone for zone in site.zones if _holds(_cross(zone, rows.axis, rows.aside_m), middle)] or list(site.zones)
    found = sorted(span for zone in own for span in _cross(zone, rows.axis, aside))
    if not found:
        return []
    found = _cut(found, found[0][0] + rows.insets_m[0], found[-1][1] - rows.insets_m[1])
    for out in site.keep_outs:
        found = _take_out(found, _cross(out, rows.axis, aside))
    return found


def _cross(rings: Sequence[Floats], axis: Point, aside_m: float) -> Spans:
    """Where a line along the axis lies within a polygon."""
    crossings: list[float] = []
    for ring in rings:
        along = ring[:, 0] * axis[0] + ring[:, 1] * axis[1]
        aside = ring[:, 0] * axis[1] - ring[:, 1] * axis[0] - aside_m
        next_along, next_aside = np.roll(along, -1), np.roll(aside, -1)
        cuts = (aside <= 0.0) != (next_aside <= 0.0)
        share = aside[cuts] / (aside[cuts] - next_aside[cuts])
        crossings += (along[cuts] + share * (next_along[cuts] - along[cuts])).tolist()
    crossings.sort()
    return list(zip(crossings[::2], crossings[1::2], strict=False))


def _holds(spans: Spans, along_m: float) -> bool:
    return any(low <= along_m <= high for low, high in spans)


def _cut(spans: Spans, low_m: float, high_m: float) -> Spans:
    """The part of spans that lies between two places."""
    return [(max(low, low_m), min(high, high_m)) for low, high in spans if high > low_m and low < high_m]


def _take_out(spans: Spans, holes: Spans) -> Spans:
    """Spans less what is left out."""
    for low, high in holes:
        spans = _cut(spans, -inf, low) + _cut(spans, high, inf)
    return sorted(spans)


def _length(spans: Spans) -> float:
    return sum(high - low for low, high in spans)
