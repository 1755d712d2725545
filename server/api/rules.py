"""The rules of the season: the user's to change, each with a way back to the text that came with the program."""

from typing import Annotated, Any

from fastapi import Depends

from server.api.cards import Number, Version, make_router
from server.api.desk import desk
from server.cards import view_card
from server.kinds import RULE
from server.service import Service

Desk = Annotated[Service, Depends(desk)]


async def stock_rules(service: Desk) -> None:
    """Put the shipped rules into the store before anybody looks for them."""
    await service.office.season.stock_rules()


router = make_router("rules", RULE, first=stock_rules)


@router.post("/{number}/shipped")
async def restore_rule(number: Number, version: Version, service: Desk) -> dict[str, Any]:
    """Give a rule its shipped text again, also one that was put away; `version` is the one that was looked at."""
    return view_card(await service.office.season.restore_rule(number, version))
