"""Jobs: named intervals over the raw log, each with its own frozen setup."""

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import Any

from server.core.setup import Setup, Span
from server.core.tables import mapping_from_setup, setup_from_mapping
from server.errors import UnknownError

STATES = ("idle", "running", "paused", "finished")


@dataclass(frozen=True, slots=True)
class Job:
    """One job as it is stored; the setup carries the job's span."""

    number: int
    name: str
    state: str
    created_utc: float
    setup: Setup
    revision: int = 1

    @property
    def rig(self) -> str:
        """The rig that did it."""
        return self.setup.job.rig or ""

    @property
    def span(self) -> Span:
        """Which part of the raw log it is."""
        return self.setup.job


_COLUMNS = "id, name, rig, state, created_utc, start_boot, start_mono, end_boot, end_mono, setup, revision"


def list_jobs(connection: sqlite3.Connection) -> list[Job]:
    """All jobs, the newest first."""
    return [_read(row) for row in connection.execute(f"SELECT {_COLUMNS} FROM job ORDER BY id DESC")]


def find_job(connection: sqlite3.Connection, number: int) -> Job:
    """One job; raises UnknownError."""
    row = connection.execute(f"SELECT {_COLUMNS} FROM job WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise UnknownError(f"there is no job {number}")
    return _read(row)


def find_open_job(connection: sqlite3.Connection) -> Job | None:
    """The job that is running or paused, if one is."""
    row = connection.execute(
        f"SELECT {_COLUMNS} FROM job WHERE state IN ('running', 'paused') ORDER BY id DESC LIMIT 1"
    ).fetchone()
    return None if row is None else _read(row)


def add_job(connection: sqlite3.Connection, job: Job) -> Job:
    """Store a new job; its number is given by the store."""
    span = job.span
    values = (
        _free_number(connection), job.name, job.rig, job.state, job.created_utc, *(span.start or (None, None)),
        *(span.end or (None, None)),
        _pack(job.setup), job.revision,
    )  # fmt: skip
    number = connection.execute(
        f"INSERT INTO job ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", values
    ).lastrowid
    assert number is not None
    return replace(job, number=number)


def save_job(connection: sqlite3.Connection, job: Job) -> None:
    """Store a job's changed name, state, span or setup; raises UnknownError."""
    span = job.span
    values = (
        job.name, job.rig, job.state, *(span.start or (None, None)), *(span.end or (None, None)), _pack(job.setup),
        job.revision, job.number,
    )  # fmt: skip
    changed = connection.execute(
        "UPDATE job SET name = ?, rig = ?, state = ?, start_boot = ?, start_mono = ?, end_boot = ?, end_mono = ?, "
        "setup = ?, revision = ? WHERE id = ?",
        values,
    ).rowcount
    if not changed:
        raise UnknownError(f"there is no job {job.number}")


def remove_job(connection: sqlite3.Connection, number: int) -> None:
    """Forget a job; its samples stay in the raw log as long as any that are in no job. Raises UnknownError."""
    if not connection.execute("DELETE FROM job WHERE id = ?", (number,)).rowcount:
        raise UnknownError(f"there is no job {number}")


def read_default_setup(connection: sqlite3.Connection) -> Setup | None:
    """The setup that the next job starts from, if one was saved."""
    row = connection.execute("SELECT setup FROM default_setup").fetchone()
    return None if row is None else _unpack(row[0])


def save_default_setup(connection: sqlite3.Connection, setup: Setup) -> None:
    """Save the setup that the next job starts from."""
    connection.execute("INSERT OR REPLACE INTO default_setup VALUES (1, ?)", (_pack(setup),))


def _free_number(connection: sqlite3.Connection) -> int:
    """A number that no job has, and that nothing kept of a forgotten job names: lines of the journal, fills, parts."""
    (last,) = connection.execute(
        "SELECT max(number) FROM (SELECT max(id) AS number FROM job UNION ALL SELECT max(job) FROM fill "
        "UNION ALL SELECT max(json_extract(body, '$.part_of')) FROM papers "
        "UNION ALL SELECT max(json_extract(body, '$.job')) FROM card WHERE kind = 'work')"
    ).fetchone()
    return int(last or 0) + 1


def _read(row: tuple[Any, ...]) -> Job:
    number, name, rig, state, created, start_boot, start_mono, end_boot, end_mono, setup, revision = row
    start = None if start_boot is None else (start_boot, start_mono)
    end = None if end_boot is None else (end_boot, end_mono)
    return Job(number, name, state, created, replace(_unpack(setup), job=Span(rig or None, start, end)), revision)


def _pack(setup: Setup) -> str:
    return json.dumps(mapping_from_setup(setup), separators=(",", ":"))


def _unpack(text: str) -> Setup:
    return setup_from_mapping(json.loads(text))
