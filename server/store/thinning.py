"""Raw messages outside jobs leave the store after a while, a few at a time; their numbers stay known as settled.

How old a message is, is told twice, and both must agree: by how long the device has recorded since, whatever clocks
say, and by when messages came. So a wrong clock at either end only keeps more.
"""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby, pairwise
from math import inf

from server.core.setup import Span
from server.store.joblog import Bounds, bound_boots
from server.store.spells import PAUSE_S, find_spells

MARGIN_S = PAUSE_S
"""What lies so near to a job or to liquid that flowed is kept with it: a job may be declared again, a little longer."""
PIECE = 1000
MOST_SPANS = 400
"""So many kept spans go into one question to the database; what lies in later ones is seen when it is looked at."""
HOLE_S = 120.0
"""A longer silence parts two ranges: so no range reaches over a job in which a stream said nothing."""
STREAMS = ("position", "flow", "wind", "climate", "event")
"""What the device takes by itself; what people pressed stays."""
Spans = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """Of one start: what was taken before `mono` and came before `received` goes, but for what is kept."""

    boot: int
    mono: float
    received: float
    kept: Spans

    def takes(self, mono: float, received: float) -> bool:
        """Whether a message goes."""
        is_old = mono < self.mono and received < self.received
        return is_old and not any(low <= mono <= high for low, high in self.kept)


@dataclass(frozen=True, slots=True)
class Piece:
    """What one transaction came to: how many messages went, and from which number to go on; full: more may follow."""

    removed: int
    next_seq: int
    is_full: bool


def plan_thinning(
    connection: sqlite3.Connection, rig: str, *, keep_s: float, jobs: Iterable[Span], least_pulses: float
) -> list[Part]:
    """What may go of a rig; raises LogError where a job's part of the log cannot be told."""
    boots = [
        number
        for (number,) in connection.execute(
            "SELECT id FROM boot WHERE rig = ? AND first_received IS NOT NULL ORDER BY id", (rig,)
        )
    ]
    bounds = [bound_boots(connection, rig, span) for span in jobs]
    ends = {boot: _find_ends(connection, boot) for boot in boots}
    newest = max((end[2] for end in ends.values() if end is not None), default=-inf)
    parts: list[Part] = []
    later_s = 0.0
    for boot in reversed(boots):
        end = ends[boot]
        if end is None:
            continue
        first, last, _ = end
        limit = last - (keep_s - later_s) if keep_s > later_s else inf
        later_s += last - first
        if limit > first:
            kept = [*_keep_jobs(bounds, boot), *_keep_spells(connection, boot, limit, least_pulses)]
            parts.append(Part(boot, limit, newest - keep_s, _merge(kept)))
    return parts


def find_doomed(connection: sqlite3.Connection, part: Part, stream: str, from_seq: int) -> int | None:
    """The next number of a stream that goes, looked for by the database on a reader's connection."""
    spans = part.kept[:MOST_SPANS]
    kept = " AND NOT mono BETWEEN ? AND ?" * len(spans)
    bounds = [max(-1e300, min(end, 1e300)) for span in spans for end in span]
    found = connection.execute(
        f"SELECT seq FROM {stream} WHERE boot = ? AND seq >= ? AND mono < ? AND received < ?{kept} "
        "ORDER BY seq LIMIT 1",
        (part.boot, from_seq, min(part.mono, 1e300), part.received, *bounds),
    ).fetchone()
    return None if found is None else int(found[0])


def thin_piece(connection: sqlite3.Connection, part: Part, stream: str, from_seq: int, *, limit: int = PIECE) -> Piece:
    """Remove what goes of the next few messages of a stream, in one transaction."""
    rows = connection.execute(
        f"SELECT seq, mono, received FROM {stream} WHERE boot = ? AND seq >= ? ORDER BY seq LIMIT ?",
        (part.boot, from_seq, limit),
    ).fetchall()
    doomed = [(seq, mono) for seq, mono, received in rows if part.takes(mono, received)]
    if doomed:
        connection.execute("BEGIN IMMEDIATE")
        for run in _runs(doomed):
            _remove(connection, part.boot, stream, run)
        connection.execute("COMMIT")
    return Piece(len(doomed), rows[-1][0] + 1 if rows else from_seq, is_full=len(doomed) == limit)


def find_thinned(connection: sqlite3.Connection, bounds: Bounds) -> tuple[str, float] | None:
    """The latest time (start and its clock) within bounds of which messages have been removed."""
    found = None
    for number, (name, low, high) in bounds.items():
        (latest,) = connection.execute(
            "SELECT max(to_mono) FROM thinned WHERE boot = ? AND to_mono >= ? AND from_mono <= ?",
            (number, max(low, -1e300), min(high, 1e300)),
        ).fetchone()
        found = found if latest is None else (name, float(latest))
    return found


