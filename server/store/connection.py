"""Connections to the database: one writer, readers of their own."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TypeVar

from sqlite_utils import Database

from server.errors import StoreError, UnknownError
from server.store.migrations import migrations

BUSY_S = 10.0
TOO_LARGE = "there is nothing of so large a number"
"""The database's whole numbers have 64 bits; what is asked for by a larger one is not there."""
Connection = sqlite3.Connection
"""For those outside who only hand one on."""
Result = TypeVar("Result")
DATABASE_ERRORS = (sqlite3.Error,)
"""What the database raises, for those outside who say it in one line."""


def open_writer(file: Path) -> sqlite3.Connection:
    """Open the database for writing, made and brought up to date; raises StoreError with what to do."""
    try:
        connection = sqlite3.connect(file, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        migrations.apply(Database(connection))
    except sqlite3.Error as error:
        raise StoreError(
            f"{file}: the database cannot be used ({error}): is the folder there, writable, and the disk not full?"
        ) from error
    return connection


def open_reader(file: Path) -> sqlite3.Connection:
    """Open the database for reading beside the writer; raises StoreError where there is none."""
    try:
        connection = sqlite3.connect(f"file:{file}?mode=ro", uri=True, timeout=BUSY_S, isolation_level=None)
        connection.execute("SELECT count(*) FROM boot")
    except sqlite3.Error as error:
        raise StoreError(f"{file}: is not a database of this program ({error})") from error
    return connection


def ask_store(file: Path, work: Callable[[sqlite3.Connection], Result]) -> Result:
    """Ask a question on a reader of its own."""
    with closing(open_reader(file)) as connection:
        try:
            return work(connection)
        except OverflowError as error:
            raise UnknownError(TOO_LARGE) from error


@contextmanager
def keep_together(connection: sqlite3.Connection) -> Iterator[None]:
    """Several changes that are stored all or none, also where the power fails between them."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")
