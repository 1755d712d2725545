"""The one writer of the raw log: a batch of messages, one transaction, once each."""

import re
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from rig import wire
from server.errors import StoreError, UnknownError
from server.numbers import Numbers
from server.store.columns import INSERT, SELECT, message_of, row_of
from server.store.connection import TOO_LARGE
from server.store.settled import read_settled, read_thinned
from server.store.thinning import PIECE, Part, Piece, thin_piece

Result = TypeVar("Result")
QUARANTINE_ROWS = 20_000
QUARANTINE_BYTES = 2048
LONGEST_RANGE = 10_000_000
_BOOT = re.compile(r"[0-9a-f]{8,32}")


@dataclass(frozen=True, slots=True)
class Arrival:
    """One message as it came: the topic, when, the payload, and what it says or why it was refused."""

    topic: str
    received_utc: float
    payload: bytes
    rig: str
    stream: str
    message: wire.Data | None
    refusal: wire.Refusal | None = None


@dataclass(slots=True)
class Outcome:
    """What a batch came to, and what may now be acknowledged: (rig, boot) to stream to number."""

    counts: Counter[str] = field(default_factory=Counter)
    settled: dict[tuple[str, str], dict[str, int]] = field(default_factory=dict)
    first_of_boots: dict[int, float] = field(default_factory=dict)

    def note_stored(self, number: int, received_utc: float) -> None:
        """Note when the first sample of a start came."""
        self.first_of_boots[number] = min(self.first_of_boots.get(number, received_utc), received_utc)


