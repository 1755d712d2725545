"""Where the liquid lands: the exact density at any point, sampled finely and averaged over cells.

Derivation: along the path the swath's point at lateral offset y (right positive) moves |1 − κy| ds while the rig
moves ds on a bend κ, so the dose there is (dV/ds) g(y) / |1 − κy| with the cross pattern g, ∫ g dy = 1. On a line and
on an arc the point's s and y are closed form, a nozzle forward of the antenna included. Each cell is the mean of
`SUB` × `SUB` points, the swath's edge softened over one sample. Liquid let out while standing lands on a footprint of
0.10 m.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firmware_sim.curve import Floats, RateCurve
from firmware_sim.world.operator import Walk
from firmware_sim.world.path import Path, Segment
from firmware_sim.world.sprayer import Sprayer

SUB = 4
FOOTPRINT_M = 0.10
STANDING_MPS = 0.05
_CHUNK_M = 2.0
_CENTRE = 4.0 * math.log(1.0 + math.sqrt(2.0))
"""The mean of 1/ρ over a square of side a round the origin is this / a: for a sample at a turning centre."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A grid: lower left corner, cell, cells across and up."""

    x0_m: float
    y0_m: float
    cell_m: float
    nx: int
    ny: int


@dataclass(frozen=True, slots=True)
class Outlet:
    """Litres let out up to each distance along the path, moving and standing apart; knots `s` ascending."""

    s: Floats
    moving_l: Floats
    standing_l: Floats

    def per_metre(self, s: Floats, width: float) -> Floats:
        """Litres per metre of path at distances s, averaged over `width`."""
        moving = self._between(self.moving_l, s, width) / width
        return moving + self._between(self.standing_l, s, FOOTPRINT_M) / FOOTPRINT_M

    def _between(self, litres: Floats, s: Floats, width: float) -> Floats:
        upper = np.interp(s + 0.5 * width, self.s, litres)
        return np.asarray(upper - np.interp(s - 0.5 * width, self.s, litres))


def trace_outlet(walk: Walk, volume: RateCurve, delay_s: float) -> Outlet:
    """Lay the volume, as it reaches the ground, along the path."""
    t = np.unique(np.concatenate((volume.t + delay_s, walk.distance.t, np.arange(0.0, walk.duration_s, 0.01))))
    t = t[t <= walk.duration_s]
    s, litres = walk.distance.total_at(t), volume.total_at(t - delay_s)
    step = np.diff(litres)
    is_standing = walk.distance.rate_at(0.5 * (t[1:] + t[:-1])) < STANDING_MPS
    moving = np.concatenate(([0.0], np.cumsum(np.where(is_standing, 0.0, step))))
    standing = np.concatenate(([0.0], np.cumsum(np.where(is_standing, step, 0.0))))
    return Outlet(s, moving, standing)


def cross_density(sprayer: Sprayer, y: Floats, soft: float) -> Floats:
    """The pattern's share per metre at lateral offsets y from the nozzle, its area 1; flat edges soft over `soft`."""
    w = sprayer.swath_m
    if sprayer.pattern == "flat":
        return np.clip((0.5 * w - np.abs(y)) / soft + 0.5, 0.0, 1.0) / w
    top = 0.0 if sprayer.pattern == "triangle" else float(sprayer.pattern_top_m or 0.0)
    slope = (2.0 * w - 2.0 * top) / 2.0
    return np.clip((0.5 * top + slope - np.abs(y)) / slope, 0.0, 1.0) / w


def reach_of(sprayer: Sprayer) -> float:
    """The farthest that liquid lands from the antenna."""
    base = sprayer.swath_m if sprayer.pattern == "flat" else 2.0 * sprayer.swath_m
    return math.hypot(0.5 * base + abs(sprayer.nozzle_right_m), sprayer.nozzle_forward_m) + 0.05


def frame_round(path: Path, sprayer: Sprayer, cell_m: float) -> Frame:
    """The grid that holds everything sprayed, its corner on whole metres."""
    east, north, _ = path.poses_at(np.arange(0.0, path.starts[-1], 0.2))
    margin = reach_of(sprayer) + 1.0
    x0, y0 = math.floor(east.min() - margin), math.floor(north.min() - margin)
    nx, ny = (math.ceil((float(a.max()) + margin - c) / cell_m) for a, c in ((east, x0), (north, y0)))
    return Frame(float(x0), float(y0), cell_m, nx, ny)


