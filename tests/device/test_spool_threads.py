"""The spool under two threads, as the device program uses it, and on a disk that refuses for long."""

import sqlite3
import threading
from itertools import pairwise
from pathlib import Path

from rig.spool import MIB, Row, Spool

BOOT = "0123456789abcdef"
NOW_UTC = 1_778_743_800.0
WAIT_S = 5.0


def open_spool(file: Path, keep_mib: float = 100.0) -> Spool:
    return Spool(file, keep_days=14.0, keep_mib=keep_mib, utc=lambda: NOW_UTC)


def test_a_commit_of_delivery_waits_for_the_one_under_way(tmp_path: Path, monkeypatch, caplog) -> None:
    spool = open_spool(tmp_path / "spool.sqlite3")
    is_inside, may_end = threading.Event(), threading.Event()
    make_room = spool._make_room

    def make_room_slowly() -> list:
        is_inside.set()
        may_end.wait(WAIT_S)
        return make_room()

    monkeypatch.setattr(spool, "_make_room", make_room_slowly)
    spool.append(Row(BOOT, "flow", 0, b"first"))
    slow_disk = threading.Thread(target=spool.commit)
    slow_disk.start()
    assert is_inside.wait(WAIT_S)
    spool.append(Row(BOOT, "flow", 1, b"second"))
    delivery = threading.Thread(target=spool.commit)
    delivery.start()
    delivery.join(0.05)
    may_end.set()
    delivery.join(WAIT_S)
    slow_disk.join(WAIT_S)
    assert [row.seq for _, row in spool.unsettled(0, 10)] == [0, 1]
    assert "refuses the spool" not in caplog.text
    spool.close()


def test_closing_waits_for_a_commit_under_way(tmp_path: Path) -> None:
    file = tmp_path / "spool.sqlite3"
    for turn in range(20):
        spool = open_spool(file)
        for seq in range(50):
            spool.append(Row(f"{turn:08x}", "flow", seq, b"x" * 80))
        thread = threading.Thread(target=spool.commit)
        thread.start()
        spool.close()
        thread.join()
    spool = open_spool(file)
    assert spool.count() == 20 * 50
    spool.close()


def test_a_disk_that_refuses_for_long_drops_the_oldest_of_memory_a_range_a_stream(tmp_path: Path) -> None:
    file = tmp_path / "spool.sqlite3"
    spool = open_spool(file, keep_mib=1.0)
    spool._connection.execute("PRAGMA busy_timeout = 0")
    blocker = sqlite3.connect(file, timeout=0.0, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    gaps = []
    for seq in range(4000):
        spool.append(Row(BOOT, ("flow", "wind")[seq % 2], seq // 2, b"x" * 500))
        if seq % 1000 == 999:
            gaps.append(spool.commit())
    assert [len(found) for found in gaps] == [0, 2, 2, 2]
    held = spool.waiting()
    assert sum(len(row.payload) + 100 for row in held) <= MIB
    for stream in ("flow", "wind"):
        ranges = [(gap.from_seq, gap.to_seq) for found in gaps for gap in found if gap.stream == stream]
        assert ranges[0][0] == 0
        assert all(after[0] == before[1] + 1 for before, after in pairwise(ranges))
        assert [row.seq for row in held if row.stream == stream] == list(range(ranges[-1][1] + 1, 2000))
    blocker.execute("ROLLBACK")
    blocker.close()
    made_room = sum(gap.to_seq - gap.from_seq + 1 for gap in spool.commit())
    assert spool.waiting() == []
    assert spool.count() + made_room == len(held)
    spool.close()
