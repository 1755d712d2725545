"""When it is usually calm here: the share of each hour of day, and the next hour at which a job is likely to fit.

Speeds in metres per second, times in seconds since 1970 (UTC), hours of day by the local mean sun.
"""

from dataclasses import dataclass
from math import nan

import numpy as np

from server.core.log import Floats
from server.core.windpast import DAY_S, WindPast, look_ahead, solar_hour

USUAL = 0.7
"""An hour is usually calm where at least this share of its stretches was."""
ENOUGH_DAYS = 3
"""Of fewer days nothing is called usual."""
HOURS_MEMORY_DAYS = 30.0
HOURS = 24


@dataclass(frozen=True, slots=True)
class CalmHours:
    """By hour of day: the share of stretches that stayed calm, and of how many days it is told; NaN: of none.

    `missing` counts the moments that holes in the log keep out.
    """

    limit_mps: float
    minutes: float
    shares: Floats
    days: np.ndarray
    missing: int

    @property
    def usual(self) -> tuple[int, ...]:
        """The hours when it is usually calm here."""
        with np.errstate(invalid="ignore"):
            return tuple(int(hour) for hour in np.flatnonzero((self.shares >= USUAL) & (self.days >= ENOUGH_DAYS)))


@dataclass(frozen=True, slots=True)
class NextLull:
    """From when a stretch has usually been calm: the begin of the hour, its share and days; NaN: no such hour."""

    at: float
    share: float
    days: int


def count_hours(past: WindPast, *, limit_mps: float, minutes: float, lon_deg: float, until: float) -> CalmHours:
    """How often stretches of so many minutes stayed calm, by the hour of day in which they began.

    Parameters
    ----------
    past
        The wind.
    limit_mps
        The limit [m/s].
    minutes
        Length of the stretch [min].
    lon_deg
        Longitude, east positive [degrees]; NaN: not known, and no hour has a share.
    until
        Now; the 30 days before count [s since 1970].

    Returns
    -------
    CalmHours
        24 shares and numbers of days.

    References
    ----------
    Derivation: relative frequency.

    Examples
    --------
    >>> from server.core.windpast import lay_past
    >>> past = lay_past(np.arange(1, 721) * 600.0, np.ones(720), step_s=600.0)
    >>> count_hours(past, limit_mps=2.0, minutes=30, lon_deg=0.0, until=1e6).usual[:3]
    (0, 1, 2)
    """
    ends = past.ends
    seen = (ends <= until - 60.0 * minutes) & (ends > until - HOURS_MEMORY_DAYS * DAY_S)
    outcomes = look_ahead(past, limit_mps=limit_mps, minutes=minutes)
    hours = solar_hour(ends, lon_deg=lon_deg)
    known = seen & np.isfinite(outcomes) & np.isfinite(hours)
    place = hours[known].astype(np.int64) % HOURS
    sums, counts = np.bincount(place, outcomes[known], HOURS), np.bincount(place, minlength=HOURS)
    day = np.floor(ends[known] / DAY_S)
    days = np.array([np.unique(day[place == hour]).size for hour in range(HOURS)])
    shares = np.where(counts > 0, sums / np.maximum(counts, 1), nan)
    return CalmHours(limit_mps, minutes, shares, days, int((seen & ~known).sum()))


def find_next(hours: CalmHours, *, now: float, lon_deg: float) -> NextLull:
    """The next hour at which a stretch has usually been calm here.

    Parameters
    ----------
    hours
        Shares by hour of day.
    now
        The moment [s since 1970].
    lon_deg
        Longitude, east positive [degrees].

    Returns
    -------
    NextLull
        Within the next 24 h, this hour left out; NaN where no hour is usually calm.

    Notes
    -----
    It is what was usual on the last days, no forecast of the weather: nothing of today's wind goes in.

    References
    ----------
    Derivation: a search.

    Examples
    --------
    >>> shares = np.where(np.arange(24) == 5, 0.9, 0.2)
    >>> find_next(CalmHours(3.0, 30.0, shares, np.full(24, 8), 0), now=4.25 * 3600.0, lon_deg=0.0)
    NextLull(at=18000.0, share=0.9, days=8)
    """
    hour = float(solar_hour(np.array([now]), lon_deg=lon_deg)[0])
    if np.isfinite(hour):
        whole = int(hour)
        for ahead in range(1, HOURS + 1):
            k = (whole + ahead) % HOURS
            if k in hours.usual:
                at = now + (whole + ahead - hour) * 3600.0
                return NextLull(at, float(hours.shares[k]), int(hours.days[k]))
    return NextLull(nan, nan, 0)
