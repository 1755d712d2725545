"""A cup anemometer carried by a walker: it feels the air relative to itself, with inertia and a starting threshold.

The cup's speed c follows dc/dt = (A / L)(A − c), A = |w − v|, L the distance constant (Kristensen, Journal of
Atmospheric and Oceanic Technology 17 (2000) 1139, calls it a linear first-order filter, τ = L / A). It turns at f =
(c − offset) / slope.
"""

import math
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats, RateCurve, integrate_rate

STEP_S = 0.04


@dataclass(frozen=True, slots=True)
class Cup:
    """Line, threshold and inertia of a cup."""

    mps_per_hz: float = 0.34
    offset_mps: float = 0.2
    threshold_mps: float = 0.5
    distance_constant_m: float = 2.5
    bounce_share: float = 0.01


def relative_speed(wind: tuple[Floats, Floats], velocity: tuple[Floats, Floats]) -> Floats:
    """How fast the air passes something that moves: |w − v|."""
    return np.hypot(wind[0] - velocity[0], wind[1] - velocity[1])


def spin_cup(cup: Cup, t: Floats, air_mps: Floats) -> Floats:
    """The cup's speed at evenly spaced times from the air speed at them; a step is exact for its mean air speed."""
    step = float(t[1] - t[0])
    middle = (0.5 * (air_mps[1:] + air_mps[:-1])).tolist()
    speed = float(air_mps[0]) if air_mps[0] > cup.threshold_mps else 0.0
    speeds = [speed]
    for air in middle:
        if speed > 0.0 or air > cup.threshold_mps:
            speed = air + (speed - air) * math.exp(-air * step / cup.distance_constant_m)
            if speed < cup.offset_mps and air < cup.threshold_mps:
                speed = 0.0
        speeds.append(speed)
    return np.array(speeds)


def cup_pulses(cup: Cup, t: Floats, cup_mps: Floats) -> RateCurve:
    """The pulse count as a curve of time."""
    return integrate_rate(t, np.maximum(cup_mps - cup.offset_mps, 0.0) / cup.mps_per_hz)
