"""What the device program needs of the world, as protocols; a bench plugs its own parts in here.

Times are seconds of a monotonic clock.
"""

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol


class Clock(Protocol):
    """A monotonic clock that can also be waited for."""

    def now(self) -> float:
        """Seconds since an arbitrary start."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Wait for a span of this clock's seconds."""
        ...


class MonotonicClock:
    """The machine's own monotonic clock."""

    def now(self) -> float:
        """Seconds since an arbitrary start."""
        return time.monotonic()

    async def sleep(self, seconds: float) -> None:
        """Wait for a span of real seconds."""
        await asyncio.sleep(seconds)


@dataclass(frozen=True, slots=True)
class EdgeCount:
    """A cumulative count of edges, when the last one came, and how many were too close to be real."""

    pulses: int
    edge_mono: float | None
    edges_rejected: int


class EdgeCounter(Protocol):
    """Counts the edges of one line since it was opened."""

    def read(self) -> EdgeCount:
        """The count so far."""
        ...

    def close(self) -> None:
        """Let the line go."""
        ...


class ByteSource(Protocol):
    """Bytes as they arrive, each piece with the time of its first byte."""

    async def read(self) -> tuple[bytes, float]:
        """Wait for the next piece."""
        ...

    def close(self) -> None:
        """Let the port go."""
        ...


class Horn(Protocol):
    """Something that people hear."""

    def sound(self) -> None:
        """Make one signal of an alarm."""
        ...

    def chirp(self) -> None:
        """Make one short, soft signal that nobody takes for an alarm."""
        ...


@dataclass(frozen=True, slots=True)
class LinkEvents:
    """Where a link reports to; each is called on the event loop's thread."""

    on_connection: Callable[[bool], None]
    on_refusal: Callable[[str], None]
    on_message: Callable[[str, bytes], None]


class Link(Protocol):
    """A connection to the broker for one rig."""

    @property
    def is_up(self) -> bool:
        """Whether the broker can be reached now."""
        ...

    def open(self, events: LinkEvents) -> None:
        """Begin to connect and stay connected."""
        ...

    def publish(self, stream: str, payload: bytes, *, is_retained: bool = False) -> None:
        """Hand one message to the broker."""
        ...

    def close(self) -> None:
        """Say good-bye and disconnect."""
        ...
