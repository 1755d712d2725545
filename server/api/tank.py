"""What is in the tank: fills, the level, and what to mix after a stop."""

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from pydantic import Field

from server.api.desk import desk
from server.api.models import Strict, Text
from server.cards import Cards
from server.core.errors import EntryError
from server.core.mix import plan_rest
from server.core.plots import measure_ground
from server.core.recipe import Plan, choose_zones
from server.core.sheet import make_products
from server.errors import RequestError
from server.kinds import TREATMENT
from server.loads import view_fill, view_rest, view_tank
from server.plans import draw_plan
from server.service import Service
from server.store.jobs import Job

Desk = Annotated[Service, Depends(desk)]
Litres = Annotated[float, Field(allow_inf_nan=False)]
Size = Annotated[float | None, Query(gt=0.0, le=2000.0, allow_inf_nan=False)]
Number = Annotated[int, Field(ge=1, le=2**53)]
router = APIRouter(prefix="/api", tags=["tank"])


class NewFill(Strict):
    """A fill: what was added, or what the tank holds now; which load of which treatment it was."""

    added_l: Litres | None = None
    holds_l: Litres | None = None
    tank_l: Litres | None = None
    treatment: Number | None = None
    load: Number | None = None
    note: Text | None = None


class Stop(Strict):
    """What is known after a stop; the rest is taken from the job."""

    treatment: Number | None = None
    area_left_m2: Litres | None = None
    tank_left_l: Litres | None = None
    tank_l: Litres | None = None
    fill_l: Litres | None = None
    spare_l: Litres = 0.0


@router.get("/tank")
async def read_tank(service: Desk, tank_l: Size = None) -> dict[str, Any]:
    """The tank now: the open job's, or what waits for the next in a tank of that size."""
    return await _view(service, service.live.job, tank_l)


@router.post("/tank/fills", status_code=201)
async def add_fill(body: NewFill, service: Desk) -> dict[str, Any]:
    """Keep a fill; one that the tank cannot hold is refused. Before a job it waits for it."""
    told = {key: value for key, value in body.model_dump(exclude={"tank_l"}).items() if value is not None}
    return view_fill(await service.office.tanks.fill(service.live, told, tank_l=body.tank_l))


@router.delete("/tank/fills/{number}", status_code=204)
async def remove_fill(number: int, service: Desk) -> None:
    """Forget a fill that waits for a job."""
    await service.office.tanks.remove(number)


@router.get("/jobs/{number}/tank")
async def read_job_tank(number: int, service: Desk) -> dict[str, Any]:
    """What is in the tank of a job: what was filled in, less what the flow meter counted."""
    return await _view(service, await service.jobs.find(number))


@router.post("/jobs/{number}/rest")
async def plan_job_rest(number: int, body: Stop, service: Desk) -> dict[str, Any]:
    """After a stop: what is left, how much area it treats, what to mix for the rest."""
    job = await service.jobs.find(number)
    plan = await _find_plan(service.office.cards, number, body.treatment)
    left_m2 = body.area_left_m2 if body.area_left_m2 is not None else await _area_left(service, job, plan)
    if left_m2 is None:
        raise EntryError("area_left", "type it: neither the job's zones nor the treatment's say how much is left")
    left_l = body.tank_left_l
    if left_l is None:
        left_l = min((await service.office.tanks.look(service.live, job)).level.left_l.value, job.setup.sprayer.tank_l)
    tank_l = body.tank_l if body.tank_l is not None else job.setup.sprayer.tank_l
    rest = plan_rest(
        left_m2, tank_left_l=left_l, target_l_per_m2=plan.target_l_per_m2, products=make_products(plan),
        tank_l=tank_l, fill_l=body.fill_l, spare_l=body.spare_l,
    )  # fmt: skip
    return view_rest(rest, area_left_m2=left_m2, tank_left_l=left_l)


async def _view(service: Service, job: Job | None, tank_l: float | None = None) -> dict[str, Any]:
    tank = await service.office.tanks.look(service.live, job, tank_l=tank_l)
    setup = service.live.setup if job is None else job.setup
    left_m2 = await _area_left(service, job, None) if job is not None else None
    return view_tank(
        tank, job=None if job is None else job.number, target_l_per_m2=setup.treatment.target_l_per_m2,
        area_left_m2=left_m2,
    )  # fmt: skip


async def _find_plan(cards: Cards, number: int, treatment: int | None) -> Plan:
    """The treatment that was named, else the one that the job rests on."""
    version = None
    if treatment is None:
        reference = (await cards.papers(number)).treatment
        if reference is None:
            raise RequestError("treatment", "choose one: the job has none")
        treatment, version = reference.number, reference.version
    card = await cards.find(TREATMENT, treatment, version)
    return await draw_plan(cards, card.record, day=card.record.planned_on or "2000-01-01", number=treatment)


async def _area_left(service: Service, job: Job, plan: Plan | None) -> float | None:
    """What is still to do of the open job: of its own zones, else of the treatment's less what was covered."""
    live = service.live
    if live.job is None or live.job.number != job.number:
        return None
    areas = live.way.areas()
    if areas.left_m2 is not None:
        return areas.left_m2
    if plan is None:
        return None
    zones, keep_outs = choose_zones(plan.site, plan.treatment.zones)
    whole_m2 = (await asyncio.to_thread(measure_ground, zones, keep_outs=keep_outs)).area_m2
    return max(0.0, whole_m2 - areas.covered_m2) if whole_m2 >= 1.0 else None
