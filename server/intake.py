"""From the link to the writer and the live picture: kept as it comes, decoded in bursts by whoever needs it first.

The link's thread only puts down what came; it is slowed by nothing else. The event loop is rung for and decodes at
once; the writer decodes what it finds when the loop has not come to it.
"""

import logging
import threading
import time
from collections import Counter, deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

from rig import wire
from server.store.messages import Arrival, MessageWriter

log = logging.getLogger(__name__)
QUEUE_LIMIT = 20_000
OWN_STREAMS = ("ack", "alarm", "service", "operator")

Task = Callable[[MessageWriter], None]
"""Something else for the writer to do, in its turn."""


@dataclass(frozen=True, slots=True)
class Fresh:
    """A message as the live picture takes it: decoded, with its arrival by the service's monotonic clock."""

    rig: str
    message: wire.Data | wire.State
    arrived_mono: float
    received_utc: float


class Intake:
    """The messages on their way in; `queue` is the writer's."""

    def __init__(self, *, ring: Callable[[], None], counts: Counter[str]) -> None:
        self._ring = ring
        self._counts = counts
        self._raw: deque[tuple[str, bytes, float, float]] = deque()
        self._fresh: deque[Fresh] = deque()
        self._lock = threading.Lock()
        self._is_rung = False
        self.queue: deque[Arrival | Task] = deque()
        self.greet: Callable[[str], None] = lambda rig: None
        self.is_full = False

    @property
    def backlog(self) -> int:
        """How many messages wait for the disk."""
        return len(self._raw) + len(self.queue)

    def put(self, topic: str, payload: bytes) -> None:
        """Put one message down, on the link's thread; ring unless the bell has been heard by nobody yet."""
        if len(self._raw) >= QUEUE_LIMIT:
            self._note_full()
            return
        self._raw.append((topic, payload, time.monotonic(), time.time()))
        if not self._is_rung:
            self._is_rung = True
            self._ring()

    def take_fresh(self) -> Fresh | None:
        """The next message for the live picture; None when there is none, and the bell is armed again."""
        if not self._fresh:
            self._is_rung = False
            self.decode()
        return self._fresh.popleft() if self._fresh else None

    def decode(self) -> None:
        """Decode what was put down, in its order; a bad message is never more than a refusal."""
        with self._lock:
            while self._raw:
                topic, payload, arrived, received = self._raw.popleft()
                try:
                    rig, stream = wire.split_topic(topic)
                except wire.Refusal:
                    self._counts["unknown_stream"] += 1
                    continue
                if stream in wire.DATA_STREAMS:
                    if stream not in OWN_STREAMS:
                        self._decode_data(topic, rig, stream, payload, (arrived, received))
                elif stream == "state":
                    self._decode_state(rig, payload, (arrived, received))
                elif stream not in OWN_STREAMS and stream != "description":
                    self._counts["unknown_stream"] += 1

    def _decode_data(self, topic: str, rig: str, stream: str, payload: bytes, at: tuple[float, float]) -> None:
        """A sample: for the live picture and for the writer, unless too many wait for the disk."""
        self.greet(rig)
        if len(self.queue) >= QUEUE_LIMIT:
            self._note_full()
            return
        self.is_full = False
        try:
            message = cast("wire.Data", wire.decode(stream, payload))
        except wire.Refusal as refusal:
            self.queue.append(Arrival(topic, at[1], payload, rig, stream, None, refusal))
            return
        self._fresh.append(Fresh(rig, message, *at))
        self.queue.append(Arrival(topic, at[1], payload, rig, stream, message))

    def _decode_state(self, rig: str, payload: bytes, at: tuple[float, float]) -> None:
        """A rig says that it is there, or its will that it is gone."""
        try:
            message = wire.decode("state", payload)
        except wire.Refusal as refusal:
            log.warning("the state of rig %s was refused: %s", rig, refusal.reason)
            return
        self.greet(rig)
        self._fresh.append(Fresh(rig, cast("wire.State", message), *at))

    def _note_full(self) -> None:
        """Say once that the disk does not keep up."""
        if not self.is_full:
            log.error("more messages than the disk takes: the rest waits on the rig")
        self.is_full = True
