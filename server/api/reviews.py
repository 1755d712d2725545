"""Reviews: how they stand, their views for the dashboard, their files."""

import asyncio
import json
from dataclasses import asdict
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request, Response

from server.api.desk import desk
from server.errors import UnknownError
from server.exports.files import NAMES, RECORD_NAMES
from server.service import Service

router = APIRouter(prefix="/api/jobs", tags=["reviews"])
Desk = Annotated[Service, Depends(desk)]
View = Literal["passes", "pairs", "findings", "track", "wind", "flow", "dose"]
Units = Literal["l_per_100m2", "l_per_ha", "gal_per_1000ft2", "gal_per_acre"]
LOG_NAME = "log.ndjson.gz"
MEDIA = {
    ".json": "application/json", ".geojson": "application/geo+json", ".csv": "text/csv", ".npz": "application/zip",
    ".gpkg": "application/geopackage+sqlite3", ".html": "text/html", ".pdf": "application/pdf",
    ".gz": "application/gzip",
}  # fmt: skip
PAGE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'"
"""A record's page brings its own style and nothing else."""


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
async def read_file(
    number: int, name: str, service: Desk, units: Units = "l_per_100m2", show: bool = False,
    zone: Annotated[str, Query(max_length=64)] = "",
) -> Response:  # fmt: skip
    """One of the job's files; pages of the record in a set of units, opened where they can be shown with `show`."""
    known = (*NAMES, *RECORD_NAMES, LOG_NAME)
    if name not in known:
        raise UnknownError(f"there is no results file {name!r}; there are {', '.join(known)}")
    if name in RECORD_NAMES:
        content = await service.office.records.read_file(number, name, units=units, zone=zone)
    elif name == LOG_NAME:
        content = await service.office.records.read_log(number)
    else:
        content = await asyncio.to_thread(service.reviews.read_file, await service.jobs.find(number), name)
    headers = {"Content-Disposition": f'{"inline" if show else "attachment"}; filename="job-{number}-{name}"'}
    if name.endswith(".html"):
        headers["Content-Security-Policy"] = PAGE_POLICY
    return Response(content, media_type=MEDIA[name[name.rindex(".") :]], headers=headers)


@router.get("/{number}/{view}")
async def read_view(number: int, view: View, service: Desk, request: Request) -> Response:
    """One view of the review, as the dashboard draws it."""
    is_packed = "gzip" in request.headers.get("accept-encoding", "")
    read = service.reviews.read_packed if is_packed else service.reviews.read_view
    content = await asyncio.to_thread(read, await service.jobs.find(number), view)
    headers = {"Vary": "Accept-Encoding", **({"Content-Encoding": "gzip"} if is_packed else {})}
    return Response(content, media_type="application/json", headers=headers)
