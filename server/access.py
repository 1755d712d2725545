"""The way to the store for what is kept beside the raw log: questions on readers of their own, writes by one writer."""

import asyncio
from collections.abc import Callable
from pathlib import Path

from server.ingest import Ingest
from server.store.connection import Connection, Result, ask_store


class Access:
    """Asks and writes without holding the event loop up."""

    def __init__(self, database: Path, ingest: Ingest) -> None:
        self._database = database
        self._ingest = ingest

    async def ask(self, work: Callable[[Connection], Result]) -> Result:
        """Put a question on a reader of its own."""
        return await asyncio.to_thread(self.read, work)

    async def write(self, work: Callable[[Connection], Result]) -> Result:
        """Change something through ingest's writer, in order with the messages."""
        return await asyncio.wrap_future(self._ingest.call(lambda writer: work(writer.connection)))

    def read(self, work: Callable[[Connection], Result]) -> Result:
        """Put a question from a thread that may wait."""
        return ask_store(self._database, work)
