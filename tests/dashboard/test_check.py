"""Calibrating a sprayer, choosing what is next and swapping sprayers, against answers made up for the test."""

from typing import Any

import pytest
from lawnroom import EMPTY_ROOM, JOB, SETUP, Answers, errors_of
from screens import MEASURE

CARD = {
    "name": "Knapsack", "swath": {"value": 1.0, "unit": "m"}, "tank": {"value": 15.0, "unit": "L"}, "zones": [],
}  # fmt: skip
KNAPSACK = {"number": 1, "version": 1, "card": CARD}
BOOM = {"number": 2, "version": 3, "card": {**CARD, "name": "Boom"}}
FOUND = {
    "is_usable": True, "refusal": "", "flow_l_per_min": 2.0, "flow_l_per_min_margin": 0.04, "pulses_per_l": 495.0,
    "pulses_per_l_margin": 6.3, "spread": 0.01, "words": ["The meter as set tells 10.0% more than was caught."],
    "runs": [{"pulses": 990, "seconds": 60.0}] * 3,
}  # fmt: skip
MADE = {"number": 4, "sprayer": 1, "way": "catch", "made_utc": 1.8e9, "applied_version": None, "entries": {}, **FOUND}
DUE = {"is_due": True, "by": ["never"], "sentence": "Knapsack: never calibrated here: catch the flow."}
PAPERS = dict.fromkeys(["site", "sprayer", "treatment", "operator", "customer", "fill", "part_of"])
NEXT = {
    "choice": {}, "problem": None, "papers": {**PAPERS, "zones": [], "products": []}, "setup": SETUP, "due": None,
}  # fmt: skip
SITE = {
    "number": 1, "version": 1,
    "card": {"name": "Home", "zones": [{"name": "Front", "kind": "zone"}, {"name": "Back", "kind": "zone"}]},
}  # fmt: skip
TANK = {
    "key": "tank", "label": "Tank", "hint": "", "kind": "stated", "choices": [], "text": "line", "refers": "",
    "is_needed": False, "default": None, "range": None, "unit": "", "units": {"L": [0.1, 2000], "gal": [0.03, 528]},
    "rows": None,
}  # fmt: skip


@pytest.fixture
def gear(answers: Answers) -> Answers:
    """A service with two sprayers and a site."""
    answers.known |= {
        "sprayers": [KNAPSACK, BOOM], "sprayers/fields": [TANK], "sprayers/1/due": DUE, "sprayers/2/due": DUE,
        "sprayers/1/checks": [], "sprayers/2/checks": [], "next": NEXT, "sites": [SITE], "treatments": [], "people": [],
    }  # fmt: skip
    answers.posted |= {
        "sprayers/1/checks/look": FOUND, "sprayers/1/checks": MADE,
        "sprayers/1/checks/4/apply": {
            **MADE, "changes": [{"key": "pulses_per_l", "before": [450.0], "after": [495.0]}],
        },
    }  # fmt: skip
    return answers


def bodies(answers: Answers, method: str, name: str) -> list[Any]:
    """What was sent to a route."""
    return [body for way, asked, body in answers.asked if way == method and asked == name]


def test_a_catch_is_typed_survives_a_reload_goes_on_record_and_is_put_to_use(show, gear: Answers) -> None:
    page = show("gear")
    page.get_by_text("Never calibrated here").first.wait_for()
    page.get_by_role("link", name="Catch the flow").click()
    page.get_by_text("clean water only.").first.wait_for()
    page.get_by_role("textbox", name="Finest mark").fill("20")
    for place in range(3):
        page.get_by_role("button", name="Add a run by hand").click()
        page.get_by_label("Caught, mL").nth(place).fill("2000")
        page.get_by_label("Time, s").nth(place).fill("60,5")
    page.reload()
    page.get_by_text("495.0 pulses/L").wait_for()
    page.get_by_text("tells 10.0% more").wait_for()
    run = {"volume": {"value": 2000, "unit": "mL"}, "seconds": 60.5}
    asked = bodies(gear, "POST", "sprayers/1/checks/look")[-1]
    assert (asked["way"], asked["runs"], asked["step"]) == ("catch", [run] * 3, {"value": 20, "unit": "mL"})
    gear.known["sprayers/1/checks"] = [MADE]
    page.get_by_role("button", name="Put on record").click()
    page.get_by_text("On record.").wait_for()
    page.get_by_role("button", name="Put to use").click()
    page.get_by_text("pulses a litre: 450.00, now 495.00").wait_for()
    assert errors_of(gear) == []


