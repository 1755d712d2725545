"""The record of sprayers' calibrations: what was entered, what came of it, which version of the card it made."""

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import Any

from server.errors import UnknownError


@dataclass(frozen=True, slots=True)
class Check:
    """One check of a sprayer as it is stored; `applied_version` None: it was not put to use."""

    number: int
    sprayer: int
    way: str
    made_utc: float
    entries: dict[str, Any]
    found: dict[str, Any]
    applied_version: int | None = None


_COLUMNS = "id, sprayer, way, made_utc, entries, found, applied_version"


def list_checks(connection: sqlite3.Connection, sprayer: int) -> list[Check]:
    """All checks of a sprayer, the newest first."""
    rows = connection.execute(f"SELECT {_COLUMNS} FROM sprayer_check WHERE sprayer = ? ORDER BY id DESC", (sprayer,))
    return [_read(row) for row in rows]


def find_check(connection: sqlite3.Connection, sprayer: int, number: int) -> Check:
    """One check of a sprayer; raises UnknownError."""
    row = connection.execute(
        f"SELECT {_COLUMNS} FROM sprayer_check WHERE id = ? AND sprayer = ?", (number, sprayer)
    ).fetchone()
    if row is None:
        raise UnknownError(f"sprayer {sprayer} has no check {number}")
    return _read(row)


def add_check(connection: sqlite3.Connection, check: Check) -> Check:
    """Store a new check; its number is given by the store."""
    values = (check.sprayer, check.way, check.made_utc, _pack(check.entries), _pack(check.found))
    number = connection.execute(
        "INSERT INTO sprayer_check (sprayer, way, made_utc, entries, found) VALUES (?, ?, ?, ?, ?)", values
    ).lastrowid
    assert number is not None
    return replace(check, number=number)


def note_used(connection: sqlite3.Connection, number: int, version: int) -> None:
    """Note which version of the card a check made."""
    connection.execute("UPDATE sprayer_check SET applied_version = ? WHERE id = ?", (version, number))


def _pack(found: dict[str, Any]) -> str:
    return json.dumps(found, separators=(",", ":"), ensure_ascii=False)


def _read(row: tuple[Any, ...]) -> Check:
    number, sprayer, way, made_utc, entries, found, applied = row
    return Check(number, sprayer, way, made_utc, json.loads(entries), json.loads(found), applied)
