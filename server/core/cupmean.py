"""What a cup did in the mean over an interval, for holding it against a reference instrument beside it.

Hertz, metres per second, seconds.
"""

from dataclasses import dataclass
from math import hypot, nan, sqrt

import numpy as np

from server.core.cup import apparent_by_second
from server.core.log import WindSamples
from server.core.setup import Anemometer
from server.core.timebase import Timebase

_HERTZ = Anemometer(mps_per_hz=1.0, offset_mps=0.0, threshold_mps=0.0)
"""A line that tells the frequency itself."""
SHORTEST_S = 20
LEAST_KNOWN = 0.9
MOST_STOOD = 0.02
COUNT_SD = 0.41
"""Of a count between two edges: both ends somewhere within a pulse."""
APART_M = 2.0
"""Eddies of so many metres and more reach both instruments, where they stand a metre apart (common practice)."""


@dataclass(frozen=True, slots=True)
class CupMean:
    """The mean frequency with its uncertainty [Hz], NaN where `refusal` says why it is of no use.

    `turbulence_mps`: how far the means at two instruments a metre apart may differ by the air's turbulence alone.
    """

    hz: float = nan
    hz_sd: float = nan
    seconds: int = 0
    turbulence_mps: float = nan
    refusal: str = ""


def average_cup(wind: WindSamples, timebase: Timebase, *, speed_mps: float, slope: float | None) -> CupMean:
    """The mean of a cup's frequency over all of some wind messages.

    Parameters
    ----------
    wind
        The messages of the interval.
    timebase
        Their axis of time.
    speed_mps
        The reference's mean speed meanwhile [m/s].
    slope
        What a hertz is worth by the settings [m/s per Hz]; None: 0.34 is taken, for the turbulence only.

    Returns
    -------
    CupMean
        Refused where less than 20 s or nine tenths of the interval are known, or the cup stood in more than 2 % of the
        seconds: a cup that stops and starts does not keep to its line.

    References
    ----------
    Derivation: standard deviation of a mean of a first-order process over T is s √(2 τ / T), here with τ the time in
    which 2 m of air pass. Uncertainty of a count: JCGM 100:2008, 4.3.7.

    Examples
    --------
    >>> i, t, n = np.zeros(61, dtype=np.int64), np.arange(61.0), np.full(61, np.nan)
    >>> wind = WindSamples(i, np.arange(61), t, 10.0 * t, t, n, n, n)
    >>> found = average_cup(wind, Timebase(np.zeros(1), 0.0), speed_mps=3.6, slope=0.34)
    >>> round(found.hz, 6), found.seconds, found.refusal
    (10.0, 60, '')
    """
    air = apparent_by_second(wind, timebase, anemometer=_HERTZ)
    known = np.isfinite(air.mps)
    seconds = int(known.sum())
    if np.isfinite(wind.speed_mps).any():
        return CupMean(seconds=seconds, refusal="this instrument tells speeds itself: it has no line")
    if seconds < SHORTEST_S:
        return CupMean(seconds=seconds, refusal=f"only {seconds} s were counted; at least {SHORTEST_S} are needed")
    if seconds < LEAST_KNOWN * len(known):
        return CupMean(seconds=seconds, refusal="too many of its messages are missing")
    stood = int((air.is_bound & known).sum())
    if stood > MOST_STOOD * seconds:
        return CupMean(seconds=seconds, refusal=f"the cup stood for {stood} s of it: more wind is needed")
    turning = air.mps[known & ~air.is_bound]
    mean, spread = float(turning.mean()), float(turning.std())
    turbulence = spread * (0.34 if slope is None else slope) * sqrt(2.0 * APART_M / max(speed_mps, 0.3) / seconds)
    return CupMean(mean, hypot(COUNT_SD / seconds, 1e-3 * mean), seconds, turbulence)
