"""A look at a table's head: how it is probably to be read, and what of that is not sure."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from server.core.units import SPEED_UNITS
from server.errors import HistoryError
from server.history.clues import find_column, find_unit, split_unit
from server.history.mapping import MISSING_CODES, SEPARATORS, WANTED, Mapping
from server.history.stamp import Stamps, split_date, tell_order
from server.history.table import read_direction, read_number, split_line, split_lines

HEAD_BYTES = 65_536
ROWS_SHOWN = 8
LARGEST_HEADER = 60
PARSED = 0.9
"""So many of a column's fields must read as what it is taken for."""
_EPOCHS = {"epoch_s": (6e8, 4.2e9), "epoch_ms": (6e11, 4.2e12)}


@dataclass(frozen=True, slots=True)
class Doubt:
    """What the file does not say, or not for sure: the mapping's key, and a sentence."""

    key: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mapping to confirm; `doubts` have to be settled by whoever knows."""

    mapping: Mapping
    doubts: tuple[Doubt, ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def as_object(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "mapping": self.mapping.as_object(),
            "doubts": [{"key": doubt.key, "sentence": doubt.sentence} for doubt in self.doubts],
            "columns": list(self.columns),
            "rows": [list(row) for row in self.rows],
            "separators": SEPARATORS,
            "units": list(SPEED_UNITS),
        }


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The head cut into fields: the names' row (empty: none), what stands between, the rows of readings."""

    separator: str
    decimal: str
    first_line: int
    names: tuple[str, ...]
    between: tuple[tuple[str, ...], ...]
    rows: tuple[tuple[str, ...], ...]

    def column(self, number: int) -> list[str]:
        """A column's fields."""
        return [row[number] for row in self.rows]

    def described(self, number: int) -> str:
        """A column's name with whatever else stands above it."""
        return " ".join([*self.names[number : number + 1], *(line[number] for line in self.between)])


def propose_mapping(head: bytes) -> Proposal:
    """Look at a file's first bytes (up to 64 KiB); raises HistoryError where there is no table."""
    sheet = _cut_sheet(split_lines(head[:HEAD_BYTES]))
    doubts: list[Doubt] = []
    mapping = Mapping(separator=sheet.separator, decimal=sheet.decimal, first_line=sheet.first_line, missing=())
    mapping = _propose_time(sheet, mapping, doubts)
    mapping = _propose_wind(sheet, mapping, doubts)
    mapping = _propose_missing(sheet, mapping, doubts)
    doubts.append(Doubt("stamp", f"The file does not say {WANTED['stamp']}."))
    doubts.append(Doubt("height_m", f"The file does not say {WANTED['height_m']}."))
    return Proposal(mapping, tuple(doubts), sheet.names or _number_columns(sheet), sheet.rows[:ROWS_SHOWN])


def _number_columns(sheet: _Sheet) -> tuple[str, ...]:
    return tuple(f"column {number + 1}" for number in range(len(sheet.rows[0])))


def _cut_sheet(lines: list[str]) -> _Sheet:
    """Find separator, decimal mark, the line of names and the first row of readings."""
    best: tuple[int, int, str] = (0, 0, "")
    for separator in SEPARATORS:
        widths = Counter(len(split_line(line, separator)) for line in lines if line.strip())
        for width, count in widths.items():
            # Blanks also part dates from times: they only separate where nothing else does.
            if width >= 2 and (best[2] in ("", " ") or separator != " ") and (count, width) > best[:2]:
                best = (count, width, separator)
    _, width, separator = best
    if not separator:
        raise HistoryError("no line has two fields or more: this is not a table of readings")
    table = [(number, tuple(split_line(line, separator))) for number, line in enumerate(lines, 1)]
    table = [(number, row) for number, row in table if len(row) == width and any(row)]
    decimal = _find_decimal([row for _, row in table], separator)
    first = next((i for i, (_, row) in enumerate(table) if _is_reading(row, decimal)), None)
    if first is None:
        raise HistoryError("no line holds a number beside a time or another number: this is not a table of readings")
    above = [row for _, row in table[:first]]
    named = next((i for i, row in enumerate(above) if sum(_is_name(field) for field in row) >= width / 2), None)
    names = () if named is None else tuple(field[:LARGEST_HEADER] for field in above[named])
    between = () if named is None else tuple(above[named + 1 :])
    return _Sheet(separator, decimal, table[first][0], names, between, tuple(row for _, row in table[first:]))


