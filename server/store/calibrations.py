"""The record of a cup's calibrations: what each came to, whether it was applied."""

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import Any

from server.errors import UnknownError


@dataclass(frozen=True, slots=True)
class Calibration:
    """One calibration as it is stored; `found` holds all its figures, `applied_utc` None: not applied."""

    number: int
    made_utc: float
    way: str
    rig: str
    found: dict[str, Any]
    applied_utc: float | None = None


_COLUMNS = "id, made_utc, way, rig, found, applied_utc"


def list_calibrations(connection: sqlite3.Connection) -> list[Calibration]:
    """All calibrations, the newest first."""
    rows = connection.execute(f"SELECT {_COLUMNS} FROM cup_calibration ORDER BY id DESC")
    return [_read(row) for row in rows]


def find_calibration(connection: sqlite3.Connection, number: int) -> Calibration:
    """One calibration; raises UnknownError."""
    row = connection.execute(f"SELECT {_COLUMNS} FROM cup_calibration WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise UnknownError(f"there is no calibration {number}")
    return _read(row)


def add_calibration(connection: sqlite3.Connection, calibration: Calibration) -> Calibration:
    """Store a new calibration; its number is given by the store."""
    made = calibration
    values = (made.made_utc, made.way, made.rig, json.dumps(made.found, separators=(",", ":")), made.applied_utc)
    number = connection.execute(
        "INSERT INTO cup_calibration (made_utc, way, rig, found, applied_utc) VALUES (?, ?, ?, ?, ?)", values
    ).lastrowid
    assert number is not None
    return replace(calibration, number=number)


def note_applied(connection: sqlite3.Connection, number: int, utc: float) -> None:
    """Note that a calibration's line was put into the settings."""
    connection.execute("UPDATE cup_calibration SET applied_utc = ? WHERE id = ?", (utc, number))


def _read(row: tuple[Any, ...]) -> Calibration:
    number, made_utc, way, rig, found, applied_utc = row
    return Calibration(number, made_utc, way, rig, json.loads(found), applied_utc)
