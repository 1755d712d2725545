"""An anemometer carried by a walker: a cup with inertia and a starting threshold, or an instrument that tells a speed.

Both feel the air relative to themselves. A vane beside either points to where that air comes from.

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


@dataclass(frozen=True, slots=True)
class SpeedMeter:
    """An instrument without moving parts that tells a speed: its noise, and the least that it can tell from nothing.

    `frozen` are spans in seconds in which it repeats what it said before.
    """

    sd_mps: float = 0.05
    threshold_mps: float = 0.1
    frozen: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Vane:
    """A vane on the rig: the noise of a reading, how far it is mounted askew, and the spans in which it is stuck."""

    sd_deg: float = 8.0
    askew_deg: float = 0.0
    stuck: tuple[tuple[float, float], ...] = ()


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


def feel_bearing(wind: tuple[Floats, Floats], velocity: tuple[Floats, Floats], heading_deg: Floats) -> Floats:
    """Where the air past the operator comes from, degrees clockwise from straight ahead, 0 to 360."""
    east, north = wind[0] - velocity[0], wind[1] - velocity[1]
    return np.asarray((np.degrees(np.arctan2(-east, -north)) - heading_deg) % 360.0)


def tell_speed(meter: SpeedMeter, t: Floats, air_mps: Floats, rng: np.random.Generator) -> Floats:
    """What an instrument says at times t of the air there."""
    said = np.round(np.maximum(air_mps + meter.sd_mps * rng.standard_normal(len(t)), 0.0), 3)
    return _hold(t, np.where(said < meter.threshold_mps, 0.0, said), meter.frozen)


def tell_bearing(vane: Vane, t: Floats, bearing_deg: Floats, rng: np.random.Generator) -> Floats:
    """What a vane says at times t of air that comes from a bearing there."""
    said = (bearing_deg + vane.askew_deg + vane.sd_deg * rng.standard_normal(len(t))) % 360.0
    return _hold(t, np.round(said, 1) % 360.0, vane.stuck)


def _hold(t: Floats, values: Floats, spans: tuple[tuple[float, float], ...]) -> Floats:
    """Values that stay what they were where a span begins, until it ends."""
    place = np.where(_lies_in(t, spans), 0, np.arange(len(t)))
    return np.asarray(values[np.maximum.accumulate(place)])


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
