"""The pages against answers made up for the test, for days that a real service seldom has.

A double, clearly: no figure is judged here.
"""

from typing import Any

import pytest
from lawnroom import EMPTY_ROOM, JOB, KEYS, POSITION, SETUP, Answers, errors_of
from playwright.sync_api import Page, expect


def test_before_the_first_word_of_the_rig_everything_is_not_known_and_nothing_breaks(show, answers: Answers) -> None:
    page = show("lawn")
    page.get_by_text("Not spraying").wait_for()
    text = page.inner_text("main")
    assert "not heard yet" in text
    assert "no position" in text
    assert "NaN" not in text
    assert "null" not in text
    assert "undefined" not in text
    assert errors_of(answers) == []


def test_the_outline_is_asked_for_again_when_the_service_is_found_again(show, answers: Answers) -> None:
    page = show("lawn")
    page.get_by_text("no position").wait_for()
    before = answers.count("lawn")
    assert before >= 1
    receiver = {**EMPTY_ROOM["receiver"], "fix": "single", "sats": 9}
    answers.known["live"] = {**EMPTY_ROOM, "position": POSITION, "receiver": receiver}
    with page.expect_request("**/api/lawn", timeout=10_000):
        page.get_by_text("single fix").wait_for()


def test_a_lost_service_is_said_loudly_and_found_again_without_a_reload(show, answers: Answers) -> None:
    page = show("lawn")
    page.get_by_text("Not spraying").wait_for()
    answers.is_down = True
    page.get_by_text("looking for the service").wait_for(timeout=10_000)
    assert "Trust the sounder" in page.inner_text(".age")
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    answers.is_down = False
    page.get_by_text("North lawn: running").wait_for(timeout=10_000)
    assert errors_of(answers) == []


def test_the_review_of_an_open_job_says_so_and_offers_what_there_is(show, answers: Answers) -> None:
    answers.known["jobs/2/review"] = {"state": "none", "progress": 0.0, "doing": "", "problem": ""}
    page = show("got/2")
    page.get_by_text("This job is still open").wait_for()
    page.get_by_role("button", name="Compute it now").click()
    page.wait_for_timeout(200)
    assert ("POST", "jobs/2/review", None) in answers.asked


def test_a_review_shows_how_far_it_is_and_a_failed_one_can_be_computed_again(show, answers: Answers) -> None:
    state = {"state": "pending", "progress": 0.4, "doing": "the wind", "problem": ""}
    answers.known["jobs/2/review"] = state
    page = show("got/2")
    page.get_by_text("Computing the review: the wind…").wait_for()
    bar = page.get_by_role("progressbar", name="How far the review is")
    assert bar.evaluate("(bar) => bar.value") == 0.4
    answers.known["jobs/2/review"] = {**state, "state": "failed", "problem": "no fix."}
    page.get_by_text("The review failed: no fix.").wait_for()
    expect(bar).to_be_hidden()
    page.get_by_role("button", name="Compute it again").click()
    page.wait_for_timeout(200)
    assert ("POST", "jobs/2/review", None) in answers.asked


def test_finishing_asks_twice_and_a_peg_has_a_name(show, answers: Answers) -> None:
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    page = show("lawn")
    page.get_by_text("North lawn: running").wait_for()
    page.get_by_role("button", name="Finish").click()
    page.get_by_text("Press again within 5 seconds").wait_for()
    assert answers.count("jobs/2/buttons") == 0
    page.get_by_role("button", name="Press again").click()
    page.get_by_role("button", name="Peg").click()
    page.get_by_role("button", name="New peg A").click()
    page.get_by_text("Noted: peg").wait_for()
    pressed = [body for _, name, body in answers.asked if name == "jobs/2/buttons"]
    assert pressed == [{"kind": "finish", "detail": {}}, {"kind": "peg", "detail": {"name": "A"}}]


def test_the_passcode_is_asked_for_once_and_lets_in(show, answers: Answers) -> None:
    answers.is_locked = True
    page = show("lawn")
    word = page.get_by_label("The one that was set", exact=False)
    word.fill("six")
    page.get_by_role("button", name="Go in").click()
    page.get_by_text("That is not the passcode").wait_for()
    word.fill("seven")
    page.get_by_role("button", name="Go in").click()
    page.get_by_text("Not spraying").wait_for()
    assert page.locator("dialog[open]").count() == 0


def test_a_refused_setting_is_marked_at_its_field(show, answers: Answers) -> None:
    page = show("gear")
    field = page.get_by_label("Width of a pass", exact=False)
    field.fill("30")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Not saved").wait_for()
    assert field.get_attribute("aria-invalid") == "true"
    assert "out of range" in page.inner_text("#field-sprayer-swath_m-wrong")
    assert answers.known["setup"] is SETUP


def test_what_is_typed_and_not_yet_saved_is_carried_to_other_units(show, answers: Answers) -> None:
    limit = {"key": "treatment.wind_limit_mps", "unit": "m/s", "range": [0.1, 40.0], "default": None, "choices": None}
    answers.known["setup/keys"] = [*KEYS, limit]
    page = show("gear")
    width = page.get_by_label("Width of a pass", exact=False)
    width.fill("0.6096")
    page.get_by_label("Wind limit", exact=False).fill("10")
    page.get_by_label("Unit of the limit", exact=False).select_option("mph")
    page.get_by_label("Units", exact=True).select_option("gal_per_acre")
    assert width.input_value() == "2"
    page.get_by_label("Units", exact=True).select_option("l_per_ha")
    assert width.input_value() == "0.6096"
    width.fill("0.6 or so")
    page.get_by_label("Units", exact=True).select_option("gal_per_acre")
    assert width.input_value() == "0.6 or so"
    width.fill("3")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved").wait_for()
    saved = next(body for method, _, body in answers.asked if method == "PUT")
    assert saved["sprayer"]["swath_m"] == pytest.approx(0.9144, abs=1e-9)
    assert saved["treatment"] == {"target_l_per_m2": 0.04, "wind_limit_stated": "10 mph"}
    assert errors_of(answers) == []


