"""Jobs as people work with them: started and finished by buttons, declared afterwards, or proposed."""

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isfinite
from pathlib import Path
from typing import Any

from rig import wire
from server.core.flow import find_spraying, gather_volume
from server.core.log import JobLog
from server.core.setup import Setup, Span
from server.core.timebase import align_boots
from server.errors import LogError, RequestError, UnknownError
from server.ingest import Ingest, Replies
from server.store import jobs as shelf
from server.store import papers as folder
from server.store.connection import Result, ask_store, keep_together
from server.store.joblog import bound_boots, choose_rig, count_messages, load_job_log, load_sparse_log
from server.store.jobs import Job
from server.store.messages import Arrival, MessageWriter
from server.store.spells import find_spray_spans
from server.store.thinning import find_thinned

PROPOSAL_GAP_S = 900.0
PROPOSAL_MARGIN_S = 30.0
PROPOSAL_LEAST_L = 0.2
READ_AROUND_S = 300.0
"""So much is read before and after liquid that flowed: for the receiver's date, and how often messages come."""


@dataclass(frozen=True, slots=True)
class DeviceTime:
    """The newest start of a rig's device program and the service's estimate of its clock now."""

    rig: str
    boot: str
    mono: float
    utc: float | None


@dataclass(frozen=True, slots=True)
class Proposal:
    """A span of detected spraying that no job covers."""

    rig: str
    start: tuple[str, float]
    end: tuple[str, float]
    start_utc: float
    volume_l: float


@dataclass(frozen=True, slots=True)
class Basis:
    """What a new job starts from: settings (None: those saved) and its papers as they are stored."""

    setup: Setup | None = None
    papers: dict[str, Any] | None = None


NO_BASIS = Basis()


class Jobs:
    """The book of jobs; writes go through ingest's one writer."""

    def __init__(self, database: Path, ingest: Ingest, replies: Replies, setup: Setup) -> None:
        self._database = database
        self._ingest = ingest
        self._replies = replies
        self._setup = setup

    @property
    def setup(self) -> Setup:
        """The setup that the next job starts from."""
        return self._setup

    async def save_setup(self, setup: Setup) -> None:
        """Save the setup that the next job starts from."""
        await self._write(lambda writer: shelf.save_default_setup(writer.connection, setup))
        self._setup = setup

    def read(self, work: Callable[[Any], Result]) -> Result:
        """Run a question on a reader of its own."""
        return ask_store(self._database, work)

    async def list_all(self) -> list[Job]:
        """All jobs, the newest first."""
        return await asyncio.to_thread(self.read, shelf.list_jobs)

    async def find(self, number: int) -> Job:
        """One job; raises UnknownError."""
        return await asyncio.to_thread(self.read, lambda connection: shelf.find_job(connection, number))

    async def add(self, name: str, span: Span, *, state: str, basis: Basis = NO_BASIS) -> Job:
        """Declare a job, with the settings saved or those of the papers that it rests on."""
        job = Job(0, name, state, time.time(), replace(basis.setup or self._setup, job=span))

        def store(writer: MessageWriter) -> Job:
            with keep_together(writer.connection):
                made = shelf.add_job(writer.connection, job)
                if basis.papers is not None:
                    folder.save_papers(writer.connection, made.number, basis.papers)
            return made

        return await self._write(store)

    async def save(self, job: Job, papers: dict[str, Any] | None = None) -> None:
        """Store a changed job, with other papers where there are any."""

        def store(writer: MessageWriter) -> None:
            with keep_together(writer.connection):
                shelf.save_job(writer.connection, job)
                if papers is not None:
                    folder.save_papers(writer.connection, job.number, papers)

        await self._write(store)

    async def press(self, job: Job, kind: str, detail: dict[str, Any], now: DeviceTime) -> Job:
        """Put an operator's button into the raw log, and change the job as it says; raises RequestError."""
        _check_press(kind, detail, now)
        await self._write(lambda writer: self._store_press(writer, kind, detail, now))
        return await self.change(job, kind, now)

    async def change(self, job: Job, kind: str, now: DeviceTime) -> Job:
        """Change the job as a button says, wherever it was pressed."""
        changed = _after(job, kind, now)
        if changed != job:
            await self.save(changed)
        return changed

    async def find_idle(self) -> Job | None:
        """The job declared last that has not begun, if there is one."""
        return next((job for job in await self.list_all() if job.state == "idle"), None)

    async def check_span(self, span: Span) -> Span:
        """The span with its rig named; raises LogError where the store holds nothing of it, or no longer all."""

        def check(connection: Any) -> Span:
            rig = choose_rig(connection, span)
            gone = find_thinned(connection, bound_boots(connection, rig, span))
            if gone is not None:
                raise LogError(
                    f"part of the job's span is no longer kept: begin it after {gone[1]:.0f} s of start {gone[0]}"
                )
            if not count_messages(connection, span)[0]:
                raise LogError("the store holds no sample in the job's span")
            return replace(span, rig=rig)

        return await asyncio.to_thread(self.read, check)

    async def place(self, rig: str | None, utc: float) -> tuple[str, float]:
        """The device's start and clock at an instant; raises LogError where nothing was recorded then."""
        return await asyncio.to_thread(self.read, lambda connection: _place_utc(connection, rig, utc))

    async def propose(self) -> list[Proposal]:
        """Spans of spraying that no job covers."""
        return await asyncio.to_thread(self.read, self._find_proposals)

    async def _write(self, work: Callable[[MessageWriter], Result]) -> Result:
        return await asyncio.wrap_future(self._ingest.call(work))

    def _store_press(self, writer: MessageWriter, kind: str, detail: dict[str, Any], now: DeviceTime) -> None:
        """Store and send one operator message."""
        seq = writer.next_operator_seq(now.rig, now.boot)
        message = wire.Operator(now.boot, seq, round(now.mono, 3), now.utc, kind, detail)
        payload, topic = wire.encode(message), wire.topic_of(now.rig, "operator")
        writer.write([Arrival(topic, time.time(), payload, now.rig, "operator", message)])
        self._replies.publish(now.rig, message)

    def _find_proposals(self, connection: Any) -> list[Proposal]:
        """Look through each rig's log for spraying."""
        rigs = [rig for (rig,) in connection.execute("SELECT DISTINCT rig FROM boot ORDER BY rig")]
        taken = [job.span for job in shelf.list_jobs(connection)]
        found: list[Proposal] = []
        for rig in rigs:
            try:
                found += _propose_of(connection, rig, self._setup)
            except LogError:
                continue
        return [proposal for proposal in found if not any(_covers(span, proposal) for span in taken)]


