"""The season: what is due on a day, an order for what is planned, the same for calendars, and how days are counted."""

import asyncio
from dataclasses import asdict
from math import isfinite
from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends, Query
from fastapi.responses import Response

from server.api.desk import desk
from server.cards import record_from_mapping
from server.core.calendarcard import CalendarCard
from server.core.day import DAY_MIN, write_day, write_time
from server.core.entered import describe_fields
from server.core.journal import Book, Deed, read_deeds
from server.core.matter import Matter
from server.core.season import choose_sentence
from server.core.soilheat import SoilTrace, trace_soil
from server.exports.ics import MEDIA_TYPE, write_calendar
from server.season import Today, tell_matters
from server.service import Service

router = APIRouter(tags=["season"])
Desk = Annotated[Service, Depends(desk)]
Day = Annotated[str | None, Query(max_length=10)]
Time = Annotated[str | None, Query(max_length=5)]
Site = Annotated[int | None, Query(ge=1, le=2**53)]
SHOWN_DAYS = 400
"""So far back lines are listed; the journal itself keeps all."""


@router.get("/api/season")
async def tell_season(service: Desk, day: Day = None, time: Time = None, site: Site = None) -> dict[str, Any]:
    """What is due on a day, with one sentence; `time` local, now where neither is given."""
    today = await service.office.season.find_today(day, time)
    return await asyncio.to_thread(view_season, await service.office.season.read_book(), today, site)


@router.get("/api/season/order")
async def propose_order(service: Desk, day: Day = None, site: Site = None) -> list[dict[str, Any]]:
    """What is planned from a day on in an order that goes with the rules, with why."""
    today = await service.office.season.find_today(day, None)
    return [
        {
            "kind": step.deed.kind,
            "name": step.deed.name,
            "day": write_day(step.deed.earliest),
            "site": step.deed.site,
            "treatment": step.deed.number if step.deed.is_treatment_card else None,
            "work": None if step.deed.is_treatment_card else step.deed.number,
            "reasons": list(step.reasons),
            "rules": list(step.rules),
        }
        for step in await service.office.season.order(today, site)
    ]


@router.get("/api/season.ics")
async def export_calendar(service: Desk, day: Day = None, time: Time = None, site: Site = None) -> Response:
    """What is due as an iCalendar file (RFC 5545)."""
    today = await service.office.season.find_today(day, time)
    matters = tell_matters(await service.office.season.read_book(), today, site)
    content = write_calendar(matters, stamp_utc=service.office.season.now_utc())
    return Response(
        content, media_type=MEDIA_TYPE, headers={"Content-Disposition": 'attachment; filename="season.ics"'}
    )


@router.get("/api/season/calendar")
async def read_calendar(service: Desk) -> dict[str, Any]:
    """How days are counted, and the form's fields."""
    return {"card": asdict(await service.office.season.calendar()), "fields": describe_fields(CalendarCard)}


@router.put("/api/season/calendar")
async def change_calendar(body: Annotated[dict[str, Any], Body()], service: Desk) -> dict[str, Any]:
    """Keep how days are counted."""
    return {"card": asdict(await service.office.season.save_calendar(record_from_mapping(CalendarCard, body)))}


def view_season(book: Book, today: Today, site: int | None = None) -> dict[str, Any]:
    """The season of a day as the API gives it."""
    matters = tell_matters(book, today, site)
    done, planned = read_deeds(book, today.minute)
    deeds = [each for each in (*done, *planned) if site is None or each.site in (None, site)]
    shown = [each for each in deeds if each.earliest >= today.minute - SHOWN_DAYS * DAY_MIN]
    return {
        "day": today.day,
        "time": today.time,
        "zone": today.zone,
        "sentence": choose_sentence(matters, today.minute),
        "matters": [view_matter(matter) for matter in matters],
        "lines": [_view_deed(book, deed) for deed in shown],
        "soil": [_view_trace(trace) for trace in trace_soil(book, done, today.minute) if site in (None, trace.site)],
    }


def view_matter(matter: Matter) -> dict[str, Any]:
    """A matter as the API gives it: days local, times of day where they matter."""
    found = asdict(matter)
    is_timed = found.pop("is_timed")
    until = matter.until
    found["since"] = write_day(matter.since)
    found["since_time"] = write_time(matter.since) if is_timed else None
    found["until"] = None if until is None else write_day(until)
    found["until_time"] = write_time(until) if is_timed and until is not None else None
    return found


def _view_deed(book: Book, deed: Deed) -> dict[str, Any]:
    work = None if deed.is_treatment_card else book.works[deed.number]
    return {
        "work": None if deed.is_treatment_card else deed.number,
        "treatment": deed.treatment,
        "job": work.job if work else None,
        "kind": deed.kind,
        "name": deed.name,
        "site": deed.site,
        "zones": list(deed.zones),
        "day": write_day(deed.earliest),
        "time": write_time(deed.earliest) if deed.is_timed else None,
        "is_planned": deed.is_planned,
        "water_mm": deed.water_mm if isfinite(deed.water_mm) else None,
        "water": asdict(work.water) if work and work.water else None,
        "temperature": asdict(work.temperature) if work and work.temperature else None,
        "products": list(deed.products),
        "note": work.note if work else "",
    }


def _view_trace(trace: SoilTrace) -> dict[str, Any]:
    assert trace.rule.temperature is not None
    return {
        "rule": trace.number,
        "name": trace.rule.name,
        "source": trace.rule.source,
        "site": trace.site,
        "threshold_c": round(trace.threshold_c, 6),
        "threshold": asdict(trace.rule.temperature),
        "days_in_row": trace.in_row,
        "reached": None if trace.reached is None else write_day(trace.reached),
        "days": [
            {
                "day": write_day(day.minute),
                "mean_c": round(day.mean_c, 6),
                "readings": day.readings,
                "is_mean": day.is_mean,
            }
            for day in trace.days
        ],
    }
