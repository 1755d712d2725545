"""Spool and publisher: nothing is forgotten before the service has it."""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import wire
from rig.errors import SpoolError
from rig.publisher import BATCH, Publisher
from rig.sampler import Sampler
from rig.spool import Row, Spool

BOOT, OLD = "0123456789abcdef", "fedcba9876543210"
NOW_UTC = 1_778_743_800.0


class FakeClock:
    """A clock that moves when told."""

    def __init__(self) -> None:
        self.at = 1000.0

    def now(self) -> float:
        return self.at

    async def sleep(self, seconds: float) -> None:
        self.at += seconds


class FakeLink:
    """Remembers what was sent."""

    def __init__(self) -> None:
        self.is_up = True
        self.sent: list[tuple[str, int]] = []

    def open(self, events) -> None:
        """Nothing to open."""

    def publish(self, stream: str, payload: bytes, *, is_retained: bool = False) -> None:
        message = wire.decode(stream, payload)
        self.sent.append((message.boot, message.seq) if stream == "flow" else (stream, message.seq))

    def close(self) -> None:
        """Nothing to close."""


def open_spool(file: Path, **limits: float) -> Spool:
    return Spool(file, **{"keep_days": 14.0, "keep_mib": 100.0, **limits}, utc=lambda: NOW_UTC)


def row(seq: int, boot: str = BOOT, stream: str = "flow") -> Row:
    return Row(boot, stream, seq, wire.encode(wire.Flow(boot, seq, float(seq), seq, None, 0)))


def flow(seq: int, boot: str = BOOT) -> wire.Flow:
    return wire.Flow(boot, seq, float(seq), seq, None, 0)


@pytest.fixture
def delivery(tmp_path: Path):
    """A publisher with its doubles."""
    clock, link, spool = FakeClock(), FakeLink(), open_spool(tmp_path / "spool.sqlite3")
    sampler = Sampler(BOOT)
    publisher = Publisher(
        link, spool, clock, boot=BOOT, make_event=lambda kind, detail: sampler.report(clock.now(), kind, detail)
    )
    yield publisher, link, spool, clock
    spool.close()


def test_nothing_is_sent_before_the_service_is_there(delivery) -> None:
    publisher, link, spool, _ = delivery
    publisher.note_connection(True)
    for seq in range(5):
        publisher.offer(flow(seq))
    publisher.tick()
    assert link.sent == []
    assert spool.count() == 5
    publisher.note_service(True)
    assert link.sent == [(BOOT, seq) for seq in range(5)]
    publisher.offer(flow(5))
    assert link.sent[-1] == (BOOT, 5)


def test_everything_unacknowledged_is_sent_again_in_order_after_a_break(delivery) -> None:
    publisher, link, _, _ = delivery
    publisher.note_service(True)
    for seq in range(10):
        publisher.offer(flow(seq))
    publisher.note_ack(wire.Ack(BOOT, {"flow": 3}))
    publisher.note_service(False)
    publisher.offer(flow(10))
    link.sent.clear()
    publisher.note_service(True)
    assert link.sent == [(BOOT, seq) for seq in range(4, 11)]


def test_earlier_starts_go_first_and_in_batches(tmp_path: Path) -> None:
    file = tmp_path / "spool.sqlite3"
    before = open_spool(file)
    for seq in range(BATCH + 20):
        before.append(row(seq, OLD))
    before.close()
    clock, link, spool = FakeClock(), FakeLink(), open_spool(file)
    publisher = Publisher(link, spool, clock, boot=BOOT, make_event=Sampler(BOOT).report)
    publisher.offer(flow(0))
    publisher.note_service(True)
    assert link.sent == [(OLD, seq) for seq in range(BATCH)]
    assert not publisher.is_live
    publisher.note_ack(wire.Ack(OLD, {"flow": BATCH - 1}))
    assert link.sent[BATCH:] == [*((OLD, seq) for seq in range(BATCH, BATCH + 20)), (BOOT, 0)]
    assert publisher.is_live
    spool.close()


def test_a_stall_is_answered_by_sending_again(delivery) -> None:
    publisher, link, _, clock = delivery
    publisher.note_service(True)
    publisher.offer(flow(0))
    link.sent.clear()
    clock.at += 9.0
    publisher.tick()
    assert link.sent == []
    clock.at += 2.0
    publisher.tick()
    assert link.sent == [(BOOT, 0)]


