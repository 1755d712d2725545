"""A cup anemometer carried by a walker: it feels the air relative to itself, with inertia and a starting threshold.

The cup's speed c follows dc/dt = (A / L)(A − c), A = |w − v|, L the distance constant (Kristensen, Journal of
Atmospheric and Oceanic Technology 17 (2000) 1139, calls it a linear first-order filter, τ = L / A). It turns at f =
(c − offset) / slope.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_sim.curve import Floats, RateCurve, integrate_rate

STEP_S = 0.04


ICE_SLOWS, ICE_STARTS_MPS = 0.3, 2.0
"""Ice takes this share of the speed, and holds the cup below this much air."""


@dataclass(frozen=True, slots=True)
class Cup:
    """Line, threshold and inertia of a cup, and what ails it.

    `wear` is by what share it turns slower than its line says, `slow_to_stop` how many times longer it takes to slow
    down than to speed up, `tilt_deg` how far it leans ahead, `shield` what share of the wind the operator's body takes
    where it blows from behind; `stuck` and `iced` are spans in seconds.
    """

    mps_per_hz: float = 0.34
    offset_mps: float = 0.2
    threshold_mps: float = 0.5
    distance_constant_m: float = 2.5
    bounce_share: float = 0.01
    wear: float = 0.0
    slow_to_stop: float = 1.0
    tilt_deg: float = 0.0
    shield: float = 0.0
    stuck: tuple[tuple[float, float], ...] = ()
    iced: tuple[tuple[float, float], ...] = ()


def relative_speed(wind: tuple[Floats, Floats], velocity: tuple[Floats, Floats]) -> Floats:
    """How fast the air passes something that moves: |w − v|."""
    return np.hypot(wind[0] - velocity[0], wind[1] - velocity[1])


def feel_air(cup: Cup, wind: tuple[Floats, Floats], velocity: tuple[Floats, Floats], heading_deg: Floats) -> Floats:
    """How fast the air passes the cup on the operator, body and tilt taken off."""
    east, north = wind[0] - velocity[0], wind[1] - velocity[1]
    # Ahead of the operator is 0; the air comes from there or from behind.
    bearing = np.arctan2(-east, -north) - np.radians(heading_deg)
    behind = np.maximum(-np.cos(bearing), 0.0) ** 2
    leaning = math.sin(math.radians(cup.tilt_deg)) ** 2 * np.cos(bearing) ** 2
    felt: Floats = np.hypot(east, north) * (1.0 - cup.shield * behind) * np.sqrt(1.0 - leaning)
    return felt


def spin_cup(cup: Cup, t: Floats, air_mps: Floats) -> Floats:
    """The cup's speed at evenly spaced times from the air speed at them; a step is exact for its mean air speed."""
    step = float(t[1] - t[0])
    iced, stuck = (_lies_in(t[1:], spans) for spans in (cup.iced, cup.stuck))
    middle = 0.5 * (air_mps[1:] + air_mps[:-1]) * np.where(iced, 1.0 - ICE_SLOWS, 1.0)
    starts = np.where(stuck, math.inf, np.where(iced, ICE_STARTS_MPS, cup.threshold_mps))
    speed = float(air_mps[0]) if air_mps[0] > cup.threshold_mps else 0.0
    speeds = [speed]
    for air, start in zip(middle.tolist(), starts.tolist(), strict=True):
        if speed > 0.0 or air > start:
            length = cup.distance_constant_m * (cup.slow_to_stop if air < speed else 1.0)
            speed = air + (speed - air) * math.exp(-air * step / length)
            if start == math.inf or (speed < cup.offset_mps and air < start):
                speed = 0.0
        speeds.append(speed)
    return np.array(speeds)


def _lies_in(t: Floats, spans: tuple[tuple[float, float], ...]) -> NDArray[np.bool_]:
    """Which times lie in one of the spans."""
    inside = np.zeros(len(t), dtype=np.bool_)
    for start, stop in spans:
        inside |= (t >= start) & (t < stop)
    return inside


def cup_pulses(cup: Cup, t: Floats, cup_mps: Floats) -> RateCurve:
    """The pulse count as a curve of time."""
    return integrate_rate(t, np.maximum((1.0 - cup.wear) * cup_mps - cup.offset_mps, 0.0) / cup.mps_per_hz)
