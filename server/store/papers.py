"""The papers of each job: the cards that it rests on; and those chosen for the next one."""

import json
import sqlite3
from typing import Any


def read_papers(connection: sqlite3.Connection, job: int) -> dict[str, Any] | None:
    """A job's papers, None where it has none."""
    row = connection.execute("SELECT body FROM papers WHERE job = ?", (job,)).fetchone()
    return None if row is None else dict(json.loads(row[0]))


def list_papers(connection: sqlite3.Connection) -> dict[int, dict[str, Any]]:
    """The papers of all jobs by the job's number."""
    return {job: json.loads(body) for job, body in connection.execute("SELECT job, body FROM papers ORDER BY job")}


def save_papers(connection: sqlite3.Connection, job: int, body: dict[str, Any]) -> None:
    """Store a job's papers in place of those before."""
    connection.execute("INSERT OR REPLACE INTO papers VALUES (?, ?)", (job, json.dumps(body, separators=(",", ":"))))


def list_parts(connection: sqlite3.Connection) -> dict[int, int]:
    """Of each job that is a later part of another the number of that first one."""
    found = connection.execute("SELECT job, json_extract(body, '$.part_of') FROM papers ORDER BY job")
    return {job: first for job, first in found if first is not None}


def read_choice(connection: sqlite3.Connection) -> dict[str, Any]:
    """What the next job is to rest on; empty while nothing is chosen."""
    row = connection.execute("SELECT body FROM choice").fetchone()
    return {} if row is None else dict(json.loads(row[0]))


def save_choice(connection: sqlite3.Connection, body: dict[str, Any]) -> None:
    """Store what the next job is to rest on."""
    connection.execute("INSERT OR REPLACE INTO choice VALUES (1, ?)", (json.dumps(body, separators=(",", ":")),))
