"""Simulated sensors plugged into the real device program.

`record` steps the parser and the sampler through a feed as fast as the machine allows and writes a raw log.
`run_rig` runs the whole device (serial port on a pseudo-terminal, spool, link) at a chosen pace.
The device's monotonic clock reads scenario time + MONO_START_S.
"""

import asyncio
import gzip
import json
import os
import secrets
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

from firmware_sim.clock import ScaledClock, SteppedClock
from firmware_sim.counter import Tally, count_edges, reject_bounce
from firmware_sim.feed import Feed
from rig import wire
from rig.device import Device, Parts
from rig.errors import RigError as RigError
from rig.hardware.serial import SerialPort
from rig.link import MqttLink
from rig.nmea import NmeaParser
from rig.ports import Clock, EdgeCount
from rig.sampler import CLIMATE_PERIOD_S, Channel, Sampler
from rig.spool import Spool

MONO_START_S = 100.0
SAMPLE_RATE_HZ = 5.0
MAXIMUM_HZ = 500.0
JOURNEY_S = 0.02
SETTLE_LIMIT_S = 60.0
ON_DISK_WITHIN_S = 1.5
EVERYTHING = 1_000_000


class RigClock:
    """The device's monotonic clock on top of a scenario's clock."""

    def __init__(self, scenario: ScaledClock) -> None:
        self._scenario = scenario

    def now(self) -> float:
        """Seconds of the device's monotonic clock."""
        return self._scenario.now() + MONO_START_S

    async def sleep(self, seconds: float) -> None:
        """Wait for a span of scenario seconds."""
        await self._scenario.sleep(seconds)


class SimulatedCounter:
    """Counts a scenario's edges since the device started."""

    def __init__(self, tally: Tally, clock: Clock | SteppedClock, start_s: float) -> None:
        self._tally = tally
        self._clock = clock
        self._start_s = start_s

    def read(self) -> EdgeCount:
        """The count at the clock's time."""
        pulses, edge_s, rejected = count_edges(self._tally, self._start_s, self._clock.now() - MONO_START_S)
        return EdgeCount(pulses, None if edge_s is None else edge_s + MONO_START_S, rejected)

    def close(self) -> None:
        """Nothing to let go."""


def make_channels(feed: Feed, clock: Clock | SteppedClock, start_s: float) -> tuple[Channel, ...]:
    """The two pulse lines of a feed."""
    edges = {"flow": feed.flow_edges, "wind": feed.cup_edges}
    return tuple(
        Channel(stream, SimulatedCounter(reject_bounce(found), clock, start_s), SAMPLE_RATE_HZ, MAXIMUM_HZ)
        for stream, found in edges.items()
    )


def record(feed: Feed, boot: str) -> Iterator[tuple[float, wire.Message]]:
    """Step the device's parts through a feed; gives (scenario time, message) in the order they would be sent."""
    clock = SteppedClock(MONO_START_S)
    sampler = Sampler(boot, make_channels(feed, clock, 0.0))
    parser = NmeaParser()
    yield from ((0.0, message) for message in sampler.begin(clock.now()))
    for at_s, what, content in _agenda(feed):
        clock.step_to(at_s + MONO_START_S)
        messages: list[wire.Message] = []
        if what == "bytes":
            assert isinstance(content, bytes)
            # The bench knows that a burst is whole, so it need not wait for the quiet time.
            messages += [sampler.take(fix) for fix in (*parser.feed(content, clock.now()), *parser.flush())]
        elif what == "button":
            messages.append(sampler.report(clock.now(), "button", {"name": content}))
        elif what == "air":
            assert feed.climate is not None
            messages.append(sampler.take_climate(clock.now(), *feed.climate(at_s)))
        messages += [_tell_air(feed, at_s, message) for message in sampler.sample(clock.now())]
        messages += sampler.tell_statistics(clock.now(), parser)
        yield from ((at_s, message) for message in messages)


def _tell_air(feed: Feed, at_s: float, message: wire.Sample) -> wire.Sample:
    """A wind message as a rig with an instrument or a vane would send it: those are no pulse lines of the sampler."""
    if feed.air is None or not isinstance(message, wire.Wind):
        return message
    speed, bearing = feed.air(at_s)
    if speed is None:
        return replace(message, from_=bearing)
    return replace(message, pulses=None, edge=None, edges_rejected=None, speed=speed, from_=bearing)


def _agenda(feed: Feed) -> list[tuple[float, str, object]]:
    """Everything that happens to the device's inputs, in order of time; "beat" is when the counters are read."""
    beats = int(feed.duration_s * SAMPLE_RATE_HZ)
    found: list[tuple[float, str, object]] = [(i / SAMPLE_RATE_HZ, "beat", None) for i in range(beats + 1)]
    found += [(at, "bytes", burst) for at, burst in feed.bursts]
    found += [(press.at_s, "button", press.name) for press in feed.presses if press.name in wire.BUTTONS]
    if feed.climate is not None:
        found += [(i * CLIMATE_PERIOD_S, "air", None) for i in range(int(feed.duration_s / CLIMATE_PERIOD_S) + 1)]
    return sorted(found, key=lambda entry: entry[0])


