"""From lines of text to readings: times in UTC, speeds in metres per second, everything doubtful counted."""

from array import array
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain, islice, pairwise
from math import isfinite, nan
from statistics import median

from server.core.units import SPEED_UNITS
from server.core.windpast import HIGHEST_MPS
from server.errors import HistoryError
from server.history.clues import split_unit
from server.history.mapping import Mapping, zone_of
from server.history.stamp import Stamps
from server.history.table import read_direction, read_number, split_line
from server.history.tally import Tally
from server.history.zone import Clock

MOST_ROWS = 1_000_000
"""Nearly two years of minutes; reading them takes about 200 MB."""
HEAD_ROWS = 500
GUST_SLACK_MPS = 0.05
"""So much below the mean a gust may be by rounding."""


@dataclass(slots=True)
class Readings:
    """The rows that can be used, as they stand: times as the table stamps them; NaN where a row does not say."""

    utc: "array[float]" = field(default_factory=lambda: array("d"))
    speed: "array[float]" = field(default_factory=lambda: array("f"))
    gust: "array[float]" = field(default_factory=lambda: array("f"))
    from_deg: "array[float]" = field(default_factory=lambda: array("f"))
    line: "array[int]" = field(default_factory=lambda: array("I"))
    rows: int = 0


def gather_readings(lines: Iterable[str], mapping: Mapping, tally: Tally) -> Readings:
    """Read all rows of a table; raises HistoryError where there are too many."""
    every = enumerate(lines, 1)
    numbered = ((number, text) for number, text in every if number >= mapping.first_line and text.strip())
    head = list(islice(numbered, HEAD_ROWS))
    read = _make_reader(mapping, tally, _find_cadence([text for _, text in head], mapping))
    found = Readings()
    for number, text in chain(head, numbered):
        found.rows += 1
        if found.rows > MOST_ROWS:
            raise HistoryError(f"more than {MOST_ROWS} rows: split the file")
        row = read(number, text)
        if row is not None:
            found.utc.append(row[0])
            found.speed.append(row[1])
            found.gust.append(row[2])
            found.from_deg.append(row[3])
            found.line.append(number)
    return found


def _find_cadence(head: list[str], mapping: Mapping) -> float:
    """Usual time from row to row by the table's own clock, below 0 with the newest first; NaN where there is none."""
    stamps, spots = Stamps(mapping.date_order or ""), [column - 1 for column in mapping.time]
    times = []
    for text in head:
        fields = split_line(text, mapping.separator)
        found = stamps.read([fields[spot] for spot in spots]) if len(fields) > max(spots) else None
        if found is not None:
            times.append(found[0])
    steps = [after - before for before, after in pairwise(times) if after != before]
    return median(steps or [nan])


Row = tuple[float, float, float, float]


def _make_reader(mapping: Mapping, tally: Tally, cadence: float) -> Callable[[int, str], Row | None]:
    """What reads one line: UTC, speed, gust, direction; None where the row is left out."""
    read_time = _make_time_reader(mapping, tally, cadence)
    read_wind = _make_wind_reader(mapping, tally)
    separator, spots = mapping.separator, [column - 1 for column in mapping.time]
    chosen = (*mapping.time, mapping.speed, mapping.gust, mapping.direction, mapping.flag)
    least = max(column for column in chosen if column is not None)
    flag = None if mapping.flag is None else mapping.flag - 1
    good = frozenset(text.strip() for text in mapping.good_flags)

    def read(number: int, text: str) -> Row | None:
        fields = split_line(text, separator)
        if len(fields) < least:
            tally.note("short", number)
            return None
        utc = read_time(number, [fields[spot] for spot in spots])
        if utc is None:
            return None
        if flag is not None and fields[flag] not in good:
            tally.note("flagged", number)
            return None
        wind = read_wind(number, fields)
        return None if wind is None else (utc, *wind)

    return read


