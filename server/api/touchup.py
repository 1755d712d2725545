"""The touch-up plan of a job: what to mend, with what to mix for it."""

import asyncio
import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from server.api.desk import desk
from server.mending import advise, read_latitude
from server.service import Service

router = APIRouter(prefix="/api/jobs", tags=["reviews"])
Desk = Annotated[Service, Depends(desk)]
Left = Annotated[float, Query(ge=0.0, le=2000.0, allow_inf_nan=False)]


@router.get("/{number}/touchup")
async def read_touchup(number: int, service: Desk, tank_left_l: Left = 0.0) -> dict[str, Any]:
    """Strips to walk again in their order, ground to leave alone, places to look at; `tank_left_l` is used up first."""
    job = await service.jobs.find(number)
    found = json.loads(await asyncio.to_thread(service.reviews.read_view, job, "touchup"))
    return advise(found, await read_latitude(service.cards, number), tank_left_l=tank_left_l)
