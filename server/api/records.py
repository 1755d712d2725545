"""Application records: listed, read, typed into, signed once, amended, and how long they are kept."""

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from pydantic import Field

from server.api.desk import desk
from server.api.models import Strict, Text
from server.cards import record_from_mapping
from server.core.recorditem import KINDS, SORTS
from server.core.regimes import REGIMES
from server.core.retention import Retention
from server.service import Service

router = APIRouter(prefix="/api", tags=["records"])
Desk = Annotated[Service, Depends(desk)]
Zone = Annotated[str, Field(max_length=64)]


class Typing(Strict):
    """What was typed by item; none takes it back. `zone`: the zone of time that the record is told in."""

    typed: dict[str, Any] = Field(default_factory=dict)
    zone: Zone | None = None


class Signing(Strict):
    """Who signs, and in which zone of time the record is told."""

    name: Text
    zone: Zone = ""


class Change(Strict):
    """An amendment: the item, its new value, why, and by whom."""

    key: Annotated[str, Field(max_length=64)]
    value: str | float
    reason: Annotated[str, Field(min_length=3, max_length=1000)]
    who: Text


@router.get("/records")
async def list_records(service: Desk) -> list[dict[str, Any]]:
    """A line a job, parts under their first one, the newest first: its state, and how much is missing."""
    return await service.office.records.list_all()


@router.get("/records/items")
async def list_items() -> list[dict[str, Any]]:
    """Every item that a record may hold, with its meaning, its unit and what may be typed."""
    return [{**asdict(sort), "unit": KINDS[sort.kind][0], "range": KINDS[sort.kind][1:]} for sort in SORTS]


@router.get("/records/retention")
async def read_retention(service: Desk) -> dict[str, Any]:
    """Which rules concern the user, and how long records are kept; years none: for ever."""
    return _tell(await service.office.records.keeper.read())


@router.put("/records/retention")
async def save_retention(body: dict[str, Any], service: Desk) -> dict[str, Any]:
    """Set them; a period shorter than the rules' longest is refused."""
    return _tell(await service.office.records.keeper.save(record_from_mapping(Retention, body)))


@router.get("/jobs/{number}/record")
async def read_record(number: int, service: Desk, zone: Annotated[str, Query(max_length=64)] = "") -> dict[str, Any]:
    """The record of a job, or of the one it is a part of."""
    return await service.office.records.read(number, zone=zone)


@router.patch("/jobs/{number}/record")
async def type_in(number: int, body: Typing, service: Desk) -> dict[str, Any]:
    """Type in what is not known, before the record is signed."""
    return await service.office.records.type_in(number, body.typed, body.zone)


@router.post("/jobs/{number}/record/sign", status_code=201)
async def sign_record(number: int, body: Signing, service: Desk) -> dict[str, Any]:
    """Freeze the record once and for all, with its fingerprint."""
    return await service.office.records.sign(number, body.name, body.zone)


@router.post("/jobs/{number}/record/amendments", status_code=201)
async def amend_record(number: int, body: Change, service: Desk) -> dict[str, Any]:
    """Change an item of a signed record; the value before is kept and shown."""
    return await service.office.records.amend(number, body.model_dump())


def _tell(retention: Retention) -> dict[str, Any]:
    shown = ("key", "name", "concerns", "keep_years", "source")
    return {
        "regimes": list(retention.regimes),
        "years": retention.years,
        "least_years": retention.least_years,
        "rules": [{key: getattr(rule, key) for key in shown} for rule in REGIMES],
    }
