"""A shape walked round its edge with the rig: its corners, its area and how sure that area is.

East, north in metres on the local plane, job seconds; corners in longitude and latitude, degrees.
"""

from dataclasses import dataclass, replace
from functools import partial
from math import hypot, isfinite

import numpy as np

from server.core.aids import Visit
from server.core.geodesy import degrees_from_plane, ring_area, signed_area
from server.core.log import Fixes, Floats, Integers
from server.core.outline import Flaw, find_crossing, find_flaws
from server.core.results import Plane, Track
from server.core.setup import Receiver, Ring, Sprayer
from server.core.simplify import move_ring, scale_area, simplify_ring
from server.core.timebase import Timebase
from server.core.track import smooth_track

DRAWS, DOUBT_DRAWS = 256, 64
SHORTEST_M = 8.0
"""A walk round less than this is none: 2 m by 2 m."""
STEP_M = 0.2
"""The way is taken so far apart; what lies closer is the hand's sway and the receiver's noise."""
OPEN_M, OPEN_SHARE = 1.5, 0.1
"""A walk ends where it began to so much, or three times its receiver's doubt, but never a tenth of its length."""
PAST_M = 0.5
"""Ends farther apart than this and twice the doubt are not one place: the start may have been walked past."""
OVERLAP_M, OVERLAP_SHARE = 12.0, 0.2
"""Who walks past the start has walked so far twice at most."""
LARGEST_SD = 0.25
"""An area that is unsure by more than a quarter is not worth keeping."""
LEAST_TOLERANCE_M, MOST_TOLERANCE_M = 0.05, 0.4
COARSER = (1.0, 2.0, 4.0)
"""A shape that crosses itself is tried again with tolerances so many times as large: noise vanishes, a knot stays."""
_START, _END = "start", "end"


@dataclass(frozen=True, slots=True)
class Perimeter:
    """What a walk round an edge came to; `refusal` says why it may not be kept, `place` where, longitude, latitude.

    `gap_m` is how far its end was found from its start before both were taken for one place, `beside_m2` how much
    area each 10 cm beside the edge, all the way round, are.
    """

    refusal: str = ""
    ring: Ring = ()
    area_m2: float = float("nan")
    area_sd_m2: float = float("nan")
    length_m: float = float("nan")
    gap_m: float = float("nan")
    place: tuple[float, float] | None = None

    @property
    def is_usable(self) -> bool:
        """Whether it may be kept."""
        return self.refusal == ""

    @property
    def beside_m2(self) -> float:
        """How much area 10 cm beside the edge, all the way round, are."""
        return 0.1 * self.length_m


