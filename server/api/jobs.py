"""Jobs: list, begin, declare, change, press buttons, forget."""

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import ValidationError

from server.api.desk import desk
from server.api.models import End, Instant, JobChange, JobView, NewJob, Press
from server.core.setup import Span
from server.core.tables import setup_from_mapping
from server.errors import RequestError
from server.papers import choice_from
from server.service import Service
from server.store.jobs import Job

router = APIRouter(prefix="/api/jobs", tags=["jobs"])
Desk = Annotated[Service, Depends(desk)]


def view(job: Job, part_of: int | None = None) -> JobView:
    """A job as the API gives it."""
    span = job.span
    return JobView(
        id=job.number,
        name=job.name,
        rig=job.rig,
        state=job.state,
        started_at=datetime.fromtimestamp(job.created_utc, UTC).isoformat(timespec="seconds"),
        revision=job.revision,
        start=list(span.start) if span.start else None,
        end=list(span.end) if span.end else None,
        part_of=part_of,
    )


@router.get("")
async def list_jobs(service: Desk) -> list[JobView]:
    """All jobs, the newest first."""
    parts = await service.office.paperwork.list_parts()
    return [view(job, parts.get(job.number)) for job in await service.jobs.list_all()]


@router.post("", status_code=201)
async def add_job(body: NewJob, service: Desk) -> JobView:
    """Begin a job now, declare one for later, or over what was recorded; without an `end` that one goes on."""
    choice = None if body.papers is None else choice_from(body.papers, "papers")
    if body.start == "now":
        if body.end is not None:
            raise RequestError("end", "a job that begins now cannot have ended")
        return view(await service.start_job(body.name, choice))
    if body.start is None and body.end is None:
        return view(await service.plan_job(body.name, body.rig, choice))
    rig = body.rig or service.live.rig
    start, end = [await _place(service, rig, name, getattr(body, name)) for name in ("start", "end")]
    return view(await service.declare_job(body.name, Span(rig, start, end), choice))


@router.get("/proposals")
async def propose_jobs(service: Desk) -> list[dict[str, Any]]:
    """Spans of detected spraying that no job covers."""
    return [
        {
            "rig": found.rig,
            "start": list(found.start),
            "end": list(found.end),
            "start_utc": None if found.start_utc != found.start_utc else round(found.start_utc, 3),
            "volume_l": round(found.volume_l, 3),
        }
        for found in await service.jobs.propose()
    ]


@router.get("/{number}")
async def read_job(number: int, service: Desk) -> JobView:
    """One job."""
    return view(await service.jobs.find(number), (await service.office.cards.papers(number)).part_of)


@router.patch("/{number}")
async def change_job(number: int, body: JobChange, service: Desk) -> JobView:
    """Give a job another name, or other settings: that makes a new revision, and its review is computed again."""
    job, setup = await service.jobs.find(number), None
    if body.setup is not None:
        setup = setup_from_mapping(body.setup, job.setup.zones if "zone" not in body.setup else ())
    return view(await service.change_job(number, name=body.name, setup=setup))


@router.delete("/{number}", status_code=204)
async def forget_job(number: int, service: Desk) -> None:
    """Forget a job, unless a signed record needs it; its samples stay as long as any that are in no job."""
    await service.forget_job(number)


@router.post("/{number}/buttons")
async def press_button(number: int, body: Press, service: Desk) -> JobView:
    """Start, pause, refill, peg, finish, or a note; it goes into the raw log."""
    return view(await service.press(await service.jobs.find(number), body.kind, body.detail))


async def _place(service: Service, rig: str | None, key: str, found: Any) -> tuple[str, float] | None:
    """One end of a span, in any of its forms, as start of the device and its clock."""
    if found is None:
        return None
    if isinstance(found, Instant):
        return await service.jobs.place(rig, found.utc)
    try:
        end = found if isinstance(found, End) else End(boot=found[0], mono=found[1])
    except ValidationError as error:
        raise RequestError(key, "must be [boot, mono]: the device's start and seconds of its clock") from error
    return end.boot, end.mono
