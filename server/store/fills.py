"""Fills of the tank: those of each job, and those that wait for the next one."""

import json
import sqlite3
from dataclasses import dataclass
from typing import Any

from server.errors import UnknownError


@dataclass(frozen=True, slots=True)
class FillRow:
    """One fill as it is stored; `job` None: it waits for a job to begin."""

    number: int
    made_utc: float
    job: int | None
    body: dict[str, Any]


def list_fills(connection: sqlite3.Connection, job: int | None) -> list[FillRow]:
    """The fills of a job, or those that wait for one, in their order."""
    rows = connection.execute("SELECT id, made_utc, job, body FROM fill WHERE job IS ? ORDER BY id", (job,))
    return [FillRow(number, made_utc, of_job, json.loads(body)) for number, made_utc, of_job, body in rows]


def add_fill(connection: sqlite3.Connection, body: dict[str, Any], utc: float, job: int | None) -> FillRow:
    """Store a fill."""
    written = json.dumps(body, separators=(",", ":"), ensure_ascii=False)
    cursor = connection.execute("INSERT INTO fill (made_utc, job, body) VALUES (?, ?, ?)", (utc, job, written))
    return FillRow(int(cursor.lastrowid or 0), utc, job, body)


def place_fill(connection: sqlite3.Connection, number: int, job: int) -> None:
    """A fill that waited belongs to a job from now on."""
    connection.execute("UPDATE fill SET job = ? WHERE id = ?", (job, number))


def remove_fill(connection: sqlite3.Connection, number: int) -> None:
    """Forget a fill that waits; raises UnknownError where none does."""
    if connection.execute("DELETE FROM fill WHERE id = ? AND job IS NULL", (number,)).rowcount == 0:
        raise UnknownError(f"no fill {number} waits for a job: tell what the tank holds instead")