def _make_time_reader(mapping: Mapping, tally: Tally, cadence: float) -> Callable[[int, list[str]], float | None]:
    """What reads a row's time as UTC."""
    stamps, clock = Stamps(mapping.date_order or ""), Clock(zone_of(mapping))
    is_epoch = mapping.date_order in ("epoch_s", "epoch_ms")
    last = nan

    def read(number: int, texts: list[str]) -> float | None:
        nonlocal last
        found = stamps.read(texts)
        if found is None:
            tally.note("no_time", number)
            return None
        local, is_utc = found
        if is_utc:
            if not is_epoch:
                tally.note("own_offset", number)
            return local
        moments = clock.find(local)
        if len(moments) == 1:
            last = moments[0]
            return last
        if not moments:
            tally.note("skipped_hour", number)
            return None
        settled = settle_twice(moments, last=last, cadence=cadence)
        tally.note("twice_unclear" if settled is None else "twice_settled", number)
        last = last if settled is None else settled
        return settled

    return read


def settle_twice(moments: tuple[float, ...], *, last: float, cadence: float) -> float | None:
    """Of two instants the one that follows on from the row before by the usual time; None: neither or both do."""
    near = [moment for moment in moments if 0.0 < (moment - last) / cadence <= 1.5]
    return near[0] if len(near) == 1 else None


def _make_wind_reader(mapping: Mapping, tally: Tally) -> Callable[[int, list[str]], tuple[float, float, float] | None]:
    """What reads a row's speed, gust and direction."""
    factor, decimal = SPEED_UNITS[mapping.unit or ""], mapping.decimal
    codes = frozenset(mapping.missing)
    speed_spot = (mapping.speed or 1) - 1
    gust_spot = None if mapping.gust is None else mapping.gust - 1
    aim_spot = None if mapping.direction is None else mapping.direction - 1

    def read(number: int, fields: list[str]) -> tuple[float, float, float] | None:
        speed = _read_speed(fields[speed_spot], mapping)
        kind = _judge_speed(speed, codes, factor)
        if kind is not None or speed is None:
            tally.note(kind or "no_number", number)
            return None
        speed *= factor
        gust = aim = nan
        if gust_spot is not None:
            gust = _read_gust(fields[gust_spot], speed, mapping, number, tally)
        if aim_spot is not None:
            found = read_direction(fields[aim_spot], decimal)
            if found is not None and 0.0 <= found <= 360.0:
                aim = found
            else:
                tally.note("no_direction", number)
        return speed, gust, aim

    return read


def _read_speed(text: str, mapping: Mapping) -> float | None:
    """A number, also with the unit told behind it; None where it is none, or has another unit."""
    found = read_number(text, mapping.decimal)
    if found is None:
        number, unit = split_unit(text)
        found = read_number(number, mapping.decimal) if unit == mapping.unit else None
    return found


def _judge_speed(speed: float | None, codes: frozenset[float], factor: float) -> str | None:
    """Why a speed cannot be used; None: it can."""
    if speed is None:
        return "no_number"
    if speed != speed:
        return "missing"
    if speed in codes:
        return "code"
    return None if 0.0 <= speed * factor <= HIGHEST_MPS else "implausible"


def _read_gust(text: str, speed: float, mapping: Mapping, number: int, tally: Tally) -> float:
    """A gust in metres per second; NaN where it is not known."""
    factor = SPEED_UNITS[mapping.unit or ""]
    found = _read_speed(text, mapping)
    if found is None or not isfinite(found) or found in mapping.missing or not 0.0 <= found * factor <= HIGHEST_MPS:
        tally.note("no_gust", number)
        return nan
    if found * factor < speed - GUST_SLACK_MPS:
        tally.note("gust_below_mean", number)
        return nan
    return found * factor


def each_line(lines: Iterable[tuple[str, int]]) -> Iterator[str]:
    """The lines without how far they reach."""
    return (text for text, _ in lines)
