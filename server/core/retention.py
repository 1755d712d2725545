"""How long signed records and their jobs are kept: never shorter than the longest period of the rules chosen."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from server.core.entered import Entered, entry
from server.core.errors import EntryError
from server.core.regimes import REGIME_KEYS, longest_years

MOST_YEARS: Final = 100.0


@dataclass(frozen=True, slots=True)
class Retention(Entered):
    """Which rules concern the user, and after how many years records may go; None: they are kept for ever."""

    regimes: tuple[str, ...] = entry("Rules that concern you", default=REGIME_KEYS)
    years: int | None = entry("Keep for so many years", hint="empty: for ever", default=None)

    def __post_init__(self) -> None:
        """Refuse rules that are not known and periods that are too short; raises EntryError."""
        for key in self.regimes:
            if key not in REGIME_KEYS:
                raise EntryError("regimes", f"{key!r} is none of {', '.join(REGIME_KEYS)}")
        least = longest_years(self.regimes)
        if self.years is not None and not least <= self.years <= MOST_YEARS:
            raise EntryError(
                "years", f"{self.years} years are outside {least:g} to {MOST_YEARS:g}: leave it empty to keep for ever"
            )

    @property
    def least_years(self) -> float:
        """So long nothing goes, whoever asks."""
        return longest_years(self.regimes) if self.years is None else float(self.years)


def keep_until(end_utc: float, *, years: float) -> str:
    """The last day on which a record must still be there.

    Parameters
    ----------
    end_utc
        When the work ended, or the record was signed if that was later [s since 1970].
    years
        How long it is kept [years]; parts of a year count as a whole one.

    Returns
    -------
    str
        A day as 2029-05-31: one more than the anniversary, so that no zone of the earth cuts it short.

    References
    ----------
    Derivation: the calendar's years; a 29th of February is kept until the 1st of March and a day.

    Examples
    --------
    >>> keep_until(1_798_761_600.0, years=2.0), keep_until(1_835_395_200.0, years=1.0)
    ('2029-01-02', '2029-03-02')
    """
    day = np.datetime64(int(end_utc), "s").astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    place = (day - month.astype("datetime64[D]")).astype(int)
    later = (month + np.timedelta64(12 * int(np.ceil(years)), "M")).astype("datetime64[D]") + place
    return str(later + np.timedelta64(1, "D"))


def may_go(end_utc: float, now_utc: float, *, years: float) -> bool:
    """Whether the period of a record is over.

    Parameters
    ----------
    end_utc
        When the work ended, or the record was signed if that was later [s since 1970].
    now_utc
        The time now [s since 1970].
    years
        How long it is kept [years].

    Returns
    -------
    bool
        True from the day after `keep_until`.

    References
    ----------
    As `keep_until`.

    Examples
    --------
    >>> may_go(0.0, 63_158_399.0, years=2.0), may_go(0.0, 63_244_800.0, years=2.0)
    (False, True)
    """
    return str(np.datetime64(int(now_utc), "s").astype("datetime64[D]")) > keep_until(end_utc, years=years)
