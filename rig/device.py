"""The device program: sensors to sampler to spool to publisher, and the service's words to the sounder.

Samples are stamped with the clock that is given, so that a bench can run a scenario at another pace; delivery and
the sounder live in real time.
"""

import asyncio
import json
import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from rig import wire
from rig.errors import LinkError
from rig.nmea import NmeaParser
from rig.ports import ByteSource, Clock, Horn, Link, LinkEvents, MonotonicClock
from rig.publisher import Publisher
from rig.sampler import Sampler
from rig.sounder import Sounder
from rig.spool import Spool

log = logging.getLogger(__name__)
QUIET_S = 0.15
COMMIT_PERIOD_S = 1.0
TICK_S = 0.1
DESCRIPTION_LIMIT_BYTES = wire.PAYLOAD_LIMIT_BYTES


@dataclass(frozen=True, slots=True)
class Parts:
    """What a device is made of."""

    sampler: Sampler
    receiver: ByteSource | None
    parser: NmeaParser
    spool: Spool
    link: Link
    horn: Horn
    clock: Clock
    description: Mapping[str, Any]


class Device:
    """Runs the parts until it is stopped."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._real = MonotonicClock()
        self._sounder = Sounder(parts.horn, self._real)
        self._publisher = Publisher(
            parts.link, parts.spool, self._real, boot=parts.sampler.boot, make_event=self._make_event
        )
        self._stop = asyncio.Event()
        self._is_closed = False
        self._refusal: str | None = None
        self._was_connected = False
        self._heard_at: float | None = None

    def press(self, button: str) -> None:
        """A button on the rig was pressed."""
        self._offer([self._make_event("button", {"name": button})])

    def stop(self) -> None:
        """End `run` after saying good-bye."""
        self._stop.set()

    async def run(self) -> None:
        """Read, keep and send until stopped; raises LinkError where the broker refuses from the start."""
        events = LinkEvents(self._note_connection, self._note_refusal, self._note_message)
        self._offer(self._parts.sampler.begin(self._parts.clock.now()))
        self._parts.link.open(events)
        works = [self._sample(), self._commit(), self._tick()]
        if self._parts.receiver is not None:
            works.append(self._listen())
        tasks = [asyncio.ensure_future(work) for work in works]
        stopper = asyncio.ensure_future(self._stop.wait())
        done, _ = await asyncio.wait([*tasks, stopper], return_when=asyncio.FIRST_COMPLETED)
        for task in (*tasks, stopper):
            task.cancel()
        await asyncio.gather(*tasks, stopper, return_exceptions=True)
        self._close()
        for task in done:
            task.result()
        if self._refusal is not None:
            raise LinkError(self._refusal)

    def _close(self) -> None:
        """Write what is pending and let go of everything; what the link still says is heard no more."""
        self._is_closed = True
        self._offer(self._parts.sampler.take(fix) for fix in self._parts.parser.flush())
        if self._parts.receiver is not None:
            self._parts.receiver.close()
        for channel in self._parts.sampler.channels:
            channel.counter.close()
        self._parts.link.close()
        self._parts.spool.close()

    async def _listen(self) -> None:
        """Turn the receiver's bytes into fixes."""
        receiver = self._parts.receiver
        assert receiver is not None
        while True:
            data, mono = await receiver.read()
            self._heard_at = self._real.now()
            self._offer(self._parts.sampler.take(fix) for fix in self._parts.parser.feed(data, mono))

    async def _sample(self) -> None:
        """Read the counters on their beat."""
        clock, sampler = self._parts.clock, self._parts.sampler
        while True:
            self._offer(sampler.sample(clock.now()))
            self._offer(sampler.tell_statistics(clock.now(), self._parts.parser))
            await clock.sleep(min(1.0, max(0.001, sampler.next_due() - clock.now())))

    async def _commit(self) -> None:
        """Write the spool once a second, off the event loop: a slow card must not delay a sample."""
        while True:
            await asyncio.sleep(COMMIT_PERIOD_S * 0.9)
            self._publisher.note_dropped(await asyncio.to_thread(self._parts.spool.commit))

    async def _tick(self) -> None:
        """Keep delivery and sounder going; end an epoch after a quiet time."""
        while True:
            await asyncio.sleep(TICK_S)
            self._publisher.tick()
            self._sounder.note_silence(self._publisher.unanswered_s())
            self._sounder.tick()
            if self._heard_at is not None and self._real.now() - self._heard_at > QUIET_S:
                self._heard_at = None
                self._offer(self._parts.sampler.take(fix) for fix in self._parts.parser.flush())

    def _offer(self, messages: Iterable[wire.Sample]) -> None:
        for message in messages:
            self._publisher.offer(message)

    def _make_event(self, kind: str, detail: Mapping[str, Any]) -> wire.Event:
        return self._parts.sampler.report(self._parts.clock.now(), kind, detail)

    def _note_connection(self, is_up: bool) -> None:
        """The link came or went."""
        if self._is_closed:
            return
        if is_up:
            self._was_connected = True
            self._parts.link.publish("description", self._describe(), is_retained=True)
        self._sounder.note_connection(is_up)
        self._publisher.note_connection(is_up)

    def _note_refusal(self, reason: str) -> None:
        """The broker does not let us in: at the start that is a mistake to mend, later it may pass."""
        if self._was_connected:
            log.error("%s", reason)
            return
        self._refusal = reason
        self._stop.set()

    def _note_message(self, stream: str, payload: bytes) -> None:
        """A word of the service."""
        if self._is_closed:
            return
        try:
            message = wire.decode(stream, payload)
        except wire.Refusal as refusal:
            log.warning("a message on %s was refused: %s", stream, refusal.reason)
            return
        if isinstance(message, wire.Ack):
            self._publisher.note_ack(message)
        elif isinstance(message, wire.Alarm):
            self._sounder.note_alarm(message)
        elif isinstance(message, wire.Service):
            self._sounder.note_service(message.state == "online")
            self._publisher.note_service(message.state == "online")

    def _describe(self) -> bytes:
        """The retained description of what is fitted; what would not fit into a payload is left out, longest first."""
        found = {"boot": self._parts.sampler.boot, **self._parts.description}
        found["spool_fill"] = round(self._parts.spool.fill, 3)
        payload = _write_json(found)
        while len(payload) > DESCRIPTION_LIMIT_BYTES:
            del found[max(found, key=lambda name: len(_write_json(found[name])))]
            payload = _write_json(found)
        return payload


def _write_json(value: object) -> bytes:
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False).encode()