def test_a_rig_with_nothing_to_say_does_not_cry_stall(delivery, caplog) -> None:
    publisher, _, spool, clock = delivery
    publisher.note_service(True)
    publisher.offer(flow(0))
    publisher.note_ack(wire.Ack(BOOT, {"flow": 0}))
    spool.commit()
    for _ in range(5):
        clock.at += 20.0
        publisher.tick()
    assert "no acknowledgement" not in caplog.text


def test_a_gap_that_cannot_be_filled_is_declared_once(delivery) -> None:
    publisher, _link, spool, _ = delivery
    publisher.note_service(True)
    for seq in range(6):
        publisher.offer(flow(seq))
    publisher.note_ack(wire.Ack(BOOT, {"flow": 3}))
    spool.commit()
    # The service lost its database: it asks for what the rig no longer has.
    for _ in range(5):
        publisher.note_ack(wire.Ack(BOOT, {}))
    events = [r for _, r in spool.unsettled(0, 100) if r.stream == "event"] or spool_events(spool)
    assert len(events) == 1
    found = wire.decode("event", events[0].payload)
    assert isinstance(found, wire.Event)
    assert found.detail == {"stream": "flow", "from_seq": 0, "to_seq": 3}


def spool_events(spool: Spool) -> list[Row]:
    """Events on disk after a commit."""
    spool.commit()
    return [found for _, found in spool.unsettled(0, 100) if found.stream == "event"]


def test_a_full_spool_drops_the_oldest_and_says_which(tmp_path: Path, caplog) -> None:
    spool = open_spool(tmp_path / "spool.sqlite3", keep_mib=1.0)
    dropped = []
    seq = 0
    while not dropped:
        for _ in range(500):
            spool.append(row(seq))
            seq += 1
        dropped = spool.commit()
    assert [(gap.boot, gap.stream, gap.from_seq) for gap in dropped] == [(BOOT, "flow", 0)]
    assert spool.oldest(BOOT, "flow") == dropped[0].to_seq + 1
    assert "95 %" in caplog.text or "full" in caplog.text
    assert spool.fill > 0.5
    spool.close()


def test_old_samples_go_after_their_days_but_not_those_of_a_clock_that_was_not_set(tmp_path: Path) -> None:
    now = [100.0]
    spool = Spool(tmp_path / "s.sqlite3", keep_days=1.0, keep_mib=100.0, utc=lambda: now[0])
    spool.append(row(0))
    spool.commit()
    now[0] = NOW_UTC
    spool.append(row(1))
    assert spool.commit() == []
    now[0] = NOW_UTC + 2 * 86400.0
    spool.append(row(2))
    assert [(gap.from_seq, gap.to_seq) for gap in spool.commit()] == [(1, 1)]
    spool.close()


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([BOOT, OLD]), st.integers(0, 30)), max_size=15), st.integers(0, 3))
def test_only_what_is_settled_is_forgotten(acks: list[tuple[str, int]], commits: int) -> None:
    spool = open_spool(Path(":memory:"))
    settled = {BOOT: -1, OLD: -1}
    for boot in (OLD, BOOT):
        for seq in range(20):
            spool.append(row(seq, boot))
    for _ in range(commits):
        spool.commit()
    for boot, seq in acks:
        spool.settle(boot, {"flow": seq})
        settled[boot] = max(settled[boot], seq)
    spool.commit()
    held = [(found.boot, found.seq) for _, found in spool.unsettled(0, 1000)]
    assert held == [(boot, seq) for boot in (OLD, BOOT) for seq in range(20) if seq > settled[boot]]
    spool.close()


def test_a_disk_that_refuses_keeps_samples_in_memory_and_says_so_once(tmp_path: Path, caplog) -> None:
    file = tmp_path / "spool.sqlite3"
    spool = open_spool(file)
    blocker = sqlite3.connect(file, timeout=0.0, isolation_level=None)
    spool._connection.execute("PRAGMA busy_timeout = 0")
    blocker.execute("BEGIN IMMEDIATE")
    for seq in range(3):
        spool.append(row(seq))
        assert spool.commit() == []
    assert caplog.text.count("refuses the spool") == 1
    blocker.execute("ROLLBACK")
    blocker.close()
    spool.commit()
    assert [found.seq for _, found in spool.unsettled(0, 10)] == [0, 1, 2]
    spool.close()


