"""What is due? against a made-up service: what it is told is reckoned by the real core from what was tapped."""

import json
import re
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect
from seasons import BARRIER, PRODUCTS, RULES, SITES, make_book, spray

from server.api.season import view_season
from server.cards import mapping_from_record, record_from_mapping
from server.core.calendarcard import CalendarCard
from server.core.entered import describe_fields
from server.core.journal import Book
from server.core.rulecard import RuleCard
from server.core.workcard import WorkCard
from server.season import Today

FIELDS = {"works": WorkCard, "rules": RuleCard}
NOW = "2027-04-11T08:00:00"


def cards_of(found: dict[int, Any]) -> list[dict[str, Any]]:
    return [
        {"number": number, "version": 1, "made_utc": 0.0, "is_retired": False, "card": mapping_from_record(card)}
        for number, card in found.items()
    ]


class Answers:
    """A service with one journal in memory."""

    def __init__(self) -> None:
        self.book: Book = make_book(spray(BARRIER, "2027-04-10", "09:30"))
        self.asked: list[tuple[str, str, Any]] = []
        self.errors: list[str] = []
        self.is_refusing = False

    def answer(self, route: Route) -> None:
        """One answer."""
        request = route.request
        name, _, query = request.url.partition("/api/")[2].partition("?")
        body = json.loads(request.post_data) if request.post_data else None
        self.asked.append((request.method, name, body))
        if name == "live/stream":
            route.fulfill(status=200, content_type="text/event-stream", body=": nothing yet\n\n")
        elif request.method in ("POST", "PUT", "DELETE"):
            self._write(route, request.method, name, body)
        else:
            route.fulfill(status=200, json=self._read(name, query))

    def _read(self, name: str, query: str) -> Any:
        noun, _, rest = name.partition("/")
        asked = dict(part.split("=") for part in query.split("&") if part)
        if name == "season":
            site = int(asked["site"]) if "site" in asked else None
            return view_season(self.book, Today(asked["day"], asked["time"].replace("%3A", ":"), "UTC"), site)
        if name == "season/calendar":
            return {"card": asdict(CalendarCard("UTC"))}
        if rest == "fields":
            return describe_fields(FIELDS[noun])
        shelves = {"works": self.book.works, "rules": RULES, "sites": SITES, "products": PRODUCTS}
        if noun == "works" and rest:
            return next(each for each in cards_of(self.book.works) if each["number"] == int(rest))
        return cards_of(shelves[noun]) if noun in shelves else []

    def _write(self, route: Route, method: str, name: str, body: Any) -> None:
        if self.is_refusing:
            route.fulfill(status=507, json={"title": "Insufficient Storage", "detail": "the disk is full"})
            return
        works = dict(self.book.works)
        if method == "DELETE":
            del works[int(name.split("/")[1])]
        elif method == "PUT":
            works[int(name.split("/")[1])] = record_from_mapping(WorkCard, body)
        else:
            works[len(works) + 1] = record_from_mapping(WorkCard, body)
        self.book = make_book(*works.values())
        route.fulfill(status=201, json=cards_of(works)[-1] if works else {})


@pytest.fixture
def answers() -> Answers:
    """A made-up service."""
    return Answers()


@pytest.fixture
def show(browser: Browser, files: str, answers: Answers) -> Callable[..., Page]:
    """Open the season on a phone, on a day of April."""

    def open_page(size: tuple[int, int] = (390, 844), scheme: Any = "light") -> Page:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, timezone_id="UTC", locale="en-GB"
        )
        page = context.new_page()
        page.clock.set_fixed_time(NOW)
        page.on("pageerror", lambda error: answers.errors.append(str(error)))
        page.route("**/api/**", answers.answer)
        page.goto(f"{files}/#season")
        return page

    return open_page


def test_the_most_pressing_is_said_first_and_its_reason_on_request(show, answers: Answers) -> None:
    page = show()
    expect(page.locator(".answer")).to_contain_text("Water in Mill Lane by 09:30 tomorrow: 0.25 in.")
    assert page.locator(".answer").bounding_box()["y"] < 300, "in sight without a scroll"
    due = page.locator(".matters li").first
    due.locator("summary").click()
    expect(due).to_contain_text("Purdue turf (losses)")
    assert answers.errors == []


