"""The service as a whole: ingest, live picture, jobs, reviews, alarm, held together on the event loop."""

import asyncio
import logging
import time
from collections.abc import AsyncGenerator, Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rig import wire
from server.broadcast import Broadcast, Page
from server.calm.outlooks import Outlooks
from server.cards import mapping_from_record
from server.core.papers import Papers
from server.core.results import Plane
from server.core.setup import Setup, Span
from server.errors import ConflictError, ServiceError
from server.history.book import History
from server.history.upload import Uploads
from server.ingest import Ingest, Replies
from server.intake import Fresh
from server.jobs import Basis, DeviceTime, Jobs, open_span, require_device
from server.live import Live
from server.notify import Notifier
from server.office import Office
from server.papers import Choice, Named
from server.presses import require_closed, require_free, require_state
from server.reviews import Reviews
from server.snapshot import MessagesPart, Snapshot
from server.station import UNKNOWN_YARD, Yard
from server.store.jobs import Job, find_open_job, read_default_setup
from server.stored import fold_stored
from server.strips import Question, Strips
from server.tasks import begin_task
from server.thinning import KEEP_S, Thinner
from server.views import draw_zones, fresh_events

log = logging.getLogger(__name__)
TICK_S = 1.0
BURST = 20

Change = Callable[[Live], object]
"""Something that happens to the live picture."""


