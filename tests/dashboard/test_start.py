"""Start now? against answers made up for the test: which page comes first, what it says, and what is pressed.

A double, clearly: no figure is judged here.
"""

import json
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route

NOW = 1_795_809_600.0
JOB = {"id": 2, "name": "North lawn", "state": "running", "started_at": "2027-01-15T08:00:00+00:00"}
NEED = {
    "minutes": 25, "origin": "lawn", "total_min": 24.3, "walk_min": 12.5, "turns_min": 3.8, "fills_min": 6.0,
    "passes": 28, "fills": 1, "area_m2": 750.0, "pace_mps": 1.0, "is_pace_known": False,
}  # fmt: skip
OUTLOOK = {
    "at_utc": NOW, "limit_mps": 3.0, "height_m": 2.0, "state": "known", "sentence": "", "chance": 0.81, "low": 0.68,
    "high": 0.9, "days": 12.3, "mean_min": 1, "likely_min": 14.0,
    "minutes_known": 70, "minutes_wanted": 70, "need": NEED, "fault": None,
    "left_out": ["a club's mast with a name " + "that goes on and on " * 3 + ": means over 60 min are too long"],
    "record": {"sentence": "", "minutes": 30, "days": 12, "said": 40, "came_true": 33},
    "hours": {"minutes": 30, "days": 12, "usual": [{"from_utc": NOW - 7200, "to_utc": NOW + 28800}],
              "next_utc": NOW + 3600, "next_share": 0.9, "next_days": 12},
    "lull": {"is_open": True, "since_utc": NOW - 1800, "reason": "A lull has opened."},
    "inversion": {"is_likely": False, "sentence": "", "sun_deg": 31.0, "below_mps": 1.5},
    "recent": {"begin_utc": NOW - 1800, "mean_mps": [None, *[1.5] * 29], "gust_3s_mps": [None, *[2.5] * 29]},
}  # fmt: skip
WIND = {
    "apparent_mps": 1.7, "true_mps": 1.6, "true_sd_mps": 0.1, "mean_60s_mps": 1.7, "mean_60s_sd_mps": 0.1,
    "mean_2min_mps": 1.8, "mean_2min_sd_mps": 0.1, "gust_3s_mps": 2.6, "gust_3s_sd_mps": 0.2, "from_deg": None,
    "from_sd_deg": None, "p_above_limit": 0.01, "limit_mps": 3.0, "notice_mps": 2.4, "height_m": 2.0,
}  # fmt: skip
ROOM: dict[str, Any] = {
    "at_utc": NOW, "sequence": 1,
    "rig": {"name": "yard", "boot": "00ff00ff", "link": "online", "age_s": 0.2, "spool_s": 0.0},
    "receiver": {"fix": "single", "sats": 11, "hdop": 0.9, "sd_m": 1.4, "rate_hz": 5.0}, "position": None,
    "counts": {"flow_pulses": 0, "flow_ago_s": None, "flow_hz": None, "cup_pulses": 91, "cup_ago_s": 0.2},
    "swath_m": 1.0,
    "speed_mps": None, "wanted_speed_mps": None, "flow_l_per_min": None, "is_spraying": False, "rate_l_per_m2": None,
    "rate_percent": None, "target_l_per_m2": 0.04, "volume_l": 0.0, "tank_l": 15.0, "tank_left_l": 15.0,
    "covered_area_m2": 0.0, "area_left_m2": None, "zone_area_m2": None, "wind": WIND,
    "alarm": {"level": "none", "reason": "", "since_utc": None}, "job": None, "passes_done": 0,
    "messages": dict.fromkeys(["read", "refused", "duplicate", "missing", "unknown_stream", "backlog"], 0),
    "faults": [],
}  # fmt: skip


class Answers:
    """What the made-up service says, and what it was asked."""

    def __init__(self) -> None:
        self.room: dict[str, Any] = ROOM
        self.outlook: dict[str, Any] = OUTLOOK
        self.is_refusing = False
        self.asked: list[tuple[str, str, Any]] = []
        self.errors: list[str] = []

    def answer(self, route: Route) -> None:
        """One answer."""
        request = route.request
        name = request.url.partition("/api/")[2].partition("?")[0]
        body = json.loads(request.post_data) if request.post_data else None
        self.asked.append((request.method, name, body))
        if name == "live/stream":
            event = f"event: snapshot\ndata: {json.dumps(self.room)}\n\n"
            event += f"event: outlook\ndata: {json.dumps(self.outlook)}\n\n"
            route.fulfill(status=200, content_type="text/event-stream", body=event)
        elif name == "live":
            route.fulfill(status=200, json={**self.room, "outlook": self.outlook})
        elif request.method == "PUT" and self.is_refusing:
            route.fulfill(status=422, json={"title": "Refused", "detail": "not now"})
        elif request.method == "PUT":
            self.outlook = {**OUTLOOK, "need": {**NEED, "origin": "chosen", "minutes": body["minutes"]}}
            route.fulfill(status=200, json=self.outlook)
        else:
            route.fulfill(status=200, json={"plane": None, "zones": []})


@pytest.fixture
def answers() -> Answers:
    """A made-up service."""
    return Answers()


@pytest.fixture
def show(browser: Browser, files: str, answers: Answers) -> Callable[..., Page]:
    """Open an address on a phone."""

    def open_address(address: str = "", size: tuple[int, int] = (390, 844), scheme: Any = "light") -> Page:
        viewport = {"width": size[0], "height": size[1]}
        page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()
        page.on("pageerror", lambda error: answers.errors.append(str(error)))
        page.route("**/api/**", answers.answer)
        page.goto(f"{files}/{address}")
        return page

    return open_address


