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


def blow_gusts(rng, count, walks, turbulence_mps, scales_s=(30.0, 4.0)):
    """Turbulence of many walks [n, walks, 2]: first-order noises of two time scales, 60 : 40 by variance."""
    found = np.zeros((count, walks, 2))
    for scale, share in zip(scales_s, (0.6, 0.4), strict=True):
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
    return read_cups(rng, air, velocity, slope, offset_mps)


def read_cups(rng, air, velocity, slope, offset_mps, distance_m=SET.distance_constant_m):
    """What cups and receivers say second by second, in the line of the settings."""
    count, walks = air.shape
    speed, cup = np.empty_like(air), air[0].copy()
    for k in range(count):
        cup = cup + air[k] / distance_m * (air[k] - cup) / RATE_HZ
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


def walk_passes(rng, seconds):
    """Back and forth in two headings with 4-s turns through the side [n, 2], at 10 Hz."""
    heading, pace, found, count = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(1.0, 1.4), [], 0
    while count < seconds * RATE_HZ:
        side = 1.0 if len(found) % 4 == 0 else -1.0
        leg = np.full(round(max(rng.normal(40.0, 5.0), 15.0) * RATE_HZ), heading)
        turn = heading + side * np.pi * (np.arange(4 * RATE_HZ) + 0.5) / (4 * RATE_HZ)
        for angles, speed in ((leg, pace), (turn, 0.8 * pace)):
            found.append(speed * np.stack((np.sin(angles), np.cos(angles)), axis=1))
            count += len(angles)
        heading += side * np.pi
    return np.concatenate(found)[: seconds * RATE_HZ]


def shade(velocity, relative, side_deg, loss):
    """What a body beside the cup leaves of the air [...]: a wake of 100 degrees' width that fades at its edges.

    `side_deg`: the bearing of the body as seen from the cup, clockwise from the way walked.
    """
    from_angle = np.arctan2(-relative[..., 0], -relative[..., 1])
    turned = from_angle - np.arctan2(velocity[..., 0], velocity[..., 1]) - np.radians(side_deg)
    away = np.abs((turned + np.pi) % (2.0 * np.pi) - np.pi)
    return 1.0 - loss / (1.0 + (away / np.radians(50.0)) ** 6)


def simulate_job(
    seed,
    *,
    seconds=900,
    side_deg=180.0,
    loss=0.0,
    slope=1.0,
    wind_mps=None,
    intensity=None,
    scales_s=(30.0, 4.0),
    distance_m=SET.distance_constant_m,
):
    """A spraying job: passes, a wind that changes slowly, gusts, and a cup shielded on one side."""
    rng = np.random.default_rng((43, seed))
    way = walk_passes(rng, seconds)
    n = len(way)
    t = np.arange(n) / RATE_HZ
    mean = rng.uniform(1.0, 6.0) if wind_mps is None else wind_mps
    share = rng.uniform(0.15, 0.40) if intensity is None else intensity
    slow = 1.0 + 0.15 * np.sin(2.0 * np.pi * t / rng.uniform(300.0, 900.0) + rng.uniform(0.0, 6.3))
    bearing = rng.uniform(0.0, 2.0 * np.pi)
    bearing = bearing + 0.25 * np.sin(2.0 * np.pi * t / rng.uniform(300.0, 900.0) + rng.uniform(0.0, 6.3))
    wind = mean * (slow * np.array([np.sin(bearing), np.cos(bearing)])).T[:, None]
    wind = wind + blow_gusts(rng, n, 1, share * mean, scales_s)
    sway = 1.0 + 0.05 * np.interp(t, np.arange(seconds + 1), rng.standard_normal(seconds + 1))
    velocity = (way * sway[:, None])[:, None]
    relative = wind - velocity
    air = np.hypot(relative[..., 0], relative[..., 1]) * shade(velocity, relative, side_deg, loss)
    return read_cups(rng, air, velocity, slope, SET.offset_mps, distance_m)[0]
