"""Strips missed beside an edge: how deep the untouched ground is, looking inwards from the edges of the lawn.

East and north in metres on the local plane, depths in metres from the edge.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, erf, exp, pi, sqrt

import numpy as np

from server.core.band import measure_line, read_cells, resample_line, shift_line
from server.core.coverage import COVERED_FRACTION
from server.core.ground import Ground
from server.core.log import Floats, Integers
from server.core.results import Bools, DoseMap, Track

STEP_M = 0.5
REACH = 2.6
"""Untouched ground deeper than so many swaths is no strip."""
LEAST = 0.35
"""Untouched ground shallower than this share of the swath is how people keep off an edge."""
CORNER_DEG = 40.0
PRIOR = 0.03
"""How often a stretch of edge lacks its strip, before looking: as often as two passes lie apart, and some kept off."""
USUAL, SCATTER = 0.1, 0.15
"""What walkers leave beside an edge and how much that varies, in swaths (a definition of this project)."""
EDGE_SD_M = 0.1
"""How well a drawn or walked edge is known where nothing says it (common practice, no source)."""
SHORTEST_M = 1.0
RIM_CELLS = 2


@dataclass(frozen=True, slots=True)
class Margin:
    """Untouched ground along an edge: the edge [k, 2] with the lawn to its right, depth, its sd, and whether missed."""

    edge_m: Floats
    depth_m: float
    depth_sd_m: float
    probability: float


def find_margins(
    track: Track,
    is_wet: Bools,
    dose: DoseMap,
    ground: Ground,
    rings: Sequence[Floats],
    *,
    swath_m: float,
    target_l_per_m2: float,
) -> tuple[Margin, ...]:
    """Stretches of edge beside which the ground is untouched for more than a third of a swath.

    From places half a metre apart the map is followed inwards until it is covered. Stretches end at corners of the
    edge, and where the ground is untouched for more than 2.6 swaths.

    Parameters
    ----------
    track
        The nozzle's way, for how well it is known nearby.
    is_wet
        At which of its epochs liquid flowed [n].
    dose
        The dose of the mean track.
    ground
        What each cell is for, on the same grid.
    rings
        The edges of zones and keep-outs, each [k, 2] [m].
    swath_m
        Effective width [m].
    target_l_per_m2
        The dose wanted [L/m²].

    Returns
    -------
    tuple[Margin, ...]
        Stretches of 1 m or more in the order of the rings; none without zones.

    References
    ----------
    Derivation: `judge_depth`; covered above a tenth of the target, as in the totals.

    Examples
    --------
    >>> from server.core.grid import GridFrame
    >>> frame = GridFrame(0.0, 0.0, 1.0, 6, 9)
    >>> laid, x, i = np.tile([0.0, 1, 1, 1, 1, 1], (9, 1)), np.full(9, 0.05), np.full(9, 4)
    >>> dose = DoseMap(laid, laid, laid, laid, laid, 0.0, 0.0, 1.0)
    >>> lawn = Ground(frame, np.ones((9, 6)), np.zeros((9, 6)), True, False)
    >>> n = np.arange(9.0)
    >>> track = Track(i, n, n, n, x + 1.5, n, x, x, x, x, x, x, i, np.zeros((0, 9, 2)))
    >>> ring = np.array([[0.0, 0.0], [6.0, 0.0], [6.0, 9.0], [0.0, 9.0], [0.0, 0.0]])
    >>> found = find_margins(track, i > 0, dose, lawn, [ring], swath_m=1.0, target_l_per_m2=1.0)
    >>> [(m.depth_m, round(m.probability, 2)) for m in found]
    [(1.0, 1.0)]
    """
    # Where the cells are nearly as wide as a swath, as on a map of places far apart, no strip can be told.
    if not ground.has_zones or ceil(REACH * swath_m / ground.frame.cell_m) <= RIM_CELLS:
        return ()
    is_open = dose.dose_l_per_m2 <= COVERED_FRACTION * target_l_per_m2
    found: list[Margin] = []
    for ring in rings:
        for edge, depth in _look_inwards(ring, is_open, ground, swath_m):
            for rows in _find_runs(edge, depth > LEAST * swath_m):
                found += _make_margin(edge[rows], depth[rows], track, is_wet, swath_m)
    return tuple(found)


def judge_depth(depth_m: float, sd_m: float, *, swath_m: float) -> float:
    """How likely it is that more than half a swath beside an edge was missed.

    Two stories are weighed: the walker kept to the edge as usual (a tenth of a swath left, give or take 0.15), or
    somewhere between half a swath and two were left out, which has a prior of 0.03.

    Parameters
    ----------
    depth_m
        Untouched ground as the map has it [m].
    sd_m
        How well that is known [m], above 0.
    swath_m
        Effective width [m].

    Returns
    -------
    float
        The probability of the second story.

    References
    ----------
    Derivation: Bayes' rule; the second story's depth is uniform.

    Examples
    --------
    >>> [round(judge_depth(depth, 0.1, swath_m=1.0), 2) for depth in (0.3, 0.5, 0.7, 1.0)]
    [0.0, 0.05, 0.7, 1.0]
    """
    wide = sqrt(sd_m**2 + (SCATTER * swath_m) ** 2)
    usual = exp(-((depth_m - USUAL * swath_m) ** 2) / (2.0 * wide**2)) / (wide * sqrt(2.0 * pi))
    within = _below(2.0 * swath_m, depth_m, sd_m) - _below(0.5 * swath_m, depth_m, sd_m)
    missed = within / (1.5 * swath_m)
    both = PRIOR * missed + (1.0 - PRIOR) * usual
    return PRIOR * missed / both if both > 0.0 else float(depth_m > swath_m)


def sd_beside(line_m: Floats, track: Track, is_wet: Bools) -> float:
    """How well the way nearest to the middle of a line is known, across the line.

    Errors wander slowly, so that they count as one over a whole strip.

    Parameters
    ----------
    line_m
        Corners [k, 2] [m].
    track
        The nozzle's way.
    is_wet
        At which of its epochs liquid flowed [n].

    Returns
    -------
    float
        Standard deviation [m]; infinite where no place is known.

    References
    ----------
    Derivation: the variances of east and north, taken as independent, along the line's normal.

    Examples
    --------
    >>> i, x = np.full(2, 4), np.array([0.1, 0.1])
    >>> track = Track(i, x, x, x, x, x, x, 2 * x, x, x, x, x, i, np.zeros((0, 2, 2)))
    >>> round(sd_beside(np.array([[0.0, 0.0], [0.0, 9.0]]), track, i > 0), 3)
    0.1
    """
    wet = np.flatnonzero(is_wet & np.isfinite(track.east_m))
    if not len(wet) or not len(line_m):
        return float("inf")
    middle, ahead = line_m[len(line_m) // 2], line_m[-1] - line_m[0]
    across = np.array([ahead[1], -ahead[0]]) / max(float(np.hypot(*ahead)), 1e-9)
    away = np.hypot(track.east_m[wet] - middle[0], track.north_m[wet] - middle[1])
    near = wet[int(away.argmin())]
    return float(np.hypot(across[0] * track.sd_east_m[near], across[1] * track.sd_north_m[near]))


def _below(limit: float, mean: float, sd: float) -> float:
    """The probability that a normal quantity lies below a limit."""
    return 0.5 * (1.0 + erf((limit - mean) / (sd * sqrt(2.0))))


def _look_inwards(ring: Floats, is_open: Bools, ground: Ground, swath_m: float) -> Iterator[tuple[Floats, Floats]]:
    """The edge with the lawn to its right, and how deep it is untouched; nought where that is no edge or no strip."""
    closed = ring if (ring[0] == ring[-1]).all() else np.concatenate((ring, ring[:1]))
    frame = ground.frame
    edge = resample_line(closed, step_m=STEP_M)
    depths = np.arange(0.5, np.ceil(REACH * swath_m / frame.cell_m)) * frame.cell_m
    opened = is_open.astype(np.float64)
    for line in (edge, edge[::-1]):
        beyond = read_cells(ground.wanted, shift_line(line, right_m=-frame.cell_m), frame)
        places = [shift_line(line, right_m=float(d)) for d in depths]
        is_dry = np.array([read_cells(opened, place, frame) == 1.0 for place in places])
        # The cells of the rim lie half outside, so that those count as lawn.
        is_lawn = np.array([read_cells(ground.wanted, place, frame) >= 0.5 for place in places])
        is_lawn[:RIM_CELLS] |= is_lawn[RIM_CELLS]
        is_touched = ~(is_dry & is_lawn)
        depth = np.where(is_touched.any(axis=0), is_touched.argmax(axis=0) * frame.cell_m, 0.0)
        yield line, np.where(beyond >= 0.5, 0.0, depth)


def _find_runs(edge: Floats, is_deep: Bools) -> list[Integers]:
    """Stretches of an edge that are deep throughout, cut at its corners; a closed edge may begin in one."""
    ahead = np.gradient(edge, axis=0)
    heading = np.unwrap(np.arctan2(ahead[:, 0], ahead[:, 1]))
    is_corner = np.abs(np.gradient(heading)) > np.radians(CORNER_DEG) / 2.0
    is_in = is_deep & ~is_corner
    if is_in.all() or not is_in.any():
        return [np.arange(len(edge))] if is_in.all() else []
    first = int(np.flatnonzero(~is_in)[0])
    order = np.roll(np.arange(len(edge)), -first)
    steps = np.diff(np.concatenate(([0], is_in[order].astype(np.int8), [0])))
    return [
        order[a:b] for a, b in zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True) if b - a > 1
    ]


def _make_margin(edge: Floats, depth: Floats, track: Track, is_wet: Bools, swath_m: float) -> list[Margin]:
    """The judged stretch; none where it is too short."""
    if measure_line(edge) < SHORTEST_M:
        return []
    mean = float(depth.mean())
    sd = sqrt(sd_beside(edge, track, is_wet) ** 2 + EDGE_SD_M**2)
    return [Margin(edge, mean, sd, judge_depth(mean, sd, swath_m=swath_m))]
