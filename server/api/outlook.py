"""Will it stay calm long enough: the chance with what stands behind it, and for how many minutes it is asked."""

from typing import Annotated, Literal

from fastapi import APIRouter, Depends
from pydantic import Field

from server.api.desk import desk
from server.api.models import Strict
from server.calm.need import LONGEST_MIN, SHORTEST_MIN
from server.service import Service

router = APIRouter(prefix="/api/outlook", tags=["outlook"])
Desk = Annotated[Service, Depends(desk)]


class Need(Strict):
    """For how many minutes it must stay calm; `total_min` is what the job takes by itself, null where not known."""

    minutes: int
    origin: Literal["left", "lawn", "chosen", "usual"]
    total_min: float | None
    walk_min: float | None
    turns_min: float | None
    fills_min: float | None
    passes: int
    fills: int
    area_m2: float | None
    pace_mps: float
    is_pace_known: bool


class Record(Strict):
    """How often such a chance was said here before, looking back, and how often it came true."""

    sentence: str
    minutes: int
    days: float
    said: int
    came_true: int


class Span(Strict):
    """A time of the coming day."""

    from_utc: float
    to_utc: float


class Hours(Strict):
    """When stretches of so many minutes were usually calm here, and the next such hour: no forecast."""

    minutes: int
    days: int
    usual: list[Span]
    next_utc: float | None
    next_share: float | None
    next_days: int | None


class Lull(Strict):
    """Whether a lull long enough is open, since when, and what was said of it last."""

    is_open: bool
    since_utc: float | None
    reason: str


class Inversion(Strict):
    """Whether calm must be mistrusted: little wind (below `below_mps`) under a low sun."""

    is_likely: bool
    sentence: str
    sun_deg: float | None
    below_mps: float


class Recent(Strict):
    """The rig's last half hour, minute by minute at the limit's height, the oldest first; null where not known."""

    begin_utc: float
    mean_mps: list[float | None]
    gust_3s_mps: list[float | None]


class Outlook(Strict):
    """What is known of the coming minutes; `state` says what is missing where there is no chance."""

    at_utc: float | None
    limit_mps: float | None
    height_m: float | None
    state: Literal["known", "above", "no_limit", "no_rig", "silent", "no_date", "no_wind", "short"]
    sentence: str
    chance: float | None
    low: float | None
    high: float | None
    days: float
    mean_min: int
    minutes_known: int
    minutes_wanted: int
    likely_min: float | None
    left_out: list[str]
    need: Need
    record: Record | None
    hours: Hours
    lull: Lull
    inversion: Inversion
    recent: Recent | None
    fault: str | None


class Wish(Strict):
    """Another length than the job's own; null: the job's own again."""

    minutes: Annotated[int, Field(ge=SHORTEST_MIN, le=LONGEST_MIN)] | None


@router.get("")
async def read_outlook(service: Desk) -> Outlook:
    """The chance that it stays calm, as of this minute."""
    return Outlook.model_validate(await service.outlooks.look(service.live))


@router.put("")
async def choose_minutes(body: Wish, service: Desk) -> Outlook:
    """Ask for so many minutes from now on, on every page and for the rig's signal."""
    return Outlook.model_validate(await service.outlooks.choose(service.live, body.minutes))
