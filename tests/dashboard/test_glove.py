"""The bar under a gloved thumb, pressed in a real browser against answers made up for the test.

A double, clearly: no figure is judged here.
"""

from collections.abc import Callable

import pytest
from lawnroom import EMPTY_ROOM, JOB, Answers, errors_of
from playwright.sync_api import Page, expect
from screens import MEASURE

Show = Callable[..., Page]


def pressed(answers: Answers) -> list[str]:
    """The buttons that reached the service."""
    return [body["kind"] for method, name, body in answers.asked if method == "POST" and name == "jobs/2/buttons"]


def hold(page: Page, span_ms: int) -> None:
    """Press the bar with the mouse for so long."""
    box = page.locator(".buttons .glove").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.wait_for_timeout(span_ms)
    page.mouse.up()


@pytest.mark.parametrize("size", [(390, 844), (1440, 900)])
def test_a_short_touch_does_nothing_and_a_held_one_pauses_and_can_be_undone(
    show: Show, answers: Answers, size: tuple[int, int]
) -> None:
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    page = show("lawn", size)
    bar = page.locator(".buttons .glove")
    expect(bar).to_contain_text("Pause")
    hold(page, 250)
    assert pressed(answers) == []
    hold(page, 900)
    expect(bar).to_contain_text("Undo: go on")
    hold(page, 900)
    page.get_by_text("Going on").wait_for()
    assert pressed(answers) == ["pause", "start"]
    expect(bar).to_contain_text("Pause")
    assert errors_of(answers) == []


def test_undo_is_offered_for_five_seconds(show: Show, answers: Answers) -> None:
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    page = show("lawn")
    bar = page.locator(".buttons .glove")
    expect(bar).to_contain_text("Pause")
    hold(page, 900)
    expect(bar).to_contain_text("Undo: go on")
    expect(bar).not_to_contain_text("Undo", timeout=8000)


def test_starting_is_held_longer(show: Show, answers: Answers) -> None:
    answers.posted["jobs"] = JOB
    page = show("lawn")
    expect(page.locator(".buttons .glove")).to_contain_text("Start the job")
    hold(page, 900)
    assert ("POST", "jobs") not in [(method, name) for method, name, _ in answers.asked]
    hold(page, 1800)
    page.get_by_text("Job started").wait_for()
    expect(page.locator(".buttons .glove")).not_to_contain_text("Undo")


def test_enter_twice_or_held_does_what_a_thumb_does(show: Show, answers: Answers) -> None:
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    page = show("lawn")
    bar = page.locator(".buttons .glove")
    expect(bar).to_contain_text("Pause")
    bar.press("Enter")
    page.get_by_text("Press again within 5 seconds to pause", exact=False).wait_for(state="attached")
    assert pressed(answers) == []
    bar.press("Enter")
    expect(bar).to_contain_text("Undo: go on")
    bar.focus()
    page.keyboard.down("Enter")
    page.wait_for_timeout(900)
    page.keyboard.up("Enter")
    page.get_by_text("Going on").wait_for()
    expect(bar).to_contain_text("Pause")
    bar.evaluate("button => { button.click(); button.click(); }")
    page.get_by_text("Paused", exact=False).first.wait_for()
    assert pressed(answers) == ["pause", "start", "pause"]


def test_several_fingers_press_nothing(show: Show, answers: Answers) -> None:
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    page = show("lawn")
    bar = page.locator(".buttons .glove")
    expect(bar).to_contain_text("Pause")
    box = bar.bounding_box()
    assert box is not None
    wire = page.context.new_cdp_session(page)

    def touch(kind: str, fingers: int) -> None:
        points = [{"x": box["x"] + 80 + 60 * k, "y": box["y"] + 60, "id": k} for k in range(fingers)]
        wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 1)
    touch("touchStart", 3)
    page.wait_for_timeout(1200)
    touch("touchEnd", 0)
    assert pressed(answers) == []
    touch("touchStart", 1)
    page.wait_for_timeout(1000)
    touch("touchEnd", 0)
    expect(bar).to_contain_text("Undo: go on")
    assert pressed(answers) == ["pause"]


def test_the_bar_takes_the_bottom_third_of_a_phone(show: Show, answers: Answers) -> None:
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB}
    page = show("lawn")
    page.get_by_text("North lawn: running").wait_for()
    box = page.locator(".buttons .glove").bounding_box()
    assert box is not None
    assert box["height"] > 844 * 0.28
    assert box["width"] > 350
    assert box["y"] + box["height"] <= 844
    assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}


@pytest.mark.parametrize(("size", "scheme"), [((390, 844), "light"), ((390, 844), "dark"), ((1440, 900), "light")])
def test_a_stop_covers_the_page_until_it_is_seen_and_the_next_does_again(
    show: Show, answers: Answers, size: tuple[int, int], scheme: str
) -> None:
    alarm = {"level": "stop", "reason": "The wind is above the limit", "since_utc": 1_795_809_600.0}
    answers.known["live"] = {**EMPTY_ROOM, "job": JOB, "at_utc": 1_795_809_660.0, "alarm": alarm}
    page = show("lawn", size, scheme)
    page.get_by_text("STOP SPRAYING", exact=True).wait_for()
    part = page.locator(".alarm")
    box = part.bounding_box()
    assert box == {"x": 0, "y": 0, "width": size[0], "height": size[1]}
    text = part.inner_text()
    assert "The wind is above the limit" in text
    assert "for 1\u00a0min 0\u00a0s" in text
    assert "lull" in text
    assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}
    see = part.locator(".glove")
    see.click()
    assert "whole" in (part.get_attribute("class") or ""), "a drop does not put it away"
    see.focus()
    page.keyboard.down(" ")
    page.wait_for_timeout(900)
    page.keyboard.up(" ")
    expect(part).not_to_have_class("alarm whole")
    page.get_by_text("STOP SPRAYING", exact=True).wait_for()
    answers.known["live"] = {**answers.known["live"], "alarm": {**alarm, "since_utc": 1_795_809_650.0}}
    expect(part).to_have_class("alarm whole", timeout=10_000)
    assert errors_of(answers) == []
