"""The live picture: as it is, and as a stream."""

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import StreamingResponse

from server.api.desk import desk
from server.broadcast import pack_stream
from server.service import Service

router = APIRouter(prefix="/api", tags=["live"])
Desk = Annotated[Service, Depends(desk)]


@router.get("/live")
async def read_live(service: Desk) -> dict[str, Any]:
    """The figures of this instant; null where something is not known."""
    return service.picture()


@router.get("/live/stream")
async def follow_live(service: Desk, request: Request) -> StreamingResponse:
    """Server-sent events: `snapshot`, `strips`, `track` and `dose`, all of it first and then what changes."""
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no", "Vary": "Accept-Encoding"}
    stream = service.follow()
    if "gzip" in request.headers.get("accept-encoding", ""):
        headers["Content-Encoding"], stream = "gzip", pack_stream(stream)
    return StreamingResponse(stream, media_type="text/event-stream", headers=headers)


@router.get("/lawn")
async def read_lawn(service: Desk, job: Annotated[int | None, Query()] = None) -> dict[str, Any]:
    """The site on the local plane: of the running job, of another job, or of the next one."""
    if job is None:
        return service.lawn(service.live.setup)
    found = await service.jobs.find(job)
    return service.lawn(found.setup, await asyncio.to_thread(service.reviews.plane_of, found))
