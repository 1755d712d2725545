"""A file of readings that a page sends: put on the disk as it comes, then read by a program of its own.

A program, not a thread: reading a year of minutes would keep the alarm waiting for seconds.
"""

import asyncio
import json
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import IO, Any

from server.errors import ConflictError, HistoryError, RequestError, StoreError
from server.history.mapping import Mapping, require_told
from server.tasks import PROGRAM, begin_program

LARGEST_FILE = 64 * 2**20
PIECE = 2**20
SLOWEST_S = 900.0


class Uploads:
    """Takes one file after the other."""

    def __init__(self, database: Path, *, program: tuple[str, ...] = PROGRAM) -> None:
        self._database = database
        self._program = program
        self._lock = asyncio.Lock()
        self._child: asyncio.subprocess.Process | None = None

    async def take(self, pieces: AsyncIterator[bytes], mapping: Mapping, name: str) -> dict[str, Any]:
        """Import what comes; gives the report. Raises RequestError, HistoryError, StoreError, ConflictError."""
        require_told(mapping, but=("date_order",))
        if self._lock.locked():
            raise ConflictError("another file is being imported: wait until it is done")
        async with self._lock:
            try:
                with tempfile.TemporaryDirectory(prefix=".import-", dir=self._database.resolve().parent) as folder:
                    file, told = Path(folder) / "readings", Path(folder) / "mapping.json"
                    await asyncio.to_thread(told.write_text, json.dumps(mapping.as_object()), encoding="utf-8")
                    await _save(pieces, file)
                    return await self._import(file, told, name)
            except OSError as error:
                if isinstance(error, StoreError):
                    raise
                raise StoreError(f"the file cannot be kept beside the database ({error.strerror})") from error

    def stop(self) -> None:
        """End what is under way; what it has stored stays."""
        if self._child is not None and self._child.returncode is None:
            self._child.kill()

    async def _import(self, file: Path, told: Path, name: str) -> dict[str, Any]:
        """Run the program on the file."""
        options = ("--mapping", str(told), "--name", name, "--database", str(self._database), "--json")
        self._child = child = await begin_program(*self._program, "history", "import", *options, "--", str(file))
        try:
            answer, complaint = await asyncio.wait_for(child.communicate(), SLOWEST_S)
        except TimeoutError as error:
            raise HistoryError(f"the import took longer than {SLOWEST_S / 60:.0f} minutes and was ended") from error
        finally:
            self.stop()
            self._child = None
        if child.returncode:
            said = (complaint.decode(errors="replace").strip().splitlines() or ["it was ended"])[-1]
            raise HistoryError(f"the import did not come to its end: {said}")
        return _read_answer(answer)


def _read_answer(answer: bytes) -> dict[str, Any]:
    """The program's report; raises what it refused."""
    found: dict[str, Any] = json.loads(answer)
    refusal = found.get("refusal")
    if refusal is None:
        return found
    key = found.get("key")
    if key is not None:
        raise RequestError(key, str(refusal).removeprefix(f"{key}: "))
    raise HistoryError(str(refusal).replace("readings: ", "", 1))


async def _save(pieces: AsyncIterator[bytes], path: Path) -> None:
    """Write pieces as they come; raises RequestError where there are too many."""
    size, kept = 0, bytearray()
    file: IO[bytes] = await asyncio.to_thread(path.open, "wb")
    try:
        async for piece in pieces:
            size += len(piece)
            kept += piece
            if size > LARGEST_FILE:
                raise RequestError("file", f"longer than {LARGEST_FILE // 2**20} MB: split it")
            if len(kept) >= PIECE:
                await asyncio.to_thread(file.write, bytes(kept))
                kept.clear()
        await asyncio.to_thread(file.write, bytes(kept))
    finally:
        await asyncio.to_thread(file.close)
    if not size:
        raise RequestError("file", "nothing was sent")
