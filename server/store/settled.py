"""Up to where each start's stream is settled: stored, in quarantine, or declared lost."""

import sqlite3
from dataclasses import dataclass, field


@dataclass(slots=True)
class Prefix:
    """Everything up to `settled` is settled, and so are the numbers in `beyond`."""

    settled: int = -1
    beyond: set[int] = field(default_factory=set)

    def holds(self, seq: int) -> bool:
        """Whether a number is settled."""
        return seq <= self.settled or seq in self.beyond

    def add(self, from_seq: int, to_seq: int) -> None:
        """Settle a range."""
        if from_seq <= self.settled + 1:
            self.settled = max(self.settled, to_seq)
        else:
            self.beyond.update(range(from_seq, to_seq + 1))
        while self.settled + 1 in self.beyond:
            self.settled += 1
            self.beyond.discard(self.settled)
        if self.beyond and len(self.beyond) > 0 and min(self.beyond) <= self.settled:
            self.beyond = {seq for seq in self.beyond if seq > self.settled}


def read_prefix(connection: sqlite3.Connection, boot: int, stream: str) -> Prefix:
    """Work the prefix out from what is stored."""
    prefix = Prefix()
    count, highest = connection.execute(
        f"SELECT count(*), coalesce(max(seq), -1) FROM {stream} WHERE boot = ?", (boot,)
    ).fetchone()
    if count == highest + 1:
        prefix.settled = highest
    else:
        for (seq,) in connection.execute(f"SELECT seq FROM {stream} WHERE boot = ? ORDER BY seq", (boot,)):
            prefix.add(seq, seq)
    for low, high in connection.execute(
        "SELECT from_seq, to_seq FROM settled WHERE boot = ? AND stream = ? ORDER BY from_seq", (boot, stream)
    ):
        prefix.add(low, high)
    return prefix
