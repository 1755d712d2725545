"""Up to where each start's stream is settled: stored, in quarantine, or declared lost."""

import sqlite3

from server.numbers import Numbers


def read_settled(connection: sqlite3.Connection, boot: int, stream: str) -> Numbers:
    """Work out from what is stored which numbers of a start's stream are settled."""
    count, highest = connection.execute(
        f"SELECT count(*), coalesce(max(seq), -1) FROM {stream} WHERE boot = ?", (boot,)
    ).fetchone()
    stored = [(0, highest)] if count else []
    if count != highest + 1:
        stored = connection.execute(
            "SELECT min(seq), max(seq) FROM "
            f"(SELECT seq, seq - row_number() OVER (ORDER BY seq) AS run FROM {stream} WHERE boot = ?) "
            "GROUP BY run ORDER BY run",
            (boot,),
        ).fetchall()
    declared = connection.execute(
        "SELECT from_seq, to_seq FROM settled WHERE boot = ? AND stream = ? ORDER BY from_seq", (boot, stream)
    )
    return Numbers([*stored, *declared])
