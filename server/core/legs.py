"""Where a walk kept one velocity, and what the cup did there in the mean of some seconds.

Job seconds, metres per second, hertz.
"""

from dataclasses import dataclass
from math import hypot, isfinite

import numpy as np

from server.core.log import Floats, Integers
from server.core.setup import Anemometer
from server.core.windfold import Second

STEADY_MPS = 0.35
"""A second whose velocity is further than this from the leg's mean so far begins another leg."""
SHORTEST_S = 10
SETTLE_S = 3
"""Seconds at a leg's start that do not count: the cup's lag is taken out of the rest."""
BLOCK_S = 5.0
MOST_BLOCKS = 150


@dataclass(frozen=True, slots=True)
class Blocks:
    """Means over some seconds [n]: middle and length [s], frequency [Hz], the leg's velocity [m/s] and number."""

    t: Floats
    seconds: Floats
    hz: Floats
    east: Floats
    north: Floats
    leg: Integers

    def choose(self, chosen: np.ndarray) -> "Blocks":
        """Some of them."""
        columns = (self.t, self.seconds, self.hz, self.east, self.north, self.leg)
        return Blocks(*(column[chosen] for column in columns))


def cut_blocks(seconds: list[Second], *, anemometer: Anemometer) -> Blocks:
    """The legs of a walk, in blocks of about 5 s.

    The cup's lag is taken out second by second: it follows dc/dt = (A / L)(A - c), solved for A. A leg in which
    the cup stood is left out whole, for its other seconds are those of the gusts. Velocities are means of whole legs:
    within a leg the receiver's noise is as large as the walker's own changes and would make the cup seem to answer too
    little.

    Parameters
    ----------
    seconds
        Cup and velocity second by second, with the line in the settings [m/s].
    anemometer
        That line, and the distance constant [m].

    Returns
    -------
    Blocks
        In order of time; of long walks at most about 150, longer ones.

    References
    ----------
    Kristensen, J. Atmos. Oceanic Technol. 17 (2000) 1139 (first-order filter in distance).

    Examples
    --------
    >>> walked = [Second(float(t), 2.0, False, 1.2 if t < 20 else -1.2, 0.0, 0.05, False) for t in range(40)]
    >>> blocks = cut_blocks(walked, anemometer=Anemometer(0.34, 0.2))
    >>> blocks.leg.tolist(), round(float(blocks.hz[0]), 3), round(float(blocks.seconds[0]), 1)
    ([0, 0, 0, 1, 1, 1], 5.294, 6.0)
    """
    legs = [leg for leg in _find_legs(seconds) if len(leg) >= SHORTEST_S and not any(row.is_bound for row in leg)]
    length = max(BLOCK_S, sum(len(leg) for leg in legs) / MOST_BLOCKS)
    rows = []
    for number, leg in enumerate(legs):
        speed = np.array([row.apparent_mps for row in leg])
        air = undo_lag(speed, distance_constant_m=anemometer.distance_constant_m)
        hz = (air - anemometer.offset_mps) / (anemometer.mps_per_hz or 1.0)
        kept = np.arange(SETTLE_S, len(leg))
        t = np.array([row.t - 0.5 for row in leg])
        velocity = np.array([(row.velocity_east_mps, row.velocity_north_mps) for row in leg])[kept].mean(axis=0)
        for part in np.array_split(kept, max(1, round(len(kept) / length))):
            rows.append((t[part].mean(), len(part), hz[part].mean(), *velocity, number))
    t, spans, means, easts, norths, numbers = np.array(rows, dtype=np.float64).reshape(-1, 6).T
    return Blocks(t, spans, means, easts, norths, numbers.astype(np.int64))


def undo_lag(speed: Floats, *, distance_constant_m: float) -> Floats:
    """The air that a cup has felt, from the cup's own speed second by second.

    Parameters
    ----------
    speed
        The cup's speed, one value a second [n] [m/s]; NaN where not known, which its neighbours then are too.
    distance_constant_m
        The cup's distance constant L [m].

    Returns
    -------
    Floats
        The A that solves dc/dt = (A / L)(A - c) [m/s]; half the cup's speed where it falls faster than it could.

    References
    ----------
    Kristensen, J. Atmos. Oceanic Technol. 17 (2000) 1139 (first-order filter in distance).

    Examples
    --------
    >>> undo_lag(np.array([2.0, 2.0, 2.5]), distance_constant_m=2.0).round(3).tolist()
    [2.0, 2.225, 2.851]
    """
    push = speed**2 + 4.0 * distance_constant_m * np.gradient(speed)
    air: Floats = 0.5 * (speed + np.sqrt(np.maximum(push, 0.0)))
    return air


def _find_legs(seconds: list[Second]) -> list[list[Second]]:
    """Runs of seconds, none missing, whose velocity stays near the run's mean."""
    legs: list[list[Second]] = []
    east = north = 0.0
    for row in seconds:
        if not (isfinite(row.apparent_mps) and isfinite(row.velocity_east_mps) and isfinite(row.velocity_north_mps)):
            legs.append([])
            continue
        leg = legs[-1] if legs else []
        count = len(leg)
        away = hypot(row.velocity_east_mps - east / count, row.velocity_north_mps - north / count) if count else 0.0
        if not count or row.t - leg[-1].t > 1.5 or away > STEADY_MPS:
            leg, east, north = [], 0.0, 0.0
            legs.append(leg)
        leg.append(row)
        east, north = east + row.velocity_east_mps, north + row.velocity_north_mps
    return legs