def lay_dose(path: Path, outlet: Outlet, sprayer: Sprayer, frame: Frame) -> Floats:
    """Dose on the grid, litres per square metre, [ny, nx]."""
    fine = np.zeros((frame.ny * SUB, frame.nx * SUB))
    step = frame.cell_m / SUB
    for segment, start in zip(path.segments, path.starts[:-1], strict=True):
        limit = min(_CHUNK_M, 1.0 / abs(segment.bend)) if segment.bend else _CHUNK_M
        count = max(1, math.ceil(segment.length_m / limit))
        bounds = np.linspace(0.0, segment.length_m, count + 1)
        ends = np.array([start - FOOTPRINT_M, start + segment.length_m + FOOTPRINT_M])
        if np.ptp(np.interp(ends, outlet.s, outlet.moving_l + outlet.standing_l)) == 0.0:
            continue
        for low, high in pairwise(bounds):
            _lay_chunk(fine, segment, (float(start), float(low), float(high)), outlet, sprayer, frame, step)
    return np.asarray(fine.reshape(frame.ny, SUB, frame.nx, SUB).mean(axis=(1, 3)))


def _lay_chunk(
    fine: Floats,
    segment: Segment,
    span: tuple[float, float, float],
    outlet: Outlet,
    sprayer: Sprayer,
    frame: Frame,
    step: float,
) -> None:
    """Add one stretch of a segment to the fine grid."""
    start, low, high = span
    poses = [segment.pose_at(s) for s in np.linspace(low, high, 5)]
    reach = reach_of(sprayer)
    lows = (min(p[0] for p in poses) - reach - frame.x0_m, min(p[1] for p in poses) - reach - frame.y0_m)
    highs = (max(p[0] for p in poses) + reach - frame.x0_m, max(p[1] for p in poses) + reach - frame.y0_m)
    i0, j0 = (max(0, math.floor(v / step)) for v in lows)
    i1, j1 = (min(n, math.ceil(v / step)) for v, n in zip(highs, fine.shape[::-1], strict=True))
    if i1 <= i0 or j1 <= j0:
        return
    east = frame.x0_m + (np.arange(i0, i1) + 0.5) * step
    north = frame.y0_m + (np.arange(j0, j1) + 0.5) * step
    for s, y in _swath_coordinates(segment, *np.meshgrid(east, north), sprayer.nozzle_forward_m):
        hit = (s >= low) & (s < high)
        stretch = np.maximum(np.abs(1.0 - segment.bend * y[hit]), abs(segment.bend) * step / _CENTRE)
        dose = cross_density(sprayer, y[hit] - sprayer.nozzle_right_m, step) / stretch
        fine[j0:j1, i0:i1][hit] += dose * outlet.per_metre(start + s[hit], step)


def _swath_coordinates(segment: Segment, east: Floats, north: Floats, forward: float) -> list[tuple[Floats, Floats]]:
    """For points: the distance along the segment at which the swath line passes over them, and the lateral offset.

    On an arc a point inside the turning circle may be passed twice, so two answers come.
    """
    dx, dy = east - segment.east_m, north - segment.north_m
    sin, cos = math.sin(segment.heading), math.cos(segment.heading)
    if segment.bend == 0.0:
        return [(dx * sin + dy * cos - forward, dx * cos - dy * sin)]
    radius = 1.0 / segment.bend
    around = (dx - radius * cos) + 1j * (dy + radius * sin)
    square = np.abs(around) ** 2 - forward * forward
    arm = np.sqrt(np.where(square > 0.0, square, np.nan))
    answers: list[tuple[Floats, Floats]] = []
    for q in (arm, -arm):
        turned = np.angle((-q + 1j * forward) / around) - segment.heading
        full = 2.0 * math.pi
        s = (turned % full if segment.bend > 0.0 else -((-turned) % full)) / segment.bend
        answers.append((s, radius - q))
    return answers
