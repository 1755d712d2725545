"""Delivery against a service that settles by the contract: whatever was lost on the way, it comes to an end."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from rig import wire
from rig.publisher import BATCH, Publisher
from rig.sampler import Sampler
from rig.spool import Row, Spool

BOOT = "0123456789abcdef"
NOW_UTC = 1_778_743_800.0


class Clock:
    """A clock that moves when told."""

    def __init__(self) -> None:
        self.at = 1000.0

    def now(self) -> float:
        return self.at

    async def sleep(self, seconds: float) -> None:
        self.at += seconds


@dataclass
class ScriptedService:
    """A link whose far end settles as wire.md says: all up to a number that is stored or declared lost."""

    is_up: bool = True
    lost: set[tuple[str, int]] = field(default_factory=set)
    sent: list[tuple[str, str, int]] = field(default_factory=list)
    has: dict[tuple[str, str], set[int]] = field(default_factory=dict)

    def open(self, events: object) -> None:
        """Nothing to open."""

    def close(self) -> None:
        """Nothing to close."""

    def publish(self, stream: str, payload: bytes, *, is_retained: bool = False) -> None:
        message = wire.decode(stream, payload)
        assert isinstance(message, wire.Sample)
        self.sent.append((message.boot, stream, message.seq))
        if (stream, message.seq) in self.lost:
            self.lost.discard((stream, message.seq))
            return
        self.has.setdefault((message.boot, stream), set()).add(message.seq)
        if isinstance(message, wire.Event) and message.kind == "overflow":
            detail = message.detail
            held = self.has.setdefault((detail.get("of_boot", message.boot), detail["stream"]), set())
            held.update(range(detail["from_seq"], detail["to_seq"] + 1))

    def settled(self, boot: str) -> dict[str, int]:
        """Per stream the highest number with everything up to it here."""
        found = {}
        for (of_boot, stream), held in self.has.items():
            if of_boot == boot and 0 in held:
                found[stream] = next(seq for seq in range(len(held) + 1) if seq not in held) - 1
        return found

    def boots(self) -> set[str]:
        return {boot for boot, _ in self.has}


@dataclass
class Rig:
    """A publisher with its doubles."""

    publisher: Publisher
    service: ScriptedService
    spool: Spool
    clock: Clock
    next_seq: int = 0

    def offer(self, count: int) -> None:
        """Take so many samples."""
        for seq in range(self.next_seq, self.next_seq + count):
            self.publisher.offer(wire.Flow(BOOT, seq, float(seq), seq, None, 0))
        self.next_seq += count

    def live(self, seconds: int, rate: int = 1) -> None:
        """Let time pass: samples, ticks, commits and an acknowledgement of every start each second."""
        for _ in range(seconds):
            self.offer(rate)
            for _ in range(10):
                self.clock.at += 0.1
                self.publisher.tick()
            self.publisher.note_dropped(self.spool.commit())
            for boot in self.service.boots():
                self.publisher.note_ack(wire.Ack(boot, self.service.settled(boot)))


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    clock, service, sampler = Clock(), ScriptedService(), Sampler(BOOT)
    spool = Spool(tmp_path / "spool.sqlite3", keep_days=14.0, keep_mib=1.0, utc=lambda: NOW_UTC)
    publisher = Publisher(
        service, spool, clock, boot=BOOT, make_event=lambda kind, detail: sampler.report(clock.now(), kind, detail)
    )
    yield Rig(publisher, service, spool, clock)
    spool.close()


def test_a_message_lost_on_the_way_is_sent_again_though_acknowledgements_go_on(rig: Rig) -> None:
    rig.service.lost = {("flow", 3)}
    rig.publisher.note_service(True)
    rig.live(25)
    assert rig.service.sent.count((BOOT, "flow", 3)) == 2
    assert rig.service.settled(BOOT)["flow"] >= rig.next_seq - 2


def test_after_a_full_spool_delivery_goes_on_behind_the_gap(rig: Rig) -> None:
    gaps = []
    while not gaps:
        rig.offer(500)
        gaps = rig.spool.commit()
    rig.publisher.note_dropped(gaps)
    assert rig.spool.count() > 4 * BATCH, "the overflow event waits behind many batches"
    rig.publisher.note_service(True)
    rig.live(60)
    assert rig.publisher.is_live
    assert rig.service.settled(BOOT)["flow"] >= rig.next_seq - 2
    assert rig.spool.count() < 10


def test_a_gap_of_an_earlier_start_is_declared_for_that_start(rig: Rig) -> None:
    earlier = "fedcba9876543210"
    for seq in range(40, 60):
        payload = wire.encode(wire.Flow(earlier, seq, float(seq), seq, None, 0))
        rig.spool.append(Row(earlier, "flow", seq, payload))
    rig.publisher.note_service(True)
    rig.service.has[earlier, "flow"] = set(range(30))
    rig.live(20)
    assert rig.service.settled(earlier)["flow"] == 59
    assert rig.service.sent.count((BOOT, "event", 0)) >= 1
    assert rig.spool.count() < 10


def test_samples_that_the_disk_refused_are_sent_from_memory_after_a_break(rig: Rig, tmp_path: Path) -> None:
    rig.spool._connection.execute("PRAGMA busy_timeout = 0")
    blocker = sqlite3.connect(tmp_path / "spool.sqlite3", timeout=0.0, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    rig.offer(5)
    rig.publisher.note_service(True)
    assert rig.service.sent == [(BOOT, "flow", seq) for seq in range(5)]
    blocker.execute("ROLLBACK")
    blocker.close()
    rig.live(5)
    assert rig.service.settled(BOOT)["flow"] == rig.next_seq - 1
    assert rig.spool.count() < 3
