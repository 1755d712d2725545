"""The calendar file against RFC 5545 itself: line ends, lengths, escapes, required properties; read by hand."""

import re
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from server.core.day import minute_of
from server.core.matter import Matter
from server.exports.ics import name_matter, write_calendar

STAMP = 1_806_537_600.0
WORDS = st.text(st.characters(blacklist_categories=["Cs", "Cc"]), min_size=1, max_size=200)


def matter(**more) -> Matter:
    found = {
        "key": "watering_in/water-in/work-3/site-1", "kind": "watering_in", "state": "due", "severity": "ask",
        "site": 1, "zones": (), "sentence": "Water in Mill Lane by 18:00 today.",
        "since": minute_of("2027-04-01", "10:00"), "until": minute_of("2027-04-02", "10:00"), "is_timed": True,
        "reason": "The label says so.", "source": "the label", "title": "Water in Mill Lane",
    }  # fmt: skip
    return Matter(**{**found, **more})


def unfold(content: bytes) -> list[tuple[str, str]]:
    """Content lines as RFC 5545 section 3.1 has them, unfolded: name with parameters, and value."""
    lines = content.decode("utf-8").replace("\r\n ", "").replace("\r\n\t", "").split("\r\n")
    assert lines.pop() == ""
    return [(name, value) for name, _, value in (line.partition(":") for line in lines)]


def parts_of(content: bytes, kind: str) -> list[dict[str, str]]:
    found: list[dict[str, str]] = []
    inside = False
    for name, value in unfold(content):
        if (name, value) == ("BEGIN", kind):
            inside = True
            found.append({})
        elif (name, value) == ("END", kind):
            inside = False
        elif inside:
            assert name not in found[-1], f"{name} twice"
            found[-1][name] = value
    return found


def unescape(value: str) -> str:
    """TEXT of RFC 5545 section 3.3.11."""
    return re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nN" else found[1], value)


def test_the_file_has_what_the_standard_requires() -> None:
    """RFC 5545 sections 3.4, 3.6, 3.6.1, 3.7.3, 3.7.4, 3.8.4.7, 3.8.7.2."""
    content = write_calendar((matter(), matter(key="other", is_timed=False)), stamp_utc=STAMP)
    lines = unfold(content)
    assert (lines[0], lines[-1]) == (("BEGIN", "VCALENDAR"), ("END", "VCALENDAR"))
    head = dict(lines[: lines.index(("BEGIN", "VEVENT"))])
    assert head["VERSION"] == "2.0"
    assert head["PRODID"]
    first, second = parts_of(content, "VEVENT")
    for event in (first, second):
        assert event["UID"]
        assert event["DTSTAMP"] == "20270401T000000Z"
        assert re.fullmatch(r"\d{8}", event["DTSTART;VALUE=DATE"])
    assert first["UID"] != second["UID"]


def test_an_events_days_are_whole_and_its_end_is_not_part_of_it() -> None:
    """RFC 5545 section 3.6.1: DTEND is the non-inclusive end."""
    (event,) = parts_of(write_calendar((matter(),), stamp_utc=STAMP), "VEVENT")
    assert event["DTSTART;VALUE=DATE"] == "20270401"
    assert event["DTEND;VALUE=DATE"] == "20270403"
    (open_end,) = parts_of(write_calendar((matter(until=None),), stamp_utc=STAMP), "VEVENT")
    assert open_end["DTEND;VALUE=DATE"] == "20270402"


def test_a_watering_in_is_a_task_with_its_hour_besides() -> None:
    """RFC 5545 section 3.3.5, form 1: local time, the reader's clock."""
    (task,) = parts_of(write_calendar((matter(),), stamp_utc=STAMP), "VTODO")
    assert task["DUE"] == "20270402T100000"
    assert {"UID", "DTSTAMP", "SUMMARY"} <= task.keys()


def test_the_same_matter_keeps_its_identity_from_day_to_day() -> None:
    ((one,), (other,)) = (
        parts_of(write_calendar((matter(state=state, sentence=words),), stamp_utc=stamp), "VEVENT")
        for state, words, stamp in (("due", "Due.", STAMP), ("overdue", "Overdue.", STAMP + 86400.0))
    )
    assert one["UID"] == other["UID"] == name_matter(matter(), "event")
    assert one["SUMMARY"] == other["SUMMARY"] == "Water in Mill Lane"


@pytest.mark.parametrize("state", ["wait", "conflict", "fact"])
def test_what_is_not_due_is_not_in_the_calendar(state) -> None:
    assert parts_of(write_calendar((matter(state=state),), stamp_utc=STAMP), "VEVENT") == []


@settings(max_examples=60)
@given(WORDS, WORDS)
def test_lines_are_folded_at_75_octets_end_with_crlf_and_say_what_was_said(title, reason) -> None:
    """RFC 5545 section 3.1, and 3.3.11 for backslash, comma, semicolon and line break."""
    content = write_calendar((matter(title=title, reason=reason),), stamp_utc=STAMP)
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert b"\r" not in content.replace(b"\r\n", b"")
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    (event,) = parts_of(content, "VEVENT")
    assert unescape(event["SUMMARY"]) == title
    assert unescape(event["DESCRIPTION"]).startswith(f"Why: {reason}\n")
    assert not re.search(r"(?<!\\)(?:\\\\)*[;,]", event["SUMMARY"]), "commas and semicolons are escaped"


def test_another_reader_finds_the_same(desk) -> None:
    site = desk.ask("POST", "/api/sites", {"name": "Mill Lane; the long, narrow one"}).json()["number"]
    product = {
        "name": "Loosener", "rate_most": {"value": 9.0, "unit": "fl oz/1000 ft2"}, "sort": "conditioner",
        "action": "soil",
    }  # fmt: skip
    number = desk.ask("POST", "/api/products", product).json()["number"]
    work = {"day": "2027-05-03", "kind": "treatment", "site": site, "time": "10:00", "products": [number]}
    desk.ask("POST", "/api/works", work)
    answer = desk.ask("GET", "/api/season.ics?day=2027-05-03&time=11:00")
    assert answer.headers["content-type"].startswith("text/calendar")
    found = Calendar.from_ical(answer.content)
    events = {str(event["SUMMARY"]): event for event in found.walk("VEVENT")}
    again = events["Conditioner again on Mill Lane; the long, narrow one"]
    assert again["DTSTART"].dt == date(2027, 5, 24)
    assert again["DTEND"].dt - again["DTSTART"].dt == timedelta(days=8)
    assert len(found.walk("VTODO")) == 1