def _check_press(kind: str, detail: dict[str, Any], now: DeviceTime) -> None:
    """See that a button fits into one message, whatever its number will be; raises RequestError."""
    try:
        wire.encode(wire.Operator(now.boot, wire.SEQ_LIMIT, round(now.mono, 3), now.utc, kind, detail))
    except ValueError as error:
        raise RequestError("detail", f"does not fit into a message of {wire.PAYLOAD_LIMIT_BYTES} bytes") from error


def _place_utc(connection: Any, rig: str | None, utc: float) -> tuple[str, float]:
    """The device's clock at an instant, by the receiver's date or else by when messages came."""
    log = load_sparse_log(connection, Span(rig=rig))
    timebase = align_boots(log, latency_s=0.0)
    offsets = [boot.arrival_offset_s for boot in log.boots]
    if isfinite(timebase.utc_offset_s):
        offsets = [timebase.utc_offset_s + float(shift) for shift in timebase.shift_s]
    starts = [boot for boot, offset in enumerate(offsets) if _has_begun(log, boot, utc - offset)]
    if not starts:
        raise LogError(f"nothing was recorded by {utc:.0f} s UTC")
    return log.boots[starts[-1]].name, round(utc - offsets[starts[-1]], 3)


def _after(job: Job, kind: str, now: DeviceTime) -> Job:
    """The job after a button."""
    here = (now.boot, round(now.mono, 3))
    span = job.span
    if kind == "start":
        span = span if span.start else Span(now.rig, here, None)
        return replace(job, state="running", setup=replace(job.setup, job=span))
    if kind == "pause":
        return replace(job, state="paused")
    if kind == "finish":
        return replace(job, state="finished", setup=replace(job.setup, job=Span(span.rig or now.rig, span.start, here)))
    return job


def _propose_of(connection: Any, rig: str, setup: Setup) -> list[Proposal]:
    """Runs of spraying of one rig, a new one after a quarter of an hour without; only what lies around is read."""
    return [
        proposal
        for span in find_spray_spans(connection, rig, margin_s=READ_AROUND_S)
        for proposal in _propose_in(load_job_log(connection, span), setup)
    ]


def _propose_in(log: JobLog, setup: Setup) -> list[Proposal]:
    """Runs of spraying in a part of the log."""
    timebase = align_boots(log, latency_s=setup.receiver.latency_s)
    curve = gather_volume(log.flow, timebase, meter=setup.flow_meter, delay_s=0.0)
    runs: list[list[float]] = []
    for interval in find_spraying(curve):
        if runs and interval.start_t - runs[-1][1] < PROPOSAL_GAP_S:
            runs[-1][1] = interval.end_t
            runs[-1][2] += interval.volume_l
        else:
            runs.append([interval.start_t, interval.end_t, interval.volume_l])

    def place(t: float) -> tuple[str, float]:
        starts = [k for k, shift in enumerate(timebase.shift_s.tolist()) if _has_begun(log, k, t - shift)]
        boot = starts[-1] if starts else 0
        return log.boots[boot].name, round(float(t - timebase.shift_s[boot]), 3)

    return [
        Proposal(log.rig, place(a - PROPOSAL_MARGIN_S), place(b + PROPOSAL_MARGIN_S), a + timebase.utc_offset_s, litres)
        for a, b, litres in runs
        if litres >= PROPOSAL_LEAST_L
    ]


def _has_begun(log: Any, boot: int, mono: float) -> bool:
    chosen = log.flow.mono[log.flow.boot == boot]
    return bool(len(chosen)) and bool(chosen[0] <= mono + PROPOSAL_MARGIN_S)


def _covers(span: Span, proposal: Proposal) -> bool:
    """Whether a job overlaps a proposal, as far as its ends can be compared."""
    if span.rig != proposal.rig:
        return False
    after = span.start is None or span.start[0] != proposal.end[0] or span.start[1] <= proposal.end[1]
    before = span.end is None or span.end[0] != proposal.start[0] or span.end[1] >= proposal.start[1]
    return after and before


def open_span(now: DeviceTime) -> Span:
    """A span that begins now."""
    return Span(now.rig, (now.boot, round(now.mono, 3)), None)


def require_device(now: DeviceTime | None) -> DeviceTime:
    """The rig's clock; raises UnknownError while no rig has been heard."""
    if now is None:
        raise UnknownError("no rig has been heard yet: is the device program running and connected to the same broker?")
    return now