class MessageWriter:
    """Writes batches; knows what is settled."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._boots: dict[tuple[str, str], int] = {}
        self._settled: dict[tuple[int, str], Numbers] = {}
        self._thinned: dict[tuple[int, str], Numbers] = {}

    @property
    def connection(self) -> sqlite3.Connection:
        """The writer's own connection, for what else is to be written on its thread."""
        return self._connection

    def write(self, arrivals: Iterable[Arrival]) -> Outcome:
        """Store a batch in one transaction; raises StoreError, with nothing of it stored or settled."""
        outcome = Outcome()
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            touched = self._store(list(arrivals), outcome)
            self._tally(outcome.counts)
            self._note_boots(outcome)
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._undo()
            raise _refused(error) from error
        for rig, boot, number in touched:
            streams = (stream for stream in wire.DATA_STREAMS if (number, stream) in self._settled)
            found = {stream: self._settled[number, stream].settled for stream in streams}
            outcome.settled[rig, boot] = {stream: seq for stream, seq in found.items() if seq >= 0}
        return outcome

    def run(self, work: Callable[["MessageWriter"], Result]) -> Result:
        """Write something else than samples; raises StoreError where the database refuses."""
        try:
            return work(self)
        except sqlite3.Error as error:
            self._undo()
            raise _refused(error) from error
        except OverflowError as error:
            self._undo()
            raise UnknownError(TOO_LARGE) from error

    def thin(self, part: Part, stream: str, from_seq: int, *, limit: int = PIECE) -> Piece:
        """Remove a few of the messages that go of a stream; what is settled stays so."""
        self._thinned.pop((part.boot, stream), None)
        return thin_piece(self._connection, part, stream, from_seq, limit=limit)

    def next_operator_seq(self, rig: str, boot: str) -> int:
        """The next number for an operator message of this start."""
        number = self._number_boot(rig, boot)
        return self._settled_of(number, "operator").highest + 1

    def _store(self, arrivals: list[Arrival], outcome: Outcome) -> set[tuple[str, str, int]]:
        """Sort a batch into tables; gives the starts that it touched."""
        rows: dict[str, list[tuple[Any, ...]]] = {}
        verbatim: list[tuple[int, str, int, bytes]] = []
        touched: set[tuple[str, str, int]] = set()
        for arrival in arrivals:
            outcome.counts["read"] += 1
            message = arrival.message
            if message is None:
                self._refuse(arrival, outcome, touched)
                continue
            number = self._number_boot(arrival.rig, message.boot)
            touched.add((arrival.rig, message.boot, number))
            settled = self._settled_of(number, arrival.stream)
            row = row_of(arrival.stream, message, number, arrival.received_utc)
            if message.seq in settled:
                self._store_late(arrival, message, number, row, rows, outcome)
                continue
            settled.add(message.seq)
            outcome.note_stored(number, arrival.received_utc)
            rows.setdefault(arrival.stream, []).append(row)
            if wire.write(message, arrival.stream) != arrival.payload:
                verbatim.append((number, arrival.stream, message.seq, arrival.payload))
            if isinstance(message, wire.Event) and message.kind == "overflow":
                self._settle_overflow(arrival.rig, message, number, touched)
        for stream, found in rows.items():
            self._connection.executemany(INSERT[stream], found)
        self._connection.executemany("INSERT OR IGNORE INTO verbatim VALUES (?, ?, ?, ?)", verbatim)
        return touched

    def _store_late(
        self, arrival: Arrival, message: wire.Data, number: int, row: tuple[Any, ...],
        rows: dict[str, list[tuple[Any, ...]]], outcome: Outcome,
    ) -> None:  # fmt: skip
        """A number that is settled already: a repeat, or a sample that was given up and came after all."""
        if message.seq in self._thinned_of(number, arrival.stream):
            outcome.counts["duplicate"] += 1
            return
        waiting = rows.pop(arrival.stream, [])
        self._connection.executemany(INSERT[arrival.stream], waiting)
        if self._connection.execute(INSERT[arrival.stream], row).rowcount:
            outcome.counts["late"] += 1
            outcome.note_stored(number, arrival.received_utc)
            if wire.write(message, arrival.stream) != arrival.payload:
                found = (number, arrival.stream, message.seq, arrival.payload)
                self._connection.execute("INSERT OR IGNORE INTO verbatim VALUES (?, ?, ?, ?)", found)
        elif self._stored_message(arrival.stream, number, message.seq, message.boot) == message:
            outcome.counts["duplicate"] += 1
            again = (number, arrival.stream, message.seq, arrival.received_utc)
            self._connection.execute("INSERT INTO repeat (boot, stream, seq, received) VALUES (?, ?, ?, ?)", again)
        else:
            outcome.counts["refused"] += 1
            self._quarantine(arrival, "a repeat with other content")

    def _stored_message(self, stream: str, number: int, seq: int, boot: str) -> wire.Data | None:
        """What is stored under a key."""
        row = self._connection.execute(f"{SELECT[stream]} WHERE boot = ? AND seq = ?", (number, seq)).fetchone()
        return None if row is None else message_of(stream, row, boot)

    def _refuse(self, arrival: Arrival, outcome: Outcome, touched: set[tuple[str, str, int]]) -> None:
        """Put a message in quarantine; settle its number where it could be read."""
        refusal = arrival.refusal
        assert refusal is not None
        outcome.counts["refused"] += 1
        self._quarantine(arrival, refusal.reason)
        if refusal.boot is None or refusal.seq is None or arrival.stream not in wire.DATA_STREAMS:
            return
        number = self._number_boot(arrival.rig, refusal.boot)
        touched.add((arrival.rig, refusal.boot, number))
        if refusal.seq not in self._settled_of(number, arrival.stream):
            self._settle(number, arrival.stream, refusal.seq, refusal.seq)

    def _quarantine(self, arrival: Arrival, reason: str) -> None:
        """Keep what was refused, the newest so many."""
        found = (arrival.topic, arrival.received_utc, reason, arrival.payload[:QUARANTINE_BYTES])
        added = self._connection.execute(
            "INSERT INTO quarantine (topic, received, reason, payload) VALUES (?, ?, ?, ?)", found
        ).lastrowid
        if added is not None:
            self._connection.execute("DELETE FROM quarantine WHERE id <= ?", (added - QUARANTINE_ROWS,))

    def _settle_overflow(self, rig: str, event: wire.Event, number: int, touched: set[tuple[str, str, int]]) -> None:
        """The device declares a range lost, of this start or of the one it names."""
        of_boot = event.detail.get("of_boot")
        if of_boot is not None and of_boot != event.boot:
            if not isinstance(of_boot, str) or _BOOT.fullmatch(of_boot) is None:
                return
            number = self._number_boot(rig, of_boot)
            touched.add((rig, of_boot, number))
        low, high = int(event.detail["from_seq"]), int(event.detail["to_seq"])
        if high - low < LONGEST_RANGE:
            self._settle(number, str(event.detail["stream"]), low, high)

    def _settle(self, number: int, stream: str, low: int, high: int) -> None:
        """Note a range as settled without samples."""
        self._connection.execute(
            "INSERT INTO settled VALUES (?, ?, ?, ?) ON CONFLICT (boot, stream, from_seq) "
            "DO UPDATE SET to_seq = max(to_seq, excluded.to_seq)",
            (number, stream, low, high),
        )
        self._settled_of(number, stream).add(low, high)

    def _number_boot(self, rig: str, boot: str) -> int:
        """The database's number of a start."""
        key = (rig, boot)
        if key not in self._boots:
            self._connection.execute("INSERT OR IGNORE INTO boot (rig, name) VALUES (?, ?)", key)
            (number,) = self._connection.execute("SELECT id FROM boot WHERE rig = ? AND name = ?", key).fetchone()
            self._boots[key] = int(number)
        return self._boots[key]

    def _settled_of(self, number: int, stream: str) -> Numbers:
        """What is settled of a start's stream."""
        key = (number, stream)
        if key not in self._settled:
            self._settled[key] = read_settled(self._connection, number, stream)
        return self._settled[key]

    def _thinned_of(self, number: int, stream: str) -> Numbers:
        """What has been removed of a start's stream."""
        key = (number, stream)
        if key not in self._thinned:
            self._thinned[key] = read_thinned(self._connection, number, stream)
        return self._thinned[key]

    def _tally(self, counts: Counter[str]) -> None:
        """Keep the counts over restarts."""
        self._connection.executemany(
            "INSERT INTO tally VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET count = count + excluded.count",
            list(counts.items()),
        )

    def _note_boots(self, outcome: Outcome) -> None:
        """Keep with each start when its first sample came."""
        self._connection.executemany(
            "UPDATE boot SET first_received = ?1 WHERE id = ?2 AND (first_received IS NULL OR first_received > ?1)",
            [(first, number) for number, first in outcome.first_of_boots.items()],
        )

    def _undo(self) -> None:
        """Forget what memory knew of a batch that was not stored."""
        if self._connection.in_transaction:
            self._connection.execute("ROLLBACK")
        self._boots.clear()
        self._settled.clear()
        self._thinned.clear()


def _refused(error: sqlite3.Error) -> StoreError:
    return StoreError(f"the database refuses ({error}): free or replace the disk; the rig keeps everything")


def read_tally(connection: sqlite3.Connection) -> Counter[str]:
    """The counts of all time."""
    return Counter(dict(connection.execute("SELECT name, count FROM tally").fetchall()))


def read_quarantine(connection: sqlite3.Connection, limit: int) -> list[dict[str, Any]]:
    """The newest refused messages, for people."""
    found = connection.execute(
        "SELECT topic, received, reason, payload FROM quarantine ORDER BY id DESC LIMIT ?", (limit,)
    )
    return [
        {"topic": topic, "received_utc": received, "reason": reason, "payload": payload.decode("utf-8", "replace")}
        for topic, received, reason, payload in found
    ]


def count_reasons(connection: sqlite3.Connection) -> dict[str, int]:
    """How many messages in quarantine, by reason."""
    return dict(
        connection.execute("SELECT reason, count(*) FROM quarantine GROUP BY reason ORDER BY 2 DESC").fetchall()
    )
