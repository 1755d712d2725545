"""What is due as an iCalendar file (RFC 5545), for the calendars that people already use.

Every matter is an event of whole days; a watering-in, which has an hour, is a task besides. Times are local without a
zone, as the journal's are: they mean the clock of whoever reads them.
"""

import hashlib
from datetime import UTC, datetime, timedelta
from typing import Any

from server.core.day import DAY_MIN, begin_day, write_day
from server.core.matter import Matter

MEDIA_TYPE = "text/calendar; charset=utf-8"
PRODUCT = "-//calmpass//season//EN"
TOLD = ("overdue", "due", "later")
_START = datetime(1970, 1, 1)


def write_calendar(matters: tuple[Matter, ...], *, stamp_utc: float) -> bytes:
    """The file of a season's matters that have a day; the same matter keeps its identity from file to file."""
    # Here, so that the service starts sooner.
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("PRODID", PRODUCT)
    calendar.add("VERSION", "2.0")
    stamp = datetime.fromtimestamp(int(stamp_utc), UTC)
    for matter in matters:
        if matter.state in TOLD:
            calendar.add_component(_make_event(matter, stamp))
            if matter.is_timed and matter.until is not None:
                calendar.add_component(_make_task(matter, stamp))
    return bytes(calendar.to_ical())


def name_matter(matter: Matter, what: str) -> str:
    """An identity of a matter that stays the same whatever its words."""
    return f"{hashlib.sha256(f'{what}/{matter.key}'.encode()).hexdigest()[:32]}@calmpass"


def _make_event(matter: Matter, stamp: datetime) -> Any:
    """Whole days, from the first to the last in time; without a last one the first alone."""
    from icalendar import Event

    event = Event()
    last = begin_day(matter.since if matter.until is None else matter.until)
    begin = datetime.fromisoformat(write_day(matter.since)).date()
    # The end is the first day that is no longer part of it.
    end = datetime.fromisoformat(write_day(last + DAY_MIN)).date()
    for name, value in (("DTSTART", begin), ("DTEND", end), ("TRANSP", "TRANSPARENT")):
        event.add(name, value)
    return _describe(event, matter, "event", stamp)


def _make_task(matter: Matter, stamp: datetime) -> Any:
    """Something to be done by an hour."""
    from icalendar import Todo

    task = Todo()
    assert matter.until is not None
    task.add("DUE", _START + timedelta(minutes=matter.until))
    task.add("STATUS", "NEEDS-ACTION")
    return _describe(task, matter, "task", stamp)


def _describe(component: Any, matter: Matter, what: str, stamp: datetime) -> Any:
    component.add("UID", name_matter(matter, what))
    component.add("DTSTAMP", stamp)
    component.add("SUMMARY", _sum_up(matter))
    lines = [
        matter.reason and f"Why: {matter.reason}",
        matter.source and f"Source: {matter.source}",
        matter.against and f"Against: {matter.against}",
        matter.against_source and f"Source of that: {matter.against_source}",
        "The label and your local code decide.",
    ]
    component.add("DESCRIPTION", "\n".join(filter(None, lines)))
    return component


def _sum_up(matter: Matter) -> str:
    """The sentence without its stop; words like "today" would be wrong tomorrow, so that days stand in the dates."""
    return matter.title or matter.sentence.rstrip(".")
