"""Reads a user's file of wind readings as its mapping says, and reports what became of each row."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from server.errors import HistoryError, RequestError, StoreError
from server.history.bins import Bins, lay_bins
from server.history.mapping import Mapping, require_told
from server.history.readings import each_line, gather_readings
from server.history.stamp import tell_order
from server.history.table import read_lines, split_line
from server.history.tally import UNREADABLE, Note, Tally
from server.store.connection import DATABASE_ERRORS, open_writer
from server.store.history import Source, count_blocks, list_shelves, save_blocks

DATES = {
    "ymd": "year, month, day",
    "dmy": "day, month, year",
    "mdy": "month, day, year",
    "day_of_year": "year, day of the year",
}
GAPS_TOLD = 20
BLOCKS_AT_ONCE = 2000
UNREADABLE_SHARE = 0.5
REGULAR_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Import:
    """A table that was read: its blocks, how many rows there were and could be used, and the repairs."""

    mapping: Mapping
    rows: int
    used_rows: int
    bins: Bins
    notes: tuple[Note, ...]

    def as_object(self) -> dict[str, Any]:
        """The report for JSON: counts, sentences, gaps, and figures that show at once whether the unit is right."""
        bins = self.bins
        gusts = bins.gust[np.isfinite(bins.gust)]
        begin, end = 60.0 * float(bins.minute[0]), 60.0 * float(bins.minute[-1]) + bins.step_s
        return {
            "rows": self.rows,
            "used_rows": self.used_rows,
            "blocks": len(bins.minute),
            "cadence_s": round(bins.cadence_s, 3),
            "step_s": bins.step_s,
            "from_utc": begin,
            "to_utc": end,
            "known_fraction": round(min(float(bins.known_s.sum()) / (end - begin), 1.0), 4),
            "median_mps": round(float(np.median(bins.mean)), 3),
            "highest_mean_mps": round(float(bins.mean.max()), 3),
            "highest_gust_mps": round(float(gusts.max()), 3) if len(gusts) else None,
            "notes": [note.as_object() for note in self.notes],
            "gaps": {
                "count": len(bins.gaps),
                "missing_steps": bins.missing_steps,
                "longest_s": round(float(np.diff(bins.gaps).max()), 3) if len(bins.gaps) else 0.0,
                "first_utc": bins.gaps[:GAPS_TOLD].round(3).tolist(),
            },
            "taken": list(self._tell_taken()),
        }

    def _tell_taken(self) -> Iterable[str]:
        """How the table was understood, where another way would give other blocks."""
        mapping, bins = self.mapping, self.bins
        yield f"Each time is taken as the {mapping.stamp} of an interval of {bins.cadence_s:g} s."
        if mapping.date_order not in ("epoch_s", "epoch_ms"):
            yield f"Times are taken as {mapping.zone}, dates as {DATES[mapping.date_order or 'ymd']}."
        yield f"Speeds are taken as {mapping.unit}, {mapping.height_m:g} m above the ground."
        if bins.regular_fraction < REGULAR_SHARE:
            yield "Rows come at uneven times: the usual distance is taken as the interval of each."
        if mapping.gust is None and np.isfinite(bins.gust).any():
            yield "Gusts are the highest 3-s means of the rows themselves."


def store_import(database: Path, name: str, found: Import) -> dict[str, Any]:
    """Store what was read, a few blocks at a time so that a running service can write between; the whole report."""
    source = Source("import", name, found.mapping.height_m or 0.0, found.bins.step_s)
    connection = open_writer(database)
    try:
        before = count_blocks(connection, source)
        blocks = found.bins.blocks()
        while part := list(islice(blocks, BLOCKS_AT_ONCE)):
            save_blocks(connection, source, part)
        added = count_blocks(connection, source) - before
        number = next(shelf.number for shelf in list_shelves(connection) if shelf.source == source)
    except DATABASE_ERRORS as error:
        raise StoreError(f"{database}: the database refuses ({error}): free or replace the disk") from error
    finally:
        connection.close()
    stored = {"source": number, "name": name, "height_m": source.height_m, "added_blocks": added}
    return {**stored, "mapping": found.mapping.as_object(), **found.as_object()}


def import_file(path: Path, mapping: Mapping) -> Import:
    """Read a plain or gzip file; raises HistoryError, RequestError.

    Where the order of dates was not told, a day above 12 anywhere in the file tells it; without one it is refused.
    """
    if mapping.date_order is None:
        require_told(mapping, but=("date_order",))
        mapping = replace(mapping, date_order=_find_order(path, mapping))
    return import_lines(each_line(read_lines(path)), mapping)


def import_lines(lines: Iterable[str], mapping: Mapping) -> Import:
    """Read a table's lines; raises HistoryError where it is of no use, RequestError where the mapping is."""
    stream = iter(lines)
    head = list(islice(stream, mapping.first_line + 20))
    rows = [len(split_line(line, mapping.separator)) for line in head[mapping.first_line - 1 :] if line.strip()]
    if not rows:
        raise HistoryError(f"there is no row from line {mapping.first_line} on")
    require_told(mapping, columns=max(rows))
    tally = Tally()
    readings = gather_readings(_join(head, stream), mapping, tally)
    unreadable = sum(tally.counts[kind] for kind in UNREADABLE)
    worst = tally.worst(UNREADABLE)
    if worst is not None and unreadable > UNREADABLE_SHARE * readings.rows:
        raise HistoryError(
            f"{unreadable} of {readings.rows} rows cannot be read: the table is not as it was described, and nothing "
            f"is imported. {worst.sentence} The first is line {worst.lines[0]}."
        )
    if len(readings.utc) < 2:
        reasons = " ".join(note.sentence for note in tally.notes()[:2])
        raise HistoryError(f"of {readings.rows} rows {len(readings.utc)} can be used: nothing is imported. {reasons}")
    bins = lay_bins(readings, tally, is_end_stamped=mapping.stamp == "end")
    return Import(mapping, readings.rows, len(readings.utc), bins, tally.notes())


def _find_order(path: Path, mapping: Mapping) -> str:
    """The order of a file's dates; raises RequestError where it does not show."""
    spot = mapping.time[0] - 1
    rows = (split_line(text, mapping.separator) for text in each_line(read_lines(path)))
    order = tell_order(row[spot] for row in rows if len(row) > spot)
    if order is None:
        raise RequestError(
            "date_order",
            "not told, and the file does not show it: no day above 12 stands beside a year of four digits. "
            "Tell ymd, dmy or mdy",
        )
    return order


def _join(head: list[str], rest: Iterable[str]) -> Iterable[str]:
    yield from head
    yield from rest
