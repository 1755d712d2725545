"""A job's samples out of the store: as arrays for the review, as messages for a raw log file."""

import sqlite3
from collections.abc import Iterator
from itertools import chain

from rig import wire
from server.core.log import JobLog, Receipt
from server.core.setup import Span
from server.errors import LogError
from server.rawlog import Limits, Received, cut_span
from server.samples import Rows, assemble_log
from server.store.columns import SELECT, message_of

Bounds = dict[int, tuple[str, float, float]]
"""Boot number to its name and the first and last mono that belong to the job."""


def load_job_log(connection: sqlite3.Connection, span: Span) -> JobLog:
    """The job's arrays, straight from the typed tables; raises LogError where it holds no sample."""
    rig = choose_rig(connection, span)
    bounds = bound_boots(connection, rig, span)
    rows: Rows = {stream: _select(connection, stream, bounds) for stream in wire.DATA_STREAMS}
    read = sum(map(len, rows.values()))
    if not read:
        raise LogError(f"the store holds no sample of rig {rig!r} in the job's span")
    duplicate = len(_select_repeats(connection, bounds))
    refused = len(_select_refused(connection, rig, _times(rows)))
    names = {number: name for number, (name, _, _) in bounds.items()}
    boots = [names.get(number, "") for number in range(max(bounds, default=0) + 1)]
    return assemble_log(rig, boots, rows, Receipt(read + refused + duplicate, refused, duplicate))


def iterate_received(connection: sqlite3.Connection, span: Span) -> Iterator[Received]:
    """The job's messages as they came, with repeats and refusals, always in the same order."""
    rig = choose_rig(connection, span)
    bounds = bound_boots(connection, rig, span)
    rows: Rows = {stream: _select(connection, stream, bounds) for stream in wire.DATA_STREAMS}
    odd = _read_verbatim(connection, bounds)
    found: list[tuple[float, int, int, str, int, Received]] = []
    payloads: dict[tuple[int, str, int], bytes] = {}
    for stream, stream_rows in rows.items():
        topic = wire.topic_of(rig, stream)
        for row in stream_rows:
            seq, boot, received = row[0], row[-2], row[-1]
            payload = odd.get((boot, stream, seq)) or wire.write(message_of(stream, row, bounds[boot][0]), stream)
            payloads[boot, stream, seq] = payload
            found.append((received, 0, boot, stream, seq, Received(topic, received, payload)))
    for boot, stream, seq, received in _select_repeats(connection, bounds):
        again = Received(wire.topic_of(rig, stream), received, payloads[boot, stream, seq])
        found.append((received, 1, boot, stream, seq, again))
    for number, topic, received, payload in _select_refused(connection, rig, _times(rows)):
        found.append((received, 2, 0, "", number, Received(topic, received, payload)))
    found.sort(key=lambda entry: entry[:5])
    return (entry[-1] for entry in found)


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
    found = [
        connection.execute(
            f"SELECT count(*), min(received), max(received) FROM {stream} WHERE boot = ? AND mono BETWEEN ? AND ?",
            (number, low, high),
        ).fetchone()
        for stream in wire.DATA_STREAMS
        for number, (_, low, high) in bounds.items()
    ]
    times = [time for _, *pair in found for time in pair if time is not None]
    samples = sum(count for count, _, _ in found)
    return [samples, len(_select_repeats(connection, bounds)), len(_select_refused(connection, rig, times))]


def _select(connection: sqlite3.Connection, stream: str, bounds: Bounds) -> list[tuple[object, ...]]:
    """A stream's rows in the job."""
    query = f"{SELECT[stream]} WHERE boot = ? AND mono BETWEEN ? AND ? ORDER BY seq"
    return list(chain(*(connection.execute(query, (n, low, high)) for n, (_, low, high) in bounds.items())))


def _read_verbatim(connection: sqlite3.Connection, bounds: Bounds) -> dict[tuple[int, str, int], bytes]:
    """Payloads that were kept as they came."""
    query = "SELECT boot, stream, seq, payload FROM verbatim WHERE boot = ?"
    return {
        (boot, stream, seq): payload
        for number in bounds
        for boot, stream, seq, payload in connection.execute(query, (number,))
    }


def _select_repeats(connection: sqlite3.Connection, bounds: Bounds) -> list[tuple[int, str, int, float]]:
    """Repeats of messages in the job."""
    found: list[tuple[int, str, int, float]] = []
    for number, (_, low, high) in bounds.items():
        for stream in wire.DATA_STREAMS:
            query = (
                f"SELECT r.boot, r.stream, r.seq, r.received FROM repeat r JOIN {stream} s ON s.boot = r.boot "
                "AND s.seq = r.seq WHERE r.boot = ? AND r.stream = ? AND s.mono BETWEEN ? AND ? ORDER BY r.id"
            )
            found += connection.execute(query, (number, stream, low, high)).fetchall()
    return found


def _times(rows: Rows) -> list[float]:
    """When the rows came."""
    return [row[-1] for found in rows.values() for row in found]


def _select_refused(
    connection: sqlite3.Connection, rig: str, times: list[float]
) -> list[tuple[int, str, float, bytes]]:
    """What was refused of the rig while the job's messages came."""
    query = "SELECT id, topic, received, payload FROM quarantine WHERE received BETWEEN ? AND ? ORDER BY id"
    found = connection.execute(query, (min(times), max(times))).fetchall() if times else []
    topics = {wire.topic_of(rig, stream) for stream in wire.DATA_STREAMS}
    return [entry for entry in found if entry[1] in topics]
