"""Fill by fill against answers made by core for the test: the sheet, a fill by one tap, what is asked before saving."""

import json
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pytest
from cardbox import FEED, SITE, SPRAYER, treatment
from playwright.sync_api import Browser, Page, Route
from screens import MEASURE, SIZES

from server.cards import record_from_mapping
from server.core.entered import describe_fields
from server.core.plancheck import check_plan
from server.core.productcard import ProductCard
from server.core.recipe import Ingredient, Plan
from server.core.sheet import fill_sheet
from server.core.sitecard import SiteCard
from server.core.sprayercard import SprayerCard
from server.core.treatmentcard import TreatmentCard
from server.loads import view_objections, view_sheet

RECORDS = {"treatments": TreatmentCard, "products": ProductCard, "sites": SiteCard, "sprayers": SprayerCard}
BODIES = {"treatments": treatment(), "products": FEED, "sites": SITE, "sprayers": SPRAYER}
EMPTY = {
    "job": None, "tank_l": 15.0, "is_assumed": True, "left_l": 15.0, "left_sd_l": 0.3, "sprayed_l": 0.0,
    "is_contradiction": False, "target_l_per_m2": 0.04, "treats_m2": 375.0, "treats_sd_m2": 7.5, "area_left_m2": None,
    "fills": [],
}  # fmt: skip


def card_of(noun: str) -> dict[str, Any]:
    """The one card of a noun as the API gives it."""
    record = record_from_mapping(RECORDS[noun], BODIES[noun])
    return {"number": 1, "version": 1, "made_utc": 0.0, "is_retired": False, "card": asdict(record)}


def plan_of(body: dict[str, Any]) -> Plan:
    """A treatment with the cards of the box."""
    planned = record_from_mapping(TreatmentCard, body)
    product = record_from_mapping(ProductCard, FEED)
    parts = tuple(Ingredient(1, product, dose.rate) for dose in planned.doses)
    site, sprayer = record_from_mapping(SiteCard, SITE), record_from_mapping(SprayerCard, SPRAYER)
    return Plan(planned, parts, site, sprayer, "2027-05-31")


class Answers:
    """What the made-up service says, and what it was told."""

    def __init__(self) -> None:
        self.tank: dict[str, Any] = EMPTY
        self.told: list[tuple[str, str, Any]] = []
        self.errors: list[str] = []
        self.is_refusing = False
        self.matters: list[dict[str, Any]] = []

    def answer(self, route: Route) -> None:
        """One answer."""
        request = route.request
        path = request.url.partition("/api/")[2].partition("?")[0]
        noun, *more = path.split("/")
        body = json.loads(request.post_data) if request.post_data else None
        if request.method != "GET":
            self.told.append((request.method, path, body))
        if more and more[-1] == "sheet":
            self._sheet(route)
        elif path == "treatments/look" or path.endswith("warnings"):
            plan = plan_of(body or treatment())
            found = view_objections(check_plan(plan, past=[], today="2027-05-31"), plan)
            route.fulfill(json=json.loads(json.dumps(found)))
        elif path == "tank/fills":
            fill = {"number": 1, "made_utc": 0.0, "job": None, **body}
            self.tank = {**EMPTY, "is_assumed": False, "left_l": body["added_l"], "fills": [fill]}
            route.fulfill(status=201, json=fill)
        elif path == "season":
            route.fulfill(json={"matters": self.matters})
        elif path == "next":
            route.fulfill(json={"choice": {"operator": 4, **(body or {})}})
        elif path == "jobs":
            route.fulfill(json=[])
        elif noun == "tank":
            route.fulfill(json=self.tank)
        elif noun in RECORDS and more == ["fields"]:
            route.fulfill(json=describe_fields(RECORDS[noun]))
        elif noun in RECORDS:
            route.fulfill(json=[card_of(noun)] if request.method == "GET" else card_of(noun))
        else:
            route.fulfill(status=404, json={"title": "Not Found", "detail": "not here"})

    def _sheet(self, route: Route) -> None:
        if self.is_refusing:
            refusal = {
                "title": "Refused",
                "key": "fill",
                "detail": "fill: 20 L is more than the sprayer's tank of 15 L",
            }
            route.fulfill(status=422, json=refusal)
            return
        plan = plan_of(treatment())
        found = {**view_sheet(plan, fill_sheet(plan, flow_l_per_min=1.6)), **view_objections([], plan)}
        route.fulfill(json=json.loads(json.dumps(found)))


@pytest.fixture
def answers() -> Answers:
    """A made-up service."""
    return Answers()


