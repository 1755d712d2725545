"""A person who practises with water, over and over: squeeze over a bucket, walk a strip of ten steps, turn, walk back.

Nothing waits for anyone: whoever looks on sees each of these again within a minute.
"""

import math
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats, integrate_rate
from firmware_sim.noise import wander
from firmware_sim.world.lawn import Point
from firmware_sim.world.operator import STEP_S, Route, Walk
from firmware_sim.world.path import Path, Pose, Segment, join_poses

_PUSH_MPS2 = 0.8
_TURN_M = 0.5
_ON_M, _OFF_M = 0.3, 0.1
"""The trigger is pressed so far behind a strip's begin, and let go so far before its end."""


@dataclass(frozen=True, slots=True)
class PracticePlan:
    """For so many `minutes`: rounds of a stand with a squeeze of the trigger, a strip out and one back beside it."""

    minutes: float = 20.0
    strip_m: float = 8.0
    spacing_m: float = 1.0
    pace_mps: float = 1.0
    stand_s: float = 14.0
    squeeze_after_s: float = 3.0
    squeeze_s: float = 6.0
    rest_s: float = 4.0
    heading_deg: float = 20.0
    start: Point = (4.0, 4.0)


class _Diary:
    """Collects segments, the speed every STEP_S, and when the trigger was pressed."""

    def __init__(self, pose: Pose, rng: np.random.Generator) -> None:
        self.pose = pose
        self.segments: list[Segment] = []
        self.speeds: list[float] = []
        self.triggers: list[tuple[float, float]] = []
        self._rng = rng

    @property
    def now_s(self) -> float:
        return len(self.speeds) * STEP_S

    def stand(self, seconds: float) -> None:
        self.speeds += [0.0] * round(seconds / STEP_S)

    def go(self, segments: list[Segment], pace_mps: float) -> Floats:
        """Walk from a stand to a stand; gives the metres walked after each step."""
        length = sum(segment.length_m for segment in segments)
        speeds = _pace(length, pace_mps, self._rng)
        self.segments += segments
        self.pose = segments[-1].end
        self.speeds += speeds.tolist()
        return np.cumsum(speeds) * STEP_S

    def spray(self, length_m: float, pace_mps: float) -> None:
        """Walk a strip straight on, with the trigger pressed but at its ends."""
        east, north, heading = self.pose
        begun_s = self.now_s
        way = self.go([Segment(east, north, heading, 0.0, length_m, line=len(self.triggers))], pace_mps)
        on, off = (begun_s + STEP_S * float(np.searchsorted(way, at)) for at in (_ON_M, length_m - _OFF_M))
        self.triggers.append((on, off))


def walk_practice(plan: PracticePlan, rng: np.random.Generator) -> Walk:
    """Walk it, with a walker's changes of pace; no button is pressed."""
    diary = _Diary((*plan.start, math.radians(plan.heading_deg)), rng)
    strips = 0
    while diary.now_s < 60.0 * plan.minutes:
        squeezed_s = diary.now_s + plan.squeeze_after_s
        diary.triggers.append((squeezed_s, squeezed_s + plan.squeeze_s))
        diary.stand(plan.stand_s)
        for _ in range(2):
            diary.spray(plan.strip_m, plan.pace_mps)
            strips += 1
            diary.stand(plan.rest_s)
            diary.go(join_poses(diary.pose, _begin(plan, strips), radius_m=_TURN_M), 0.75 * plan.pace_mps)
            diary.stand(1.0)
    t = STEP_S * np.arange(len(diary.speeds))
    route = Route(Path(diary.segments), (), (), ())
    return Walk(route, integrate_rate(t, np.array(diary.speeds)), tuple(diary.triggers), ())


def _begin(plan: PracticePlan, strip: int) -> Pose:
    """Where a strip begins: each to the right of the last, out and back in turn."""
    h = math.radians(plan.heading_deg)
    along = plan.strip_m if strip % 2 else 0.0
    right = strip * plan.spacing_m
    east = plan.start[0] + right * math.cos(h) + along * math.sin(h)
    return east, plan.start[1] - right * math.sin(h) + along * math.cos(h), h + math.pi * (strip % 2)


def _pace(length_m: float, pace_mps: float, rng: np.random.Generator) -> Floats:
    """The speed every STEP_S from a stand to a stand, over just this length."""
    upper = int((length_m / (0.4 * pace_mps) + 10.0) / STEP_S)
    sway = wander(rng, upper, step_s=STEP_S, time_scale_s=15.0, sd=0.03)
    speeds, s, v = [], 0.0, 0.0
    for step in range(upper):
        brake = math.sqrt(2.0 * _PUSH_MPS2 * max(length_m - s, 0.0)) + 0.03
        v = min(pace_mps * (1.0 + float(sway[step])), v + _PUSH_MPS2 * STEP_S, brake)
        s += v * STEP_S
        speeds.append(v)
        if s >= length_m - 0.01:
            break
    # So that hundreds of strips stay in their places.
    return np.array([*speeds, 0.0]) * (length_m / s)
