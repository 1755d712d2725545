"""The wind of the past as a row of means, and what of it tells whether the next minutes stay calm.

Speeds in metres per second, times in seconds since 1970 (UTC), each mean at the end of its interval; NaN is missing.
"""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from server.core.log import Floats

STEPS_S = (60.0, 600.0)
"""Lengths of the means that a past may be made of."""
HIGHEST_MPS = 75.0
"""No mean wind near the ground is above this (WMO-No. 8: the range that anemometers must have)."""
LONGEST_S = 5 * 366 * 86400.0
"""A longer past is a wrong date."""
DAY_S = 86400.0
CENTRE, SPREAD = 0.8, 0.2
"""Roots of speed over limit are told from here, in these units: about their mean and scatter while it is calm."""
TREND_UNIT, UNEVEN_CENTRE, UNEVEN_UNIT = 0.15, 0.4, 0.12
"""The same for the change over half an hour and for the unevenness of the hour before."""
NAMES = (
    "always",
    "latest",
    "10 min, low",
    "10 min, high",
    "30 min",
    "60 min, low",
    "60 min, high",
    "highest of 30 min",
    "highest of 60 min",
    "trend",
    "unevenness",
    "day cos",
    "day sin",
    "half day cos",
    "half day sin",
)
"""The columns of `describe_past`; a past of 10-min means has no column "latest", as that is its 10-min mean."""


@dataclass(frozen=True, slots=True)
class WindPast:
    """Means of `step_s` one after another, the first of them ended at `begin`; NaN: missing.

    `missing` counts the holes, `refused` the readings that no wind can have, `repeated` those told twice.
    """

    begin: float
    step_s: float
    mean_mps: Floats
    missing: int
    refused: int
    repeated: int

    @property
    def ends(self) -> Floats:
        """When each mean ended."""
        return self.begin + self.step_s * np.arange(len(self.mean_mps))


def lay_past(utc: Floats, mean: Floats, *, step_s: float) -> WindPast:
    """Readings in any order laid on an even row, with holes where there is none.

    Parameters
    ----------
    utc
        End of each interval, shape (n,) [s since 1970]; NaN: the reading has no date and is refused.
    mean
        Mean speed of each interval, shape (n,) [m/s]; NaN: missing.
    step_s
        Length of the intervals, 60 or 600 [s].

    Returns
    -------
    WindPast
        The row; empty where no reading has a date. Of two readings of one interval the later in the list counts.

    Raises
    ------
    ValueError
        If the step is neither 60 nor 600 s, the lengths differ, or the readings span over five years.

    Notes
    -----
    A speed below 0 or above 75 m/s is refused and counted, and is a hole from then on.

    References
    ----------
    Derivation: bookkeeping. Range of anemometers: WMO-No. 8, Guide to Instruments, part I, annex 1.A (from memory).

    Examples
    --------
    >>> past = lay_past(np.array([600.0, 1800.0]), np.array([1.5, -9.0]), step_s=600.0)
    >>> past.mean_mps, past.missing, past.refused
    (array([1.5, nan, nan]), 2, 1)
    """
    if step_s not in STEPS_S:
        raise ValueError(f"means of {step_s:g} s: only 60 or 600 s are known; average the readings over one of them")
    if len(utc) != len(mean):
        raise ValueError(f"{len(utc)} times for {len(mean)} speeds: give one time for each speed")
    dated = np.isfinite(utc)
    if not dated.any():
        return WindPast(0.0, step_s, np.zeros(0), 0, len(utc), 0)
    place = np.round(utc[dated] / step_s).astype(np.int64)
    first, last = int(place.min()), int(place.max())
    if (last - first) * step_s > LONGEST_S:
        raise ValueError(f"{(last - first) * step_s / DAY_S:.0f} days of readings: at most 1830; check the dates")
    speed = mean[dated]
    wrong = np.isfinite(speed) & ((speed < 0.0) | (speed > HIGHEST_MPS)) | np.isinf(speed)
    row = np.full(last - first + 1, np.nan)
    row[place - first] = np.where(wrong, np.nan, speed)
    repeated = len(place) - len(np.unique(place))
    refused = int(wrong.sum()) + int((~dated).sum())
    return WindPast(first * step_s, step_s, row, int(np.isnan(row).sum()), refused, repeated)


