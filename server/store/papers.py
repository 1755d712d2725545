"""The papers of each job: the cards that it rests on."""

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