def test_it_is_the_page_without_an_address_and_answers_first(show, answers: Answers) -> None:
    page = show()
    page.get_by_text("Yes, likely:").wait_for()
    assert page.title().startswith("Start now?")
    words = page.inner_text("main")
    assert words.index("8 in 10 that it stays under") < words.index("The wind now") < words.index("no forecast")
    assert page.locator(".answer").bounding_box()["y"] < 250, "in sight without a scroll"
    for word in ("NaN", "null", "undefined"):
        assert word not in words
    assert "label and the law of the place decide" in words
    held = page.locator(".held li")
    assert [line.get_attribute("data-state") for line in held.all()] == ["ajar", "ajar", "ajar"]
    assert "told in 8 of 10 under an ordinary sky" in words
    assert "Squeeze the trigger once over the bucket." in words
    assert "About 14 of 28 strips are likely to fit" in words
    assert words.index("Look at this first") < words.index("The wind now") < words.index("In order")
    assert answers.errors == []


def test_in_a_job_the_page_without_an_address_is_the_lawn(show, answers: Answers) -> None:
    answers.room = {**ROOM, "job": JOB}
    page = show()
    page.get_by_text("North lawn: running").wait_for()
    assert page.title().startswith("On the lawn")
    named = show("#start")
    named.get_by_text("Will it hold?").first.wait_for()
    named.get_by_text("the job is running").wait_for()
    assert not named.get_by_label("Must stay calm for").is_visible(), "a job's own rest is asked for"
    assert answers.errors == []


def test_a_job_that_begins_turns_the_page_of_those_who_named_none(show, answers: Answers) -> None:
    page, named = show(), show("#start")
    for each in (page, named):
        each.get_by_text("Yes, likely:").wait_for()
    answers.room = {**ROOM, "job": JOB}
    page.get_by_text("North lawn: running").wait_for(timeout=10_000)
    named.get_by_text("the job is running").wait_for(timeout=10_000)
    assert named.title().startswith("Start now?")


def test_another_length_is_chosen_and_a_refusal_said(show, answers: Answers) -> None:
    page = show("#start")
    page.get_by_text("Yes, likely:").wait_for()
    page.get_by_label("Must stay calm for").select_option("40")
    page.get_by_text("40 minutes, as you chose.").wait_for()
    assert ("PUT", "outlook", {"minutes": 40}) in answers.asked
    answers.is_refusing = True
    page.get_by_label("Must stay calm for").select_option("10")
    page.get_by_text("Not changed.").wait_for()
    assert page.get_by_label("Must stay calm for").input_value() == "40"
    answers.is_refusing = False
    page.get_by_label("Must stay calm for").select_option("own")
    page.wait_for_function("document.querySelector('.said').textContent === ''")
    assert ("PUT", "outlook", {"minutes": None}) in answers.asked
    assert answers.errors == []


READ_COLUMN = """(share) => {
  const canvas = document.querySelector('.rope');
  const x = Math.round(canvas.width * share);
  const {data} = canvas.getContext('2d').getImageData(x, 30, 1, canvas.height - 30);
  return Array.from({length: data.length / 4}, (_, at) => data[4 * at + 3]);
}"""


def test_the_drawing_has_wind_before_now_and_strips_after(show, answers: Answers) -> None:
    page = show("#start")
    rope = page.get_by_role("img", name="Last 30 minutes: means of a minute from")
    rope.wait_for()
    page.wait_for_timeout(200)
    before, after = page.evaluate(READ_COLUMN, 0.35), page.evaluate(READ_COLUMN, 0.8)
    assert sum(alpha > 0 for alpha in before) > sum(alpha > 0 for alpha in after) + 20, (
        "no wind is drawn that is to come"
    )
    answers.outlook = {**OUTLOOK, "recent": None}
    empty = show("#start")
    empty.get_by_text("Yes, likely:").wait_for()
    assert not empty.locator(".rope").is_visible()
    assert answers.errors == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(360, 740), (390, 844), (1440, 900)])
def test_every_state_has_its_words_and_fits(show, answers: Answers, size, scheme) -> None:
    unknown = {**OUTLOOK, "chance": None, "low": None, "high": None, "record": None}
    inversion = {"is_likely": True, "sentence": "Calm is not good.", "sun_deg": 4.0, "below_mps": 1.5}
    for told, room, words in (
        (OUTLOOK, ROOM, "Yes, likely:"),
        ({**OUTLOOK, "chance": 0.3}, ROOM, "Better wait:"),
        ({**OUTLOOK, "inversion": inversion}, ROOM, "Careful:"),
        ({**unknown, "state": "above"}, ROOM, "No:"),
        ({**unknown, "state": "short", "minutes_known": 12}, ROOM, "12 of them are there"),
        ({**unknown, "state": "no_limit", "limit_mps": None}, {**ROOM, "alarm": None}, "Write the label's limit"),
        (OUTLOOK, {**ROOM, "faults": ["The flow meter is silent."]}, "the rig is not ready"),
    ):
        answers.outlook, answers.room = told, room
        page = show("#start", size, scheme)
        page.get_by_text(words).first.wait_for()
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0, words
        page.context.close()
    assert answers.errors == []


def test_an_inversion_is_said_beside_no_alarm_on_the_lawn_too(show, answers: Answers) -> None:
    inversion = {"is_likely": True, "sentence": "Calm is not the same as good.", "sun_deg": 4.0, "below_mps": 1.5}
    answers.outlook = {**OUTLOOK, "inversion": inversion}
    page = show("#lawn")
    page.get_by_text("Calm under a low sun can be an inversion").wait_for()
    assert page.locator(".alarm").get_attribute("data-level") == "none"
