"""The times that tables hold, in the orders and forms that people write them, as seconds since 1970."""

import re
from collections.abc import Iterable
from datetime import date
from math import isfinite

DAY_S = 86_400.0
FIRST_DAY = date(1970, 1, 1).toordinal()
EARLIEST_YEAR, LATEST_YEAR = 1950, 2100
_DATE = re.compile(r"(\d{1,4})[-/. ]\s?(\d{1,2}|[A-Za-z]{3,9})[-/. ]\s?(\d{1,4})\.?|(\d{4})(\d{2})(\d{2})")
_TIME = re.compile(
    r"[T ,]*(\d{1,2})[:.h]?(\d{2})(?:[:.]?(\d{2})(?:[.,](\d+))?)?\s*"
    r"([AaPp])?\.?(?:[Mm]\.?)?\s*(Z|UTC|[+-]\d{2}:?\d{2})?"
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_SPOTS = {"ymd": (0, 1, 2), "dmy": (2, 1, 0), "mdy": (2, 0, 1)}


class Stamps:
    """Reads times of one order; dates are looked up once as long as they repeat."""

    def __init__(self, order: str) -> None:
        self._order = order
        self._date: tuple[str, float] = ("", 0.0)

    def read(self, texts: list[str]) -> tuple[float, bool] | None:
        """Seconds since 1970 on the table's clock, and whether it is UTC by its own word; None: no time."""
        if self._order == "epoch_s" or self._order == "epoch_ms":
            return _read_epoch(texts[0], 1.0 if self._order == "epoch_s" else 1000.0)
        if self._order == "day_of_year":
            return _read_day_of_year(texts)
        text = texts[0].strip() if len(texts) == 1 else " ".join(texts).strip()
        cut = len(self._date[0])
        if not cut or text[:cut] != self._date[0] or text[cut : cut + 1].isdigit():
            found = _DATE.match(text)
            day = None if found is None else _read_date(found, self._order)
            if found is None or day is None:
                return None
            cut = found.end()
            self._date = (text[:cut], day)
        return _read_time(text[cut:], self._date[1])


def split_date(text: str) -> tuple[int, int, int] | None:
    """The three numbers of a date as they stand, a named month as -1 to -12; None: no date."""
    found = _DATE.match(text.strip())
    if found is None:
        return None
    parts = found.groups()[:3] if found[1] else found.groups()[3:]
    numbers = [_read_part(part) for part in parts]
    return None if None in numbers else (numbers[0] or 0, numbers[1] or 0, numbers[2] or 0)


def tell_order(fields: Iterable[str]) -> str | None:
    """The order of dates, if a year in front, a named month or a day above 12 tells it; None: it does not show."""
    for field in fields:
        parts = split_date(field)
        if parts is None:
            continue
        if re.match(r"\s*\d{4}", field):
            return "ymd"
        if re.search(r"\d{4}", field) is None:
            continue
        if parts[1] < 0 or parts[0] > 12:
            return "dmy"
        if parts[1] > 12:
            return "mdy"
    return None


def _read_part(part: str) -> int | None:
    """A number, or a month's name as its negative number."""
    if part.isdigit():
        return int(part)
    name = part[:3].lower()
    return -1 - _MONTHS.index(name) if name in _MONTHS else None


def _read_date(found: re.Match[str], order: str) -> float | None:
    """Seconds from 1970 to the day's begin."""
    parts = found.groups()[:3] if found[1] else found.groups()[3:]
    numbers = [_read_part(part) for part in parts]
    if None in numbers:
        return None
    spots = _SPOTS[order if found[1] else "ymd"]
    if (numbers[1] or 0) < 0 and order == "mdy":
        # A named month says where it stands: 4 Mar 2025.
        spots = _SPOTS["dmy"]
    year, month, day = (numbers[spot] or 0 for spot in spots)
    if len(parts[spots[0]]) <= 2:
        year += 2000
    return _days_to(year, abs(month), day)


def _days_to(year: int, month: int, day: int) -> float | None:
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        return None
    try:
        return DAY_S * (date(year, month, day).toordinal() - FIRST_DAY)
    except ValueError:
        return None


def _read_time(text: str, day: float) -> tuple[float, bool] | None:
    """The time of day behind a date; a date alone is its midnight."""
    if not text.strip():
        return day, False
    found = _TIME.fullmatch(text.rstrip())
    if found is None:
        return None
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if found[5]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found[5] in "Pp" else 0)
    if minute > 59 or second > 60 or hour > 24 or (hour == 24 and (minute or second)):
        return None
    seconds = day + 3600.0 * hour + 60.0 * minute + second + (float(f"0.{found[4]}") if found[4] else 0.0)
    zone = found[6]
    if zone is None:
        return seconds, False
    if zone[0] in "ZU":
        return seconds, True
    ahead = 3600.0 * int(zone[1:3]) + 60.0 * int(zone[-2:])
    return seconds - (ahead if zone[0] == "+" else -ahead), True


def _read_epoch(text: str, per_second: float) -> tuple[float, bool] | None:
    try:
        seconds = float(text) / per_second
    except ValueError:
        return None
    return (seconds, True) if isfinite(seconds) and -6e8 < seconds < 4.2e9 else None


def _read_day_of_year(texts: list[str]) -> tuple[float, bool] | None:
    """Year, day of the year, and hours with minutes as one number (1138 is 11:38)."""
    try:
        numbers = [int(float(text)) for text in texts]
    except (ValueError, OverflowError):
        return None
    year, day, clock = (*numbers, 0, 0)[:3]
    if not 1 <= day <= 366 or not 0 <= clock <= 2400 or clock % 100 > 59:
        return None
    begin = _days_to(year, 1, 1)
    if begin is None:
        return None
    return begin + DAY_S * (day - 1) + 3600.0 * (clock // 100) + 60.0 * (clock % 100), False
