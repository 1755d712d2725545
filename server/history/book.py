"""The wind's history as the service keeps it: the rig's blocks go in, means over any step come out."""

import asyncio
from collections import deque
from math import isfinite, sqrt
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from server.core.blocks import MINUTE_S, Block, tell_direction
from server.errors import ConflictError, RequestError
from server.history.steps import DAY_S, Grid
from server.history.zone import read_zone
from server.ingest import Ingest
from server.station import Station
from server.store import history as shelves
from server.store.connection import ask_store
from server.store.history import Shelf, Source
from server.store.messages import MessageWriter

MOST_STEPS = 3000
STEPS_S = (60, 600, 1800, 3600, 10_800, 86_400)
"""What is chosen from where no step is asked for; any whole minutes may be asked for."""
WAITING = 2880


class History:
    """Keeps blocks through ingest's one writer and answers questions on readers of its own."""

    def __init__(self, database: Path, ingest: Ingest) -> None:
        self._database = database
        self._ingest = ingest
        self._waiting: deque[tuple[Source, list[Block]]] = deque(maxlen=WAITING)

    def keep(self, rig: str | None, station: Station) -> None:
        """Store what the rig's record has completed; what the disk refuses is tried again with the next minute."""
        if rig is None or not station.blocks:
            return
        self._waiting.append((Source("rig", rig, station.height_m), station.drain()))
        self._ingest.call(self._store)

    async def browse(
        self, *, from_utc: float, to_utc: float, step_s: int | None, number: int | None = None, zone: str = "UTC"
    ) -> dict[str, Any]:
        """Means of every source, or of one, in steps by the clocks of a zone; raises RequestError, UnknownError."""
        clocks = read_zone(zone)
        if not from_utc < to_utc:
            raise RequestError("to", "must be later than from")
        step = _choose_step(to_utc - from_utc) if step_s is None else step_s
        if step % MINUTE_S or step < MINUTE_S:
            raise RequestError("step", f"{step} s: whole minutes are wanted, 60 or 3600 say")
        if (to_utc - from_utc) / step > MOST_STEPS:
            raise RequestError("step", f"{step} s: more than {MOST_STEPS} steps; take a longer step or a shorter time")

        def read(connection: Any) -> dict[str, Any]:
            every = shelves.list_shelves(connection)
            chosen = every if number is None else [shelves.find_shelf(connection, number)]
            series = [_lay_series(connection, shelf, from_utc, to_utc, step, clocks) for shelf in chosen]
            return {
                "from_utc": from_utc,
                "to_utc": to_utc,
                "sources": [describe_shelf(shelf) for shelf in every],
                "series": series,
            }

        return await asyncio.to_thread(ask_store, self._database, read)

    async def remove(self, number: int) -> None:
        """Forget an import; raises UnknownError, and ConflictError for what a rig recorded."""
        shelf = await asyncio.to_thread(
            ask_store, self._database, lambda connection: shelves.find_shelf(connection, number)
        )
        if shelf.source.kind == "rig":
            raise ConflictError(f"source {number} is the rig {shelf.source.name}'s own record: only imports can go")
        work = self._ingest.call(lambda writer: shelves.remove_source(writer.connection, number))
        await asyncio.wrap_future(work)

    def _store(self, writer: MessageWriter) -> None:
        """On the writer's thread: all that waits, or up to what is refused."""
        while self._waiting:
            source, blocks = self._waiting[0]
            shelves.save_blocks(writer.connection, source, blocks)
            self._waiting.popleft()


def describe_shelf(shelf: Shelf) -> dict[str, Any]:
    """A source for JSON."""
    source = shelf.source
    return {
        "id": shelf.number,
        "kind": source.kind,
        "name": source.name,
        "height_m": source.height_m,
        "step_s": source.step_s,
        "blocks": shelf.blocks,
        "from_utc": shelf.from_utc if shelf.blocks else None,
        "to_utc": shelf.to_utc if shelf.blocks else None,
    }


def _lay_series(
    connection: Any, shelf: Shelf, from_utc: float, to_utc: float, step_s: int, clocks: ZoneInfo | float
) -> dict[str, Any]:
    """One source's columns; a step is never shorter than the source's own."""
    own = shelf.source.step_s
    # Days stay days, whatever the blocks: one that goes over midnight belongs to the day that it began in.
    step = step_s if step_s % DAY_S == 0 else -(-max(step_s, own) // own) * own
    grid = Grid(step, clocks)
    shifts = grid.find_shifts(from_utc, to_utc)
    rows = shelves.read_steps(
        connection, shelf.number, from_utc=from_utc, to_utc=to_utc, step_s=step, shifts=shifts
    )  # fmt: skip
    begins = [grid.begin_of(row[0] // step) for row in rows]
    ends = [grid.begin_of(row[0] // step + 1) for row in rows]
    lengths = [end - begin for begin, end in zip(begins, ends, strict=True)]
    aims = [(None, None) if row[3] is None else tell_direction(row[3], row[4]) for row in rows]
    return {
        "source": shelf.number,
        "step_s": step,
        "start_utc": begins,
        "end_utc": ends,
        "mean_mps": [_rounded(row[1], 3) for row in rows],
        "mean_sd_mps": [_rounded(sqrt(max(row[8], 0.0)) if row[9] > 1 else None, 3) for row in rows],
        "gust_3s_mps": [_rounded(row[2], 3) for row in rows],
        "from_deg": [_rounded(aim[0], 1) for aim in aims],
        "from_sd_deg": [_rounded(aim[1], 1) for aim in aims],
        "known_fraction": [
            round(min(row[5] / length, 1.0), 3) for row, length in zip(rows, lengths, strict=True)
        ],
        "below_fraction": [round(row[6] / row[5], 3) for row in rows],
        "station_fraction": [round(row[7] / row[5], 3) for row in rows],
    }  # fmt: skip


def _choose_step(span_s: float) -> int:
    """The shortest usual step that does not make too many."""
    return next((step for step in STEPS_S if span_s / step <= MOST_STEPS), 7 * STEPS_S[-1])


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not isfinite(value) else round(value, digits)
