"""What the question for calm needs of the store besides the blocks: sources, the place, and what was told last."""

import json
import sqlite3
from math import nan
from typing import Any

from server.store.history import Source


def list_sources(connection: sqlite3.Connection) -> list[tuple[int, Source]]:
    """The sources of blocks with their numbers, uncounted: counting reads every block."""
    rows = connection.execute("SELECT id, kind, name, height_m, step_s FROM wind_source ORDER BY id").fetchall()
    return [(number, Source(*source)) for number, *source in rows]


def find_last_fix(connection: sqlite3.Connection) -> tuple[float, float]:
    """Latitude and longitude of the newest start's newest fix that has a place [degrees]; NaN where there is none."""
    row = connection.execute(
        "SELECT lat, lon FROM position WHERE lat IS NOT NULL AND lon IS NOT NULL ORDER BY boot DESC, seq DESC LIMIT 1"
    ).fetchone()
    return (nan, nan) if row is None else (float(row[0]), float(row[1]))


def read_note(connection: sqlite3.Connection, name: str) -> Any:
    """What was noted under a name; None where nothing was."""
    row = connection.execute("SELECT value FROM outlook WHERE name = ?", (name,)).fetchone()
    return None if row is None else json.loads(row[0])


def save_note(connection: sqlite3.Connection, name: str, value: Any) -> None:
    """Note something that must outlast a restart."""
    connection.execute("INSERT OR REPLACE INTO outlook VALUES (?, ?)", (name, json.dumps(value, allow_nan=False)))
