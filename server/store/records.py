"""Application records: what was typed, what was signed once and for all, amendments, and how long they are kept."""

import json
import sqlite3
from dataclasses import dataclass, field
from typing import Any

from server.errors import ConflictError
from server.store.jobs import remove_job


@dataclass(frozen=True, slots=True)
class Draft:
    """What was typed into a record that is not signed, by item, and the zone of time it is told in."""

    typed: dict[str, Any] = field(default_factory=dict)
    zone: str = ""


@dataclass(frozen=True, slots=True)
class Signed:
    """A signed record: the jobs it covers, by whom and when, from when its period counts, its text and fingerprint."""

    job: int
    parts: tuple[int, ...]
    signed_utc: float
    signed_by: str
    kept_from_utc: float
    digest: str
    body: str


@dataclass(frozen=True, slots=True)
class Amendment:
    """A change after signing, as text, with a fingerprint over it and what came before."""

    digest: str
    body: str


def read_draft(connection: sqlite3.Connection, job: int) -> Draft:
    """What was typed for a job; empty where nothing was."""
    row = connection.execute("SELECT typed, zone FROM record_draft WHERE job = ?", (job,)).fetchone()
    return Draft() if row is None else Draft(json.loads(row[0]), row[1])


def save_draft(connection: sqlite3.Connection, job: int, draft: Draft) -> None:
    """Keep what was typed; raises ConflictError where the record is signed."""
    if read_signed(connection, job) is not None:
        raise ConflictError(f"the record of job {job} is signed: amend it")
    typed = json.dumps(draft.typed, separators=(",", ":"), ensure_ascii=False)
    connection.execute("INSERT OR REPLACE INTO record_draft VALUES (?, ?, ?)", (job, typed, draft.zone))


def read_signed(connection: sqlite3.Connection, job: int) -> Signed | None:
    """A job's signed record, None where it is not signed."""
    row = connection.execute(f"SELECT {_COLUMNS} FROM record WHERE job = ?", (job,)).fetchone()
    return None if row is None else _read(row)


def list_signed(connection: sqlite3.Connection) -> list[Signed]:
    """All signed records by job."""
    return [_read(row) for row in connection.execute(f"SELECT {_COLUMNS} FROM record ORDER BY job")]


def add_signed(connection: sqlite3.Connection, signed: Signed) -> None:
    """Keep a signed record; raises ConflictError where the job's is signed already."""
    if read_signed(connection, signed.job) is not None:
        raise ConflictError(f"the record of job {signed.job} is signed already: amend it")
    values = (
        signed.job, json.dumps(signed.parts), signed.signed_utc, signed.signed_by, signed.kept_from_utc, signed.digest,
        signed.body,
    )  # fmt: skip
    connection.execute(f"INSERT INTO record ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)", values)


def list_amendments(connection: sqlite3.Connection, job: int) -> list[Amendment]:
    """A record's amendments in their order."""
    rows = connection.execute("SELECT digest, body FROM record_amendment WHERE job = ? ORDER BY id", (job,))
    return [Amendment(*row) for row in rows]


def add_amendment(connection: sqlite3.Connection, job: int, amendment: Amendment) -> None:
    """Keep an amendment behind those before."""
    values = (job, amendment.digest, amendment.body)
    connection.execute("INSERT INTO record_amendment (job, digest, body) VALUES (?, ?, ?)", values)


def find_covering(connection: sqlite3.Connection, job: int) -> Signed | None:
    """The signed record that a job, or a part of one, stands under."""
    return next((signed for signed in list_signed(connection) if job in signed.parts), None)


def read_retention(connection: sqlite3.Connection) -> dict[str, Any] | None:
    """How long records are kept, None where nothing was set."""
    row = connection.execute("SELECT body FROM retention").fetchone()
    return None if row is None else dict(json.loads(row[0]))


def save_retention(connection: sqlite3.Connection, body: dict[str, Any]) -> None:
    """Keep how long records are kept."""
    connection.execute("INSERT OR REPLACE INTO retention VALUES (1, ?)", (json.dumps(body),))


def remove_jobs(connection: sqlite3.Connection, jobs: tuple[int, ...]) -> None:
    """Forget jobs with their papers and records, all or none; raises UnknownError."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        for job in jobs:
            remove_job(connection, job)
            for table in ("record_draft", "record", "record_amendment", "papers"):
                connection.execute(f"DELETE FROM {table} WHERE job = ?", (job,))
    except Exception:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


_COLUMNS = "job, parts, signed_utc, signed_by, kept_from_utc, digest, body"


def _read(row: tuple[Any, ...]) -> Signed:
    job, parts, signed_utc, signed_by, kept_from_utc, digest, body = row
    return Signed(job, tuple(json.loads(parts)), signed_utc, signed_by, kept_from_utc, digest, body)
