"""What may be forgotten and when: a job with a signed record stays until the record's period is over."""

import asyncio
import logging
import time
from collections.abc import Callable
from typing import Any

from server.access import Access
from server.cards import mapping_from_record, record_from_mapping
from server.core.retention import Retention, keep_until, may_go
from server.errors import ConflictError, ServiceError
from server.store import records as shelf
from server.store.jobs import find_job, list_jobs

log = logging.getLogger(__name__)
PERIOD_S = 3600.0


class Keeper:
    """The setting of how long records are kept, and the hourly look for those whose period is over."""

    def __init__(self, access: Access, *, forget: Callable[[int], None], wall: Callable[[], float] = time.time) -> None:
        self._access = access
        self._forget = forget
        self._wall = wall

    async def read(self) -> Retention:
        """The setting; by default all rules and for ever."""
        return await self._access.ask(read_retention)

    async def save(self, retention: Retention) -> Retention:
        """Keep the setting."""
        body = mapping_from_record(retention)
        await self._access.write(lambda connection: shelf.save_retention(connection, body))
        return retention

    async def remove(self, number: int) -> None:
        """Forget a job; raises ConflictError while a signed record needs it, UnknownError."""
        now = self._wall()
        await self._access.write(lambda connection: remove_job(connection, number, now))
        self._forget(number)

    async def sweep(self) -> tuple[int, ...]:
        """Forget the jobs whose records' period is over, if one is set; tells which."""
        now = self._wall()
        gone = await self._access.write(lambda connection: _sweep(connection, now))
        for number in gone:
            self._forget(number)
        return gone

    async def watch(self) -> None:
        """Sweep once an hour, for ever; what does not go is told and tried again."""
        while True:
            await asyncio.sleep(PERIOD_S)
            try:
                await self.sweep()
            except ServiceError as error:
                log.error("old records could not be removed: %s", error)


def read_retention(connection: Any) -> Retention:
    """The setting as it is stored."""
    found = shelf.read_retention(connection)
    if found is None:
        return Retention()
    return record_from_mapping(Retention, {**found, "regimes": tuple(found["regimes"])})


def remove_job(connection: Any, number: int, now_utc: float) -> None:
    """Forget a job unless a signed record needs it; raises ConflictError with the day, UnknownError."""
    find_job(connection, number)
    signed = shelf.find_covering(connection, number)
    years = read_retention(connection).least_years
    if signed is not None and not may_go(signed.kept_from_utc, now_utc, years=years):
        day = keep_until(signed.kept_from_utc, years=years)
        raise ConflictError(f"the record of job {signed.job} is signed: it and its log are kept until {day}")
    shelf.remove_jobs(connection, (number,))


def _sweep(connection: Any, now_utc: float) -> tuple[int, ...]:
    years = read_retention(connection).years
    if years is None:
        return ()
    old = [each for each in shelf.list_signed(connection) if may_go(each.kept_from_utc, now_utc, years=float(years))]
    there = {job.number for job in list_jobs(connection)}
    gone = [tuple(part for part in each.parts if part in there) for each in old]
    for parts in gone:
        shelf.remove_jobs(connection, parts)
    return tuple(part for parts in gone for part in parts)
