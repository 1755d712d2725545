"""The whole device program in one loop, on doubles: what goes in comes out numbered, and it ends cleanly."""

import asyncio
import itertools
import json
from collections.abc import Callable
from functools import reduce
from operator import xor
from pathlib import Path

import pytest

from rig import wire
from rig.device import Device, Parts
from rig.errors import LinkError
from rig.nmea import NmeaParser
from rig.ports import EdgeCount, LinkEvents, MonotonicClock
from rig.sampler import Channel, Sampler
from rig.spool import Spool

BOOT = "0123456789abcdef"
WAIT_S = 10.0


class FakeLink:
    """A broker at hand, with a service behind it that takes everything."""

    def __init__(self, refusal: str | None = None) -> None:
        self.is_up = False
        self.is_closed = False
        self.refusal = refusal
        self.sent: list[tuple[str, bytes]] = []
        self.events: LinkEvents | None = None

    def open(self, events: LinkEvents) -> None:
        self.events = events
        asyncio.get_running_loop().call_soon(self._answer)

    def _answer(self) -> None:
        assert self.events is not None
        if self.refusal is not None:
            self.events.on_refusal(self.refusal)
            return
        self.is_up = True
        self.events.on_connection(True)
        self.events.on_message("service", b'{"state":"online"}')

    def publish(self, stream: str, payload: bytes, *, is_retained: bool = False) -> None:
        assert is_retained == (stream == "description")
        self.sent.append((stream, payload))

    def close(self) -> None:
        self.is_closed = True

    def read(self, stream: str) -> list[wire.Message]:
        """What was said on a stream, decoded."""
        return [wire.decode(stream, payload) for name, payload in self.sent if name == stream]


class FakeReceiver:
    """Ten epochs at once, then silence."""

    def __init__(self) -> None:
        self.pieces = [b"".join(sentences(second)) for second in range(1, 11)]
        self.is_closed = False

    async def read(self) -> tuple[bytes, float]:
        if not self.pieces:
            await asyncio.Event().wait()
        await asyncio.sleep(0)
        return self.pieces.pop(0), MonotonicClock().now()

    def close(self) -> None:
        self.is_closed = True


class FakeCounter:
    """One pulse more at every reading."""

    def __init__(self) -> None:
        self.pulses = itertools.count()
        self.is_closed = False

    def read(self) -> EdgeCount:
        return EdgeCount(next(self.pulses), None, 0)

    def close(self) -> None:
        self.is_closed = True


class FakeHorn:
    def sound(self) -> None:
        """Nobody listens."""

    def chirp(self) -> None:
        """Nobody listens."""


def sentences(second: int) -> list[bytes]:
    """An epoch's GGA and RMC."""
    bodies = (
        f"GNGGA,1200{second:02d}.00,4500.100000,N,03000.200000,W,4,20,0.7,10.0,M,0.0,M,,",
        f"GNRMC,1200{second:02d}.00,A,4500.100000,N,03000.200000,W,2.40,20.5,140526,,,R",
    )
    return [f"${body}*{reduce(xor, body.encode(), 0):02X}\r\n".encode() for body in bodies]


def build(folder: Path, link: FakeLink, description: dict | None = None) -> tuple[Device, Parts]:
    """A device on doubles, its spool in a folder."""
    parts = Parts(
        sampler=Sampler(BOOT, (Channel("flow", FakeCounter(), 50.0, 500.0),)),
        receiver=FakeReceiver(),
        parser=NmeaParser(),
        spool=Spool(folder / "spool.sqlite3", keep_days=14.0, keep_mib=100.0, utc=lambda: 1_778_743_800.0),
        link=link,
        horn=FakeHorn(),
        clock=MonotonicClock(),
        description=description or {"software": "0"},
    )
    return Device(parts), parts


async def run_until(device: Device, is_done: Callable[[], bool]) -> None:
    """Run a device until something is so, then stop it."""
    running = asyncio.ensure_future(device.run())
    while not is_done() and not running.done():
        await asyncio.wait({running}, timeout=0.01)
    device.stop()
    await running


