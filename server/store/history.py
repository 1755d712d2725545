"""The wind's history: blocks of wind by source and minute, each once, and their means over longer steps."""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.core.blocks import MINUTE_S, Block
from server.errors import UnknownError

SPEED_UNIT = 1000
VECTOR_UNIT = 10_000
LEAST_KNOWN = 0.75
"""A block of which less is known says nothing of its interval (common practice)."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where blocks come from: a rig or an import, its instrument's height, the length of its blocks."""

    kind: str
    name: str
    height_m: float
    step_s: int = MINUTE_S


@dataclass(frozen=True, slots=True)
class Shelf:
    """A source as it is stored: its number, how many blocks, from the first one's begin to the last one's end."""

    number: int
    source: Source
    blocks: int
    from_utc: float
    to_utc: float


def save_blocks(connection: sqlite3.Connection, source: Source, blocks: Iterable[Block]) -> None:
    """Store blocks of a source in one transaction; of two of the same minute the one that knows more counts.

    What an import tells again counts always: it was mapped anew.
    """
    rows = [_row_of(block) for block in blocks]
    with_more = "" if source.kind == "import" else " WHERE excluded.known_s >= known_s"
    connection.execute("BEGIN IMMEDIATE")
    try:
        number = _number_source(connection, source)
        connection.executemany(
            f"INSERT INTO wind_block VALUES ({number}, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (source, minute) DO UPDATE "
            "SET mean_mmps = excluded.mean_mmps, gust_mmps = excluded.gust_mmps, from_east = excluded.from_east, "
            "from_north = excluded.from_north, known_s = excluded.known_s, below_s = excluded.below_s, "
            f"is_station = excluded.is_station{with_more}",
            rows,
        )
        connection.execute("COMMIT")
    except sqlite3.Error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def list_shelves(connection: sqlite3.Connection) -> list[Shelf]:
    """All sources, in the order in which they came."""
    found = connection.execute("SELECT id, kind, name, height_m, step_s FROM wind_source ORDER BY id").fetchall()
    return [_read_shelf(connection, row) for row in found]


def count_blocks(connection: sqlite3.Connection, source: Source) -> int:
    """How many blocks of a source are stored."""
    return next((shelf.blocks for shelf in list_shelves(connection) if shelf.source == source), 0)


def find_shelf(connection: sqlite3.Connection, number: int) -> Shelf:
    """One source; raises UnknownError."""
    row = connection.execute(
        "SELECT id, kind, name, height_m, step_s FROM wind_source WHERE id = ?", (number,)
    ).fetchone()
    if row is None:
        raise UnknownError(f"there is no source {number} in the wind's history")
    return _read_shelf(connection, row)


def remove_source(connection: sqlite3.Connection, number: int) -> None:
    """Forget a source with its blocks."""
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("DELETE FROM wind_block WHERE source = ?", (number,))
    connection.execute("DELETE FROM wind_source WHERE id = ?", (number,))
    connection.execute("COMMIT")


