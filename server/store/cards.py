"""Cards: what people entered, in versions; nothing is overwritten, and what is put away stays readable."""

import json
import sqlite3
from dataclasses import dataclass
from typing import Any

from server.errors import ConflictError, UnknownError


@dataclass(frozen=True, slots=True)
class Sheet:
    """One version of a card as it is stored."""

    kind: str
    number: int
    version: int
    made_utc: float
    is_retired: bool
    body: dict[str, Any]


_COLUMNS = "kind, number, version, made_utc, is_retired, body"
_NEWEST = (
    "version = (SELECT max(version) FROM card AS other WHERE other.kind = card.kind AND other.number = card.number)"
)


def list_cards(connection: sqlite3.Connection, kind: str, *, is_retired: bool | None = False) -> list[Sheet]:
    """The newest version of each card of a kind, by number; `is_retired` None: also those that were put away."""
    rows = connection.execute(f"SELECT {_COLUMNS} FROM card WHERE kind = ? AND {_NEWEST} ORDER BY number", (kind,))
    return [sheet for sheet in map(_read, rows) if is_retired is None or sheet.is_retired == is_retired]


def find_card(connection: sqlite3.Connection, kind: str, number: int, version: int | None = None) -> Sheet:
    """One card, its newest version or the one asked for; raises UnknownError."""
    which, values = (_NEWEST, (kind, number)) if version is None else ("version = ?", (kind, number, version))
    row = connection.execute(
        f"SELECT {_COLUMNS} FROM card WHERE kind = ? AND number = ? AND {which}", values
    ).fetchone()
    if row is None:
        raise UnknownError(f"there is no {kind} {number}" + ("" if version is None else f" of version {version}"))
    return _read(row)


def list_versions(connection: sqlite3.Connection, kind: str, number: int) -> list[Sheet]:
    """All versions of a card, the oldest first; raises UnknownError."""
    where = "kind = ? AND number = ? ORDER BY version"
    rows = connection.execute(f"SELECT {_COLUMNS} FROM card WHERE {where}", (kind, number))
    found = [_read(row) for row in rows]
    if not found:
        raise UnknownError(f"there is no {kind} {number}")
    return found


def add_card(connection: sqlite3.Connection, kind: str, body: dict[str, Any], utc: float) -> Sheet:
    """Store a new card; its number is given by the store."""
    (last,) = connection.execute("SELECT coalesce(max(number), 0) FROM card WHERE kind = ?", (kind,)).fetchone()
    return _insert(connection, Sheet(kind, last + 1, 1, utc, False, body))


def revise_card(
    connection: sqlite3.Connection, kind: str, number: int, body: dict[str, Any] | None, utc: float, *, version: int,
) -> Sheet:  # fmt: skip
    """Store a card's next version, or put it away where there is no body; raises ConflictError where it was changed."""
    before = find_card(connection, kind, number)
    if before.version != version:
        raise ConflictError(f"{kind} {number} was changed meanwhile: look at version {before.version} first")
    return _insert(
        connection, Sheet(kind, number, version + 1, utc, body is None, before.body if body is None else body)
    )


def _insert(connection: sqlite3.Connection, sheet: Sheet) -> Sheet:
    body = json.dumps(sheet.body, separators=(",", ":"), ensure_ascii=False)
    values = (sheet.kind, sheet.number, sheet.version, sheet.made_utc, int(sheet.is_retired), body)
    connection.execute(f"INSERT INTO card ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)", values)
    return sheet


def _read(row: tuple[Any, ...]) -> Sheet:
    kind, number, version, made_utc, is_retired, body = row
    return Sheet(kind, number, version, made_utc, bool(is_retired), json.loads(body))