def look_ahead(past: WindPast, *, limit_mps: float, minutes: float) -> Floats:
    """Whether every mean of the next minutes stayed at or under a limit, seen from each mean's end.

    Parameters
    ----------
    past
        The wind.
    limit_mps
        The limit [m/s].
    minutes
        How far ahead [min].

    Returns
    -------
    array
        1 stayed, 0 did not, shape (n,) [-]; NaN where a mean of those minutes is missing or still to come.

    Notes
    -----
    A stretch with a hole is not judged even if another of its means is above the limit: otherwise holes would make
    the wind look stronger than it is.

    References
    ----------
    Derivation: the event as defined.

    Examples
    --------
    >>> past = lay_past(np.arange(1, 6) * 600.0, np.array([1.0, 2.0, 4.0, 1.0, 2.0]), step_s=600.0)
    >>> look_ahead(past, limit_mps=3.0, minutes=20)
    array([ 0.,  0.,  1., nan, nan])
    """
    steps = count_steps(past, minutes)
    ahead = np.concatenate((past.mean_mps[1:], np.full(steps, np.nan)))
    if len(past.mean_mps) == 0:
        return np.zeros(0)
    highest = np.lib.stride_tricks.sliding_window_view(ahead, steps).max(axis=1)
    return np.where(np.isfinite(highest), (highest <= limit_mps).astype(float), np.nan)


def count_steps(past: WindPast, minutes: float) -> int:
    """How many means of a past cover so many minutes, rounded up, at least one.

    Parameters
    ----------
    past
        The wind.
    minutes
        Length [min].

    Returns
    -------
    int
        Number of means.

    References
    ----------
    Derivation: a division.

    Examples
    --------
    >>> count_steps(lay_past(np.array([600.0]), np.array([1.0]), step_s=600.0), 25)
    3
    """
    return max(1, int(np.ceil(minutes * 60.0 / past.step_s - 1e-9)))


def mean_before(past: WindPast, minutes: float) -> Floats:
    """The mean speed of the minutes before each mean's end.

    Parameters
    ----------
    past
        The wind.
    minutes
        Length [min].

    Returns
    -------
    array
        Mean of what is there, shape (n,) [m/s]; NaN where less than half is.

    References
    ----------
    Derivation: the arithmetic mean.

    Examples
    --------
    >>> past = lay_past(np.arange(1, 4) * 600.0, np.array([1.0, 2.0, 4.0]), step_s=600.0)
    >>> mean_before(past, 20)
    array([1. , 1.5, 3. ])
    """
    total, _, count = _sum_before(past.mean_mps, count_steps(past, minutes))
    enough = count >= count_steps(past, minutes) / 2.0
    return np.where(enough, total / np.maximum(count, 1.0), np.nan)


def solar_hour(utc: Floats, *, lon_deg: float) -> Floats:
    """The local mean solar hour of the day.

    Parameters
    ----------
    utc
        Instants, shape (n,) [s since 1970].
    lon_deg
        Longitude, east positive [degrees].

    Returns
    -------
    array
        0 to 24, shape (n,) [h]; NaN where the longitude is not known.

    Notes
    -----
    The sun itself is up to 17 min before or behind.

    References
    ----------
    Derivation: 15 degrees an hour.

    Examples
    --------
    >>> solar_hour(np.array([0.0]), lon_deg=-75.0)
    array([19.])
    """
    return (utc / 3600.0 + lon_deg / 15.0) % 24.0