class Service:
    """What the API speaks to."""

    def __init__(
        self, database: Path, setup: Setup, *, now: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time, keep_s: float | None = KEEP_S, yard: Yard = UNKNOWN_YARD,
    ) -> None:  # fmt: skip
        self.ingest = Ingest(database, ring=self._ring)
        self.reviews = Reviews(database, on_ready=lambda number: self.office.journal.hear_review(number))
        self.broadcast = Broadcast(now=now)
        self.history = History(database, self.ingest)
        self.office = Office(database, self.ingest, self.reviews, press=self.press, flush=self._flush, wall=wall)
        self.uploads = Uploads(database)
        self.thinner = Thinner(database, self.ingest, keep_s=keep_s)
        wake = self.broadcast.wake
        self.strips = Strips(database, flush=self._flush, on_change=wake)
        self.outlooks = Outlooks(database, self.ingest, flush=self._flush, on_change=wake, now=now, wall=wall)
        self.database = database
        self._now = now
        self._start_setup = setup
        self._yard = yard
        self.live = Live(setup, now=now, yard=yard)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._held: list[Change] | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._presses: set[asyncio.Task[None]] = set()
        self._press_turn = asyncio.Lock()
        self._reading: asyncio.Task[None] | None = None
        self._passes_judged = 0

    async def start(self, replies: Replies, *, is_setup_given: bool) -> None:
        """Begin: the setup saved last unless one was given, the open job rebuilt from the store."""
        self._loop = asyncio.get_running_loop()
        self.jobs = Jobs(self.database, self.ingest, replies, self._start_setup)
        self.notifier = Notifier(replies)
        self.ingest.start(replies)
        saved = self.jobs.read(read_default_setup)
        if saved is not None and not is_setup_given:
            await self.jobs.save_setup(saved)
        job = self.jobs.read(find_open_job)
        self.live.begin(job, job.setup if job is not None else self.jobs.setup)
        await self.follow_next()
        self.outlooks.restore()
        self.office.journal.start()
        thinning = self.thinner.watch(lambda: self.jobs.setup.flow_meter)
        self._tasks = [begin_task(work) for work in (self._tick(), thinning, self.office.records.keeper.watch())]
        if job is not None:
            self._read_stored(job)

    async def stop(self) -> None:
        """End the tasks, then the writer."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self.settle()
        self.strips.stop()
        self.outlooks.stop()
        self.uploads.stop()
        await self.strips.settle()
        await self.outlooks.settle()
        self.reviews.close()
        await asyncio.to_thread(self.ingest.stop)

    @property
    def is_reading(self) -> bool:
        """Whether the open job is still being read from the store."""
        return self._held is not None

    async def settle(self) -> None:
        """Wait until what has come is shown, and what was pressed on the rig is done."""
        while (fresh := self.ingest.intake.take_fresh()) is not None:
            self._take(fresh)
        await asyncio.gather(*self._presses)
        await self.office.journal.settle()

    def snapshot(self) -> Snapshot:
        """The figures of this instant."""
        counts = self.ingest.counts
        messages = MessagesPart(
            counts["read"], counts["refused"], counts["duplicate"], self.live.missing, counts["unknown_stream"],
            self.ingest.backlog,
        )  # fmt: skip
        unread = None if not self.is_reading else "The job so far is still being read: volume and map begin at 0."
        found = (self.ingest.fault, unread, self.strips.fault, self.office.paperwork.fault)
        return self.outlooks.say_word(self.live.snapshot(messages, tuple(filter(None, found))))

    def picture(self) -> dict[str, Any]:
        """The figures of this instant, and what is known of the strips."""
        return {**self.snapshot().as_object(), "strips": self.strips.told, "outlook": self.outlooks.told}

    def follow(self) -> AsyncGenerator[bytes, None]:
        """The stream of one page."""

        def read(page: Page) -> list[tuple[str, Any]]:
            return fresh_events(
                self.live, self.broadcast.pages, page, self.snapshot, self.strips.told, self.outlooks.told
            )

        return self.broadcast.follow(read)

    def lawn(self, setup: Setup, plane: Plane | None = None) -> dict[str, Any]:
        """The site on the local plane: a reviewed job's own, or that of the live picture."""
        return draw_zones(setup, plane or self.live.way.plane)

    async def device(self) -> DeviceTime:
        """The rig's clock; raises UnknownError while no rig has been heard, not even in the store."""
        if self.live.device_clock() is None and self._reading is not None:
            await asyncio.wait([self._reading])
        return require_device(None if (found := self.live.device_clock()) is None else DeviceTime(*found))

    async def follow_next(self) -> None:
        """While no job is open, show the picture with the settings that the next one starts from."""
        if self.live.job is None:
            basis = await self.office.paperwork.prepare_next(
                self.jobs.setup, otherwise="What is chosen next is of no use"
            )
            setup = basis.setup or self.jobs.setup
            if self.live.job is None and setup != self.live.setup:
                self.live.begin(None, setup)
                self.broadcast.wake()

    async def start_job(self, name: str, choice: Choice | None = None) -> Job:
        """Begin a job now; raises UnknownError without a rig, ConflictError while another job is open."""
        require_free(self.live.job)
        basis = await self._basis_of(choice)
        async with self._press_turn:
            require_free(self.live.job)
            return await self._open_job(name, basis, await self.device())

    async def plan_job(self, name: str, rig: str | None, choice: Choice | None = None) -> Job:
        """A job that begins when start is pressed."""
        return await self.jobs.add(name, Span(rig), state="idle", basis=await self._basis_of(choice or Choice()))

    async def declare_job(self, name: str, span: Span, choice: Choice | None = None) -> Job:
        """A job over what was recorded; without an end it goes on. Raises LogError, ConflictError."""
        basis = await self._basis_of(choice or Choice())
        span = await self.jobs.check_span(span)
        if span.end is not None:
            return self.office.journal.note(await self.jobs.add(name, span, state="finished", basis=basis))
        async with self._press_turn:
            require_free(self.live.job)
            job = await self.jobs.add(name, span, state="running", basis=basis)
            self._begin(job)
        self._read_stored(job)
        return job

    async def _basis_of(self, choice: Choice | None) -> Basis:
        """What a job with these papers starts from; None: with those chosen for the next one."""
        desk, setup = self.office.paperwork, self.jobs.setup
        return await (desk.prepare_next(setup) if choice is None else desk.prepare(setup, choice))

    async def _open_job(self, name: str, basis: Basis, now: DeviceTime) -> Job:
        job = await self.jobs.add(name, open_span(now), state="running", basis=basis)
        job = await self.jobs.press(job, "start", {}, now)
        self._begin(job)
        return job

    async def swap_sprayer(self, job: Job, sprayer: Named) -> Job:
        """End the open job's part here and go on with another sprayer; raises ConflictError, RequestError."""
        papers = await self.office.paperwork.swap(job.number, sprayer)
        setup = await self.office.paperwork.assemble(job.setup, Papers(sprayer=papers.sprayer))
        first = job if papers.part_of == job.number else await self.jobs.find(papers.part_of or job.number)
        parts = sum(each == first.number for each in (await self.office.paperwork.list_parts()).values())
        async with self._press_turn:
            if self.live.job is None or self.live.job.number != job.number:
                raise ConflictError(f"job {job.number} is not open: choose the sprayer for the next one")
            now, done_m2 = await self.device(), self.live.way.done_m2
            self._note_job(await self.jobs.press(self.live.job, "finish", {}, now))
            name, basis = f"{first.name} part {parts + 2}", Basis(setup, mapping_from_record(papers))
            part = await self._open_job(name, basis, now)
            self._apply(lambda live: live.way.go_on(done_m2))
            return part

    async def press(self, job: Job, kind: str, detail: dict[str, Any]) -> Job:
        """A button on the dashboard; raises ConflictError where it does not go with the job's state by its turn."""
        async with self._press_turn:
            job = await self.jobs.find(job.number)
            require_state(job, kind)
            if kind == "start":
                require_free(self.live.job, job)
            is_idle = job.state == "idle"
            job = await self.jobs.press(job, kind, detail, await self.device())
            if is_idle:
                self._begin(job)
            if kind == "refill":
                self._apply(lambda live: live.refill(detail))
            self._note_job(job)
        return job

    async def forget_job(self, number: int) -> None:
        """Forget a job; raises ConflictError while it is open or a signed record needs it, UnknownError."""
        async with self._press_turn:
            require_closed(self.live.job, number)
            await self.office.records.keeper.remove(number)

    async def change_papers(self, job: Job, choice: Choice) -> Job:
        """Let a job rest on other cards; the picture of an open one is folded again beside. Raises RequestError."""
        papers = await self.office.paperwork.resolve(choice, await self.office.cards.papers(job.number))
        setup = await self.office.paperwork.assemble(job.setup, papers)
        job = await self.change_job(job.number, setup=setup, papers=mapping_from_record(papers))
        if self.live.job is not None and self.live.job.number == job.number and self.live.setup != job.setup:
            self._read_stored(job)
        return job

    async def change_job(
        self, number: int, *, name: str | None = None, setup: Setup | None = None, papers: dict[str, Any] | None = None
    ) -> Job:
        """Another name or other settings: these make a new revision, and what was computed before is computed again."""
        async with self._press_turn:
            job = await self.jobs.find(number)
            kept = job.setup if setup is None else replace(setup, job=job.span)
            job = replace(job, name=name or job.name, setup=kept, revision=job.revision + int(setup is not None))
            await self.jobs.save(job, papers)
            if self.live.job is not None and self.live.job.number == job.number:
                self._apply(lambda live: live.update(job))
                self._judge_strips()
        if job.state == "finished":
            await asyncio.to_thread(self.reviews.request, self.office.journal.note(job))
        self.broadcast.wake()
        return job

    def _note_job(self, job: Job) -> None:
        """Follow a job's new state; a finished one is reviewed."""
        if job.state == "finished":
            if self.live.job is not None and self.live.job.number == job.number:
                self._apply(Live.end)
                self.strips.stop()
            self.reviews.request(self.office.journal.note(job))
        elif self.live.job is not None and self.live.job.number == job.number:
            self._apply(lambda live: live.update(job))
        self.broadcast.wake()

    def _begin(self, job: Job) -> None:
        """Follow a job from now on; what was being read of another one is no longer wanted."""
        self._held, self._passes_judged = None, 0
        self.live.begin(job, job.setup)
        self.strips.forget()
        self.broadcast.wake()

    def _judge_strips(self) -> None:
        """Judge the open job's strips so far, if there is one with a pass done."""
        job, way = self.live.job, self.live.way
        self._passes_judged = way.passes_done
        if job is not None and way.plane is not None and way.passes_done > 0 and not self.is_reading:
            self.strips.request(Question(job.number, way.plane, len(way.east_m)))

    async def _flush(self) -> None:
        """Wait until what has come is stored."""
        await asyncio.wrap_future(self.ingest.call(lambda writer: None))

    def _apply(self, change: Change) -> None:
        """Change the live picture, and later the one that is still being built from the store."""
        change(self.live)
        if self._held is not None:
            self._held.append(change)

    def _ring(self) -> None:
        """Call the event loop from the link's thread."""
        if self._loop is not None and not self._loop.is_closed():
            try:
                self._loop.call_soon_threadsafe(self._take_burst)
            except RuntimeError:
                log.debug("the event loop ended while messages came")

    def _take_burst(self) -> None:
        """What has come, a few messages at a time so that pages and alarm are not kept waiting."""
        fresh = None
        try:
            for _ in range(BURST):
                fresh = self.ingest.intake.take_fresh()
                if fresh is None:
                    return
                self._take(fresh)
        finally:
            # Whatever one message does, those behind it are taken.
            if fresh is not None:
                asyncio.get_running_loop().call_soon(self._take_burst)

    def _take(self, fresh: Fresh) -> None:
        """One message on the event loop."""
        is_live = self.live.take(fresh)
        if self._held is not None:
            self._held.append(lambda live: live.take(fresh))
        self.history.keep(self.live.rig, self.live.station)
        if self.live.way.passes_done != self._passes_judged:
            self._judge_strips()
        if is_live:
            self._act(fresh)
        self.broadcast.wake()

    def _act(self, fresh: Fresh) -> None:
        """What a live message calls for: the alarm's change, a button of the rig."""
        self.notifier.tell(self.live, self.outlooks.word)
        message = fresh.message
        if isinstance(message, wire.Event) and message.kind == "button":
            task = begin_task(self._press_on_rig(str(message.detail["name"]), message.mono))
            self._presses.add(task)
            task.add_done_callback(self._presses.discard)

    async def _press_on_rig(self, button: str, mono: float) -> None:
        """A button on the rig itself: start, pause and finish change the job, one press after another."""
        async with self._press_turn:
            found, job = self.live.device_clock(), self.live.job
            if found is None:
                return
            now = DeviceTime(found[0], found[1], mono, found[3])
            try:
                if button == "start" and job is None:
                    self._begin(await self._begin_on_rig(now))
                elif job is not None and button in ("start", "pause", "finish"):
                    self._note_job(await self.jobs.change(job, button, now))
            except ServiceError as error:
                log.error("%s on the rig had no effect: %s", button, error)
        self.broadcast.wake()

    async def _begin_on_rig(self, now: DeviceTime) -> Job:
        """The job that was declared for this, or a new one."""
        idle = await self.jobs.find_idle()
        if idle is not None and idle.rig in ("", now.rig):
            return await self.jobs.change(idle, "start", now)
        stamp = datetime.now(UTC).strftime("%Y-%m-%d %H:%M")
        basis = await self.office.paperwork.prepare_next(self.jobs.setup, otherwise="The job began without its papers")
        return await self.jobs.add(f"Job of {stamp} UTC", open_span(now), state="running", basis=basis)

    def _read_stored(self, job: Job) -> None:
        """Begin to read the open job from the store; what happens from now on is held for it, too."""
        self._held = []
        self._reading = begin_task(self._rebuild(job, self._held))
        self._tasks = [*(task for task in self._tasks if not task.done()), self._reading]

    async def _rebuild(self, job: Job, held: list[Change]) -> None:
        """Fold the stored part of the open job beside the live picture, then what came meanwhile, and change over."""
        rebuilt = Live(job.setup, now=self._now, yard=self._yard)
        rebuilt.begin(job, job.setup)
        rebuilt.way.go_on(await self.office.records.find_done(job.number))
        await self._flush()
        await fold_stored(rebuilt, self.database, job, now=self._now, is_wanted=lambda: self._held is held)
        if self._held is not held:
            return
        for change in held:
            change(rebuilt)
        self.live, self._held = rebuilt, None
        self._judge_strips()
        self.broadcast.wake()

    async def _tick(self) -> None:
        """Keep ages, faults and the outlook fresh on open pages, and the alarm told, while nothing comes."""
        while True:
            await asyncio.sleep(TICK_S)
            self.outlooks.tick(self.live)
            self.notifier.tell(self.live, self.outlooks.word)
            self.broadcast.wake()
            await self.office.tanks.pour(self.live.job)