def count_thinned(connection: sqlite3.Connection) -> int:
    """How many messages have been removed so far."""
    return int(connection.execute("SELECT coalesce(sum(to_seq - from_seq + 1), 0) FROM thinned").fetchone()[0])


def find_kept_since(connection: sqlite3.Connection, parts: Iterable[Part]) -> float | None:
    """When the oldest message came of those that are kept only because they are young."""
    found = []
    for part in parts:
        for stream in ("wind", "flow", "position"):
            row = connection.execute(
                f"SELECT received FROM {stream} WHERE boot = ? AND mono >= ? ORDER BY seq LIMIT 1",
                (part.boot, min(part.mono, 1e300)),
            ).fetchone()
            found += [] if row is None else [float(row[0])]
    return min(found, default=None)


def list_rigs(connection: sqlite3.Connection) -> list[str]:
    """Every rig that was ever heard."""
    return [str(rig) for (rig,) in connection.execute("SELECT DISTINCT rig FROM boot ORDER BY rig")]


def _find_ends(connection: sqlite3.Connection, boot: int) -> tuple[float, float, float] | None:
    """The device's clock at a start's first and last stored message, and when the last one came."""
    found = []
    for stream in STREAMS:
        for order in ("", " DESC"):
            query = f"SELECT mono, received FROM {stream} WHERE boot = ? ORDER BY seq{order} LIMIT 1"
            found += connection.execute(query, (boot,)).fetchall()
    if not found:
        return None
    return min(mono for mono, _ in found), max(mono for mono, _ in found), max(at for _, at in found)


def _keep_jobs(bounds: list[Bounds], boot: int) -> list[tuple[float, float]]:
    found = [each[boot] for each in bounds if boot in each]
    return [(low - MARGIN_S, high + MARGIN_S) for _, low, high in found]


def _keep_spells(
    connection: sqlite3.Connection, boot: int, limit: float, least_pulses: float
) -> list[tuple[float, float]]:
    """Where liquid flowed it may yet become a job, however long ago; of the youngest spells only the begin is seen."""
    spells = find_spells(connection, boot, before=limit + MARGIN_S)
    return [(s.low - MARGIN_S, s.high + MARGIN_S) for s in spells if s.pulses >= least_pulses or s.high >= limit]


def _merge(spans: list[tuple[float, float]]) -> Spans:
    """Spans in order, those that meet as one."""
    found: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if found and low <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], high))
        else:
            found.append((low, high))
    return tuple(found)


def _runs(doomed: list[tuple[int, float]]) -> list[list[tuple[int, float]]]:
    """Messages that follow one another by number, without a long silence."""
    breaks, place = [0], 0
    for (seq, mono), (next_seq, next_mono) in pairwise(doomed):
        place += next_seq != seq + 1 or next_mono - mono > HOLE_S
        breaks.append(place)
    marked = zip(breaks, doomed, strict=True)
    return [[entry for _, entry in run] for _, run in groupby(marked, key=lambda pair: pair[0])]


def _remove(connection: sqlite3.Connection, boot: int, stream: str, run: list[tuple[int, float]]) -> None:
    """Remove one run with what is kept beside it, and note its numbers."""
    low, high = run[0][0], run[-1][0]
    connection.execute(f"DELETE FROM {stream} WHERE boot = ? AND seq BETWEEN ? AND ?", (boot, low, high))
    for beside in ("verbatim", "repeat"):
        query = f"DELETE FROM {beside} WHERE boot = ? AND stream = ? AND seq BETWEEN ? AND ?"
        connection.execute(query, (boot, stream, low, high))
    from_mono, to_mono = min(mono for _, mono in run), max(mono for _, mono in run)
    before = connection.execute(
        "SELECT from_seq, from_mono, to_mono FROM thinned WHERE boot = ? AND stream = ? AND to_seq = ?",
        (boot, stream, low - 1),
    ).fetchone()
    if before is not None and from_mono - before[2] <= HOLE_S:
        low, from_mono, to_mono = before[0], min(before[1], from_mono), max(before[2], to_mono)
    connection.execute(
        "INSERT INTO thinned VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (boot, stream, from_seq) DO UPDATE SET "
        "to_seq = excluded.to_seq, from_mono = excluded.from_mono, to_mono = excluded.to_mono",
        (boot, stream, low, high, from_mono, to_mono),
    )
