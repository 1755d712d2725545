"""What the question for calm needs of the store besides the blocks: their sources, and notes over a restart."""

import json
import sqlite3
from typing import Any

from server.store.history import Source


def list_sources(connection: sqlite3.Connection) -> list[tuple[int, Source]]:
    """The sources of blocks with their numbers, uncounted: counting reads every block."""
    rows = connection.execute("SELECT id, kind, name, height_m, step_s FROM wind_source ORDER BY id").fetchall()
    return [(number, Source(*source)) for number, *source in rows]


def read_note(connection: sqlite3.Connection, name: str) -> Any:
    """What was noted under a name; None where nothing was."""
    row = connection.execute("SELECT value FROM outlook WHERE name = ?", (name,)).fetchone()
    return None if row is None else json.loads(row[0])


def save_note(connection: sqlite3.Connection, name: str, value: Any) -> None:
    """Note something that must outlast a restart."""
    connection.execute("INSERT OR REPLACE INTO outlook VALUES (?, ?)", (name, json.dumps(value, allow_nan=False)))
