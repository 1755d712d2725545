"""Local days and times of day as whole minutes since 1970, without a time zone: what people write and read.

Minutes are counted as if every day had 24 hours: where clocks change, hours after a work err by one.
"""

from typing import Final

import numpy as np

DAY_MIN: Final = 1440
HOUR_MIN: Final = 60
_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def minute_of(day: str, time: str = "") -> int:
    """The minute at which a day, or a time of it, begins.

    Parameters
    ----------
    day
        As 2027-05-31.
    time
        As 14:30; empty: midnight.

    Returns
    -------
    int
        Minutes since the begin of 1970, local.

    Raises
    ------
    ValueError
        If it is no day or no time.

    References
    ----------
    Derivation: numpy's datetime64, which counts days of 24 hours.

    Examples
    --------
    >>> minute_of("1970-01-02"), minute_of("1970-01-02", "00:30")
    (1440, 1470)
    """
    return int(np.datetime64(f"{day}T{time}" if time else day, "m").astype(np.int64))


def count_days(before: str, after: str) -> float:
    """Days from one day to another.

    Parameters
    ----------
    before
        A day, as 2027-05-31.
    after
        Another.

    Returns
    -------
    float
        Days between [d]; below 0 where the second comes first.

    References
    ----------
    Derivation: as `minute_of`.

    Examples
    --------
    >>> count_days("2027-05-17", "2027-06-01")
    15.0
    """
    return (minute_of(after) - minute_of(before)) / DAY_MIN


def write_day(minute: int) -> str:
    """The day of a minute.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.

    Returns
    -------
    str
        As 2027-05-31.

    References
    ----------
    Derivation: numpy's datetime64.

    Examples
    --------
    >>> write_day(1470)
    '1970-01-02'
    """
    return str(np.datetime64(minute, "m").astype("datetime64[D]"))


def write_time(minute: int) -> str:
    """The time of day of a minute.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.

    Returns
    -------
    str
        As 14:30.

    References
    ----------
    Derivation: the rest of a day of 1440 minutes.

    Examples
    --------
    >>> write_time(1470)
    '00:30'
    """
    return f"{minute % DAY_MIN // HOUR_MIN:02d}:{minute % HOUR_MIN:02d}"


def begin_day(minute: int) -> int:
    """The midnight before a minute.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.

    Returns
    -------
    int
        The first minute of its day.

    References
    ----------
    Derivation: whole days of 1440 minutes.

    Examples
    --------
    >>> begin_day(1470)
    1440
    """
    return minute - minute % DAY_MIN


def month_of(minute: int) -> int:
    """The month of a minute, 1 to 12.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.

    Returns
    -------
    int
        1 for January.

    References
    ----------
    Derivation: numpy's datetime64.

    Examples
    --------
    >>> month_of(minute_of("2027-05-31"))
    5
    """
    return int(np.datetime64(minute, "m").astype("datetime64[M]").astype(np.int64)) % 12 + 1


def is_growing(minute: int, first_month: float | None, last_month: float | None) -> bool:
    """Whether a minute lies in the months of a rule; they may go over the turn of the year.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.
    first_month
        1 to 12 [month]; None: from the begin of the year.
    last_month
        1 to 12 [month]; None: to its end.

    Returns
    -------
    bool
        True in those months.

    References
    ----------
    Derivation: a circle of twelve.

    Examples
    --------
    >>> is_growing(minute_of("2027-11-30"), 9.0, 4.0), is_growing(minute_of("2027-11-30"), 4.0, 10.0)
    (True, False)
    """
    first, last, month = first_month or 1.0, last_month or 12.0, month_of(minute)
    return first <= month <= last if first <= last else month >= first or month <= last


def begin_year(minute: int, month: float = 1.0) -> int:
    """The begin of the year of counting in which a minute lies.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.
    month
        The month with which such a year begins [1 to 12].

    Returns
    -------
    int
        Its first minute.

    References
    ----------
    Derivation: whole months.

    Examples
    --------
    >>> write_day(begin_year(minute_of("2027-05-31"))), write_day(begin_year(minute_of("2027-05-31"), 7.0))
    ('2027-01-01', '2026-07-01')
    """
    months = int(np.datetime64(minute, "m").astype("datetime64[M]").astype(np.int64))
    begun = months - (months - (int(month) - 1)) % 12
    return int(np.datetime64(begun, "M").astype("datetime64[m]").astype(np.int64))


def tell_day(minute: int, now: int) -> str:
    """A day in words, as seen from now.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.
    now
        The same of the reader.

    Returns
    -------
    str
        "today", "tomorrow", "yesterday", or as "31 May", with the year where it is another.

    References
    ----------
    Derivation: whole days between.

    Examples
    --------
    >>> tell_day(minute_of("2027-05-31"), minute_of("2027-05-30", "23:00"))
    'tomorrow'
    >>> tell_day(minute_of("2026-05-31"), minute_of("2027-05-30"))
    '31 May 2026'
    """
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}.get((begin_day(minute) - begin_day(now)) // DAY_MIN)
    if near is not None:
        return near
    day, year = write_day(minute), write_day(now)[:4]
    words = f"{int(day[8:])} {_MONTHS[month_of(minute) - 1]}"
    return words if day[:4] == year else f"{words} {day[:4]}"


def tell_moment(minute: int, now: int) -> str:
    """A time of a day in words, as seen from now.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.
    now
        The same of the reader.

    Returns
    -------
    str
        As "14:30 today" or "14:30 on 31 May".

    References
    ----------
    Derivation: as `tell_day`.

    Examples
    --------
    >>> tell_moment(minute_of("2027-05-31", "18:00"), minute_of("2027-05-31"))
    '18:00 today'
    """
    return f"{write_time(minute)} {tell_on(minute, now)}"


def tell_on(minute: int, now: int) -> str:
    """A day in words as something falls on it, as seen from now.

    Parameters
    ----------
    minute
        Minutes since the begin of 1970, local.
    now
        The same of the reader.

    Returns
    -------
    str
        "today", "tomorrow", "yesterday", or as "on 31 May".

    References
    ----------
    Derivation: as `tell_day`.

    Examples
    --------
    >>> tell_on(minute_of("2027-05-31"), minute_of("2027-05-01"))
    'on 31 May'
    """
    words = tell_day(minute, now)
    return words if words.isalpha() else f"on {words}"
