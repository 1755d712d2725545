"""The live picture spread to every open page: a slow page gets fewer pictures, never a longer queue."""

import asyncio
import json
import zlib
from collections.abc import AsyncGenerator, Callable, Iterable
from contextlib import aclosing
from dataclasses import dataclass, field
from typing import Any

LEAST_GAP_S = 0.05
MOST_CELLS = 20_000
"""A page that lacks more cells than this is told the whole map anew: it is smaller, and so is what waits for it."""
LEVEL = 4
GZIP_BITS = 16 + 14
LARGE_BYTES = 100_000
"""What is larger is packed beside the event loop."""
_WRITER = json.JSONEncoder(separators=(",", ":"), allow_nan=False)


@dataclass
class DosePatch:
    """Changed cells gathered for one page, or that all is to be drawn anew."""

    is_reset: bool = True
    cells: dict[int, float] = field(default_factory=dict)

    def add(self, changes: Iterable[tuple[int, float]]) -> None:
        """Gather more, unless the whole map is to be told anyway."""
        if not self.is_reset:
            self.cells.update(changes)
            if len(self.cells) > MOST_CELLS:
                self.is_reset, self.cells = True, {}


class Page:
    """What one open page has not been sent yet."""

    def __init__(self) -> None:
        self.ready = asyncio.Event()
        self.track_sent = -1
        self.dose = DosePatch()
        self.way: object = None
        self.strips: object = object()
        self.outlook: object = None


class Broadcast:
    """Wakes the pages when there is something new, at most every 50 ms."""

    def __init__(self, *, now: Callable[[], float]) -> None:
        self._pages: set[Page] = set()
        self._now = now
        self._woken_at = float("-inf")
        self._is_scheduled = False
        self._is_closed = False

    @property
    def pages(self) -> set[Page]:
        """The open pages."""
        return self._pages

    def wake(self) -> None:
        """Something changed: tell the pages now, or as soon as they may be told again."""
        if self._is_scheduled or not self._pages:
            return
        wait = self._woken_at + LEAST_GAP_S - self._now()
        if wait <= 0.0:
            self._wake_all()
        else:
            self._is_scheduled = True
            asyncio.get_running_loop().call_later(wait, self._wake_all)

    def close(self) -> None:
        """End every page's stream, so that the web server can stop."""
        self._is_closed = True
        self._wake_all()

    def _wake_all(self) -> None:
        self._is_scheduled = False
        self._woken_at = self._now()
        for page in self._pages:
            page.ready.set()

    async def follow(self, read: Callable[[Page], list[tuple[str, Any]]]) -> AsyncGenerator[bytes, None]:
        """The stream of one page: events as they are ready."""
        page = Page()
        page.ready.set()
        self._pages.add(page)
        try:
            while not self._is_closed:
                await page.ready.wait()
                page.ready.clear()
                if self._is_closed:
                    return
                yield format_stamp(self._now()) + b"".join(format_event(name, content) for name, content in read(page))
        finally:
            self._pages.discard(page)


def format_stamp(now_s: float) -> bytes:
    """When what follows was told, by the service's clock: a page sees by it how late it came."""
    return f"id: {now_s:.3f}\n".encode()


def format_event(name: str, content: Any) -> bytes:
    """One server-sent event."""
    return f"event: {name}\ndata: {_WRITER.encode(content)}\n\n".encode()


async def pack_stream(parts: AsyncGenerator[bytes, None]) -> AsyncGenerator[bytes, None]:
    """The same stream with gzip, each part complete by itself: pictures repeat themselves, a tenth of them is new."""
    packer = zlib.compressobj(LEVEL, zlib.DEFLATED, GZIP_BITS)

    def pack(part: bytes) -> bytes:
        return packer.compress(part) + packer.flush(zlib.Z_SYNC_FLUSH)

    async with aclosing(parts):
        async for part in parts:
            yield await asyncio.to_thread(pack, part) if len(part) > LARGE_BYTES else pack(part)
