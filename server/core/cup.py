"""From an anemometer's counts to the speed of the air past the rig, second by second.

Speeds in metres per second, job seconds. A cup that does not turn says "below so much", never 0.
"""

from dataclasses import dataclass, field

import numpy as np

from server.core.log import Floats, Integers, WindSamples
from server.core.results import Bools
from server.core.setup import Anemometer
from server.core.timebase import Timebase, job_seconds

LONGEST_SILENCE_S = 1.5
"""A longer time without a message leaves the wind unknown, however still the cup may stand."""
FROZEN_S = 60.0
"""An instrument that has told the very same speed for so long is held to be stuck (common practice, no source)."""
FROZEN_VANE_S = 20.0
"""The same of a vane's bearing on a rig that walks."""


@dataclass(frozen=True, slots=True)
class Apparent:
    """The air past the rig in the second up to `t`; where `is_bound` the speed is below `mps`; NaN: not known.

    `from_bow_deg` is where it comes from as a vane on the rig says, clockwise from the bow; empty: there is no vane.
    """

    boot: Integers
    t: Floats
    mono: Floats
    mps: Floats
    is_bound: Bools
    from_bow_deg: Floats = field(default_factory=lambda: np.zeros(0))


def speed_of_rate(rate_hz: float, *, anemometer: Anemometer) -> float:
    """A cup's line: speed = offset + slope × frequency.

    Parameters
    ----------
    rate_hz
        Pulses per second [Hz].
    anemometer
        Slope [m/s per Hz] and offset [m/s].

    Returns
    -------
    float
        Speed [m/s]; NaN without a slope.

    References
    ----------
    Linear cup calibration V = A f + B, MEASNET practice as cited by Wiley Wind Energy doi 10.1002/we.407.

    Examples
    --------
    >>> round(speed_of_rate(10.0, anemometer=Anemometer(mps_per_hz=0.34, offset_mps=0.2)), 6)
    3.6
    """
    if anemometer.mps_per_hz is None:
        return float("nan")
    return anemometer.offset_mps + anemometer.mps_per_hz * rate_hz


def apparent_by_second(wind: WindSamples, timebase: Timebase, *, anemometer: Anemometer) -> Apparent:
    """The mean speed of the air past the rig in each second.

    The count between the last edges of two seconds, over the time between those edges. Without a new edge the cup is
    slower than one pulse in the time since the last. An instrument that tells a speed is averaged as it is: the cup's
    line does not concern it, its threshold does.

    Parameters
    ----------
    wind
        Wind messages.
    timebase
        The job's time axis.
    anemometer
        The cup's line and threshold [m/s].

    Returns
    -------
    Apparent
        A row a second; NaN where no message came for 1.5 s, without the cup's slope, or where an instrument has told
        the same speed for a minute.

    Notes
    -----
    Reciprocal counting: the resolution is that of the edges' stamps, not of whole pulses a second.

    References
    ----------
    Calm readings are flagged and not averaged as 0: US EPA, EPA-454/R-99-005, section 6.2.

    Examples
    --------
    >>> i, n = np.zeros(3, dtype=np.int64), np.full(3, np.nan)
    >>> pulses, edge = np.array([0.0, 10.0, 20.0]), np.array([0.0, 1.0, 2.0])
    >>> wind = WindSamples(i, np.arange(3), edge, pulses, edge, n, n, n)
    >>> found = apparent_by_second(wind, Timebase(np.zeros(1), 0.0), anemometer=Anemometer(0.34, 0.2))
    >>> found.t.tolist(), found.mps.round(6).tolist()
    ([1.0, 2.0], [3.6, 3.6])
    """
    parts = [_read_boot(wind, timebase, boot, anemometer) for boot in dict.fromkeys(wind.boot.tolist())]
    if not parts:
        none = np.zeros(0)
        return Apparent(none.astype(np.int64), none, none, none, none.astype(np.bool_))
    columns = [np.concatenate(found) for found in zip(*parts, strict=True)]
    has_vane = bool(np.isfinite(columns[-1]).any())
    keep = np.diff(np.maximum.accumulate(columns[1]), prepend=-np.inf) > 0
    boot, t, mono, mps, bound, bow = (column[keep] for column in columns)
    told = bow if has_vane else np.zeros(0)
    return Apparent(boot.astype(np.int64), t, mono, mps, bound.astype(np.bool_), told)


