"""What is in the tank: fills kept, given to the job that uses them, and the level by the flow meter."""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from typing import Any

from server.access import Access
from server.core.entries import check_entry
from server.core.errors import EntryError
from server.core.flow import gather_volume
from server.core.mix import TankLevel
from server.core.tank import TankState, assume_full, check_fill, fill_tank, follow_tank, level_of
from server.core.timebase import align_boots
from server.errors import LogError, RequestError, ServiceError
from server.live import Live
from server.store import fills as shelf
from server.store.fills import FillRow
from server.store.joblog import load_job_log
from server.store.jobs import Job

log = logging.getLogger(__name__)
Press = Callable[[Job, str, dict[str, Any]], Awaitable[Job]]
"""Presses a button of a job."""


@dataclass(frozen=True, slots=True)
class Tank:
    """The tank as it stands: level, what was sprayed since the job began, the fills."""

    state: TankState
    level: TankLevel
    sprayed_l: float
    tank_l: float
    fills: tuple[FillRow, ...]


class Tanks:
    """The book of fills; one that is entered before a job is pressed into its raw log once it runs."""

    def __init__(self, access: Access, *, press: Press, wall: Callable[[], float] = time.time) -> None:
        self._access = access
        self._press = press
        self._wall = wall
        self._waiting: list[FillRow] | None = None
        self._turn = asyncio.Lock()
        self._told = ""

    async def look(self, live: Live, job: Job | None, *, tank_l: float | None = None) -> Tank:
        """The tank of a job, or the one that waits for the next; raises LogError where a job's log is not there."""
        if job is None or job.state == "idle":
            return await self._look_waiting(tank_l if tank_l is not None else live.setup.sprayer.tank_l)
        fills = tuple(await self._access.ask(lambda connection: shelf.list_fills(connection, job.number)))
        size_l, share = job.setup.sprayer.tank_l, job.setup.flow_meter.sd_percent / 100.0
        if live.job is not None and live.job.number == job.number:
            state, sprayed_l = live.way.tank, live.way.litres
        else:
            state, sprayed_l = await asyncio.to_thread(_follow_stored, self._access, job)
        return Tank(state, level_of(state, sprayed_l=sprayed_l, meter_share=share), sprayed_l, size_l, fills)

    async def fill(self, live: Live, body: dict[str, Any], *, tank_l: float | None = None) -> FillRow:
        """Keep a fill, of the open job or for the next; raises EntryError where it cannot be in the tank."""
        _check_body(body)
        async with self._turn:
            job = live.job
            tank = await self.look(live, job, tank_l=tank_l)
            after = fill_tank(
                tank.state, body, sprayed_l=tank.sprayed_l, meter_share=_share_of(live, job), tank_l=tank.tank_l
            )
            check_fill(after, sprayed_l=tank.sprayed_l, tank_l=tank.tank_l)
            # Until it is in the raw log it waits, so that a power cut between the two loses nothing.
            row = await self._access.write(lambda connection: shelf.add_fill(connection, body, self._wall(), None))
            self._waiting = None
            if job is None:
                return row
            try:
                await self._press(job, "refill", _detail_of(row))
            except ServiceError:
                await self._access.write(lambda connection: shelf.remove_fill(connection, row.number))
                raise
            await self._access.write(_placing(row.number, job.number))
            return replace(row, job=job.number)

    async def pour(self, job: Job | None) -> None:
        """Give what waits to the job that has begun; where that cannot be, it waits on and the log says so once."""
        if job is None or job.state != "running":
            return
        async with self._turn:
            for row in await self._read_waiting():
                try:
                    await self._press(job, "refill", _detail_of(row))
                    await self._access.write(_placing(row.number, job.number))
                except ServiceError as error:
                    if str(error) != self._told:
                        log.error("a fill that waited could not be given to job %d: %s", job.number, error)
                    self._told = str(error)
                    return
            self._waiting = []

    async def remove(self, number: int) -> None:
        """Forget a fill that waits; raises UnknownError."""
        await self._access.write(lambda connection: shelf.remove_fill(connection, number))
        self._waiting = None

    async def _look_waiting(self, tank_l: float) -> Tank:
        fills = tuple(await self._read_waiting())
        state = assume_full(tank_l)
        for row in fills:
            state = fill_tank(state, row.body, sprayed_l=0.0, meter_share=0.0, tank_l=tank_l)
        return Tank(state, level_of(state, sprayed_l=0.0, meter_share=0.0), 0.0, tank_l, fills)

    async def _read_waiting(self) -> list[FillRow]:
        if self._waiting is None:
            self._waiting = await self._access.ask(lambda connection: shelf.list_fills(connection, None))
        return self._waiting


def _check_body(body: dict[str, Any]) -> None:
    """One of the two ways to tell a fill, within its limits."""
    if ("added_l" in body) == ("holds_l" in body):
        raise RequestError("litres", "tell either what was added or what the tank holds")
    way, name = ("added_l", "fill") if "added_l" in body else ("holds_l", "left in the tank")
    try:
        check_entry(name, float(body[way]))
    except EntryError as error:
        raise EntryError("litres", error.problem) from error


def _detail_of(row: FillRow) -> dict[str, Any]:
    """What goes into the raw log."""
    kept = {key: value for key, value in row.body.items() if key in ("added_l", "holds_l", "treatment", "load")}
    return {**kept, "fill": row.number}


def _placing(number: int, job: int) -> Callable[[Any], None]:
    return lambda connection: shelf.place_fill(connection, number, job)


def _share_of(live: Live, job: Job | None) -> float:
    setup = live.setup if job is None else job.setup
    return setup.flow_meter.sd_percent / 100.0


def _follow_stored(access: Access, job: Job) -> tuple[TankState, float]:
    """The tank of a job that is done, from its raw log; as assumed where the store holds none of it."""
    setup = job.setup
    try:
        found = access.read(lambda connection: load_job_log(connection, job.span))
    except LogError:
        return assume_full(setup.sprayer.tank_l), 0.0
    timebase = align_boots(found, latency_s=setup.receiver.latency_s)
    curve = gather_volume(found.flow, timebase, meter=setup.flow_meter, delay_s=0.0)
    fills = [
        (each.mono + float(timebase.shift_s[each.boot]), each.detail if each.source == "operator" else {})
        for each in found.happenings
        if each.button == "refill"
    ]
    return follow_tank(curve, fills, meter_share=setup.flow_meter.sd_percent / 100.0, tank_l=setup.sprayer.tank_l)