def describe_past(past: WindPast, *, limit_mps: float, lon_deg: float) -> Floats:
    """What the last 70 minutes before each mean's end say, in numbers that do not depend on the limit's size.

    The columns are `NAMES`: roots of speed over limit (latest, means over 10, 30 and 60 min, highest means of 30 and
    60 min), each less 0.8 and in units of 0.2; the change of the 30-min one over 30 min; the root of the standard
    deviation over limit of the hour before the last 10 min; and the hour of day in two harmonics. The 10- and 60-min
    ones are cut at their middle, so that what follows may be steeper on one side.

    Parameters
    ----------
    past
        The wind.
    limit_mps
        The limit [m/s].
    lon_deg
        Longitude, for the hour of day [degrees]; NaN: not known, and the day's columns are 0.

    Returns
    -------
    array
        Shape (n, 15), or (n, 14) for a past of 10-min means [-]; NaN in all columns where less than half of a
        stretch is known.

    References
    ----------
    Derivation: speeds' roots are nearly normal (Brown, Katz and Murphy, J. Climate Appl. Meteorol. 23 (1984) 1184,
    from memory).

    Examples
    --------
    >>> past = lay_past(np.arange(1, 13) * 600.0, np.full(12, 1.28), step_s=600.0)
    >>> rows = describe_past(past, limit_mps=2.0, lon_deg=0.0)
    >>> rows.shape, bool(np.abs(rows[-1, 1:5]).max() < 1e-9)
    ((12, 14), True)
    """
    with np.errstate(invalid="ignore"):
        root = {m: _root(mean_before(past, m), limit_mps) for m in (10, 30, 60)}
        top = [_root(_highest_before(past, m), limit_mps) for m in (30, 60)]
        change = (root[30] - _delay(root[30], count_steps(past, 30))) * SPREAD / TREND_UNIT
        uneven = (np.sqrt(_unevenness(past) / limit_mps) - UNEVEN_CENTRE) / UNEVEN_UNIT
    turn = np.nan_to_num(solar_hour(past.ends, lon_deg=lon_deg) * np.pi / 12.0)
    known = 0.0 if not isfinite(lon_deg) else 1.0
    columns: list[Floats] = [np.ones(len(turn))]
    if past.step_s < 600.0:
        columns.append(_root(past.mean_mps, limit_mps))
    columns += [np.minimum(root[10], 0.0), np.maximum(root[10], 0.0), root[30]]
    columns += [np.minimum(root[60], 0.0), np.maximum(root[60], 0.0), *top, change, uneven]
    columns += [known * wave(k * turn) for k in (1, 2) for wave in (np.cos, np.sin)]
    rows: Floats = np.column_stack(columns)
    rows[~np.isfinite(rows).all(axis=1)] = np.nan
    return rows


def _root(speed: Floats, limit_mps: float) -> Floats:
    """The root of speed over limit, in the units of the columns."""
    root: Floats = (np.sqrt(speed / limit_mps) - CENTRE) / SPREAD
    return root


def _delay(values: Floats, steps: int) -> Floats:
    """What the values were so many steps before."""
    return np.concatenate((np.full(min(steps, len(values)), np.nan), values[: max(len(values) - steps, 0)]))


def _sum_before(values: Floats, steps: int) -> tuple[Floats, Floats, Floats]:
    """Sums, sums of squares and number of what is known in the last so many values, at each value."""
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    sums = np.zeros((3, len(values) + 1))
    np.cumsum(np.stack((filled, filled**2, known.astype(float))), axis=1, out=sums[:, 1:])
    first = np.maximum(np.arange(1, len(values) + 1) - steps, 0)
    total = sums[:, 1:] - sums[:, first]
    return total[0], total[1], total[2]


def _highest_before(past: WindPast, minutes: float) -> Floats:
    """The highest mean of the minutes before each mean's end; NaN where less than half is known."""
    steps = count_steps(past, minutes)
    if len(past.mean_mps) == 0:
        return np.zeros(0)
    padded = np.concatenate((np.full(steps - 1, -np.inf), np.nan_to_num(past.mean_mps, nan=-np.inf)))
    top = np.lib.stride_tricks.sliding_window_view(padded, steps).max(axis=1)
    _, _, count = _sum_before(past.mean_mps, steps)
    return np.where(count >= steps / 2.0, top, np.nan)


def _unevenness(past: WindPast) -> Floats:
    """The standard deviation of the means in the hour before the last 10 minutes."""
    steps = count_steps(past, 60)
    total, squares, count = _sum_before(past.mean_mps, steps)
    count_safe = np.maximum(count, 1.0)
    variance = np.maximum(squares / count_safe - (total / count_safe) ** 2, 0.0)
    return _delay(np.where(count >= steps / 2.0, np.sqrt(variance), np.nan), count_steps(past, 10))
