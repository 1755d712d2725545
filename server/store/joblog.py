"""A job's samples out of the store: as arrays for the review, as messages for a raw log file."""

import sqlite3
from collections.abc import Iterator
from heapq import merge
from itertools import chain, islice
from operator import itemgetter
from typing import Any

import numpy as np

from rig import wire
from server.core.log import Floats, JobLog, Receipt
from server.core.setup import Span
from server.errors import LogError
from server.rawlog import Limits, Received, cut_span
from server.samples import NUMERIC, SAID, Rows, assemble_log, tabulate
from server.store.columns import SELECT, message_of

Bounds = dict[int, tuple[str, float, float]]
"""Boot number to its name and the first and last mono that belong to the job."""
PIECE = 2_000
SPARSE = 5_000


def load_sparse_log(connection: sqlite3.Connection, span: Span) -> JobLog:
    """As `load_job_log`, but of long starts only so many samples: enough to tell when each was."""
    return load_job_log(connection, span, most=SPARSE)


def load_job_log(connection: sqlite3.Connection, span: Span, *, most: int | None = None) -> JobLog:
    """The job's arrays, straight from the typed tables; raises LogError where it holds no sample."""
    rig = choose_rig(connection, span)
    bounds = bound_boots(connection, rig, span)
    tables = {stream: _tabulate(connection, stream, bounds, most) for stream in NUMERIC}
    said: Rows = {stream: list(_select(connection, stream, bounds)) for stream in SAID}
    read = sum(map(len, tables.values())) + sum(map(len, said.values()))
    if not read:
        raise LogError(f"the store holds no sample of rig {rig!r} in the job's span")
    duplicate = sum(1 for _ in _select_repeats(connection, bounds))
    refused = sum(1 for _ in _select_refused(connection, rig, bounds))
    names = {number: name for number, (name, _, _) in bounds.items()}
    boots = [names.get(number, "") for number in range(max(bounds, default=0) + 1)]
    return assemble_log(rig, boots, tables, said, Receipt(read + refused + duplicate, refused, duplicate))


def iterate_received(connection: sqlite3.Connection, span: Span) -> Iterator[Received]:
    """The job's messages as they came, with repeats and refusals, always in the same order."""
    rig = choose_rig(connection, span)
    bounds = bound_boots(connection, rig, span)
    parts = [
        _read_stream(connection, rig, stream, {number: bound})
        for stream in wire.DATA_STREAMS
        for number, bound in bounds.items()
    ]
    parts += [_read_repeats(connection, rig, bounds), _read_refused(connection, rig, bounds)]
    return (entry[-1] for entry in merge(*parts, key=itemgetter(slice(0, 5))))


def iterate_messages(connection: sqlite3.Connection, span: Span) -> Iterator[tuple[wire.Data, float]]:
    """The job's messages in the order they were taken, start by start, each with when it came."""
    bounds = bound_boots(connection, choose_rig(connection, span), span)
    for number, bound in bounds.items():
        parts = [_read_messages(connection, stream, {number: bound}) for stream in wire.DATA_STREAMS]
        yield from merge(*parts, key=lambda entry: entry[0].mono)


def choose_rig(connection: sqlite3.Connection, span: Span) -> str:
    """The span's rig, or the only one of the store."""
    if span.rig is not None:
        return span.rig
    rigs = [rig for (rig,) in connection.execute("SELECT DISTINCT rig FROM boot ORDER BY rig")]
    if len(rigs) != 1:
        raise LogError(f"the job must name its rig; the store holds {', '.join(rigs) or 'none'}")
    return str(rigs[0])


def bound_boots(connection: sqlite3.Connection, rig: str, span: Span) -> Bounds:
    """Which boots belong to the job, and which part of each."""
    known = connection.execute(
        "SELECT id, name FROM boot WHERE rig = ? AND first_received IS NOT NULL ORDER BY first_received, name", (rig,)
    ).fetchall()
    limits: list[Limits] = cut_span(span, [name for _, name in known])
    return {number: (name, *limit) for (number, name), limit in zip(known, limits, strict=True) if limit is not None}


def count_messages(connection: sqlite3.Connection, span: Span) -> list[int]:
    """How many samples, repeats and refusals a job holds so far: other figures mean that its log has changed."""
    rig = choose_rig(connection, span)
    bounds = bound_boots(connection, rig, span)
    samples = sum(count for count, _, _ in _measure(connection, bounds))
    repeats = sum(1 for _ in _select_repeats(connection, bounds))
    return [samples, repeats, sum(1 for _ in _select_refused(connection, rig, bounds))]


Entry = tuple[float, int, int, str, int, Received]
"""What messages are put in order by, and the message: when, kind, start, stream, number."""


def _read_messages(connection: sqlite3.Connection, stream: str, bounds: Bounds) -> Iterator[tuple[wire.Data, float]]:
    """A stream's messages in the order they were taken."""
    for row in _select(connection, stream, bounds):
        yield message_of(stream, row, bounds[row[-2]][0]), row[-1]