def test_fixes_counts_and_events_come_out_numbered(tmp_path: Path) -> None:
    link = FakeLink()
    device, parts = build(tmp_path, link)

    def is_done() -> bool:
        names = [stream for stream, _ in link.sent]
        return names.count("position") >= 10 and names.count("flow") >= 5

    asyncio.run(asyncio.wait_for(run_until(device, is_done), WAIT_S))
    for stream in ("position", "flow", "event"):
        found = link.read(stream)
        assert [message.seq for message in found] == list(range(len(found))), stream
        assert {message.boot for message in found} == {BOOT}
    assert [fix.fix for fix in link.read("position")] == ["fixed"] * 10
    utc = [fix.utc for fix in link.read("position")]
    assert [after - before for before, after in itertools.pairwise(utc)] == [1.0] * 9
    assert [flow.pulses for flow in link.read("flow")] == list(range(len(link.read("flow"))))
    assert link.read("event")[0].kind == "started"
    assert link.sent[0][0] == "description"
    assert link.is_closed
    assert parts.receiver.is_closed
    assert parts.sampler.channels[0].counter.is_closed


def test_what_was_not_acknowledged_is_on_disk_at_the_end(tmp_path: Path) -> None:
    link = FakeLink()
    device, _ = build(tmp_path, link)

    def acknowledge_the_first() -> bool:
        if sum(stream == "position" for stream, _ in link.sent) < 10:
            return False
        link.events.on_message("ack", wire.encode(wire.Ack(BOOT, {"position": 6})))
        link.events.on_message("ack", b"no ack at all")
        return True

    asyncio.run(asyncio.wait_for(run_until(device, acknowledge_the_first), WAIT_S))
    spool = Spool(tmp_path / "spool.sqlite3", keep_days=14.0, keep_mib=100.0, utc=lambda: 1_778_743_800.0)
    held = [row for _, row in spool.unsettled(0, 1000)]
    assert [row.seq for row in held if row.stream == "position"] == [7, 8, 9]
    assert [row.stream for row in held].count("flow") == sum(stream == "flow" for stream, _ in link.sent)
    spool.close()


def test_a_broker_that_refuses_at_the_start_ends_the_program_with_its_words(tmp_path: Path) -> None:
    link = FakeLink("the broker at localhost:1883 refuses this rig (Not authorized): check broker.user")
    device, _ = build(tmp_path, link)
    with pytest.raises(LinkError, match=r"refuses this rig .*: check broker.user"):
        asyncio.run(asyncio.wait_for(device.run(), WAIT_S))
    assert link.is_closed
    assert link.sent == []


def test_a_broker_that_refuses_later_is_logged_and_waited_for(tmp_path: Path, caplog) -> None:
    link = FakeLink()
    device, _ = build(tmp_path, link)

    def refuse() -> bool:
        if not link.is_up:
            return False
        link.events.on_refusal("the broker refuses this rig for now")
        return True

    asyncio.run(asyncio.wait_for(run_until(device, refuse), WAIT_S))
    assert "refuses this rig for now" in caplog.text


def test_buttons_on_the_rig_become_events(tmp_path: Path) -> None:
    link = FakeLink()
    device, _ = build(tmp_path, link)

    def press() -> bool:
        if not link.is_up:
            return False
        device.press("refill")
        return True

    asyncio.run(asyncio.wait_for(run_until(device, press), WAIT_S))
    assert [(e.kind, e.detail) for e in link.read("event")][-1] == ("button", {"name": "refill"})


def test_a_description_is_a_json_object_within_the_limit(tmp_path: Path) -> None:
    link = FakeLink()
    device, _ = build(tmp_path, link, {"software": "0.1", "receiver": "ö" * 2000})
    asyncio.run(asyncio.wait_for(run_until(device, lambda: link.is_up), WAIT_S))
    stream, payload = link.sent[0]
    assert stream == "description"
    assert len(payload) <= wire.PAYLOAD_LIMIT_BYTES
    assert json.loads(payload)["boot"] == BOOT


def test_what_the_link_still_says_after_the_end_is_heard_no_more(tmp_path: Path, caplog) -> None:
    link = FakeLink()
    device, _ = build(tmp_path, link)
    asyncio.run(asyncio.wait_for(run_until(device, lambda: bool(link.sent)), WAIT_S))
    link.events.on_message("ack", wire.encode(wire.Ack(BOOT, {"flow": 3})))
    link.events.on_message("service", wire.encode(wire.Service("online")))
    link.events.on_connection(False)
    assert caplog.records == []
