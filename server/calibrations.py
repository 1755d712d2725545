"""The cup's calibrations as people work with them: looked at while under way, kept, applied by their own button."""

import asyncio
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from typing import Any

from server.access import Access
from server.core.setup import Setup
from server.cupwork import apply_line
from server.errors import ConflictError
from server.store import calibrations as shelf
from server.store.calibrations import Calibration

Measure = Callable[[Any], dict[str, Any]]
"""Reads what it needs over a connection and says what came of it."""


class Calibrations:
    """Reckons calibrations in a thread, one at a time, and keeps their record."""

    def __init__(self, access: Access, *, flush: Callable[[], Awaitable[None]]) -> None:
        self._access = access
        self._flush = flush
        self._turn = asyncio.Lock()

    async def look(self, measure: Measure) -> dict[str, Any]:
        """What a calibration comes to, from all that has arrived so far; nothing is kept."""
        async with self._turn:
            await self._flush()
            return await self._access.ask(measure)

    async def keep(self, measure: Measure, *, way: str, rig: str) -> Calibration:
        """Reckon a calibration and put it on record, refused or not."""
        made = Calibration(0, time.time(), way, rig, await self.look(measure))
        return await self._access.write(lambda connection: shelf.add_calibration(connection, made))

    async def list_all(self) -> list[Calibration]:
        """The record, the newest first."""
        return await self._access.ask(shelf.list_calibrations)

    async def fill_in(self, number: int, setup: Setup) -> Setup:
        """The settings with a calibration's line; raises UnknownError, and ConflictError for one that was refused."""
        made = await self._find(number)
        if not made.found["is_usable"]:
            raise ConflictError(f"calibration {number} was refused: {made.found['refusal']}")
        return apply_line(setup, made.found, day=datetime.fromtimestamp(made.made_utc, UTC).date().isoformat())

    async def note_applied(self, number: int) -> Calibration:
        """Put on record that it was applied."""
        utc = time.time()
        await self._access.write(lambda connection: shelf.note_applied(connection, number, utc))
        return await self._find(number)

    async def _find(self, number: int) -> Calibration:
        """One of the record; raises UnknownError."""
        return await self._access.ask(lambda connection: shelf.find_calibration(connection, number))
