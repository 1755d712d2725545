"""Sprayers, each with its own measures: their cards, the checks of each, and when it is to be calibrated again."""

from typing import Annotated, Any

from fastapi import Body

from server.api.cards import Desk, Number, make_router
from server.cards import view_card
from server.errors import RequestError
from server.kinds import SPRAYER
from server.store.checks import Check

router = make_router("sprayers", SPRAYER)
Plain = Annotated[dict[str, Any], Body()]


def view(check: Check) -> dict[str, Any]:
    """A check as the API gives it."""
    return {
        "number": check.number, "sprayer": check.sprayer, "way": check.way, "made_utc": round(check.made_utc, 3),
        "applied_version": check.applied_version, "entries": check.entries, **check.found,
    }  # fmt: skip


@router.get("/{number}/due")
async def tell_due(number: Number, service: Desk) -> dict[str, Any]:
    """Whether the sprayer is to be calibrated again, by what, and in a sentence."""
    return await service.office.checks.tell_due(number)


@router.get("/{number}/checks")
async def list_checks(number: Number, service: Desk) -> list[dict[str, Any]]:
    """The record of its calibrations, the newest first."""
    return [view(check) for check in await service.office.checks.list_all(number)]


@router.post("/{number}/checks/look")
async def look(number: Number, body: Plain, service: Desk) -> dict[str, Any]:
    """What a check comes to so far; nothing is kept. A refusal is a sentence, a wrong entry is named."""
    way, entries = _split(body)
    return await service.office.checks.look(number, way, entries)


@router.post("/{number}/checks", status_code=201)
async def keep_check(number: Number, body: Plain, service: Desk) -> dict[str, Any]:
    """Reckon a check and put it on record; a refused one too, with its reason."""
    way, entries = _split(body)
    return view(await service.office.checks.keep(number, way, entries))


@router.post("/{number}/checks/{check}/apply")
async def apply_check(number: Number, check: int, service: Desk) -> dict[str, Any]:
    """Put a check to use: pulses per litre or swath go into the sprayer's card as a new version."""
    made, changes = await service.office.checks.apply(number, check)
    await service.follow_next()
    return {**view(made), "changes": changes, "card": view_card(await service.office.cards.find(SPRAYER, number))}


def _split(body: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """The way of a check, and what was entered."""
    way = body.get("way")
    if not isinstance(way, str):
        raise RequestError("way", "is needed: catch, walk, swath or rate")
    return way, {key: value for key, value in body.items() if key != "way"}
