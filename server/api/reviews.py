"""Reviews: how they stand, their views for the dashboard, their files."""

import asyncio
import json
from dataclasses import asdict
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Response

from server.api.desk import desk
from server.errors import UnknownError
from server.exports.files import NAMES
from server.service import Service

router = APIRouter(prefix="/api/jobs", tags=["reviews"])
Desk = Annotated[Service, Depends(desk)]
View = Literal["passes", "pairs", "findings", "track", "wind", "flow", "dose"]
MEDIA = {".json": "application/json", ".geojson": "application/geo+json", ".csv": "text/csv", ".npz": "application/zip"}


@router.get("/{number}/review")
async def read_review(number: int, service: Desk) -> dict[str, Any]:
    """How the review stands; once ready, with the job's totals."""
    job = await service.jobs.find(number)
    look = service.reviews.request if job.state == "finished" else service.reviews.state_of
    state = await asyncio.to_thread(look, job)
    found = asdict(state)
    if state.state == "ready":
        found |= json.loads(await asyncio.to_thread(service.reviews.read_file, job, "job.json"))
    return found


@router.post("/{number}/review", status_code=202)
async def renew_review(number: int, service: Desk) -> dict[str, Any]:
    """Compute the review again, of an open job as far as it went."""
    job = await service.jobs.find(number)
    return asdict(await asyncio.to_thread(service.reviews.request, job, anew=True))


@router.get("/{number}/files/{name}")
async def read_file(number: int, name: str, service: Desk) -> Response:
    """One of the results files."""
    if name not in NAMES:
        raise UnknownError(f"there is no results file {name!r}; there are {', '.join(NAMES)}")
    content = await asyncio.to_thread(service.reviews.read_file, await service.jobs.find(number), name)
    media = MEDIA[name[name.rindex(".") :]]
    headers = {"Content-Disposition": f'attachment; filename="job-{number}-{name}"'}
    return Response(content, media_type=media, headers=headers)


@router.get("/{number}/{view}")
async def read_view(number: int, view: View, service: Desk) -> Response:
    """One view of the review, as the dashboard draws it."""
    content = await asyncio.to_thread(service.reviews.read_view, await service.jobs.find(number), view)
    return Response(content, media_type="application/json")