@pytest.fixture
def show(browser: Browser, files: str, answers: Answers) -> Callable[..., Page]:
    """Open the page on a phone, or another size."""

    def open_page(size: tuple[int, int] = SIZES["phone"], scheme: Any = "light") -> Page:
        viewport = {"width": size[0], "height": size[1]}
        page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()
        page.set_default_timeout(8_000)
        page.on("pageerror", lambda error: answers.errors.append(str(error)))
        page.route("**/api/**", answers.answer)
        page.goto(f"{files}/#fill")
        page.get_by_text("Half of the water").first.wait_for()
        return page

    return open_page


def test_the_sheet_says_each_tank_in_the_order_of_filling_and_how_to_walk(show, answers: Answers) -> None:
    page = show()
    words = page.inner_text(".sheet")
    order = [
        "The label comes first",
        "Half of the water",
        "eye protection",
        "The rest of the water",
        "How to walk",
        "for each 10 m",
    ]
    places = [words.index(each) for each in order]
    assert places == sorted(places)
    assert "7.27" in words, "half of 15 L less the product"
    for word in ("NaN", "null", "undefined"):
        assert word not in page.inner_text("main")
    page.select_option("#units", "gal_per_1000ft2")
    page.get_by_text("for each 100 ft").wait_for()
    assert "fl oz" in page.inner_text(".sheet")
    assert answers.errors == []


def test_one_tap_notes_a_fill_as_on_the_sheet(show, answers: Answers) -> None:
    page = show()
    page.get_by_role("button", name="I filled tank 1 so").click()
    page.get_by_text("15.0 L filled in, tank 1 of the sheet").wait_for()
    method, path, body = answers.told[-1]
    assert (method, path) == ("POST", "tank/fills")
    assert (body["added_l"], body["treatment"], body["load"]) == (15.0, 1, 1)
    page.get_by_text("Noted: tank 1").wait_for()
    assert "Nobody told how much" not in page.inner_text(".tank-part")


def test_the_sheet_becomes_the_next_job_and_keeps_who_does_it(show, answers: Answers) -> None:
    page = show()
    page.get_by_role("button", name="Take this next").click()
    page.get_by_text("the next job begins so").wait_for()
    chosen = {"operator": 4, "treatment": 1, "site": 1, "zones": [], "sprayer": 1}
    assert answers.told[-1] == ("PUT", "next", chosen)


def test_what_is_no_number_is_said_and_nothing_is_sent(show, answers: Answers) -> None:
    page = show()
    page.fill("#tank-added", "two")
    page.get_by_role("button", name="Note the fill").click()
    page.get_by_text("“two” is not a number.").wait_for()
    assert answers.told == []


def test_a_refused_sheet_says_why_and_shows_no_other(show, answers: Answers) -> None:
    page = show()
    answers.is_refusing = True
    page.get_by_text("Sprayer, zones, flow, filling").click()
    page.fill("#sheet-fill_l", "20")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_text("No sheet. 20.0").wait_for()
    assert page.locator(".sheet").count() == 0
    field = page.locator("#sheet-fill_l")
    assert field.get_attribute("aria-invalid") == "true"
    assert field.evaluate("(field) => document.activeElement === field")
    assert "20.0" in page.inner_text("#sheet-fill_l-wrong")


def test_what_the_season_wants_to_be_waited_for_stands_above_the_sheet(show, answers: Answers) -> None:
    wait = {
        "kind": "interval",
        "state": "wait",
        "site": 1,
        "zones": [],
        "products": [1],
        "sentence": "Not yet.",
    }
    answers.matters = [wait, {**wait, "products": [9], "sentence": "Of something else."}]
    page = show()
    page.locator(".sheet").wait_for()
    page.get_by_text("Not yet.").wait_for()
    assert page.get_by_text("Of something else.").count() == 0


def test_a_slip_in_a_treatment_is_asked_about_before_it_is_saved(show, answers: Answers) -> None:
    page = show()
    page.get_by_role("button", name="Spring feed").click()
    page.locator("form.card .row input").first.fill("40")
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("A tenth of it would fit").first.wait_for()
    assert [path for _, path, _ in answers.told] == ["treatments/look"], "not saved yet"
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("Saved.").wait_for()
    assert answers.told[-1][:2] == ("PUT", "treatments/1")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_it_is_readable_pressed_with_a_glove_and_never_too_wide(show, size, scheme) -> None:
    page = show(SIZES[size], scheme)
    page.get_by_text("Sprayer, zones, flow, filling").click()
    found = page.evaluate(MEASURE)
    assert found["faint"] == []
    assert found["small"] == []
    assert found["wide"] <= 0


def test_the_printed_sheet_is_the_sheet_alone_on_one_page(show) -> None:
    page = show()
    page.emulate_media(media="print")
    seen = page.inner_text("body")
    assert "Half of the water" in seen
    for gone in ("What is in the tank?", "Treatments", "I filled", "Print the sheet"):
        assert gone not in seen
    assert page.pdf(format="A4").count(b"/Type /Page\n") + page.pdf(format="A4").count(b"/Type /Page/") <= 1