def _read_stream(connection: sqlite3.Connection, rig: str, stream: str, bounds: Bounds) -> Iterator[Entry]:
    """A stream's messages in the order they came."""
    topic = wire.topic_of(rig, stream)
    for row in _select(connection, stream, bounds, order="received, seq"):
        seq, boot, received = row[0], row[-2], row[-1]
        payload = _payload_of(connection, stream, row, bounds[boot][0])
        yield received, 0, boot, stream, seq, Received(topic, received, payload)


def _read_repeats(connection: sqlite3.Connection, rig: str, bounds: Bounds) -> Iterator[Entry]:
    """Repeats in the order they came."""
    found = sorted(_select_repeats(connection, bounds), key=lambda repeat: (repeat[3], *repeat[:3]))
    for boot, stream, seq, received in found:
        row = connection.execute(f"{SELECT[stream]} WHERE boot = ? AND seq = ?", (boot, seq)).fetchone()
        payload = _payload_of(connection, stream, row, bounds[boot][0])
        yield received, 1, boot, stream, seq, Received(wire.topic_of(rig, stream), received, payload)


def _read_refused(connection: sqlite3.Connection, rig: str, bounds: Bounds) -> Iterator[Entry]:
    """Refusals in the order they came."""
    for number, topic, received, payload in _select_refused(connection, rig, bounds):
        yield received, 2, 0, "", number, Received(topic, received, payload)


def _payload_of(connection: sqlite3.Connection, stream: str, row: tuple[Any, ...], boot: str) -> bytes:
    """A message's payload: as it was kept, or else in the one form that it must have had."""
    query = "SELECT payload FROM verbatim WHERE boot = ? AND stream = ? AND seq = ?"
    odd = connection.execute(query, (row[-2], stream, row[0])).fetchone()
    return wire.write(message_of(stream, row, boot), stream) if odd is None else bytes(odd[0])


def _select(
    connection: sqlite3.Connection, stream: str, bounds: Bounds, *, order: str = "seq", most: int | None = None
) -> Iterator[tuple[Any, ...]]:
    """A stream's rows in the job, start by start; at most about so many of each, evenly."""
    each = "" if most is None else f" AND seq % (1 + (SELECT max(seq) FROM {stream} WHERE boot = ?1) / {most}) = 0"
    query = f"{SELECT[stream]} WHERE boot = ?1 AND mono BETWEEN ?2 AND ?3{each} ORDER BY {order}"
    return chain.from_iterable(
        connection.execute(query, (number, low, high)) for number, (_, low, high) in bounds.items()
    )


def _tabulate(connection: sqlite3.Connection, stream: str, bounds: Bounds, most: int | None) -> Floats:
    """A stream's rows as one table, gathered in pieces: a long job as lists would take much memory."""
    rows = _select(connection, stream, bounds, most=most)
    pieces = [tabulate([], stream)]
    while piece := list(islice(rows, PIECE)):
        pieces.append(tabulate(piece, stream))
    return np.concatenate(pieces)


def _measure(connection: sqlite3.Connection, bounds: Bounds) -> list[tuple[int, float | None, float | None]]:
    """How many samples, and when the first and the last came, of each stream and start."""
    return [
        connection.execute(
            f"SELECT count(*), min(received), max(received) FROM {stream} WHERE boot = ? AND mono BETWEEN ? AND ?",
            (number, low, high),
        ).fetchone()
        for stream in wire.DATA_STREAMS
        for number, (_, low, high) in bounds.items()
    ]


def _select_repeats(connection: sqlite3.Connection, bounds: Bounds) -> Iterator[tuple[int, str, int, float]]:
    """Repeats of messages in the job."""
    for number, (_, low, high) in bounds.items():
        for stream in wire.DATA_STREAMS:
            query = (
                f"SELECT r.boot, r.stream, r.seq, r.received FROM repeat r JOIN {stream} s ON s.boot = r.boot "
                "AND s.seq = r.seq WHERE r.boot = ? AND r.stream = ? AND s.mono BETWEEN ? AND ? ORDER BY r.id"
            )
            yield from connection.execute(query, (number, stream, low, high))


def _select_refused(
    connection: sqlite3.Connection, rig: str, bounds: Bounds
) -> Iterator[tuple[int, str, float, bytes]]:
    """What was refused of the rig while the job's messages came, in order."""
    times = [time for _, *pair in _measure(connection, bounds) for time in pair if time is not None]
    if not times:
        return
    query = "SELECT id, topic, received, payload FROM quarantine WHERE received BETWEEN ? AND ? ORDER BY received, id"
    topics = {wire.topic_of(rig, stream) for stream in wire.DATA_STREAMS}
    for entry in connection.execute(query, (min(times), max(times))):
        if entry[1] in topics:
            yield entry