def test_samples_kept_in_memory_are_sent_when_the_service_returns(delivery, caplog) -> None:
    publisher, link, spool, _ = delivery
    spool._connection.execute("PRAGMA busy_timeout = 0")
    blocker = sqlite3.connect(spool._file, timeout=0.0, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    publisher.note_connection(True)
    for seq in range(10):
        publisher.offer(flow(seq))
        spool.commit()
    publisher.note_service(True)
    assert link.sent == [(BOOT, seq) for seq in range(10)]
    publisher.note_ack(wire.Ack(BOOT, {"flow": 6}))
    assert [found.seq for found in spool.waiting()] == [7, 8, 9]
    blocker.execute("ROLLBACK")
    blocker.close()
    spool.commit()
    assert spool.waiting() == []
    assert [found.seq for _, found in spool.unsettled(0, 100)] == [7, 8, 9]


def test_commits_from_two_threads_wait_for_each_other(tmp_path: Path, caplog) -> None:
    spool = open_spool(tmp_path / "spool.sqlite3")
    is_inside, may_go_on = threading.Event(), threading.Event()
    make_room = spool._make_room

    def pause() -> list:
        is_inside.set()
        may_go_on.wait(10.0)
        return make_room()

    spool._make_room = pause
    spool.append(row(0))
    slow = threading.Thread(target=spool.commit)
    slow.start()
    assert is_inside.wait(10.0)
    spool.append(row(1))
    second = threading.Thread(target=spool.commit)
    second.start()
    second.join(0.2)
    assert second.is_alive(), "the second commit waits for the first"
    may_go_on.set()
    slow.join()
    second.join()
    assert "refuses" not in caplog.text
    assert [found.seq for _, found in spool.unsettled(0, 10)] == [0, 1]
    spool.close()


def test_a_damaged_spool_is_one_line_and_new_samples_still_go_out(tmp_path: Path, caplog) -> None:
    file = tmp_path / "spool.sqlite3"
    before = open_spool(file)
    for seq in range(3000):
        before.append(row(seq, OLD))
    before.close()
    with file.open("r+b") as handle:
        handle.seek(8192)
        handle.write(random.Random(1).randbytes(file.stat().st_size - 8192))
    clock, link, spool = FakeClock(), FakeLink(), open_spool(file)
    publisher = Publisher(link, spool, clock, boot=BOOT, make_event=Sampler(BOOT).report)
    publisher.note_service(True)
    for seq in range(3):
        publisher.offer(flow(seq))
        publisher.note_ack(wire.Ack(BOOT, {"flow": seq}))
        spool.commit()
    assert link.sent == [(BOOT, 0), (BOOT, 1), (BOOT, 2)]
    assert caplog.text.count("cannot be read") == 1
    spool.close()


def test_a_spool_that_cannot_be_opened_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(SpoolError, match="is the disk there, writable and sound"):
        open_spool(tmp_path / "no such folder" / "spool.sqlite3")
    (tmp_path / "text").write_text("this is no database" * 100)
    with pytest.raises(SpoolError, match="cannot be used"):
        open_spool(tmp_path / "text")


WRITER = """
import sys, time
from pathlib import Path
from rig.spool import Row, Spool
spool = Spool(Path(sys.argv[1]), keep_days=14, keep_mib=100, utc=time.time)
seq = 0
while True:
    for _ in range(20):
        spool.append(Row("0123456789abcdef", "flow", seq, b"x" * 80))
        seq += 1
    spool.commit()
    print(seq, flush=True)
"""


def test_killed_at_any_moment_everything_committed_is_there(tmp_path: Path) -> None:
    file = tmp_path / "spool.sqlite3"
    child = subprocess.Popen([sys.executable, "-c", WRITER, str(file)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    dice = random.Random(3)
    for _ in range(dice.randrange(20, 40)):
        said = int(child.stdout.readline())
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    said = max([said, *map(int, child.stdout.read().split())])
    child.stdout.close()
    # A power cut leaves what the files hold: a copy of both opens too.
    for name in ("spool.sqlite3", "spool.sqlite3-wal"):
        if (tmp_path / name).exists():
            shutil.copy(tmp_path / name, tmp_path / f"copy-{name}")
    for copy in (file, tmp_path / "copy-spool.sqlite3"):
        spool = open_spool(copy)
        seqs = [found.seq for _, found in spool.unsettled(0, 100_000)]
        assert seqs == list(range(len(seqs)))
        assert len(seqs) >= said
        spool.close()
