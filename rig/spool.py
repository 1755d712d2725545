"""The rig's store on disk: every sample waits here until the service says that it has it.

Samples are collected in memory and written in one transaction at `commit`, about once a second, with a full sync:
a power cut costs at most what came since. The only SQL of the device program.
"""

import logging
import sqlite3
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.errors import SpoolError

log = logging.getLogger(__name__)
MIB = 1024 * 1024
MEMORY_BYTES = 16 * MIB
ROW_BYTES = 100
"""What a sample in memory takes besides its payload."""
CLOCK_SET_UTC = 1_704_067_200.0
"""1 January 2024: rows stamped earlier come from a board whose clock was not set; their age is not known."""
DROP_FRACTION = 0.05
CACHE_KIB = 256
WARNING_FRACTIONS = (0.95, 0.8, 0.5)
_SCHEMA = """
CREATE TABLE IF NOT EXISTS samples (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    boot TEXT NOT NULL, stream TEXT NOT NULL, seq INTEGER NOT NULL, stored_utc REAL NOT NULL, payload BLOB NOT NULL
);
CREATE UNIQUE INDEX IF NOT EXISTS samples_by_key ON samples (boot, stream, seq);
"""


@dataclass(frozen=True, slots=True)
class Row:
    """One sample as it waits: its key and its payload."""

    boot: str
    stream: str
    seq: int
    payload: bytes


@dataclass(frozen=True, slots=True)
class Dropped:
    """A range of samples that had to make room."""

    boot: str
    stream: str
    from_seq: int
    to_seq: int