def test_a_catch_that_is_not_good_enough_keeps_its_runs_until_it_is_pressed_twice(show, gear: Answers) -> None:
    refusal = "catch: 1 are too few: catch 3 times or more"
    gear.posted["sprayers/1/checks/look"] = {**FOUND, "is_usable": False, "refusal": refusal}
    page = show("gear/catch")
    page.get_by_role("button", name="Add a run by hand").click()
    page.get_by_label("Caught, mL").fill("2000")
    page.get_by_role("button", name="Put on record").click()
    page.get_by_text("Press once more").wait_for()
    assert page.get_by_label("Caught, mL").input_value() == "2000"
    assert bodies(gear, "POST", "sprayers/1/checks") == []
    page.get_by_role("button", name="Put on record").click()
    page.get_by_text("On record").first.wait_for()
    assert len(bodies(gear, "POST", "sprayers/1/checks")) == 1
    assert errors_of(gear) == []


def test_a_catch_is_counted_between_two_presses_by_the_rig_s_clock(show, gear: Answers) -> None:
    gear.known["calibrations/clock"] = {"rig": "rig-1", "boot": "0123abcd", "mono": 100.0}
    page = show("gear/catch")
    page.get_by_role("button", name="Start a catch").click()
    page.get_by_role("button", name="Stop: the valve is shut").wait_for()
    gear.known["calibrations/clock"] = {"rig": "rig-1", "boot": "0123abcd", "mono": 170.0}
    page.get_by_role("button", name="Stop: the valve is shut").click()
    page.get_by_label("Caught, mL").fill("2000")
    page.get_by_text("990 pulses in 60.0 s").wait_for()
    stretch = {"rig": "rig-1", "boot": "0123abcd", "start": 100.0, "end": 170.0}
    assert bodies(gear, "POST", "sprayers/1/checks/look")[-1]["runs"][0]["stretch"] == stretch
    assert errors_of(gear) == []


@pytest.mark.parametrize("place", ["gear/catch", "gear/walk", "gear/swath", "gear/check", "papers"])
@pytest.mark.parametrize(("size", "scheme"), [((390, 844), "light"), ((1440, 900), "dark")])
def test_its_pages_are_readable_and_can_be_pressed_with_gloves(show, gear: Answers, place, size, scheme) -> None:
    page = show(place, size, scheme)
    page.locator("main button").first.wait_for()
    for name in ("Add a run by hand", "Add a time by hand", "Add a row"):
        for button in page.get_by_role("button", name=name).all():
            button.click()
    measured = page.evaluate(MEASURE)
    assert (measured["faint"], measured["small"], measured["wide"] <= 0) == ([], [], True)
    assert errors_of(gear) == []


def test_another_sprayer_is_two_taps_in_a_job(show, gear: Answers) -> None:
    gear.known["live"] = {**EMPTY_ROOM, "job": JOB}
    gear.posted["jobs/2/swap"] = {**JOB, "id": 3, "name": "North lawn part 2", "part_of": 2}
    page = show("lawn")
    page.get_by_text("North lawn: running").wait_for()
    page.get_by_role("button", name="Another sprayer").click()
    page.get_by_role("button", name="Boom").click()
    page.get_by_text("Boom: North lawn part 2 goes on").wait_for()
    assert bodies(gear, "POST", "jobs/2/swap") == [{"sprayer": 2}]
    assert errors_of(gear) == []


def test_what_is_next_is_chosen_and_told_before_the_job(show, gear: Answers) -> None:
    page = show("start")
    page.get_by_text("Nothing is chosen").wait_for()
    page.get_by_role("link", name="Choose site").click()
    page.get_by_role("combobox", name="Site").select_option("Home")
    page.get_by_role("checkbox", name="Back").check()
    page.get_by_role("combobox", name="Sprayer").select_option("Boom")
    page.get_by_role("button", name="Take this next").click()
    page.get_by_text("Chosen: the next job").wait_for()
    assert bodies(gear, "PUT", "next") == [{"site": 1, "sprayer": 2, "zones": ["Back"]}]
    assert errors_of(gear) == []