def survey_walk(
    fixes: Fixes,
    timebase: Timebase,
    plane: Plane,
    *,
    receiver: Receiver,
    rng: np.random.Generator,
    offset_m: float = 0.0,
    draws: int = DRAWS,
) -> Perimeter:
    """The shape round whose edge the rig was carried, from start to start.

    The way is smoothed from all fixes; that it ends where it began takes most of the receiver's drift out of it. Its
    area's uncertainty is the spread of the areas of sampled ways, whose errors hang together as the receiver's do.
    Then corners that say nothing are left out, and what that cost in area is given back evenly along the edge.

    Parameters
    ----------
    fixes
        Position messages of the walk [n].
    timebase
        The walk's axis of time.
    plane
        The local plane.
    receiver
        Class and latency.
    rng
        Source of the sampled ways.
    offset_m
        How far inside the edge the antenna was carried; negative outside [m].
    draws
        How many sampled ways.

    Returns
    -------
    Perimeter
        Refused where the walk is open, too short, crosses itself, or its area is too unsure; area and shape so far are
        told where there are any, closed straight from the last place to the first.

    Notes
    -----
    How well the edge was kept to is not in the uncertainty: `Perimeter.beside_m2` says what that is worth.

    References
    ----------
    Derivation: Green's theorem on sampled ways; see `server.core.track.smooth_track` for those.

    Examples
    --------
    >>> n = 200
    >>> t, one = np.arange(n) / 5.0, np.ones(n)
    >>> turn = 2.0 * np.pi * np.arange(n) / (n - 1)
    >>> lat, lon = degrees_from_plane(6.0 * np.sin(turn), 6.0 * np.cos(turn), plane=Plane(45.0, -30.0))
    >>> speed, course = 12.0 * np.pi / t[-1] * one, 90.0 - np.degrees(turn - np.pi / 2) - 180.0
    >>> fixes = Fixes(np.zeros(n, dtype=np.int64), np.arange(n), t, np.full(n, 4), t + 1e9, lat, lon, one, speed,
    ...     np.degrees(np.arctan2(np.cos(turn), -np.sin(turn))) % 360.0, *[one] * 4)
    >>> found = survey_walk(fixes, Timebase(np.zeros(1), 1e9), Plane(45.0, -30.0), receiver=Receiver(),
    ...     rng=np.random.default_rng(1))
    >>> found.refusal, bool(abs(found.area_m2 - 36.0 * np.pi) < 3.0 * found.area_sd_m2 + 1.0)
    ('', True)
    """
    smooth = partial(smooth_track, fixes, timebase, plane, receiver=receiver, sprayer=Sprayer(1.0), rng=rng)
    track = smooth(draws=DOUBT_DRAWS)
    known = np.flatnonzero(np.isfinite(track.east_m))
    if len(known) < 2:
        return Perimeter("no position came from the rig: has its receiver a fix?")
    lost = _find_hole(track, known)
    if lost > 0.0:
        return Perimeter(f"the receiver lost its position for {lost:.0f} s: walk it again where it sees the sky")
    first, last = _trim_overlap(track, known)
    found = _judge_ends(track, first, last)
    if not found.is_usable and not isfinite(found.gap_m):
        return found
    visits = tuple(Visit(float(track.t[i]), _START) for i in (first, last)) if found.is_usable else ()
    closed = smooth(draws=draws, visits=visits)
    return _measure_ring(_thin(closed, first, last), found, plane, offset_m)


@dataclass(frozen=True, slots=True)
class _Way:
    """The walk's places [k, 2] and those of its sampled ways [draws, k, 2], and how unsure a place is [m]."""

    places: Floats
    drawn: Floats
    sd_m: float


def _find_hole(track: Track, known: Integers) -> float:
    """The longest time without a position within the walk, 0 where there is none."""
    lost = np.diff(track.t[known])[np.diff(known) > 1]
    return float(lost.max()) if len(lost) else 0.0


def _trim_overlap(track: Track, known: Integers) -> tuple[int, int]:
    """The first and last row of one round: all, or where a walk past its start comes nearest to its beginning."""
    first, last = int(known[0]), int(known[-1])
    near = PAST_M + 2.0 * _doubt(track, first, last)
    if _measure_gap(track, first, last) <= near:
        return first, last
    east, north = track.east_m[known], track.north_m[known]
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    reach = min(OVERLAP_M, OVERLAP_SHARE * float(gone[-1]))
    begin, end = np.flatnonzero(gone <= reach), np.flatnonzero(gone >= gone[-1] - reach)
    apart = np.hypot(east[begin][:, None] - east[end][None], north[begin][:, None] - north[end][None])
    # Of places that lie as near to each other as steps do, those that leave most of the walk.
    cost = np.maximum(apart, STEP_M) + 0.05 * (gone[begin][:, None] + (gone[-1] - gone[end])[None])
    i, j = np.unravel_index(int(cost.argmin()), cost.shape)
    return (int(known[begin[i]]), int(known[end[j]])) if apart[i, j] <= near else (first, last)


def _measure_gap(track: Track, first: int, last: int) -> float:
    """How far a row of the track is from another."""
    return hypot(track.east_m[last] - track.east_m[first], track.north_m[last] - track.north_m[first])


def _doubt(track: Track, first: int, last: int) -> float:
    """How unsure it is where a row lies to another, along either axis."""
    apart = track.deviations_m[:, last] - track.deviations_m[:, first]
    return float(np.sqrt(np.mean(apart**2)))


