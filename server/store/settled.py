"""Up to where each start's stream is settled: stored (if removed since), in quarantine, or declared lost."""

import sqlite3

from server.numbers import Numbers


def read_settled(connection: sqlite3.Connection, boot: int, stream: str) -> Numbers:
    """Work out from what is stored, and was, which numbers of a start's stream are settled."""
    count, highest = connection.execute(
        f"SELECT count(*), coalesce(max(seq), -1) FROM {stream} WHERE boot = ?", (boot,)
    ).fetchone()
    thinned = read_thinned(connection, boot, stream)
    stored = [(0, max(highest, thinned.highest))] if count or thinned.count else []
    # Nothing is both stored and removed: where the counts add up there is no hole to look for.
    if stored and count + thinned.count != stored[0][1] + 1:
        stored = connection.execute(
            "SELECT min(seq), max(seq) FROM "
            f"(SELECT seq, seq - row_number() OVER (ORDER BY seq) AS run FROM {stream} WHERE boot = ?) "
            "GROUP BY run ORDER BY run",
            (boot,),
        ).fetchall()
    declared = connection.execute(
        "SELECT from_seq, to_seq FROM settled WHERE boot = ? AND stream = ? UNION ALL "
        "SELECT from_seq, to_seq FROM thinned WHERE boot = ? AND stream = ? ORDER BY from_seq",
        (boot, stream, boot, stream),
    )
    return Numbers([*stored, *declared])


def read_thinned(connection: sqlite3.Connection, boot: int, stream: str) -> Numbers:
    """The numbers of a start's stream that were stored and have been removed since."""
    query = "SELECT from_seq, to_seq FROM thinned WHERE boot = ? AND stream = ? ORDER BY from_seq"
    return Numbers(connection.execute(query, (boot, stream)))
