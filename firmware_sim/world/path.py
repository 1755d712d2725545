"""The way over the ground as straight lines and arcs, closed form: position and heading at any distance along it.

Compass headings in radians, clockwise from north; `bend` is the change of heading per metre, to the right positive.
"""

import math
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats
from firmware_sim.world.lawn import Point

Pose = tuple[float, float, float]
"""East, north in metres, heading in radians."""
_FULL = 2.0 * math.pi
_SAME = 1e-9


@dataclass(frozen=True, slots=True)
class Segment:
    """One line (`bend` 0) or arc from a pose; `line` numbers the planned line that it is a pass of, -1 for none."""

    east_m: float
    north_m: float
    heading: float
    bend: float
    length_m: float
    line: int = -1

    def pose_at(self, s: float) -> Pose:
        """The pose after s metres on the segment."""
        h = self.heading + self.bend * s
        if self.bend == 0.0:
            return self.east_m + s * math.sin(h), self.north_m + s * math.cos(h), h
        east = self.east_m + (math.cos(self.heading) - math.cos(h)) / self.bend
        return east, self.north_m + (math.sin(h) - math.sin(self.heading)) / self.bend, h

    @property
    def end(self) -> Pose:
        """The pose at the segment's end."""
        return self.pose_at(self.length_m)


class Path:
    """Segments end to end; `starts` [n + 1] are the distances at which they begin, the last the whole length."""

    def __init__(self, segments: list[Segment]) -> None:
        self.segments = tuple(segments)
        self.starts = np.concatenate(([0.0], np.cumsum([s.length_m for s in segments])))
        self._table = np.array([(s.east_m, s.north_m, s.heading, s.bend) for s in segments]).T

    def poses_at(self, s: Floats) -> tuple[Floats, Floats, Floats]:
        """East, north and heading (radians, unbounded) at distances s along the path."""
        s = np.clip(np.asarray(s, dtype=float), 0.0, self.starts[-1])
        i = np.clip(np.searchsorted(self.starts, s, side="right") - 1, 0, len(self.segments) - 1)
        ds = s - self.starts[i]
        x, y, h0, bend = (column[i] for column in self._table)
        h = h0 + bend * ds
        curved = bend != 0.0
        divisor = np.where(curved, bend, 1.0)
        east = x + np.where(curved, (np.cos(h0) - np.cos(h)) / divisor, ds * np.sin(h0))
        north = y + np.where(curved, (np.sin(h) - np.sin(h0)) / divisor, ds * np.cos(h0))
        return east, north, h


def line_between(start: Point, end: Point, *, line: int = -1) -> Segment:
    """Make the straight segment from one point to another."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    return Segment(start[0], start[1], math.atan2(dx, dy), 0.0, math.hypot(dx, dy), line)


def join_poses(start: Pose, end: Pose, *, radius_m: float) -> list[Segment]:
    """Find the shortest way from pose to pose with no bend tighter than the radius.

    Derivation: Dubins, "On curves of minimal length", American Journal of Mathematics 79 (1957): at most three pieces,
    arc–line–arc or arc–arc–arc; all six kinds are tried.
    """
    if (
        math.hypot(end[0] - start[0], end[1] - start[1]) < _SAME
        and abs(math.remainder(end[2] - start[2], _FULL)) < _SAME
    ):
        return []
    ways = _arc_line_arc(start, end, radius_m) + _arc_arc_arc(start, end, radius_m)
    pieces = min(ways, key=lambda way: sum(length for _, length in way))
    segments, pose = [], start
    for bend, length in pieces:
        if length > _SAME:
            segments.append(Segment(pose[0], pose[1], pose[2], bend, length))
            pose = segments[-1].end
    return segments


Pieces = list[tuple[float, float]]


def _centre(pose: Pose, side: int, radius: float) -> Point:
    """The turning centre on the right (side 1) or left (side -1)."""
    return pose[0] + side * radius * math.cos(pose[2]), pose[1] - side * radius * math.sin(pose[2])


def _turn(side: int, start: float, end: float, radius: float) -> tuple[float, float]:
    """Bend and length of the arc that turns from one heading to another on one side."""
    angle = (side * (end - start)) % _FULL
    return side / radius, (0.0 if angle > _FULL - 1e-9 else angle) * radius


def _arc_line_arc(start: Pose, end: Pose, radius: float) -> list[Pieces]:
    """The four ways with a straight middle, where they exist."""
    ways = []
    for first, last in ((1, 1), (-1, -1), (1, -1), (-1, 1)):
        a, b = _centre(start, first, radius), _centre(end, last, radius)
        dx, dy = b[0] - a[0], b[1] - a[1]
        square = dx * dx + dy * dy - (0.0 if first == last else 4.0 * radius * radius)
        if square < 0.0:
            continue
        straight = math.sqrt(square)
        heading = math.atan2(dx, dy) if straight > _SAME or first != last else start[2]
        if first != last:
            heading += first * math.atan2(2.0 * radius, straight)
        ways.append([_turn(first, start[2], heading, radius), (0.0, straight), _turn(last, heading, end[2], radius)])
    return ways


def _arc_arc_arc(start: Pose, end: Pose, radius: float) -> list[Pieces]:
    """The ways with a counter-turn in the middle, where they exist."""
    ways = []
    for side in (1, -1):
        a, b = _centre(start, side, radius), _centre(end, side, radius)
        dx, dy = b[0] - a[0], b[1] - a[1]
        apart = math.hypot(dx, dy)
        if apart >= 4.0 * radius:
            continue
        bearing, angle = math.atan2(dx, dy), math.acos(apart / (4.0 * radius))
        for sign in (1, -1):
            leave = bearing + sign * angle + side * math.pi / 2.0
            enter = bearing + math.pi - sign * angle + side * math.pi / 2.0
            ways.append(
                [
                    _turn(side, start[2], leave, radius),
                    _turn(-side, leave, enter, radius),
                    _turn(side, enter, end[2], radius),
                ]
            )
    return ways
