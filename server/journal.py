"""Finished jobs enter the journal by themselves: one line a job, kept up with its papers and its review."""

import asyncio
import json
import logging
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from server.access import Access
from server.cards import Cards, mapping_from_record, record_from_mapping
from server.core.calendarcard import CalendarCard
from server.core.entered import Stated
from server.core.errors import EntryError
from server.core.papers import Papers
from server.core.quantity import kind_of
from server.core.timebase import align_boots
from server.core.treatmentcard import Dose, TreatmentCard
from server.core.workcard import WorkCard
from server.errors import LogError, RequestError, ServiceError, UnknownError
from server.history.zone import offset_at
from server.kinds import CALENDAR, TREATMENT, WORK
from server.reviews import Reviews
from server.store import cards as shelf
from server.store import jobs as joblist
from server.store import papers as folder
from server.store.joblog import load_sparse_log
from server.store.jobs import Job
from server.tasks import begin_task

log = logging.getLogger(__name__)
DIGITS = 4
"""Rates found by measuring are not known better."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What a job's log tells of it: when it ended, its dose as a share of the target's, None before its review."""

    end_utc: float
    share: float | None
    area_m2: float = 0.0


class Journal:
    """Writes the lines of jobs; what people wrote into them stays."""

    def __init__(self, access: Access, cards: Cards, reviews: Reviews, *, wall: Callable[[], float]) -> None:
        self._access = access
        self._cards = cards
        self._reviews = reviews
        self._wall = wall
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    def start(self) -> None:
        """Begin on the running event loop, with what was left undone."""
        self._loop = asyncio.get_running_loop()
        self._begin(self._catch_up())

    def note(self, job: Job) -> Job:
        """Have a finished job entered, beside the rest; gives the job back."""
        self._begin(self.enter(job))
        return job

    def hear_review(self, number: int) -> None:
        """A review is done, said from its thread: what it measured goes into the line."""
        if self._loop is not None and not self._loop.is_closed():
            try:
                self._loop.call_soon_threadsafe(lambda: self._begin(self._renew(number)))
            except RuntimeError:
                log.debug("the event loop ended while a review was written")

    async def settle(self) -> None:
        """Wait until what was begun is written."""
        await asyncio.gather(*self._tasks)

    async def enter(self, job: Job) -> None:
        """Write or renew the line of a finished job, in one step with looking for it, so that it is there once.

        The parts into which a swap of the sprayer cut a job are one line, under the first of them.
        """
        calendar = await self.calendar()
        parts = await self._access.ask(lambda connection: _find_parts(connection, job))
        papers = await self._cards.papers(parts[0].number)
        treatment = await self._find_treatment(papers)
        measured = await asyncio.to_thread(lambda: [self._measure(part) for part in parts if part.state == "finished"])
        line = make_line(parts[0], papers, treatment, join_parts(measured), calendar.zone)
        utc = self._wall()
        await self._access.write(lambda connection: _keep(connection, line, utc))

    async def calendar(self) -> CalendarCard:
        """How days are counted."""
        found = await self._cards.list_all(CALENDAR)
        return found[0].record if found else CalendarCard()

    def _begin(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something beside the rest; a refusal of the store is told in the log."""

        async def attempt() -> None:
            try:
                await work
            except (ServiceError, EntryError) as error:
                log.error("a job is not in the journal: %s", error)

        task = begin_task(attempt())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _catch_up(self) -> None:
        """Enter the finished jobs that have no line: of a time before this, or of a service that ended too soon."""
        known = {card.record.job for card in await self._cards.list_all(WORK, is_retired=None)}
        parts = await self._access.ask(folder.list_parts)
        for job in await self._access.ask(joblist.list_jobs):
            first = parts.get(job.number, job.number)
            if job.state == "finished" and first not in known:
                await self.enter(job)

    async def _renew(self, number: int) -> None:
        """Enter a job anew by what its review found."""
        job = await self._access.ask(lambda connection: joblist.find_job(connection, number))
        if job.state == "finished":
            await self.enter(job)

    async def _find_treatment(self, papers: Papers) -> TreatmentCard | None:
        """The treatment as it stood."""
        if papers.treatment is None:
            return None
        return (await self._cards.find(TREATMENT, papers.treatment.number, papers.treatment.version)).record

    def _measure(self, job: Job) -> Measured:
        """When a job ended and how its dose was: from its review, else from its log, else from when it was declared."""
        try:
            found = json.loads(self._reviews.read_file(job, "job.json"))
        except (UnknownError, ValueError):
            end = self._access.read(lambda connection: find_end(connection, job))
            return Measured(job.created_utc if end is None else end, None)
        area = float(found.get("covered_area_m2") or 0.0)
        dose, target = found.get("mean_dose_l_per_m2"), job.setup.treatment.target_l_per_m2
        end = found.get("end_utc") or found.get("start_utc") or job.created_utc
        return Measured(float(end), None if dose is None else float(dose) / target, area)


def join_parts(parts: list[Measured]) -> Measured:
    """The parts of one job together: over with the last of them, their doses by the areas that they covered."""
    known = [part for part in parts if part.share is not None and part.area_m2 > 0.0]
    area = sum(part.area_m2 for part in known)
    share = sum((part.share or 0.0) * part.area_m2 for part in known) / area if area > 0.0 else None
    return Measured(max(part.end_utc for part in parts), share, area)


def make_line(job: Job, papers: Papers, treatment: TreatmentCard | None, measured: Measured, zone: str) -> WorkCard:
    """The line of a job; without papers it says no more than that something was sprayed."""
    day, time = tell_local(measured.end_utc, zone)
    try:
        applied = _scale(treatment, measured.share)
    except EntryError as error:
        log.warning("job %d: what it applied is not noted (%s)", job.number, error)
        applied = ()
    return WorkCard(
        day,
        "treatment",
        site=papers.site.number if papers.site else None,
        zones=papers.zones,
        time=time,
        products=tuple(product.number for product in papers.products),
        applied=applied,
        treatment=papers.treatment.number if papers.treatment else None,
        job=job.number,
    )


def tell_local(utc: float, zone: str) -> tuple[str, str]:
    """Day and time of an instant in a zone, or on the clock of the service's machine; raises RequestError."""
    here = datetime.fromtimestamp(utc).astimezone()
    local = datetime.fromtimestamp(utc + offset_at(zone, utc), UTC) if zone else here
    return local.strftime("%Y-%m-%d"), local.strftime("%H:%M")


def _scale(treatment: TreatmentCard | None, share: float | None) -> tuple[Dose, ...]:
    """What was applied: on an area the planned rate by the measured share, in the mix what was mixed."""
    if treatment is None or share is None or share <= 0.0:
        return ()
    return tuple(
        Dose(dose.product, Stated(float(f"{dose.rate.value * share:.{DIGITS}g}"), dose.rate.unit))
        for dose in treatment.doses
        if kind_of(dose.rate.unit).endswith("/area")
    )


def _find_parts(connection: Any, job: Job) -> list[Job]:
    """A job with the parts that a swap of the sprayer cut it into, the first of them first."""
    first_of = folder.list_parts(connection)
    first = first_of.get(job.number, job.number)
    numbers = {first, job.number, *(number for number, each in first_of.items() if each == first)}
    return sorted(
        (each for each in joblist.list_jobs(connection) if each.number in numbers), key=lambda each: each.number
    )


def find_end(connection: Any, job: Job) -> float | None:
    """When a job ended by its log; None where that does not tell."""
    try:
        found = load_sparse_log(connection, job.span)
    except LogError:
        return None
    timebase = align_boots(found, latency_s=0.0)
    offsets = [boot.arrival_offset_s for boot in found.boots]
    if timebase.utc_offset_s == timebase.utc_offset_s:
        offsets = [timebase.utc_offset_s + float(shift) for shift in timebase.shift_s]
    names = [boot.name for boot in found.boots]
    if job.span.end is None or job.span.end[0] not in names:
        return None
    end = offsets[names.index(job.span.end[0])] + job.span.end[1]
    return end if end == end else None


def _keep(connection: Any, line: WorkCard, utc: float) -> None:
    """Store a line, or what is new of it; one that was put away stays away."""
    sheets = shelf.list_cards(connection, WORK.name, is_retired=None)
    sheet = next((each for each in sheets if each.body.get("job") == line.job), None)
    if sheet is None:
        shelf.add_card(connection, WORK.name, mapping_from_record(line), utc)
        return
    try:
        before = record_from_mapping(WorkCard, sheet.body)
    except RequestError as error:
        log.warning("line %d of the journal cannot be read: %s", sheet.number, error)
        return
    # What the job does not know stays as somebody wrote it.
    after = replace(
        line,
        site=before.site if line.site is None else line.site,
        zones=line.zones if line.site is not None else before.zones,
        products=line.products or before.products,
        applied=line.applied or before.applied,
        treatment=before.treatment if line.treatment is None else line.treatment,
        water=before.water,
        note=before.note,
    )
    if after != before and not sheet.is_retired:
        shelf.revise_card(connection, WORK.name, sheet.number, mapping_from_record(after), utc, version=sheet.version)
