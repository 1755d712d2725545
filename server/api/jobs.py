"""Jobs: list, begin, declare, change, press buttons, forget."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends

from server.api.desk import desk
from server.api.models import End, JobChange, JobView, NewJob, Press
from server.core.setup import Span
from server.core.tables import setup_from_mapping
from server.service import Service
from server.store.jobs import Job

router = APIRouter(prefix="/api/jobs", tags=["jobs"])
Desk = Annotated[Service, Depends(desk)]


def view(job: Job) -> JobView:
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
    )


@router.get("")
async def list_jobs(service: Desk) -> list[JobView]:
    """All jobs, the newest first."""
    return [view(job) for job in await service.jobs.list_all()]


@router.post("", status_code=201)
async def add_job(body: NewJob, service: Desk) -> JobView:
    """Begin a job now (`start` "now" or left out without an `end`), or declare one over what was recorded."""
    if body.start in (None, "now") and body.end is None:
        return view(await service.start_job(body.name))
    span = Span(body.rig or service.live.rig, _end(body.start), _end(body.end))
    return view(await service.declare_job(body.name, span))


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
    return view(await service.jobs.find(number))


@router.patch("/{number}")
async def change_job(number: int, body: JobChange, service: Desk) -> JobView:
    """Give a job another name, or other settings: that makes a new revision, and its review is computed again."""
    job = await service.jobs.find(number)
    if body.name is not None:
        job = replace(job, name=body.name)
    if body.setup is not None:
        setup = setup_from_mapping(body.setup, job.setup.zones if "zone" not in body.setup else ())
        job = replace(job, setup=replace(setup, job=job.span), revision=job.revision + 1)
    await service.jobs.save(job)
    if service.live.job is not None and service.live.job.number == number:
        service.live.update(job)
    return view(job)


@router.delete("/{number}", status_code=204)
async def forget_job(number: int, service: Desk) -> None:
    """Forget a job; its samples stay in the raw log."""
    if service.live.job is not None and service.live.job.number == number:
        raise ValueError(f"job {number} is still open: finish it first")
    await service.jobs.remove(number)


@router.post("/{number}/buttons")
async def press_button(number: int, body: Press, service: Desk) -> JobView:
    """Start, pause, refill, peg, finish, or a note; it goes into the raw log."""
    job = await service.jobs.find(number)
    if job.state == "finished" and body.kind != "note":
        raise ValueError(f"job {number} is finished")
    return view(await service.press(job, body.kind, body.detail))


def _end(found: Any) -> tuple[str, float] | None:
    """One end of a span, in either form."""
    if found is None or found == "now":
        return None
    if isinstance(found, End):
        return found.boot, found.mono
    if len(found) != 2 or not isinstance(found[0], str) or isinstance(found[1], str):
        raise ValueError("start and end are [boot, mono]")
    return found[0], float(found[1])