def _judge_ends(track: Track, first: int, last: int) -> Perimeter:
    """Length and gap of the round, refused where it is too short or open."""
    east, north = track.east_m[first : last + 1], track.north_m[first : last + 1]
    inside = np.isfinite(east)
    length = float(np.hypot(np.diff(east[inside]), np.diff(north[inside])).sum())
    gap = _measure_gap(track, first, last)
    told = Perimeter(length_m=length, gap_m=gap)
    if length < SHORTEST_M:
        return replace(told, refusal=f"only {length:.0f} m were walked: go all the way round")
    allowed = min(max(OPEN_M, 3.0 * _doubt(track, first, last)), OPEN_SHARE * length)
    if gap > allowed:
        return replace(told, refusal=f"the walk is open by {gap:.1f} m: go on to where it began")
    return told


def _thin(track: Track, first: int, last: int) -> _Way:
    """The round's places a step apart, with those of the sampled ways."""
    rows = np.arange(first, last + 1)
    rows = rows[np.isfinite(track.east_m[rows])]
    east, north = track.east_m[rows], track.north_m[rows]
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    rows = rows[np.unique(np.floor(gone / STEP_M), return_index=True)[1]]
    rows = rows[_untie(np.stack([track.east_m[rows], track.north_m[rows]], axis=1))]
    places = np.stack([track.east_m[rows], track.north_m[rows]], axis=1)
    sd = float(np.median(np.hypot(track.sd_east_m[rows], track.sd_north_m[rows])))
    return _Way(places, places + track.deviations_m[:, rows], sd)


def _untie(places: Floats) -> slice:
    """The round without its ends where these cross: who stops a step too far or aside has tied a small knot."""
    reach = min(round(OVERLAP_M / STEP_M), round(OVERLAP_SHARE * len(places)))
    for i in range(reach):
        for j in range(len(places) - 2, len(places) - 2 - reach, -1):
            if j > i + 2 and find_crossing(places[i], places[i + 1], places[j], places[j + 1]) is not None:
                return slice(i + 1, j + 1)
    return slice(0, len(places))


def _measure_ring(way: _Way, told: Perimeter, plane: Plane, offset_m: float) -> Perimeter:
    """Area and its uncertainty, and the ring with the corners that matter."""
    if len(way.places) < 4:
        return replace(told, refusal=told.refusal or "the rig has hardly moved")
    area = signed_area(*way.places.T)
    sd = float(np.std([signed_area(*ring.T) for ring in way.drawn]))
    ring = way.places if area > 0.0 else way.places[::-1]
    tolerance = min(max(0.25 * way.sd_m, LEAST_TOLERANCE_M), MOST_TOLERANCE_M)
    for factor in COARSER:
        corners = scale_area(simplify_ring(ring, tolerance_m=factor * tolerance), area_m2=abs(area))
        shape = _place_corners(move_ring(corners, outward_m=offset_m), plane)
        flaws = find_flaws(shape)
        if not flaws:
            break
    found = replace(told, ring=shape[0], area_m2=ring_area(shape[0]), area_sd_m2=sd)
    return _judge_shape(found, flaws) if found.is_usable else found


def _place_corners(corners: Floats, plane: Plane) -> tuple[Ring]:
    """A ring in longitude and latitude to nine decimals, closed."""
    lat, lon = degrees_from_plane(*corners.T, plane=plane)
    places = [(round(float(x), 9), round(float(y), 9)) for x, y in zip(lon, lat, strict=True)]
    return ((*places, places[0]),)


def _judge_shape(found: Perimeter, flaws: tuple[Flaw, ...]) -> Perimeter:
    """Refused where the shape crosses itself or its area is too unsure."""
    if flaws:
        lon, lat = flaws[0].lon, flaws[0].lat
        place = None if lon is None or lat is None else (lon, lat)
        return replace(found, refusal=f"walked so, {flaws[0]}: walk round one shape, once", place=place)
    if found.area_sd_m2 > LARGEST_SD * found.area_m2:
        share = 100.0 * found.area_sd_m2 / found.area_m2
        return replace(found, refusal=f"with this receiver its area is unsure by {share:.0f} %: draw it instead")
    return found
