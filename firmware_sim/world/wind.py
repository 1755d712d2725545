"""The wind at the rig: a mean that changes slowly, turbulence with a spectrum, gusts and steps put in on purpose.

Vectors point where the air goes (east, north); directions are where it comes from. Turbulence is first-order
Gauss–Markov ("ar1"), or shaped in frequency: by the von Karman longitudinal form S ∝ T / (1 + 70.8 (fT)²)^(5/6)
(von Karman 1948, as in ESDU 85020), time scale T = length scale / mean speed; or as measured over a plain, S ∝ 1 /
(1 + 33 n)^(5/3) along and 1 / (1 + 9.5 n)^(5/3) across the wind, n = f z / mean speed (Kaimal and others, Quarterly
Journal of the Royal Meteorological Society 98 (1972) 563; from memory).
"""

import math
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats
from firmware_sim.noise import wander

STEP_S = 0.1


@dataclass(frozen=True, slots=True)
class Change:
    """The mean moves to `mean_mps` (and `from_deg`, if given) between `at_s` and `at_s + over_s`."""

    at_s: float
    mean_mps: float
    over_s: float = 0.1
    from_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Gust:
    """A gust of a given speed for so long; turbulence is stilled in it so that its size is known."""

    at_s: float
    seconds: float
    speed_mps: float


@dataclass(frozen=True, slots=True)
class WindPlan:
    """Mean wind, turbulence intensity, spectrum and what is put in.

    Besides gusts put in one by one there are `gusts_per_h` at random, each of a few seconds and up to `gust_gain` times
    the mean over it.
    """

    mean_mps: float = 2.2
    from_deg: float = 240.0
    intensity: float = 0.25
    spectrum: str = "ar1"
    length_scale_m: float = 24.0
    slow_sd: float = 0.10
    meander_deg: float = 10.0
    changes: tuple[Change, ...] = ()
    gusts: tuple[Gust, ...] = ()
    height_m: float = 2.0
    gusts_per_h: float = 0.0
    gust_gain: float = 1.0


SHELTERED = WindPlan(1.6, 240.0, 0.55, "von_karman", 9.0, 0.2, 30.0, gusts_per_h=30.0)
"""Among hedges and houses: light, with large swings and puffs."""
OPEN = WindPlan(4.0, 240.0, 0.18, "kaimal", 24.0, 0.08, 6.0)
"""On open ground: stronger and steadier."""


@dataclass(frozen=True, slots=True)
class Wind:
    """The wind vector at knots STEP_S apart, linear between."""

    t: Floats
    east_mps: Floats
    north_mps: Floats

    def vector_at(self, t: Floats) -> tuple[Floats, Floats]:
        """East and north components at times t."""
        return np.interp(t, self.t, self.east_mps), np.interp(t, self.t, self.north_mps)

    def speed_at(self, t: Floats) -> Floats:
        """The speed at times t."""
        east, north = self.vector_at(t)
        return np.hypot(east, north)


def blow_wind(plan: WindPlan, duration_s: float, rng: np.random.Generator) -> Wind:
    """Draw the wind of a scenario."""
    t = STEP_S * np.arange(int(duration_s / STEP_S) + 2)
    n = len(t)
    mean, from_deg = _mean_wind(plan, t)
    mean = mean * np.exp(wander(rng, n, step_s=STEP_S, time_scale_s=600.0, sd=plan.slow_sd))
    from_deg = from_deg + wander(rng, n, step_s=STEP_S, time_scale_s=300.0, sd=plan.meander_deg)
    scale = min(max(plan.length_scale_m / max(plan.mean_mps, 0.8), 3.0), 120.0)
    along = plan.intensity * mean * _turbulence(plan, n, scale, rng)
    across = 0.8 * plan.intensity * mean * _turbulence(plan, n, scale, rng, is_across=True)
    if plan.gusts_per_h > 0.0:
        along = along + plan.gust_gain * mean * _puff(plan.gusts_per_h, t, rng)
    for gust in plan.gusts:
        inside = (t >= gust.at_s) & (t <= gust.at_s + gust.seconds)
        along = np.where(inside, gust.speed_mps - mean, along)
        across = np.where(inside, 0.0, across)
    to = np.radians(from_deg + 180.0)
    ahead = mean + along
    return Wind(t, ahead * np.sin(to) + across * np.cos(to), ahead * np.cos(to) - across * np.sin(to))


def _mean_wind(plan: WindPlan, t: Floats) -> tuple[Floats, Floats]:
    """Mean speed and direction with the planned changes."""
    mean, from_deg = np.full(len(t), plan.mean_mps), np.full(len(t), plan.from_deg)
    for change in plan.changes:
        share = np.clip((t - change.at_s) / change.over_s, 0.0, 1.0)
        mean += share * (change.mean_mps - mean)
        if change.from_deg is not None:
            from_deg += share * ((change.from_deg - from_deg + 180.0) % 360.0 - 180.0)
    return mean, from_deg


def _puff(per_h: float, t: Floats, rng: np.random.Generator) -> Floats:
    """Gusts at random times, each of 4 to 12 s, rising and falling as 1 - cos; heights up to 1."""
    found = np.zeros(len(t))
    for at in rng.uniform(0.0, t[-1], rng.poisson(per_h * t[-1] / 3600.0)).tolist():
        length, height = rng.uniform(4.0, 12.0), rng.uniform(0.3, 1.0)
        phase = np.clip((t - at) / length, 0.0, 1.0)
        found = np.maximum(found, 0.5 * height * (1.0 - np.cos(2.0 * math.pi * phase)))
    return found


def _turbulence(
    plan: WindPlan, count: int, scale_s: float, rng: np.random.Generator, *, is_across: bool = False
) -> Floats:
    """A stationary series of unit variance."""
    if plan.spectrum == "ar1":
        return wander(rng, count, step_s=STEP_S, time_scale_s=scale_s, sd=1.0)
    size = 1 << math.ceil(math.log2(2 * count))
    frequency = np.fft.rfftfreq(size, STEP_S)
    if plan.spectrum == "von_karman":
        power = scale_s / (1.0 + 70.8 * (frequency * scale_s) ** 2) ** (5.0 / 6.0)
    elif plan.spectrum == "kaimal":
        reduced = frequency * plan.height_m / max(plan.mean_mps, 0.8)
        power = (1.0 + (9.5 if is_across else 33.0) * reduced) ** (-5.0 / 3.0)
    else:
        raise ValueError(f"spectrum {plan.spectrum!r}: 'ar1', 'von_karman' or 'kaimal'")
    power[0] = 0.0
    shaped = np.fft.irfft(np.fft.rfft(rng.standard_normal(size)) * np.sqrt(power), size)
    gain = math.sqrt(2.0 * float(np.sum(power)) / size)
    return np.asarray(shaped[:count] / gain)