class Spool:
    """A bounded queue on disk, oldest first; safe to commit from another thread."""

    def __init__(self, file: Path, *, keep_days: float, keep_mib: float, utc: Callable[[], float]) -> None:
        self._file = file
        self._keep_s = keep_days * 86400.0
        self._keep_bytes = keep_mib * MIB
        self._utc = utc
        self._pending: list[tuple[str, str, int, float, bytes]] = []
        self._settled: dict[tuple[str, str], int] = {}
        self._lock = threading.Lock()
        self._disk = threading.RLock()
        self._is_refused = False
        self._is_unreadable = False
        self._warned = 0.0
        self.fill = 0.0
        try:
            self._connection = sqlite3.connect(file, check_same_thread=False, isolation_level=None)
            self._connection.execute("PRAGMA journal_mode = WAL")
            self._connection.execute("PRAGMA synchronous = FULL")
            self._connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
            self._connection.executescript(_SCHEMA)
        except sqlite3.Error as error:
            raise SpoolError(
                f"{file}: the spool cannot be used ({error}): is the disk there, writable and sound?"
            ) from error

    def append(self, row: Row) -> None:
        """Take one sample; it is on disk after the next commit."""
        with self._lock:
            self._pending.append((row.boot, row.stream, row.seq, self._utc(), row.payload))

    def settle(self, boot: str, committed: Mapping[str, int]) -> None:
        """Note what the service has; it is forgotten at the next commit."""
        with self._lock:
            for stream, seq in committed.items():
                key = (boot, stream)
                self._settled[key] = max(seq, self._settled.get(key, -1))

    def commit(self) -> list[Dropped]:
        """Write what is pending, forget what is settled, make room; tells what had to be dropped.

        A full or read-only disk is logged once; the samples then wait in memory, up to the same bound. One commit at
        a time: the connection holds one transaction, and both the event loop and its helper thread call this.
        """
        with self._disk:
            return self._commit()

    def _commit(self) -> list[Dropped]:
        """The work of `commit`."""
        with self._lock:
            pending, settled = self._pending, self._settled
            self._pending, self._settled = [], {}
        pending = [row for row in pending if row[2] > settled.get((row[0], row[1]), -1)]
        try:
            dropped = self._write(pending, settled) if pending or settled else []
        except sqlite3.Error as error:
            self._give_back(pending, settled, error)
            return self._bound_memory()
        if self._is_refused:
            log.warning("%s: the spool can be written again", self._file)
        self._is_refused = False
        return dropped

    def unsettled(self, after_id: int, limit: int) -> list[tuple[int, Row]]:
        """The oldest samples on disk behind `after_id`, in the order they came."""
        with self._lock:
            settled = dict(self._settled)
        rows: list[tuple[int, Row]] = []
        while len(rows) < limit:
            found = self._read(
                "SELECT id, boot, stream, seq, payload FROM samples WHERE id > ? ORDER BY id LIMIT ?", (after_id, limit)
            )
            kept = ((number, Row(*values)) for number, *values in found)
            rows += [(number, row) for number, row in kept if row.seq > settled.get((row.boot, row.stream), -1)]
            if len(found) < limit:
                break
            after_id = found[-1][0]
        return rows[:limit]

    def waiting(self) -> list[Row]:
        """The samples that are in memory only: after a commit, those that the disk refused."""
        with self._lock:
            return [
                Row(boot, stream, seq, payload)
                for boot, stream, seq, _, payload in self._pending
                if seq > self._settled.get((boot, stream), -1)
            ]

    def oldest(self, boot: str, stream: str) -> int | None:
        """The lowest sequence number still held of a boot's stream."""
        on_disk = self._read("SELECT min(seq) FROM samples WHERE boot = ? AND stream = ?", (boot, stream))
        with self._lock:
            waiting = [row[2] for row in self._pending if row[0] == boot and row[1] == stream]
        held = [seq for seq in (*(seq for (seq,) in on_disk), min(waiting, default=None)) if seq is not None]
        return min(held, default=None)

    def count(self) -> int:
        """How many samples wait, on disk and in memory."""
        return sum(int(found) for (found,) in self._read("SELECT count(*) FROM samples")) + len(self._pending)

    def close(self) -> None:
        """Write what is pending and let the file go."""
        with self._disk:
            self.commit()
            self._connection.close()

    def _read(self, query: str, values: Iterable[Any] = ()) -> list[Any]:
        """Ask the disk; a damaged file is told once and reads as empty, so that sampling goes on."""
        try:
            with self._disk:
                found = self._connection.execute(query, tuple(values)).fetchall()
        except sqlite3.Error as error:
            if not self._is_unreadable:
                log.error(
                    "%s: the spool cannot be read (%s); its samples stay there unsent: move the file away and restart",
                    self._file,
                    error,
                )
            self._is_unreadable = True
            return []
        self._is_unreadable = False
        return found

    def _write(
        self, pending: list[tuple[str, str, int, float, bytes]], settled: Mapping[tuple[str, str], int]
    ) -> list[Dropped]:
        """One transaction: insert, forget, make room."""
        run = self._connection.execute
        run("BEGIN IMMEDIATE")
        try:
            self._connection.executemany(
                "INSERT OR IGNORE INTO samples (boot, stream, seq, stored_utc, payload) VALUES (?, ?, ?, ?, ?)", pending
            )
            for (boot, stream), seq in settled.items():
                run("DELETE FROM samples WHERE boot = ? AND stream = ? AND seq <= ?", (boot, stream, seq))
            dropped = self._make_room()
            run("COMMIT")
        except sqlite3.Error:
            if self._connection.in_transaction:
                run("ROLLBACK")
            raise
        return dropped

    def _make_room(self) -> list[Dropped]:
        """Drop what is too old, and the oldest twentieth while the file is too large."""
        dropped: list[Dropped] = []
        (oldest,) = self._connection.execute(
            "SELECT min(stored_utc) FROM samples WHERE stored_utc > ?", (CLOCK_SET_UTC,)
        ).fetchone()
        horizon = self._utc() - self._keep_s
        if oldest is not None and oldest < horizon:
            dropped += self._drop("stored_utc > ? AND stored_utc < ?", (CLOCK_SET_UTC, horizon))
        self.fill = self._used_bytes() / self._keep_bytes
        if self.fill > 1.0:
            (count,) = self._connection.execute("SELECT count(*) FROM samples").fetchone()
            wanted = max(1, int(count * DROP_FRACTION))
            dropped += self._drop("id IN (SELECT id FROM samples ORDER BY id LIMIT ?)", (wanted,))
        self._warn()
        return dropped

    def _drop(self, condition: str, values: Iterable[float]) -> list[Dropped]:
        """Delete rows and tell their ranges."""
        values = tuple(values)
        ranges = self._connection.execute(
            f"SELECT boot, stream, min(seq), max(seq) FROM samples WHERE {condition} GROUP BY boot, stream", values
        ).fetchall()
        self._connection.execute(f"DELETE FROM samples WHERE {condition}", values)
        return [Dropped(*found) for found in ranges]

    def _used_bytes(self) -> int:
        """Bytes of the file that hold something."""
        values = [
            self._connection.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("page_count", "freelist_count", "page_size")
        ]
        return int((values[0] - values[1]) * values[2])

    def _warn(self) -> None:
        """Say once at each level how full the spool is."""
        level = next((mark for mark in WARNING_FRACTIONS if self.fill >= mark), 0.0)
        if level > self._warned:
            log.warning(
                "spool is %d %% full: samples wait for a service that does not take them", round(self.fill * 100)
            )
        self._warned = level

    def _give_back(
        self,
        pending: list[tuple[str, str, int, float, bytes]],
        settled: dict[tuple[str, str], int],
        error: sqlite3.Error,
    ) -> None:
        """Keep in memory what the disk refused."""
        with self._lock:
            self._pending = pending + self._pending
            self._settled = {
                key: max(settled.get(key, -1), self._settled.get(key, -1)) for key in settled | self._settled
            }
        if not self._is_refused:
            log.error(
                "%s: the disk refuses the spool (%s); samples are kept in memory only: free or replace the disk",
                self._file,
                error,
            )
        self._is_refused = True

    def _bound_memory(self) -> list[Dropped]:
        """Drop the oldest samples in memory beyond the bound; tells one range a stream, not one a sample."""
        ranges: dict[tuple[str, str], Dropped] = {}
        with self._lock:
            excess = sum(len(row[4]) + ROW_BYTES for row in self._pending) - min(self._keep_bytes, MEMORY_BYTES)
            count = 0
            for boot, stream, seq, _, payload in self._pending:
                if excess <= 0:
                    break
                excess -= len(payload) + ROW_BYTES
                count += 1
                first = ranges[boot, stream].from_seq if (boot, stream) in ranges else seq
                ranges[boot, stream] = Dropped(boot, stream, first, seq)
            del self._pending[:count]
        return list(ranges.values())
