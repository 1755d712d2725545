"""Time zones by name or fixed offset, and local times that do not exist or exist twice."""

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from server.errors import RequestError

_OFFSET = re.compile(r"(?:UTC)?([+-])(\d{1,2}):?(\d{2})?")
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+){0,2}")
QUARTER_S = 900
"""Clocks change at quarters of an hour."""
START = datetime(1970, 1, 1, tzinfo=UTC)


def read_zone(text: str) -> ZoneInfo | float:
    """A named zone, or seconds ahead of UTC; raises RequestError."""
    if not isinstance(text, str):
        raise RequestError("zone", "a text is wanted")
    if text in ("UTC", "Z"):
        return 0.0
    found = _OFFSET.fullmatch(text)
    if found is not None:
        seconds = 3600 * int(found[2]) + 60 * int(found[3] or 0)
        if seconds <= 14 * 3600:
            return float(seconds if found[1] == "+" else -seconds)
    if _NAME.fullmatch(text) is None:
        raise RequestError("zone", f"{text[:40]!r}: UTC, an offset such as -05:00, or an IANA name (Area/City)")
    try:
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, OSError, ValueError) as error:
        raise RequestError("zone", f"{text[:40]!r} is not known on this machine; a fixed offset always is") from error


def offset_at(zone: str, utc: float) -> float:
    """How many seconds a zone's clocks are ahead of UTC at an instant; raises RequestError for a zone that is none."""
    found = read_zone(zone)
    if not isinstance(found, ZoneInfo):
        return found
    ahead = datetime.fromtimestamp(utc, found).utcoffset()
    assert ahead is not None
    return ahead.total_seconds()


class Clock:
    """Turns local seconds since 1970 into UTC, each local quarter of an hour looked up once."""

    def __init__(self, zone: ZoneInfo | float) -> None:
        self._zone = zone
        self._quarter: int | None = None
        self._offsets: tuple[float, ...] = ()

    def find(self, local: float) -> tuple[float, ...]:
        """UTC of a local time: none where clocks skip it, two where they show it twice, else one."""
        if not isinstance(self._zone, ZoneInfo):
            return (local - self._zone,)
        quarter = int(local // QUARTER_S)
        if quarter != self._quarter:
            self._offsets, self._quarter = _find_offsets(self._zone, QUARTER_S * quarter), quarter
        return tuple([local - offset for offset in self._offsets])


def _find_offsets(zone: ZoneInfo, local: int) -> tuple[float, ...]:
    """Seconds ahead of UTC, in the order of the instants (PEP 495: before a change with fold 0, after it with 1)."""
    naive = (START + timedelta(seconds=local)).replace(tzinfo=None)
    first, second = (naive.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    assert first is not None
    assert second is not None
    before, after = first.total_seconds(), second.total_seconds()
    if before == after:
        return (before,)
    return (before, after) if before > after else ()
