"""A walk out and back along two lines square to each other, at one pace after the other: for calibrating the cup.

No sprayer, no lawn: only legs of steady pace with turns between them.
"""

import math
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import integrate_rate
from firmware_sim.noise import wander
from firmware_sim.world.lawn import Point
from firmware_sim.world.operator import STEP_S, Press, Route, Walk
from firmware_sim.world.path import Path, Segment, join_poses

_PUSH_MPS2 = 0.8
_TURN_M = 0.6


@dataclass(frozen=True, slots=True)
class SquarePlan:
    """Legs of `leg_s` at each of `paces_mps` in turn along four headings, for about `minutes`; then a stop."""

    minutes: float = 10.0
    paces_mps: tuple[float, ...] = (1.0, 1.9)
    leg_s: float = 20.0
    heading_deg: float = 20.0
    start: Point = (4.0, 4.0)
    stand_s: float = 5.0


def walk_square(plan: SquarePlan, rng: np.random.Generator) -> Walk:
    """Walk it, with a walker's changes of pace; buttons are pressed at the start and the end."""
    pose = (plan.start[0], plan.start[1], math.radians(plan.heading_deg))
    segments: list[Segment] = []
    paces: list[float] = []
    for leg in range(round(60.0 * plan.minutes / (plan.leg_s + 3.0))):
        pace = plan.paces_mps[leg // 4 % len(plan.paces_mps)]
        heading = math.radians(plan.heading_deg + (0.0, 180.0, 90.0, 270.0)[leg % 4])
        bends = join_poses(pose, (pose[0], pose[1], heading), radius_m=_TURN_M) if leg else []
        here = bends[-1].end if bends else pose
        straight = Segment(here[0], here[1], heading, 0.0, pace * plan.leg_s)
        segments += [*bends, straight]
        paces += [0.75 * pace] * len(bends) + [pace]
        pose = straight.end
    path = Path(segments)
    speeds = _walk_at(path, paces, plan.stand_s, rng)
    t = STEP_S * np.arange(len(speeds))
    presses = (Press(1.0, "start", ""), Press(float(t[-1]) - 1.0, "finish", ""))
    return Walk(Route(path, (), (), ()), integrate_rate(t, np.array(speeds)), (), presses)


def _walk_at(path: Path, paces: list[float], stand_s: float, rng: np.random.Generator) -> list[float]:
    """The speed every STEP_S: standing, each segment at its pace, standing."""
    still = [0.0] * round(stand_s / STEP_S)
    upper = int(path.starts[-1] / (0.4 * min(paces)) / STEP_S)
    sway = wander(rng, upper, step_s=STEP_S, time_scale_s=15.0, sd=0.03).tolist()
    speeds, s, v, i = still.copy(), 0.0, 0.0, 0
    for step in range(upper):
        while i < len(paces) - 1 and s >= path.starts[i + 1]:
            i += 1
        brake = math.sqrt(2.0 * _PUSH_MPS2 * max(float(path.starts[-1]) - s, 0.0)) + 0.03
        new = min(paces[i] * (1.0 + sway[step]), v + _PUSH_MPS2 * STEP_S, brake)
        s += 0.5 * (v + new) * STEP_S
        speeds.append(new)
        v = new
        if s >= path.starts[-1] - 0.01:
            break
    return speeds + still
