"""How a user's table of wind readings is to be read: told by the user, never guessed silently."""

from collections.abc import Mapping as Table
from dataclasses import asdict, dataclass, fields
from typing import Any
from zoneinfo import ZoneInfo

from server.core.units import SPEED_UNITS
from server.errors import RequestError
from server.history.zone import read_zone

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "spaces"}
DATE_ORDERS = ("ymd", "dmy", "mdy", "day_of_year", "epoch_s", "epoch_ms")
MISSING_CODES = (-9999.0, -999.9, -999.0, -99.9, -99.0, 99.9, 999.0, 999.9, 9999.0)
"""Numbers that loggers write where they know nothing (common practice, no source)."""
RANGES = {"height_m": (0.3, 200.0), "first_line": (1, 1000)}
MOST_COLUMNS = 500
LONGEST_TEXT = 80
LARGEST = 1e12


@dataclass(frozen=True, slots=True)
class Mapping:
    """Columns are counted from 1; several time columns are read one after another, date first. None: not told yet.

    `stamp` says whether times mark the begin or the end of their interval; `good_flags` are the flags of good rows.
    """

    time: tuple[int, ...] = ()
    speed: int | None = None
    unit: str | None = None
    gust: int | None = None
    direction: int | None = None
    flag: int | None = None
    good_flags: tuple[str, ...] = ()
    missing: tuple[float, ...] = MISSING_CODES
    separator: str = ","
    decimal: str = "."
    date_order: str | None = None
    zone: str | None = None
    stamp: str | None = None
    height_m: float | None = None
    first_line: int = 2

    def as_object(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(self).items()}


WANTED = {
    "time": "which columns hold the time (date and time of day may be two)",
    "speed": "which column holds the mean wind speed",
    "unit": f"the unit of the speeds: one of {', '.join(SPEED_UNITS)}",
    "date_order": f"the order of the date's parts: one of {', '.join(DATE_ORDERS)}",
    "zone": "the time zone: UTC, a fixed offset such as -05:00, or an IANA name (Area/City)",
    "stamp": "whether times mark the begin or the end of their interval: begin or end",
    "height_m": "the height of the instrument above the ground in metres",
}
"""What has to be told, in words."""


def read_mapping(table: Table[str, Any]) -> Mapping:
    """A mapping from JSON; raises RequestError with the key that is wrong."""
    known = {field.name for field in fields(Mapping)}
    for key in table:
        if key not in known:
            raise RequestError(key, f"is not known; there are {', '.join(sorted(known))}")
    values = dict(table)
    for key in ("time", "good_flags", "missing"):
        if key in values:
            if not isinstance(values[key], list | tuple) or len(values[key]) > MOST_COLUMNS:
                raise RequestError(key, "a list is wanted")
            values[key] = tuple(values[key])
    return check_mapping(Mapping(**values))


def check_mapping(mapping: Mapping) -> Mapping:
    """The mapping, if each of its values can be; raises RequestError."""
    for key in ("time", "speed", "gust", "direction", "flag"):
        value = getattr(mapping, key)
        for column in value if key == "time" else (value,):
            if column is not None and not _is_whole(column, 1, MOST_COLUMNS):
                raise RequestError(key, f"{column!r}: columns are counted from 1 to {MOST_COLUMNS}")
    if len(mapping.time) > 3:
        raise RequestError("time", "at most three columns make a time")
    _check_choice(mapping, "unit", tuple(SPEED_UNITS))
    _check_choice(mapping, "date_order", DATE_ORDERS)
    _check_choice(mapping, "stamp", ("begin", "end"))
    _check_choice(mapping, "separator", tuple(SEPARATORS))
    _check_choice(mapping, "decimal", (".", ","))
    if mapping.separator == mapping.decimal == ",":
        raise RequestError("decimal", "separator and decimal mark cannot both be a comma")
    for key, (low, high) in RANGES.items():
        value = getattr(mapping, key)
        if value is not None and not (_is_number(value) and low <= value <= high):
            raise RequestError(key, f"{value!r}: {low} to {high} is wanted")
    if not _is_whole(mapping.first_line, 1, 1000):
        raise RequestError("first_line", f"{mapping.first_line!r}: a line's number is wanted")
    if not all(_is_number(code) for code in mapping.missing):
        raise RequestError("missing", "numbers are wanted")
    if not all(isinstance(flag, str) and len(flag) <= LONGEST_TEXT for flag in mapping.good_flags):
        raise RequestError("good_flags", "texts are wanted")
    if mapping.zone is not None:
        read_zone(mapping.zone)
    return mapping


def require_told(mapping: Mapping, *, columns: int = MOST_COLUMNS, but: tuple[str, ...] = ()) -> Mapping:
    """The mapping, if all is told that an import needs, `but` for some keys; raises RequestError with what is not."""
    check_mapping(mapping)
    for key, meaning in WANTED.items():
        if key not in but and getattr(mapping, key) in (None, ()) and not (key == "zone" and _is_epoch(mapping)):
            raise RequestError(key, f"not told: {meaning}")
    if mapping.flag is not None and not mapping.good_flags:
        raise RequestError("good_flags", "not told: which flags mark good rows")
    chosen = [*mapping.time, mapping.speed, mapping.gust, mapping.direction, mapping.flag]
    highest = max(column for column in chosen if column is not None)
    if highest > columns:
        raise RequestError("columns", f"column {highest} is named, but the table has {columns}")
    return mapping


def zone_of(mapping: Mapping) -> ZoneInfo | float:
    """The mapping's time zone: a named one, or seconds ahead of UTC."""
    return 0.0 if mapping.zone is None else read_zone(mapping.zone)


def _is_epoch(mapping: Mapping) -> bool:
    return mapping.date_order in ("epoch_s", "epoch_ms")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and -LARGEST < value < LARGEST


def _is_whole(value: object, low: int, high: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def _check_choice(mapping: Mapping, key: str, choices: tuple[str, ...]) -> None:
    value = getattr(mapping, key)
    if value is not None and (not isinstance(value, str) or value not in choices):
        raise RequestError(key, f"{value!r}: one of {', '.join(map(repr, choices))} is wanted")