def write_log(
    feed: Feed, file: Path, *, rig: str, boot: str, report: Callable[[float], None] = lambda at_s: None
) -> int:
    """Record a feed into a raw log, gzip by its name; tells how many messages, and `report` how far it has come."""
    count = 0
    with ExitStack() as stack:
        out: BinaryIO | gzip.GzipFile = stack.enter_context(file.open("wb"))
        if file.suffix == ".gz":
            out = stack.enter_context(gzip.GzipFile(filename="", mode="wb", fileobj=out, mtime=0))
        for at_s, message in record(feed, boot):
            report(at_s)
            line = {
                "topic": wire.topic_of(rig, wire.stream_of(message)),
                "received": round(feed.utc_start + at_s + JOURNEY_S, 3),
                "payload": json.loads(wire.encode(message)),
            }
            out.write(json.dumps(line, separators=(",", ":"), ensure_ascii=False).encode() + b"\n")
            count += 1
    return count


@dataclass(frozen=True, slots=True)
class RigRun:
    """How to run the device on a feed."""

    host: str
    port: int
    rig: str
    spool: Path
    pace: float = 1.0
    start_s: float = 0.0
    user: str | None = None
    password: str | None = None
    is_settling: bool = True


class QuietHorn:
    """A horn that says on standard output that it sounded."""

    def sound(self) -> None:
        """Print one line."""
        print("The sounder beeps.", flush=True)

    def chirp(self) -> None:
        """Print another one."""
        print("The sounder chirps.", flush=True)


async def run_rig(feed: Feed, run: RigRun) -> bool:
    """Run the real device on a feed to its end; tells whether everything was acknowledged."""
    clock = ScaledClock(run.pace, run.start_s)
    master, slave = os.openpty()
    port = SerialPort(os.ttyname(slave), 115200, RigClock(clock))
    port.open()
    device, spool = _build_device(feed, run, clock, port)
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, device.stop)
    running = asyncio.ensure_future(device.run())
    feeding = asyncio.ensure_future(_play(feed, run.start_s, clock, master, device))
    is_settled = True
    try:
        await asyncio.wait([running, feeding], return_when=asyncio.FIRST_COMPLETED)
        if not running.done():
            feeding.result()
            is_settled = await _settle(spool) if run.is_settling else False
            device.stop()
        await running
    finally:
        feeding.cancel()
        os.close(master)
        os.close(slave)
    return is_settled


def _build_device(feed: Feed, run: RigRun, clock: ScaledClock, port: SerialPort) -> tuple[Device, Spool]:
    """The device program's own parts around the simulated sensors."""
    boot = secrets.token_hex(8)
    rig_clock = RigClock(clock)
    spool = Spool(run.spool, keep_days=14.0, keep_mib=200.0, utc=time.time)
    parts = Parts(
        sampler=Sampler(boot, make_channels(feed, rig_clock, run.start_s)),
        receiver=port,
        parser=NmeaParser(),
        spool=spool,
        link=MqttLink(run.rig, boot, host=run.host, port=run.port, user=run.user, password=run.password),
        horn=QuietHorn(),
        clock=rig_clock,
        description={"software": "simulated", "receiver": True, "flow_hz": SAMPLE_RATE_HZ, "wind_hz": SAMPLE_RATE_HZ},
    )
    return Device(parts), spool


async def _play(feed: Feed, start_s: float, clock: ScaledClock, master: int, device: Device) -> None:
    """Write the receiver's bytes and press the buttons when their time comes, or late where it has passed."""
    os.set_blocking(master, False)
    agenda = [entry for entry in _agenda(feed) if entry[1] in {"bytes", "button"} and entry[0] >= start_s]
    for at_s, what, content in agenda:
        if at_s > clock.now():
            await clock.wait_until(at_s)
        if isinstance(content, bytes):
            await write_all(master, content)
        elif what == "button":
            device.press(str(content))
    await clock.wait_until(feed.duration_s)


async def write_all(handle: int, data: bytes) -> None:
    """Write bytes to a pseudo-terminal as fast as its reader takes them."""
    while data:
        try:
            data = data[os.write(handle, data) :]
        except BlockingIOError:
            await asyncio.sleep(0.002)


async def _settle(spool: Spool) -> bool:
    """Wait until the service has acknowledged everything up to now, whatever keeps coming."""
    await asyncio.sleep(ON_DISK_WITHIN_S)
    newest = max((place for place, _ in spool.unsettled(0, EVERYTHING)), default=0)
    end = time.monotonic() + SETTLE_LIMIT_S
    while time.monotonic() < end:
        if all(place > newest for place, _ in spool.unsettled(0, 1)):
            return True
        await asyncio.sleep(0.5)
    print("some samples were not acknowledged: is the service running?", file=sys.stderr)
    return False
