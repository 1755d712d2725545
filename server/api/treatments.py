"""Treatments: what is planned where, what speaks against it, and the sheet to fill by."""

import asyncio
from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from server.api.cards import Fields, Number, make_router
from server.api.desk import desk
from server.cards import record_from_mapping
from server.core.entered import check_field
from server.core.errors import EntryError
from server.core.plancheck import check_plan
from server.core.recipe import Plan
from server.core.sheet import fill_sheet
from server.core.treatmentcard import TreatmentCard
from server.kinds import TREATMENT
from server.loads import view_objections, view_sheet
from server.plans import draw_plan, list_applications
from server.service import Service

Desk = Annotated[Service, Depends(desk)]
Day = Annotated[str | None, Query(max_length=10)]
Amount = Annotated[float | None, Query(allow_inf_nan=False)]
Card = Annotated[int | None, Query(ge=1, le=2**53)]
router: APIRouter = make_router("treatments", TREATMENT)


@router.post("/look")
async def look_at_treatment(
    body: Fields, service: Desk, day: Day = None, today: Day = None, number: Card = None
) -> dict[str, Any]:
    """What speaks against a treatment that is not saved yet; `number` where it is a change of a saved one."""
    return await _judge(service, record_from_mapping(TreatmentCard, body), day, today, number)


@router.get("/{number}/warnings")
async def list_warnings(number: Number, service: Desk, day: Day = None, today: Day = None) -> dict[str, Any]:
    """What speaks against a treatment on its day, or on another."""
    return await _judge(service, (await service.office.cards.find(TREATMENT, number)).record, day, today, number)


@router.get("/{number}/sheet")
async def write_sheet(
    number: Number,
    service: Desk,
    sprayer: Card = None,
    fill_l: Amount = None,
    spare_l: Amount = None,
    zones: Annotated[list[str] | None, Query()] = None,
    area_m2: Amount = None,
    flow_l_per_min: Amount = None,
    is_even: bool = False,
    day: Day = None,
    today: Day = None,
) -> dict[str, Any]:
    """What goes into each tank and how to walk, and what is asked about; refused in a line where it cannot be meant."""
    treatment = (await service.office.cards.find(TREATMENT, number)).record
    treatment = replace(treatment, zones=tuple(zones)) if zones else treatment
    chosen, now = await _choose_day(service, treatment, day, today)
    plan = await draw_plan(service.office.cards, treatment, day=chosen, sprayer=sprayer, number=number)
    past = await list_applications(service.office.cards, plan, today=now)
    found = await asyncio.to_thread(check_plan, plan, past=past, today=now)
    asked = [each for each in found if each.key != "no_area" or area_m2 is None]
    for each in asked:
        if each.severity == "refuse":
            raise EntryError(each.key, each.sentence)
    caught = await _find_flow(service, treatment.sprayer if sprayer is None else sprayer)
    sheet = await asyncio.to_thread(
        fill_sheet, plan, area_m2=area_m2, fill_l=fill_l, spare_l=spare_l or 0.0, is_even=is_even,
        flow_l_per_min=caught if flow_l_per_min is None else flow_l_per_min,
        flow_origin="catch" if flow_l_per_min is None else "typed",
    )  # fmt: skip
    return {**view_sheet(plan, sheet), **view_objections(asked, plan)}


async def _find_flow(service: Service, sprayer: int | None) -> float | None:
    """The flow of a sprayer's newest catch test, if it has one."""
    checks = [] if sprayer is None else await service.office.checks.list_all(sprayer)
    flows = (check.found.get("flow_l_per_min") for check in checks if check.way == "catch" and check.found["is_usable"])
    return next((float(flow) for flow in flows if flow is not None), None)


async def _judge(
    service: Service, treatment: TreatmentCard, day: str | None, today: str | None, number: int | None
) -> dict[str, Any]:
    chosen, now = await _choose_day(service, treatment, day, today)
    plan: Plan = await draw_plan(service.office.cards, treatment, day=chosen, number=number)
    past = await list_applications(service.office.cards, plan, today=now)
    found = await asyncio.to_thread(check_plan, plan, past=past, today=now)
    return {"day": chosen, "today": now, **view_objections(found, plan)}


async def _choose_day(
    service: Service, treatment: TreatmentCard, day: str | None, today: str | None
) -> tuple[str, str]:
    """The day of the treatment and the reader's day, else the lawn's."""
    check_field("day", {"text": "day"}, day)
    check_field("today", {"text": "day"}, today)
    now = today or (await service.office.season.find_today(None, None)).day
    return day or treatment.planned_on or now, now
