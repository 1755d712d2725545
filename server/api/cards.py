"""Cards over HTTP: each noun is listed, described, added, read, changed and put away in the same way."""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends, Path, Query

from server.api.desk import desk
from server.cards import Kind, record_from_mapping, view_card
from server.core.entered import describe_fields
from server.service import Service

Desk = Annotated[Service, Depends(desk)]
Number = Annotated[int, Path(ge=1, le=2**53)]
Version = Annotated[int, Query(ge=1, le=2**53)]
Fields = Annotated[dict[str, Any], Body()]


def make_router(noun: str, kind: Kind[Any], first: Callable[..., Any] | None = None) -> APIRouter:
    """The routes of one kind of card under /api/<noun>; a noun's own further routes may be added to it before these.

    `first` is done before each of them.
    """
    router = APIRouter(prefix=f"/api/{noun}", tags=[noun], dependencies=[Depends(first)] if first else [])

    @router.get("")
    async def list_cards(service: Desk, retired: bool = False) -> list[dict[str, Any]]:
        """The newest version of each; `retired` also those that were put away."""
        return [
            view_card(card) for card in await service.office.cards.list_all(kind, is_retired=None if retired else False)
        ]

    @router.get("/fields")
    async def list_fields() -> list[dict[str, Any]]:
        """What the form has to know of each field: words, limits, choices."""
        return describe_fields(kind.record)

    @router.post("", status_code=201)
    async def add_card(body: Fields, service: Desk) -> dict[str, Any]:
        """Keep a new one; an entry that cannot be meant is refused by name."""
        return view_card(await service.office.cards.add(kind, record_from_mapping(kind.record, body)))

    @router.get("/{number}")
    async def read_card(number: Number, service: Desk, version: Version | None = None) -> dict[str, Any]:
        """One, as it stands or in the version asked for."""
        return view_card(await service.office.cards.find(kind, number, version))

    @router.put("/{number}")
    async def change_card(number: Number, body: Fields, service: Desk, version: Version) -> dict[str, Any]:
        """Keep its next version; `version` is the one that was looked at."""
        record = record_from_mapping(kind.record, body)
        return view_card(await service.office.cards.revise(kind, number, record, version=version))

    @router.delete("/{number}")
    async def retire_card(number: Number, service: Desk, version: Version) -> dict[str, Any]:
        """Put it away: it is no longer offered, and jobs that rest on it keep it."""
        return view_card(await service.office.cards.revise(kind, number, None, version=version))

    @router.get("/{number}/versions")
    async def list_versions(number: Number, service: Desk) -> list[dict[str, Any]]:
        """All versions of one, the oldest first."""
        return [view_card(card) for card in await service.office.cards.list_versions(kind, number)]

    return router
