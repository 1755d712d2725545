"""Walks with a cup in simulated air, many at once, written apart from core: truth, and what cup and receiver say."""

from dataclasses import dataclass

import numpy as np

from server.core.setup import Anemometer
from server.core.windfold import Second

RATE_HZ = 10
SET = Anemometer(mps_per_hz=0.34, offset_mps=0.2, threshold_mps=0.5, distance_constant_m=2.5, height_m=2.0)
"""What the settings say; the true cup differs by what a walk's `slope` and `offset` say."""
SQUARE = (0.0, 180.0, 90.0, 270.0)


@dataclass(frozen=True)
class Plan:
    """A walk: legs of (heading in degrees, pace in m/s, seconds), turns of 4 s between them."""

    legs: tuple[tuple[float, float, float], ...]

    def velocity(self) -> np.ndarray:
        """Metres per second at 10 Hz [n, 2]."""
        found = []
        for heading, pace, seconds in self.legs:
            angle = np.radians(heading)
            way = pace * np.array([np.sin(angle), np.cos(angle)])
            if found:
                found.append(np.linspace(found[-1][-1], way, 4 * RATE_HZ))
            found.append(np.tile(way, (round(seconds * RATE_HZ), 1)))
        return np.concatenate(found)


def plan_square(minutes, *, paces=(0.8, 1.8), leg_s=30.0, headings=SQUARE, turned=0.0):
    """Out and back along two lines square to each other, at one pace after the other, for so many minutes."""
    legs = []
    while len(legs) * (leg_s + 4.0) < 60.0 * minutes:
        k = len(legs)
        heading, pace = headings[k % len(headings)] + turned, paces[k // len(headings) % len(paces)]
        legs.append((heading, pace, leg_s))
    return Plan(tuple(legs))


def blow_gusts(rng, count, walks, turbulence_mps):
    """Turbulence of many walks [n, walks, 2]: first-order noises of 30 s and 4 s, 60 : 40 by variance."""
    found = np.zeros((count, walks, 2))
    for scale, share in ((30.0, 0.6), (4.0, 0.4)):
        keep, sd = np.exp(-1.0 / (scale * RATE_HZ)), np.sqrt(share) * turbulence_mps
        kicks = sd * np.sqrt(1.0 - keep**2) * rng.standard_normal((count, walks, 2))
        state = sd * rng.standard_normal((walks, 2))
        for k in range(count):
            state = keep * state + kicks[k]
            found[k] += state
    return found


def simulate_walks(
    plan, *, walks, seed, wind_mps, turbulence_mps, slope=1.05, offset_mps=0.2, drift_mps=0.0, shield=None
):
    """Seconds of many walks, each with its own direction of the wind; `slope` over that in the settings.

    `drift_mps`: how far the mean wind moves from first to last second. `shield` (velocity, relative) -> what is left.
    """
    rng = np.random.default_rng((41, seed))
    way = plan.velocity()
    count = len(way) // RATE_HZ * RATE_HZ
    way = way[:count]
    sway = 1.0 + 0.05 * np.repeat(rng.standard_normal((count // RATE_HZ, walks)), RATE_HZ, axis=0)
    velocity = way[:, None] * sway[:, :, None]
    angle, veer = rng.uniform(0.0, 2.0 * np.pi, (2, walks))
    mean = wind_mps * np.stack((np.sin(angle), np.cos(angle)), axis=1)
    change = drift_mps * np.stack((np.sin(veer), np.cos(veer)), axis=1)
    late = np.linspace(-0.5, 0.5, count)[:, None, None]
    relative = mean + change * late + blow_gusts(rng, count, walks, turbulence_mps) - velocity
    air = np.hypot(relative[..., 0], relative[..., 1])
    if shield is not None:
        air = air * shield(velocity, relative)
    return _read_cups(rng, air, velocity, slope, offset_mps)


def _read_cups(rng, air, velocity, slope, offset_mps):
    """What cups and receivers say second by second, in the line of the settings."""
    count, walks = air.shape
    speed, cup = np.empty_like(air), air[0].copy()
    for k in range(count):
        cup = cup + air[k] / SET.distance_constant_m * (air[k] - cup) / RATE_HZ
        speed[k] = cup
    hertz = np.where(speed > SET.threshold_mps, (speed - offset_mps) / (slope * SET.mps_per_hz), 0.0)
    by_second = hertz.reshape(-1, RATE_HZ, walks)
    stood = (by_second <= 0.0).any(axis=1)
    told = SET.offset_mps + SET.mps_per_hz * by_second.mean(axis=1)
    seen = velocity.reshape(-1, RATE_HZ, walks, 2).mean(axis=1) + 0.05 * rng.standard_normal((*told.shape, 2))
    return [
        [
            Second(t + 1.0, float(told[t, w]), bool(stood[t, w]), *seen[t, w].tolist(), 0.05, False)
            for t in range(len(told))
        ]
        for w in range(walks)
    ]
