"""The touch-up plan of a job: what to mend, with what to mix for it."""

import asyncio
import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from server.api.desk import desk
from server.errors import ServiceError
from server.mending import advise, read_recipe
from server.parts import join_plan, read_wet
from server.recordwork import find_folder
from server.service import Service
from server.store.connection import ask_store
from server.store.jobs import Job

router = APIRouter(prefix="/api/jobs", tags=["reviews"])
Desk = Annotated[Service, Depends(desk)]
Left = Annotated[float | None, Query(ge=0.0, le=2000.0, allow_inf_nan=False)]


@router.get("/{number}/touchup")
async def read_touchup(number: int, service: Desk, tank_left_l: Left = None) -> dict[str, Any]:
    """Strips to walk again in their order, ground to leave alone, places to look at.

    What is left in the tank is used up first: as told, else by the job's fills and flow meter where it was filled.
    """
    job = await service.jobs.find(number)
    found = await asyncio.to_thread(_read_plan, service, job)
    left_l = await _tank_rest(service, job) if tank_left_l is None else tank_left_l
    return advise(found, await read_recipe(service.office.cards, number), tank_left_l=left_l)


def _read_plan(service: Service, job: Job) -> dict[str, Any]:
    """The plan of the job's review, without what other parts of the same job have sprayed."""
    found: dict[str, Any] = json.loads(service.reviews.read_view(job, "touchup"))
    folder = ask_store(service.database, lambda connection: find_folder(connection, job.number))
    others = [read_wet(service.reviews, each) for each in folder.jobs if each.number != job.number]
    if others:
        join_plan(found, service.reviews.plane_of(job), others)
    return found


async def _tank_rest(service: Service, job: Job) -> float:
    """What the job left in its tank; nothing where no fill was entered, or more went than came."""
    try:
        tank = await service.office.tanks.look(service.live, job)
    except ServiceError:
        return 0.0
    return 0.0 if tank.state.is_assumed or tank.level.is_contradiction else max(0.0, tank.level.left_l.value)