def _is_reading(row: tuple[str, ...], decimal: str) -> bool:
    """Whether a row holds two numbers, or a number and a date."""
    numbers = sum(_is_number(field, decimal) for field in row)
    dates = sum(split_date(field) is not None for field in row if not _is_number(field, decimal))
    return numbers + dates >= 2 and numbers >= 1


def _is_number(field: str, decimal: str) -> bool:
    value = read_number(split_unit(field)[0], decimal)
    return value is not None and value == value


def _is_name(field: str) -> bool:
    return re.search(r"[^\W\d_]{2}", field) is not None and split_date(field) is None


def _find_decimal(rows: Sequence[tuple[str, ...]], separator: str) -> str:
    """Comma or point, by the fields that are numbers with the one but not with the other."""
    if separator == ",":
        return "."
    fields = [split_unit(field)[0] for row in rows for field in row]
    with_comma = sum(re.fullmatch(r"[-+]?\d+,\d+", field) is not None for field in fields)
    with_point = sum(re.fullmatch(r"[-+]?\d+\.\d+", field) is not None for field in fields)
    return "," if with_comma > with_point else "."


def _propose_time(sheet: _Sheet, mapping: Mapping, doubts: list[Doubt]) -> Mapping:
    """The columns of date and time, the date's order, the zone."""
    chosen = _find_epoch(sheet) or _find_day_of_year(sheet) or _find_dates(sheet)
    if chosen is None:
        doubts.append(Doubt("time", f"No column looks like a time: tell {WANTED['time']}."))
        doubts.append(Doubt("date_order", f"Tell {WANTED['date_order']}."))
        return mapping
    columns, order = chosen
    if order is None:
        order = _find_order(sheet.column(columns[0]), doubts)
    mapping = replace(mapping, time=tuple(column + 1 for column in columns), date_order=order)
    if order == "day_of_year":
        doubts.append(Doubt("date_order", "The time is taken as year, day of the year and hour with minutes."))
    if order in _EPOCHS:
        return mapping
    if order is not None and _states_offset(sheet, columns, order):
        return replace(mapping, zone="UTC")
    doubts.append(Doubt("zone", f"The file does not say {WANTED['zone']}."))
    return mapping


def _states_offset(sheet: _Sheet, columns: tuple[int, ...], order: str) -> bool:
    """Whether every time names its own offset from UTC."""
    stamps = Stamps(order)
    found = [stamps.read([row[column] for column in columns]) for row in sheet.rows]
    return all(each is not None and each[1] for each in found)


def _find_epoch(sheet: _Sheet) -> tuple[tuple[int, ...], str | None] | None:
    """A column of rising seconds or milliseconds since 1970."""
    for column in range(len(sheet.rows[0])):
        values = [read_number(field, sheet.decimal) for field in sheet.column(column)]
        for order, (low, high) in _EPOCHS.items():
            if all(value is not None and low < value < high for value in values) and len(set(values)) > len(values) / 2:
                return (column,), order
    return None


def _find_day_of_year(sheet: _Sheet) -> tuple[tuple[int, ...], str | None] | None:
    """Three columns of whole numbers: year, day of the year, hour with minutes."""
    for column in range(len(sheet.rows[0]) - 2):
        texts = [row[column : column + 3] for row in sheet.rows]
        if not all(field.isdigit() for row in texts for field in row):
            continue
        years = {row[0] for row in texts}
        is_year = all(len(year) == 4 and "1950" <= year <= "2100" for year in years) and len(years) <= 2
        stamps = Stamps("day_of_year")
        if is_year and all(stamps.read(list(row)) is not None for row in texts):
            return tuple(range(column, column + 3)), "day_of_year"
    return None


def _find_dates(sheet: _Sheet) -> tuple[tuple[int, ...], str | None] | None:
    """A column of dates, and one of times of day beside it where the dates hold none."""
    for column in range(len(sheet.rows[0])):
        fields = sheet.column(column)
        dated = [field for field in fields if split_date(field) is not None and not _is_number(field, sheet.decimal)]
        compact = [field for field in fields if re.fullmatch(r"(19|20)\d{6}(\d{4,6})?", field)]
        if max(len(dated), len(compact)) < PARSED * len(fields):
            continue
        if any(re.search(r"\d[T ,]+\d{1,2}[:.h]?\d{2}|^\d{12}", field) for field in fields):
            return (column,), None
        clock = _find_clock(sheet, column)
        return ((column,) if clock is None else (column, clock)), None
    return None


def _find_clock(sheet: _Sheet, date_column: int) -> int | None:
    """The column of times of day."""
    for column in range(len(sheet.rows[0])):
        fields = sheet.column(column)
        clocks = sum(re.match(r"\d{1,2}[:.h]\d{2}(\D|$)", field) is not None for field in fields)
        if column != date_column and clocks >= PARSED * len(fields) and not _is_number(fields[0], "."):
            return column
    return None


