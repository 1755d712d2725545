"""Which messages of a rig are new, in their order and live, judged by the service's own monotonic clock.

A message is live if it comes within 5 s of its start's smallest (arrival - mono). A start that is heard for the first
time may still be catching up: then every message is its start's smallest, and only the haste tells.
"""

from collections import deque
from dataclasses import dataclass, field
from enum import Enum

from rig import wire
from server.numbers import Numbers

LIVE_WITHIN_S = 5.0
WATCHED_S = 1.0
"""So long is a start watched before the alarm follows it."""
HASTE_S = 30.0
"""A start whose samples gain more than this on the clock within that time is catching up."""
STARTS_KEPT = 8


class Order(Enum):
    """How a message stands to those of its stream that came before."""

    NEXT = "next"
    LATE = "late"
    REPEAT = "repeat"
    EARLIER_START = "earlier start"


@dataclass(frozen=True, slots=True)
class Arrival:
    """What became of one message: its job second, its order, how far behind it came, how far it can be trusted."""

    t: float
    order: Order
    behind_s: float
    is_live: bool
    is_steady: bool
    is_new_start: bool


@dataclass(slots=True)
class Start:
    """One start of a device: its offset onto job seconds, and the smallest (arrival - mono) so far."""

    boot: str
    offset_s: float
    smallest_s: float
    heard_s: float | None = None
    falls: deque[tuple[float, float]] = field(default_factory=deque)
    seen: dict[str, Numbers] = field(default_factory=dict)

    def note_stored(self, offset: float) -> None:
        """Until something comes live, the newest stored message tells best where the device's clock is."""
        if self.heard_s is None:
            self.smallest_s = offset

    def note_arrival(self, arrived: float, offset: float) -> None:
        """Learn from one live arrival; the first one counts for more than what the store remembers."""
        if self.heard_s is None:
            self.heard_s, self.smallest_s = arrived, offset
        if offset < self.smallest_s:
            self.falls.append((arrived, self.smallest_s))
            self.smallest_s = offset
        while self.falls and arrived - self.falls[0][0] > WATCHED_S:
            self.falls.popleft()

    def is_steady(self, arrived: float) -> bool:
        """Whether the start has been watched for a while and is not catching up."""
        gained = self.falls[0][1] - self.smallest_s if self.falls else 0.0
        return self.heard_s is not None and arrived - self.heard_s >= WATCHED_S and gained <= HASTE_S


class Arrivals:
    """The starts of one rig; the newest one is followed."""

    def __init__(self) -> None:
        self._starts: dict[str, Start] = {}
        self._gone: set[str] = set()
        self._gone_missing = 0
        self._latest_t = float("-inf")
        self.current: Start | None = None

    @property
    def missing(self) -> int:
        """How many numbers are missing between the first and the newest of each stream and start."""
        found = (numbers.missing for start in self._starts.values() for numbers in start.seen.values())
        return self._gone_missing + sum(found)

    def place(self, message: wire.Data, arrived: float, *, is_stored: bool = False) -> Arrival | None:
        """Judge one message; None for an operator's before any start, and for what still comes of a start long gone."""
        offset = arrived - message.mono
        is_new_start = message.boot not in self._starts
        if is_new_start:
            if isinstance(message, wire.Operator) or message.boot in self._gone:
                return None
            self._begin(message, offset)
        start = self._starts[message.boot]
        order = self._order_of(start, message)
        if is_stored:
            start.note_stored(offset)
        elif not isinstance(message, wire.Operator):
            start.note_arrival(arrived, offset)
        behind = offset - start.smallest_s
        is_live = not is_stored and behind <= LIVE_WITHIN_S and start is self.current
        t = message.mono + start.offset_s
        self._latest_t = max(self._latest_t, t)
        return Arrival(t, order, behind, is_live, is_live and start.is_steady(arrived), is_new_start)

    def _begin(self, message: wire.Data, offset: float) -> None:
        """A start that was not heard before; its job seconds never lie before those of the last one."""
        placed = max(offset, self._latest_t - message.mono)
        self.current = self._starts[message.boot] = Start(message.boot, placed, offset)
        while len(self._starts) > STARTS_KEPT:
            oldest = self._starts.pop(next(iter(self._starts)))
            self._gone.add(oldest.boot)
            self._gone_missing += sum(numbers.missing for numbers in oldest.seen.values())

    def _order_of(self, start: Start, message: wire.Data) -> Order:
        """Note the message's number and tell how it stands to the others."""
        numbers = start.seen.setdefault(wire.stream_of(message), Numbers())
        if message.seq in numbers:
            return Order.REPEAT
        is_next = message.seq > numbers.highest
        numbers.add(message.seq)
        if start is not self.current:
            return Order.EARLIER_START
        return Order.NEXT if is_next else Order.LATE