def test_one_tap_notes_a_watering_as_deep_as_is_asked_for_and_another_takes_it_back(show, answers: Answers) -> None:
    page = show()
    page.get_by_label("Lawn", exact=True).select_option("1")
    expect(page.get_by_label("Depth of water", exact=True)).to_have_value("0.25")
    page.get_by_role("button", name="Watered today").click()
    expect(page.get_by_text("Written down: watered today, 08:00.")).to_be_visible()
    expect(page.locator(".answer")).not_to_contain_text("Water in")
    body = next(body for method, name, body in answers.asked if (method, name) == ("POST", "works"))
    assert body == {
        "day": "2027-04-11", "time": "08:00", "kind": "watering", "site": 1, "water": {"value": 0.25, "unit": "in"},
    }  # fmt: skip
    page.get_by_role("button", name="Take it back").click()
    expect(page.locator(".answer")).to_contain_text("Water in Mill Lane")
    assert answers.errors == []


def test_a_refusal_is_said_and_a_figure_that_is_none_too(show, answers: Answers) -> None:
    page = show()
    expect(page.locator(".answer")).to_contain_text("Water in")
    answers.is_refusing = True
    page.get_by_role("button", name="Mowed today").click()
    expect(page.get_by_text("Not written down. The disk is full.")).to_be_visible()
    answers.is_refusing = False
    page.get_by_label("Depth of water", exact=True).fill("a lot")
    page.get_by_role("button", name="It rained today").click()
    expect(page.get_by_text("“a lot” is not a number.")).to_be_visible()
    assert not [body for method, _, body in answers.asked if method == "POST" and body["kind"] == "rain"]


def test_the_calendar_shows_what_was_done_and_is_due_and_turns_its_months(show, answers: Answers) -> None:
    page = show((1280, 800))
    today = page.locator("td[aria-current=date]")
    expect(today).to_contain_text("today")
    done = page.locator(".month td", has_text=re.compile("10 Apr"))
    expect(done).to_contain_text("Done: Barrier (Mill Lane)")
    expect(page.locator(".month td", has_text=re.compile("12 Apr"))).to_contain_text("until 09:30")
    page.get_by_role("button", name="Next month").click()
    expect(page.get_by_role("heading", name="May 2027")).to_be_visible()
    expect(page.get_by_text("Nothing in this month.")).to_be_visible()
    page.get_by_role("button", name="This month").click()
    expect(today).to_be_visible()
    assert answers.errors == []


def test_a_plan_of_the_journal_is_noted_as_done_by_one_tap(show, answers: Answers) -> None:
    answers.book = make_book(WorkCard("2027-04-09", "coring", site=1, is_plan=True))
    page = show()
    expect(page.locator(".answer")).to_contain_text("Coring was planned on 9 April on Mill Lane")
    page.get_by_role("button", name="It was done").click()
    expect(page.locator(".answer")).to_contain_text("The coring of 9 April on Mill Lane still helps a conditioner")
    assert not answers.book.works[1].is_plan
    assert answers.errors == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(360, 740), (390, 844), (1280, 800)])
def test_it_fits_every_screen_and_every_target_is_large_enough(show, answers: Answers, size, scheme) -> None:
    answers.book = make_book(
        spray(BARRIER, "2027-04-10", "09:30"),
        WorkCard("2027-04-11", "coring", site=1, time="07:00"),
        WorkCard("2027-04-20", "coring", site=2),
    )
    page = show(size, scheme)
    expect(page.locator(".answer")).to_contain_text("Water in")
    for summary in page.locator("details:not(.matters details) > summary").all():
        summary.click()
    expect(page.get_by_role("button", name="Coring goes before a pre-emergent")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0
    small = page.eval_on_selector_all(
        "#page button, #page a, #page summary, #page input, #page select",
        "all => all.filter(e => e.offsetHeight > 0 && e.offsetHeight < 48).map(e => e.outerHTML.slice(0, 80))",
    )
    assert small == []
    assert "undefined" not in page.inner_text("main")
    assert answers.errors == []