def test_a_stop_stays_in_sight_wherever_the_page_is_scrolled(show, answers: Answers) -> None:
    alarm = {"level": "stop", "reason": "The wind is above the limit", "since_utc": None}
    answers.known["live"] = {**EMPTY_ROOM, "alarm": alarm}
    page = show("gear")
    page.get_by_label("Width of a pass", exact=False).wait_for()
    page.mouse.wheel(0, 3000)
    page.get_by_role("link", name="On the lawn").evaluate("link => link.click()")
    word = page.get_by_text("STOP SPRAYING", exact=True)
    word.wait_for()
    assert page.evaluate("scrollY") == 0
    for _ in range(3):
        page.mouse.wheel(0, 800)
        page.wait_for_timeout(150)
        box = word.bounding_box()
        assert box is not None
        assert 0 <= box["y"] < 200
    assert page.evaluate("scrollY") > 100


def test_units_change_everywhere_at_once_and_are_kept(show, answers: Answers) -> None:
    page = show("lawn")
    page.get_by_text("4.00\u00a0L/100 m²").first.wait_for()
    page.get_by_label("Units").select_option("gal_per_1000ft2")
    page.get_by_text("0.982\u00a0gal/1000 ft²").first.wait_for()
    text = page.inner_text("main")
    assert "L/100 m²" not in text
    assert "3.96\u00a0gal" in text
    page.reload()
    page.get_by_text("0.982\u00a0gal/1000 ft²").first.wait_for()


def strips_of(verdict: str, doubt: str | None = None) -> dict[str, Any]:
    """Two strips along the lawn's south edge, and what is known between them."""
    lines = [[[1.0, 0.5], [8.0, 0.5]], [[8.0, 2.5], [1.0, 2.5]]]
    pair = {
        "pass_a": 1, "pass_b": 2, "from_m": 0.0, "to_m": 7.0, "spacing_m": 2.0, "spacing_sd_m": 0.4, "verdict": verdict,
        "probability": 0.97, "doubt": doubt, "width_m": 0.0 if verdict == "even" else 1.0,
        "line_m": [[1.0, 1.5], [8.0, 1.5]],
    }  # fmt: skip
    passes = [{"pass": number, "length_m": 7.0, "line_m": line} for number, line in enumerate(lines, start=1)]
    return {"as_of_utc": None, "way_points": 0, "passes": passes, "pairs": [pair]}


def read_band(page: Page) -> list[int]:
    """How light the drawing is along a line across the middle of the seam, point by point."""
    # The outline reaches from 0 to 9 m both ways and is drawn with a margin of 30 points.
    found: list[int] = page.evaluate("""() => {
      const canvas = document.querySelector('.lawn-drawing');
      const {clientWidth: width, clientHeight: height} = canvas;
      const scale = Math.min((width - 60) / 9, (height - 60) / 9);
      const x = width / 2 + (3.0 - 4.5) * scale, y = height / 2 + (4.5 - 1.3) * scale;
      const ratio = canvas.width / width;
      const {data} = canvas.getContext('2d').getImageData(x * ratio, y * ratio, 50 * ratio, 8);
      return Array.from({length: data.length / 4}, (_, at) => data[4 * at]);
    }""")
    return found


SCREENS = [((390, 844), "light"), ((390, 844), "dark"), ((1440, 900), "light"), ((1440, 900), "dark")]


@pytest.mark.parametrize(("size", "scheme"), SCREENS)
def test_what_is_doubtful_between_strips_has_a_pattern_and_a_word(show, answers: Answers, size, scheme) -> None:
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    bands = {}
    for verdict, doubt, word in (
        ("even", None, "Strip 2 beside 1: even."),
        ("gap", None, "a strip seems missed"),
        ("doubled", None, "seems sprayed twice"),
        ("unsure", "receiver", "cannot tell (receiver"),
    ):
        answers.strips = strips_of(verdict, doubt)
        page = show("lawn", size, scheme)
        page.get_by_text(word).first.wait_for()
        above = page.get_by_role("button", name="The lawn from above")
        if above.is_visible():  # a phone shows the strip underfoot first
            above.click()
        page.wait_for_timeout(150)
        bands[verdict] = read_band(page)
        part = page.locator(".strips")
        assert part.get_attribute("data-verdict") == verdict
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0
        page.close()
    assert len(set(bands["even"])) == 1, "plain lawn"
    for verdict in ("gap", "doubled", "unsure"):
        assert max(bands[verdict]) - min(bands[verdict]) > 100, f"{verdict}: strokes that stand out"
    assert len({tuple(band) for band in bands.values()}) == 4, "each kind has a pattern of its own"
    assert errors_of(answers) == []


def test_strips_are_promised_with_a_job_and_say_nothing_without_one(show, answers: Answers) -> None:
    page = show("lawn")
    page.get_by_text("Not spraying").wait_for()
    assert not page.locator(".strips").is_visible()
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    page = show("lawn")
    page.get_by_text("Strips are judged at the end of each pass.").wait_for()
    assert errors_of(answers) == []
