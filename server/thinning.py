"""The parked rig at low cost: raw messages outside jobs go after a while, the blocks of wind stay."""

import asyncio
import logging
import shutil
import time
from collections.abc import Callable, Coroutine
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.core.setup import FlowMeter, Span
from server.errors import LogError, ServiceError
from server.ingest import Ingest
from server.store import thinning
from server.store.connection import DATABASE_ERRORS, ask_store, open_reader
from server.store.jobs import list_jobs
from server.store.messages import MessageWriter
from server.store.thinning import Part, Piece

log = logging.getLogger(__name__)
KEEP_S = 48 * 3600.0
FIRST_AFTER_S = 300.0
PERIOD_S = 3600.0
REST = 4.0
"""After each piece the writer is left alone for so many times as long as the piece took."""
SHORTEST_REST_S = 0.05
LEAST_L = 0.1
"""Half of what is proposed as a job: the meter's factor may yet be corrected."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What the last look came to: since when messages outside jobs are kept, how many have gone, in all."""

    since_utc: float | None = None
    removed: int = 0


class Thinner:
    """Looks once an hour for what may go, and has it removed by ingest's one writer."""

    def __init__(self, database: Path, ingest: Ingest, *, keep_s: float | None = KEEP_S) -> None:
        self._database = database
        self._ingest = ingest
        self._unclear: set[str] = set()
        self.keep_s = keep_s
        self.kept = Kept()

    async def watch(self, meter: Callable[[], FlowMeter]) -> None:
        """Thin now and then, for ever; a disk that does not let it is told and tried again with the next hour."""
        await self._attempt(self._note_kept([]))
        wait_s = FIRST_AFTER_S
        while self.keep_s is not None:
            await asyncio.sleep(wait_s)
            wait_s = PERIOD_S
            await self._attempt(self.thin(meter()))

    async def thin(self, meter: FlowMeter) -> int:
        """Remove what may go; tells how many messages went."""
        parts = await asyncio.to_thread(self._plan, least_pulses(meter))
        removed = 0
        for part in parts:
            for stream in thinning.STREAMS:
                removed += await self._thin_stream(part, stream)
        await self._note_kept(parts)
        return removed

    def tell(self) -> dict[str, Any]:
        """For JSON: how large the store is, what is kept of a parked rig and since when."""
        files = [self._database.with_name(self._database.name + end) for end in ("", "-wal")]
        return {
            "free_bytes": shutil.disk_usage(self._database.parent).free,
            "file_bytes": sum(file.stat().st_size for file in files if file.exists()),
            "keep_hours": None if self.keep_s is None else self.keep_s / 3600.0,
            "outside_jobs_since_utc": self.kept.since_utc,
            "removed_messages": self.kept.removed,
        }

    async def _attempt(self, work: Coroutine[Any, Any, object]) -> None:
        try:
            await work
        except (ServiceError, *DATABASE_ERRORS) as error:
            log.warning("raw messages outside jobs were not removed: %s", error)

    async def _note_kept(self, parts: list[Part]) -> None:
        self.kept = await asyncio.to_thread(self._look, parts)

    async def _thin_stream(self, part: Part, stream: str) -> int:
        """Piece by piece, with rests in which the writer stores what comes."""
        removed, place = 0, await asyncio.to_thread(self._find, part, stream, 0)
        while place is not None:
            begun = time.monotonic()
            piece = await asyncio.wrap_future(self._ingest.call(_thin_from(part, stream, place)))
            removed += piece.removed
            spent = time.monotonic() - begun
            await asyncio.sleep(max(SHORTEST_REST_S, REST * spent))
            place = piece.next_seq
            if not piece.is_full:
                place = await asyncio.to_thread(self._find, part, stream, place)
        return removed

    def _plan(self, least: float) -> list[Part]:
        """On a reader: what may go of each rig whose jobs can be placed."""
        assert self.keep_s is not None
        parts: list[Part] = []
        with closing(open_reader(self._database)) as connection:
            jobs = [job for job in list_jobs(connection) if job.state != "idle"]
            for rig in thinning.list_rigs(connection):
                spans = [job.span for job in jobs if job.rig in ("", rig)]
                parts += self._plan_rig(connection, rig, spans, least)
        return parts

    def _plan_rig(self, connection: Any, rig: str, spans: list[Span], least: float) -> list[Part]:
        assert self.keep_s is not None
        try:
            parts = thinning.plan_thinning(connection, rig, keep_s=self.keep_s, jobs=spans, least_pulses=least)
        except LogError as error:
            if rig not in self._unclear:
                log.warning("nothing of rig %s is removed while one of its jobs cannot be placed: %s", rig, error)
            self._unclear.add(rig)
            return []
        self._unclear.discard(rig)
        return parts

    def _find(self, part: Part, stream: str, from_seq: int) -> int | None:
        return ask_store(self._database, lambda connection: thinning.find_doomed(connection, part, stream, from_seq))

    def _look(self, parts: list[Part]) -> Kept:
        with closing(open_reader(self._database)) as connection:
            return Kept(thinning.find_kept_since(connection, parts), thinning.count_thinned(connection))


def _thin_from(part: Part, stream: str, seq: int) -> Callable[[MessageWriter], Piece]:
    return lambda writer: writer.thin(part, stream, seq)


def least_pulses(meter: FlowMeter) -> float:
    """How many pulses of a spell make it worth keeping."""
    factors = meter.pulses_per_l if isinstance(meter.pulses_per_l, tuple) else (meter.pulses_per_l,)
    return LEAST_L * min(factors)
