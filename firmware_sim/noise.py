"""Seeded random parts of the world: one generator a part, and first-order Gauss–Markov noise."""

import math
from zlib import crc32

import numpy as np

from firmware_sim.curve import Floats


def make_generator(seed: int, part: str) -> np.random.Generator:
    """Make the generator of one part of the world, so that a change in one part leaves the others as they were."""
    return np.random.default_rng([seed, crc32(part.encode())])


def wander(rng: np.random.Generator, count: int, *, step_s: float, time_scale_s: float, sd: float) -> Floats:
    """Draw a stationary first-order Gauss–Markov series: x[k+1] = e^(−dt/τ) x[k] + sd √(1 − e^(−2dt/τ)) n[k]."""
    keep = math.exp(-step_s / time_scale_s)
    kicks = (sd * math.sqrt(1.0 - keep * keep) * rng.standard_normal(count)).tolist()
    value = sd * float(rng.standard_normal())
    series = []
    for kick in kicks:
        series.append(value)
        value = keep * value + kick
    return np.array(series)
