"""The wind's history: browse it, bring readings along, forget what was brought.

A file is the body of its request as it is, so that it goes to the disk piece by piece.
"""

import asyncio
import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request
from starlette.requests import ClientDisconnect

from server.api.desk import desk
from server.errors import RequestError
from server.history.mapping import read_mapping
from server.history.proposal import HEAD_BYTES, propose_mapping
from server.history.telling import unpack_head
from server.service import Service

router = APIRouter(prefix="/api/history", tags=["history"])
Desk = Annotated[Service, Depends(desk)]
LARGEST = 2**53
From = Annotated[float, Query(alias="from", ge=0.0, le=1e11, allow_inf_nan=False)]
To = Annotated[float, Query(alias="to", ge=0.0, le=1e11, allow_inf_nan=False)]
Chosen = Annotated[int | None, Query(ge=1, le=LARGEST)]
Step = Annotated[int | None, Query(ge=60, le=31 * 86400)]


@router.get("")
async def browse_history(
    service: Desk,
    from_utc: From,
    to_utc: To,
    step: Step = None,
    source: Annotated[int | None, Query(ge=1, le=LARGEST)] = None,
    zone: Annotated[str, Query(max_length=60)] = "UTC",
) -> dict[str, Any]:
    """Means, gusts and directions from `from` to `to` (seconds UTC) in steps of `step` seconds, by source.

    Steps of more than an hour follow the clocks of `zone`: days begin at its midnight, weeks on its Monday.
    """
    return await service.history.browse(from_utc=from_utc, to_utc=to_utc, step_s=step, number=source, zone=zone)


@router.post("/proposal")
async def propose(request: Request) -> dict[str, Any]:
    """How a table is probably to be read, from its first 64 KiB sent as they are, and what it does not say."""
    head = bytearray()
    async for piece in request.stream():
        head += piece
        if len(head) >= HEAD_BYTES:
            break
    if not head:
        raise RequestError("file", "nothing was sent")
    proposal = await asyncio.to_thread(lambda: propose_mapping(unpack_head(bytes(head[:HEAD_BYTES]))))
    return proposal.as_object()


@router.post("", status_code=201)
async def import_readings(
    request: Request,
    service: Desk,
    mapping: Annotated[str, Query(max_length=8000)],
    name: Annotated[str, Query(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f]+$")],
) -> dict[str, Any]:
    """Import a table (plain or gzip, up to 64 MB, sent as it is) as `mapping` (JSON) says; gives the report."""
    try:
        table = json.loads(mapping)
    except (ValueError, RecursionError) as error:
        raise RequestError("mapping", f"no JSON ({error})") from error
    if not isinstance(table, dict):
        raise RequestError("mapping", "an object is wanted")
    try:
        report = await service.uploads.take(request.stream(), read_mapping(table), name)
    except ClientDisconnect as error:
        raise RequestError("file", "was cut off on its way") from error
    service.outlooks.forget_past()
    return report


@router.delete("/{source}", status_code=204)
async def forget_source(source: Annotated[int, Path(ge=1, le=LARGEST)], service: Desk) -> None:
    """Forget an import with all its blocks."""
    await service.history.remove(source)
