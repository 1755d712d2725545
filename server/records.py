"""The book of application records: read, typed into, signed once, amended, and written as files."""

import asyncio
import json
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from server.access import Access
from server.core.measured import Measured
from server.core.recorditem import Value
from server.errors import ConflictError, UnknownError
from server.exports.recordfiles import record_file
from server.exports.straight import read_views, straighten
from server.keeping import Keeper, read_retention
from server.rawlog import write_raw_log
from server.recordview import fill_draft, freeze, summarise_folder, view_record, write_amendment
from server.recordwork import check_typed, find_folder, list_folders, measured_from_bytes, tell_offset
from server.reviews import Reviews
from server.store import records as shelf
from server.store.joblog import iterate_received
from server.store.jobs import Job, find_job
from server.store.records import Signed
from server.tasks import PROGRAM, await_answer, begin_program


class Records:
    """The book of records."""

    def __init__(self, access: Access, reviews: Reviews, *, wall: Callable[[], float] = time.time) -> None:
        self._access = access
        self._reviews = reviews
        self._wall = wall
        self._press = asyncio.Lock()
        self.keeper = Keeper(access, forget=reviews.forget, wall=wall)

    async def list_all(self) -> list[dict[str, Any]]:
        """A line a record, the newest first."""

        def work(connection: Any) -> list[dict[str, Any]]:
            retention = read_retention(connection)
            return [
                summarise_folder(connection, folder, self._measured_of, retention)
                for folder in list_folders(connection)
            ]  # fmt: skip

        return await self._access.ask(work)

    async def read(self, number: int, *, zone: str = "") -> dict[str, Any]:
        """The record of a job, or of the one it is a part of; raises UnknownError."""
        tell_offset(zone, None)
        return await self._access.ask(lambda connection: view_record(connection, number, self._measured_of, zone=zone))

    async def find_done(self, number: int) -> float:
        """Of the zones what the parts of a job before this one have covered, by their reviews, in square metres."""

        def work(connection: Any) -> float:
            before = [job for job in find_folder(connection, number).jobs if job.number < number]
            found = [self._measured_of(job) for job in before]
            return sum(zone.covered_m2 or 0.0 for each in found if each is not None for zone in each.zones)

        return await self._access.ask(work)

    async def type_in(self, number: int, typed: dict[str, Any], zone: str | None) -> dict[str, Any]:
        """Keep what was typed; None takes a value back. Raises ConflictError once signed, RequestError."""
        changes: dict[str, Value] = check_typed(typed)
        tell_offset(zone or "", None)

        def work(connection: Any) -> int:
            job = int(view_record(connection, number, self._measured_of)["job"])
            draft = fill_draft(shelf.read_draft(connection, job), changes, zone)
            # Built once before it is kept: what cannot be read back is refused.
            view_record(connection, job, self._measured_of, draft=draft)
            shelf.save_draft(connection, job, draft)
            return job

        return await self.read(await self._access.write(work))

    async def sign(self, number: int, name: str, zone: str) -> dict[str, Any]:
        """Freeze the record; raises ConflictError where the job is not finished and reviewed, or it is signed."""
        tell_offset(zone, None)
        utc = round(self._wall(), 3)

        def work(connection: Any) -> None:
            view = view_record(connection, number, self._measured_of, zone=zone)
            if view["state"] == "open":
                raise ConflictError(f"job {view['job']} is not finished: its record cannot be signed yet")
            if not view["is_reviewed"]:
                raise ConflictError(f"job {view['job']} is not reviewed yet: compute it, then sign")
            body, digest = freeze(view, name=name, utc=utc)
            ends = [item["value"] for item in view["items"] if item["key"] == "end_utc" and item["value"] is not None]
            shelf.add_signed(
                connection, Signed(view["job"], tuple(view["parts"]), utc, name, max([utc, *ends]), digest, body)
            )

        await self._access.write(work)
        return await self.read(number)

    async def amend(self, number: int, change: dict[str, Any]) -> dict[str, Any]:
        """Change an item of a signed record, the old value kept; raises ConflictError, RequestError, UnknownError."""
        utc = self._wall()

        def work(connection: Any) -> None:
            view = view_record(connection, number, self._measured_of)
            shelf.add_amendment(connection, view["job"], write_amendment(connection, view, change, utc))

        await self._access.write(work)
        return await self.read(number)

    async def read_file(self, number: int, name: str, *, units: str, zone: str = "") -> bytes:
        """One of a record's files; raises UnknownError."""
        view = await self.read(number, zone=zone)
        if name == "record.pdf":
            view["straightened"] = await self._access.ask(
                lambda connection: self._straighten(connection, view["parts"])
            )
            # A program of its own, one at a time: in the service the library and its fonts would stay for good.
            async with self._press:
                child = await begin_program(*PROGRAM, "pdf", "--units", units, is_told=True)
                return await await_answer(child, json.dumps(view).encode())
        return await asyncio.to_thread(record_file, name, view, units=units)

    async def read_log(self, number: int) -> bytes:
        """A job's raw log, packed; raises UnknownError."""

        def work(connection: Any) -> bytes:
            with TemporaryDirectory() as folder:
                file = Path(folder) / "log.ndjson.gz"
                write_raw_log(file, iterate_received(connection, find_job(connection, number).span))
                return file.read_bytes()

        return await self._access.ask(work)

    def _straighten(self, connection: Any, parts: list[int]) -> list[dict[str, Any]]:
        """The straightened lawn of each part that has a review which can be drawn."""
        sheets = []
        for number in parts:
            try:
                job = find_job(connection, number)
                found = straighten(read_views(partial(self._reviews.read_view, job)))
            except UnknownError:
                continue
            if found is not None:
                sheets.append({"name": job.name, **found})
        return sheets

    def _measured_of(self, job: Job) -> Measured | None:
        return read_measured(self._reviews, job)


def read_measured(reviews: Reviews, job: Job) -> Measured | None:
    """What the newest review with the job's settings measured, None while there is none."""
    try:
        return measured_from_bytes(reviews.read_file(job, "measured.json"))
    except UnknownError:
        return None