def _read_boot(wind: WindSamples, timebase: Timebase, boot: int, anemometer: Anemometer) -> tuple[Floats, ...]:
    """One start's seconds: boot, t, mono, speed, whether it is a bound, and where a vane points."""
    chosen = wind.boot == boot
    t = job_seconds(wind.boot[chosen], wind.mono[chosen], timebase)
    shift = float(timebase.shift_s[boot])
    seconds = np.arange(np.ceil(t[0] + 1e-9), np.floor(t[-1] + 1e-9) + 1.0)
    seconds = seconds[seconds - 1.0 >= t[0] - 1e-6]
    last = np.searchsorted(t, seconds + 1e-6, side="right") - 1
    first = np.searchsorted(t, seconds - 1.0 + 1e-6, side="right") - 1
    silent = seconds - t[last] > LONGEST_SILENCE_S
    if np.isfinite(wind.speed_mps[chosen]).any():
        told = drop_frozen(wind.speed_mps[chosen], t, after_s=FROZEN_S, least=anemometer.threshold_mps)
        speed = _average(told, first, last)
        bound = speed < anemometer.threshold_mps
        speed = np.where(bound, anemometer.threshold_mps, speed)
    else:
        edges = wind.edge_mono[chosen] + shift
        speed, bound = _count_speeds(wind.pulses[chosen], edges, (first, last), seconds, anemometer)
    speed = np.where(silent, np.nan, speed)
    bow = _average_bearings(drop_frozen(wind.from_bow_deg[chosen], t, after_s=FROZEN_VANE_S), first, last)
    return np.full(len(seconds), float(boot)), seconds, seconds - shift, speed, bound & ~silent, bow


def drop_frozen(values: Floats, t: Floats, *, after_s: float, least: float = 0.0) -> Floats:
    """Take out what an instrument says that has told the very same figure for long, and not of still air.

    Parameters
    ----------
    values
        Figures as told [n], any unit; NaN: not known.
    t
        When they were [n] [s].
    after_s
        How long a figure may stay the same [s].
    least
        Smaller figures may stay the same for ever, in the unit of the values.

    Returns
    -------
    Floats
        The figures [n], NaN from `after_s` after the last change on.

    References
    ----------
    Common practice, no source: moving air is never even for a minute.

    Examples
    --------
    >>> drop_frozen(np.array([2.0, 2.1, 2.1, 2.1]), np.array([0.0, 1.0, 60.0, 61.0]), after_s=60.0).tolist()
    [2.0, 2.1, 2.1, nan]
    """
    place = np.arange(len(values))
    has_changed = np.concatenate(([True], values[1:] != values[:-1]))[: len(place)]
    since = t[np.maximum.accumulate(np.where(has_changed, place, 0))]
    return np.where((t - since >= after_s) & (values >= least), np.nan, values)


def _average(values: Floats, first: Integers, last: Integers) -> Floats:
    """Means of an instrument's own figures in each second, NaN where there are none."""
    known = np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
    count = np.concatenate(([0.0], np.cumsum(known)))
    number = count[last + 1] - count[first + 1]
    return np.where(number > 0, (total[last + 1] - total[first + 1]) / np.maximum(number, 1.0), np.nan)


def _average_bearings(bearing_deg: Floats, first: Integers, last: Integers) -> Floats:
    """Mean bearings in each second, by unit vectors."""
    angle = np.radians(bearing_deg)
    ahead, aside = _average(np.cos(angle), first, last), _average(np.sin(angle), first, last)
    return np.degrees(np.arctan2(aside, ahead)) % 360.0


def _count_speeds(
    pulses: Floats, edges: Floats, ends: tuple[Integers, Integers], seconds: Floats, anemometer: Anemometer
) -> tuple[Floats, Bools]:
    """Speeds from counts, and whether each is only a bound."""
    if anemometer.mps_per_hz is None:
        return np.full(len(seconds), np.nan), np.zeros(len(seconds), dtype=np.bool_)
    first, last = ends
    rise, span = pulses[last] - pulses[first], edges[last] - edges[first]
    age = seconds - edges[last]
    has_rate = (rise > 0) & (span > 0.0)
    rate = np.where(has_rate, rise / np.where(has_rate, span, 1.0), 0.0)
    speed = anemometer.offset_mps + anemometer.mps_per_hz * rate
    never = ~np.isfinite(age)
    bound = anemometer.offset_mps + anemometer.mps_per_hz / np.where(never, 60.0, np.maximum(age, 0.2))
    bound = np.maximum(bound, anemometer.threshold_mps)
    return np.where(has_rate, speed, bound), ~has_rate