def read_means(
    connection: sqlite3.Connection, number: int, *, from_utc: float, to_utc: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ends [s since 1970] and means [m/s] of a source's blocks, in order; NaN where too little of one is known."""
    step = connection.execute("SELECT step_s FROM wind_source WHERE id = ?", (number,)).fetchone()
    if step is None:
        raise UnknownError(f"there is no source {number} in the wind's history")
    step_s = step[0]
    found = connection.execute(
        "SELECT minute, mean_mmps, known_s FROM wind_block WHERE source = ? AND minute >= ? AND minute < ? "
        "ORDER BY minute",
        (number, from_utc / MINUTE_S, to_utc / MINUTE_S),
    ).fetchall()
    table = np.array(found, dtype=np.float64).reshape(-1, 3)
    means = np.where(table[:, 2] >= LEAST_KNOWN * step_s, table[:, 1] / SPEED_UNIT, nan)
    return MINUTE_S * table[:, 0] + step_s, means


def read_steps(
    connection: sqlite3.Connection, number: int, *, from_utc: float, to_utc: float, step_s: int,
    shifts: tuple[tuple[int, int], ...] = (),
) -> list[tuple[Any, ...]]:  # fmt: skip
    """Per step: begin [s], mean and gust [m/s], mean unit vector, known, below and stood seconds, variance, blocks.

    Means weigh each block by its known seconds; gust and vector are None where no block tells them. The variance is
    that of the blocks' means [m²/s²]. With `shifts` (from which minute on, minutes to add) steps and their begins are
    those of shifted minutes, local ones say.
    """
    minutes, shifted = step_s // MINUTE_S, _shift_minutes(shifts)
    weighed = f"sum(mean_mmps * known_s) / {SPEED_UNIT}.0 / sum(known_s)"
    return connection.execute(
        f"SELECT ({shifted}) / {minutes} * {step_s}, {weighed}, "
        f"max(gust_mmps) / {SPEED_UNIT}.0, "
        f"sum(from_east * known_s) / {VECTOR_UNIT}.0 / sum(CASE WHEN from_east IS NULL THEN 0 ELSE known_s END), "
        f"sum(from_north * known_s) / {VECTOR_UNIT}.0 / sum(CASE WHEN from_east IS NULL THEN 0 ELSE known_s END), "
        "sum(known_s), sum(below_s), sum(is_station * known_s), "
        f"sum(mean_mmps * mean_mmps * known_s) / {SPEED_UNIT**2}.0 / sum(known_s) - ({weighed}) * ({weighed}), "
        "count(*) FROM wind_block "
        f"WHERE source = ? AND minute >= ? AND minute < ? GROUP BY ({shifted}) / {minutes} ORDER BY 1",
        (number, from_utc / MINUTE_S, to_utc / MINUTE_S),
    ).fetchall()


def _shift_minutes(shifts: tuple[tuple[int, int], ...]) -> str:
    """The minute as steps count it."""
    if len(shifts) < 2:
        return f"minute + {shifts[0][1]}" if shifts else "minute"
    cases = " ".join(f"WHEN minute < {until} THEN {shift}" for (_, shift), (until, _) in pairwise(shifts))
    return f"minute + CASE {cases} ELSE {shifts[-1][1]} END"


def _number_source(connection: sqlite3.Connection, source: Source) -> int:
    """The database's number of a source, new where it was not there."""
    key = (source.kind, source.name, source.height_m, source.step_s)
    connection.execute("INSERT OR IGNORE INTO wind_source (kind, name, height_m, step_s) VALUES (?, ?, ?, ?)", key)
    (number,) = connection.execute(
        "SELECT id FROM wind_source WHERE kind = ? AND name = ? AND height_m = ? AND step_s = ?", key
    ).fetchone()
    return int(number)


def _read_shelf(connection: sqlite3.Connection, row: tuple[Any, ...]) -> Shelf:
    number, kind, name, height_m, step_s = row
    count, first, last = connection.execute(
        "SELECT count(*), min(minute), max(minute) FROM wind_block WHERE source = ?", (number,)
    ).fetchone()
    ends = (nan, nan) if first is None else (float(MINUTE_S * first), float(MINUTE_S * last + step_s))
    return Shelf(number, Source(kind, name, height_m, step_s), count, *ends)


def _row_of(block: Block) -> tuple[int | None, ...]:
    return (
        block.minute, round(SPEED_UNIT * block.mean_mps), _scaled(block.gust_mps, SPEED_UNIT),
        _scaled(block.from_east, VECTOR_UNIT), _scaled(block.from_north, VECTOR_UNIT), block.known_s, block.below_s,
        int(block.is_station),
    )  # fmt: skip


def _scaled(value: float, unit: int) -> int | None:
    return round(unit * value) if isfinite(value) else None
