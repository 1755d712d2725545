"""Calibrating the cup on its page, against answers made up for the test: each step, a reload on the way, the record."""

from typing import Any

import pytest
from lawnroom import Answers, errors_of

LINE = {
    "is_usable": True, "refusal": "", "mps_per_hz": 0.358, "offset_mps": 0.21, "mps_per_hz_sd": 0.004,
    "offset_sd_mps": 0.02, "at_mps": 4.5, "scale_sd": 0.0123, "turbulence_mps": 0.08, "wind_mps": 0.3,
    "change_percent": 5.0, "before_mps_per_hz": 0.34, "before_offset_mps": 0.2, "seconds": 610, "legs": 24,
}  # fmt: skip
MEAN = {"mps": 3.0, "mps_sd": 0.03, "hz": 8.12, "hz_sd": 0.01, "seconds": 120, "turbulence_mps": 0.05, "refusal": ""}
MADE = {"id": 4, "made_utc": 1.8e9, "way": "walk", "rig": "rig-1", "applied_utc": None, **LINE}
REFUSED = {
    **MADE, "id": 3, "is_usable": False, "mps_per_hz": None, "offset_mps": None, "scale_sd": None,
    "refusal": "the wind changed during the walk: legs in one heading differ more between early and late than gusts do",
}  # fmt: skip
CLOCK = {"rig": "rig-1", "boot": "0123abcd", "mono": 100.0}


@pytest.fixture
def gear(answers: Answers) -> Answers:
    """A service with a cup to calibrate."""
    cup = {"mps_per_hz": 0.34, "offset_mps": 0.2}
    answers.known |= {
        "calibrations": [MADE, REFUSED], "calibrations/clock": CLOCK, "calibrations/look": {**LINE, "readings": [MEAN]},
        "calibrations/4/apply": {**MADE, "applied_utc": 1.8e9}, "setup": {**answers.known["setup"], "anemometer": cup},
    }  # fmt: skip
    answers.posted["calibrations"] = MADE
    return answers


def bodies(answers: Answers, name: str) -> list[Any]:
    """What was sent to a route."""
    return [body for method, asked, body in answers.asked if method == "POST" and asked == name]


def test_a_reading_survives_a_reload_and_goes_to_the_service_in_its_own_unit(show, gear: Answers) -> None:
    page = show("gear")
    page.get_by_role("link", name="Calibrate the cup").click()
    page.get_by_text("not calibrated, so ± 3 %").wait_for()
    page.get_by_role("button", name="Start a reading").click()
    page.get_by_text("to go.").wait_for()
    page.reload()
    gear.known["calibrations/clock"] = {**CLOCK, "mono": 222.5}
    page.get_by_role("button", name="Stop", exact=True).click()
    page.get_by_label("Unit of the reference").select_option("mph")
    page.get_by_label("What did the reference say").fill("calm")
    page.get_by_role("button", name="Take it").click()
    page.get_by_text("is not one speed").wait_for()
    page.get_by_label("What did the reference say").fill("6.7 6.9")
    page.get_by_role("button", name="Take it").click()
    page.get_by_text("8.120 Hz in 120 s").wait_for()
    interval = {"boot": "0123abcd", "start": 100.0, "end": 222.5}
    reading = {"interval": interval, "speeds": [6.7, 6.9], "unit": "mph", "resolution": 0.1}
    asked = {"way": "references", "rig": "rig-1", "readings": [reading], "accuracy_percent": 3}
    assert bodies(gear, "calibrations/look")[-1] == asked
    page.get_by_role("button", name="Put on record").click()
    page.get_by_text("On record.").wait_for()
    assert bodies(gear, "calibrations")[-1] == asked
    assert errors_of(gear) == []


@pytest.mark.parametrize(("size", "scheme"), [((390, 844), "light"), ((1440, 900), "dark")])
def test_the_record_says_what_was_refused_and_only_its_button_applies(show, gear: Answers, size, scheme) -> None:
    page = show("gear/cup", size, scheme)
    page.get_by_text("refused: the wind changed").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    gear.known["calibrations"] = [{**MADE, "applied_utc": 1.8e9}, REFUSED]
    page.get_by_role("button", name="Use this line").click()
    page.get_by_text("in use since").wait_for()
    assert gear.count("calibrations/4/apply") == 1
    assert errors_of(gear) == []


def test_a_walk_tells_what_is_missing_and_goes_on_record_when_it_stops(show, gear: Answers) -> None:
    page = show("gear/cup")
    page.clock.install()
    page.reload()
    gear.known["calibrations/look"] = {
        **LINE,
        "is_usable": False,
        "refusal": "unsure. Missing: 5 more minutes",
        "legs": 9,
    }
    page.get_by_role("button", name="Start the walk").click()
    page.get_by_text("Walking for").wait_for()
    assert page.get_by_role("button", name="Start a reading").count() == 0
    gear.known["calibrations/clock"] = {**CLOCK, "mono": 130.0}
    page.clock.run_for(25_000)
    page.get_by_text("9 steady legs").wait_for()
    page.get_by_text("Missing: 5 more minutes").wait_for()
    page.get_by_role("button", name="Stop and work it out").click()
    page.get_by_role("button", name="Start the walk").wait_for()
    interval = {"boot": "0123abcd", "start": 100.0, "end": 130.0}
    assert bodies(gear, "calibrations") == [{"way": "walk", "rig": "rig-1", "interval": interval}]
    assert errors_of(gear) == []