def _find_order(fields: list[str], doubts: list[Doubt]) -> str | None:
    """The date's order, if any day above 12, a year in front or a named month tells it."""
    order, example = tell_order(fields), fields[0][:20] if fields else ""
    if order is None and any(re.search(r"\d{4}", field) for field in fields):
        rows = f"the first {len(fields)} rows" if len(fields) > 1 else "the first row"
        doubts.append(Doubt("date_order", f"No day in {rows} is above 12, so day and month may be swapped: {example}."))
    elif order is None:
        doubts.append(Doubt("date_order", f"No year has four digits, so which part it is cannot be told: {example}."))
    return order


def _propose_wind(sheet: _Sheet, mapping: Mapping, doubts: list[Doubt]) -> Mapping:
    """The columns of speed, gust, direction and flag, and the unit."""
    names = [sheet.described(number) for number in range(len(sheet.rows[0]))]
    taken = {column - 1 for column in mapping.time}
    numeric = [n for n in range(len(names)) if n not in taken and _is_numeric(sheet, n)]
    found = {key: find_column(key, names, numeric) for key in ("gust", "direction", "speed")}
    flags = find_column("flag", names, [n for n in range(len(names)) if n not in taken])
    speeds = [column for column in found["speed"] if column not in (*found["gust"][:1], *found["direction"][:1])]
    mapping = replace(
        mapping,
        speed=speeds[0] + 1 if speeds else None,
        gust=found["gust"][0] + 1 if found["gust"] else None,
        direction=found["direction"][0] + 1 if found["direction"] else None,
    )
    if len(speeds) != 1:
        which = ", ".join(names[column][:LARGEST_HEADER] for column in speeds) or "none"
        doubts.append(Doubt("speed", f"Columns that may hold the mean wind speed: {which}."))
    for key in ("gust", "direction"):
        if len(found[key]) > 1:
            which = ", ".join(names[column][:LARGEST_HEADER] for column in found[key])
            doubts.append(Doubt(key, f"Columns that may hold the {key}: {which}."))
    unit = _propose_unit(sheet, names, speeds[0]) if speeds else None
    if unit is None:
        doubts.append(Doubt("unit", f"The file does not say {WANTED['unit']}."))
    return _propose_flag(sheet, replace(mapping, unit=unit), flags, doubts)


def _propose_unit(sheet: _Sheet, names: list[str], column: int) -> str | None:
    """The unit that stands above the speeds, or behind each of them."""
    behind = {split_unit(field)[1] for field in sheet.column(column)} - {None}
    above = find_unit(names[column])
    told = behind | ({above} - {None})
    return told.pop() if len(told) == 1 else None


def _propose_flag(sheet: _Sheet, mapping: Mapping, flags: list[int], doubts: list[Doubt]) -> Mapping:
    """A column of flags, and the most frequent as the good one, which is never sure."""
    flags = [flag for flag in flags if flag + 1 not in (mapping.speed, mapping.gust, mapping.direction)]
    if not flags:
        return mapping
    counts = Counter(sheet.column(flags[0])).most_common(6)
    listed = ", ".join(f"{text[:20]!r} ({count} rows)" for text, count in counts)
    doubts.append(Doubt("good_flags", f"Which flags mark good rows? The first rows carry {listed}."))
    return replace(mapping, flag=flags[0] + 1, good_flags=(counts[0][0][:80],))


def _is_numeric(sheet: _Sheet, column: int) -> bool:
    """Whether a column's fields are numbers, points of the compass, or nothing on purpose."""
    values = [read_direction(split_unit(field)[0], sheet.decimal) for field in sheet.column(column)]
    return sum(value is not None for value in values) >= PARSED * len(values)


def _propose_missing(sheet: _Sheet, mapping: Mapping, doubts: list[Doubt]) -> Mapping:
    """The usual codes; one that the rows hold and that may be a speed is named."""
    mapping = replace(mapping, missing=MISSING_CODES)
    if mapping.speed is None:
        return mapping
    values = [read_number(split_unit(field)[0], sheet.decimal) for field in sheet.column(mapping.speed - 1)]
    seen = sorted({value for value in values if value in MISSING_CODES and value is not None and value > 0})
    if seen:
        listed = ", ".join(f"{value:g}" for value in seen)
        doubts.append(Doubt("missing", f"The speed {listed} is taken as a code for a missing one."))
    return mapping
