"""The cup's calibrations as people work with them: looked at while under way, kept, applied by their own button."""

import asyncio
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from server.core.setup import Setup
from server.cupwork import apply_line
from server.errors import ConflictError
from server.ingest import Ingest
from server.store import calibrations as shelf
from server.store.calibrations import Calibration
from server.store.connection import ask_store

Measure = Callable[[Any], dict[str, Any]]
"""Reads what it needs over a connection and says what came of it."""


class Calibrations:
    """Reckons calibrations in a thread, one at a time, and keeps their record."""

    def __init__(self, database: Path, ingest: Ingest, *, flush: Callable[[], Awaitable[None]]) -> None:
        self._database = database
        self._ingest = ingest
        self._flush = flush
        self._turn = asyncio.Lock()

    async def look(self, measure: Measure) -> dict[str, Any]:
        """What a calibration comes to, from all that has arrived so far; nothing is kept."""
        async with self._turn:
            await self._flush()
            return await asyncio.to_thread(ask_store, self._database, measure)

    async def keep(self, measure: Measure, *, way: str, rig: str) -> Calibration:
        """Reckon a calibration and put it on record, refused or not."""
        made = Calibration(0, time.time(), way, rig, await self.look(measure))
        return await asyncio.wrap_future(
            self._ingest.call(lambda writer: shelf.add_calibration(writer.connection, made))
        )

    async def list_all(self) -> list[Calibration]:
        """The record, the newest first."""
        return await asyncio.to_thread(ask_store, self._database, shelf.list_calibrations)

    async def fill_in(self, number: int, setup: Setup) -> Setup:
        """The settings with a calibration's line; raises UnknownError, and ConflictError for one that was refused."""
        made = await asyncio.to_thread(
            ask_store, self._database, lambda connection: shelf.find_calibration(connection, number)
        )
        if not made.found["is_usable"]:
            raise ConflictError(f"calibration {number} was refused: {made.found['refusal']}")
        return apply_line(setup, made.found, day=datetime.fromtimestamp(made.made_utc, UTC).date().isoformat())

    async def note_applied(self, number: int) -> Calibration:
        """Put on record that it was applied."""
        utc = time.time()
        await asyncio.wrap_future(self._ingest.call(lambda writer: shelf.note_applied(writer.connection, number, utc)))
        return await asyncio.to_thread(
            ask_store, self._database, lambda connection: shelf.find_calibration(connection, number)
        )

    async def _find(self, number: int) -> Calibration:
        """One of the record; raises UnknownError."""
        return await asyncio.to_thread(
            ask_store, self._database, lambda connection: shelf.find_calibration(connection, number)
        )
