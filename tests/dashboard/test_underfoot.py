"""The strip underfoot, the step and what is felt, on pages against answers made up for the test. A double, clearly."""

from collections.abc import Callable
from itertools import pairwise

import pytest
from lawnroom import EMPTY_ROOM, JOB, WIND, Answers, errors_of
from playwright.sync_api import Page, expect
from screens import MEASURE

WALKED = [(0.5 * k, 0.0) for k in range(41)] + [(20.0 - 0.5 * k, 1.0) for k in range(25)]
TRACK = {
    "reset": True, "east_m": [east for east, _ in WALKED], "north_m": [north for _, north in WALKED],
    "spraying": [True] * len(WALKED),
}  # fmt: skip
WALK = {
    **EMPTY_ROOM, "job": JOB, "speed_mps": 1.2, "wanted_speed_mps": 1.0, "is_spraying": True,
    "position": {"east_m": 8.0, "north_m": 1.0, "heading_deg": 270.0, "lat_deg": 45.0, "lon_deg": -30.0},
    "receiver": {"fix": "fixed", "sats": 14, "hdop": 0.8, "sd_m": 0.02, "rate_hz": 5.0},
    "wind": {**WIND, "apparent_mps": 1.2, "mean_60s_mps": 2.4, "from_deg": 90.0, "from_sd_deg": 10.0, "limit_mps": 2.0},
}  # fmt: skip


@pytest.mark.parametrize(("size", "scheme"), [((390, 844), "light"), ((390, 844), "dark"), ((1440, 900), "light")])
def test_step_strip_and_air_are_told_while_walking(
    show: Callable[..., Page], answers: Answers, size: tuple[int, int], scheme: str
) -> None:
    answers.known["live"], answers.track = WALK, TRACK
    page = show("lawn", size, scheme)
    page.get_by_text("The strip on the left is 1.0\u00a0m ± 0.028\u00a0m away", exact=False).wait_for()
    page.get_by_text("Shorter step", exact=True).wait_for()
    words = page.inner_text(".feel")
    assert "You feel 1.2 now, with it; the next strip will feel like 3.4, into it." in words
    assert "too much either way" in words
    drawn = page.evaluate("""() => {
      const canvas = document.querySelector('.underfoot-drawing');
      const {data} = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
      const at = (x, y) => data[4 * (Math.round(y * canvas.height) * canvas.width + Math.round(x * canvas.width))];
      const column = (x) => new Set(Array.from({length: 200}, (_, k) => at(x, 0.02 + 0.6 * k / 200))).size;
      return {left: column(0.2), right: column(0.8)};
    }""")
    assert drawn["left"] > 1, "the strip beside is drawn on the left"
    assert drawn["right"] == 1, "bare ground on the right"
    assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}
    assert errors_of(answers) == []


def swipe(page: Page, steps: list[tuple[float, float]], also: tuple[float, float] | None = None) -> None:
    """A finger from place to place, with another one that stays where it is, if told."""
    wire = page.context.new_cdp_session(page)

    def touch(kind: str, place: tuple[float, float] | None) -> None:
        fingers = [] if place is None else [place] if also is None else [place, also]
        points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(fingers)]
        wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", steps[0])
    page.wait_for_timeout(200 if also else 20)
    for step in steps[1:]:
        touch("touchMove", step)
    touch("touchEnd", None)


TOUCHED = """() => {
  const found = [];
  for (let at = document.elementFromPoint(300, 330); at !== null; at = at.parentElement) {
    found.push(getComputedStyle(at).touchAction);
  }
  return found.filter((each) => each !== 'auto').join(' and ');
}"""


def test_the_lawn_from_above_is_one_swipe_or_tap_away_on_a_phone(show: Callable[..., Page], answers: Answers) -> None:
    answers.known["live"], answers.track = WALK, TRACK
    page = show("lawn")
    underfoot, above = page.locator(".underfoot-drawing"), page.locator(".lawn-drawing")
    buttons = {name: page.get_by_role("button", name=name) for name in ("The lawn from above", "The strip underfoot")}
    expect(underfoot).to_be_visible()
    expect(above).not_to_be_visible()
    expect(buttons["The strip underfoot"]).to_have_attribute("aria-pressed", "true")
    left = [(300.0, 300.0), (240.0, 302.0), (160.0, 305.0)]
    swipe(page, left)
    expect(above).to_be_visible()
    expect(underfoot).not_to_be_visible()
    expect(buttons["The lawn from above"]).to_have_attribute("aria-pressed", "true")
    page.get_by_text("Shown now: The lawn from above").wait_for(state="attached")
    swipe(page, [(x, y) for x, y in reversed(left)])
    expect(underfoot).to_be_visible()
    buttons["The lawn from above"].press("Enter")
    expect(above).to_be_visible()
    buttons["The strip underfoot"].click()
    expect(underfoot).to_be_visible()
    page.evaluate("scrollTo(0, 0)")
    swipe(page, [(300.0, 330.0 - 25.0 * step) for step in range(11)])  # up and down is the page's own
    assert "pan-y" in page.evaluate(TOUCHED), "what lies under the finger lets the page scroll"
    page.evaluate("scrollTo(0, 0)")
    swipe(page, left, also=(330.0, 380.0))  # two fingers look closer
    page.wait_for_timeout(300)
    expect(above).not_to_be_visible()
    assert errors_of(answers) == []


REACH = {
    "way_m": 1.5, "way_sd_m": 0.5, "is_between": False, "is_enough": False, "lanes": 0, "into_m": 13.5, "lane_m": 20.0,
    "east_m": 6.5, "north_m": 1.0, "heading_deg": 270.0, "peg": "A", "back_m": 9.0,
}  # fmt: skip


def test_where_the_tank_runs_dry_is_said_and_drawn(show: Callable[..., Page], answers: Answers) -> None:
    answers.known["live"] = {**WALK, "is_tank_assumed": False, "tank_left_l": 0.06, "reach": REACH}
    answers.track = TRACK
    page = show("lawn")
    said = "The tank runs dry on this strip, about 2\u00a0m ahead, ±\u00a01\u00a0m; from there 9\u00a0m back to peg A."
    page.get_by_text(said).wait_for()
    strip = """() => {
      const canvas = document.querySelector('.underfoot-drawing');
      const {data} = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
      const at = (x, y) => data[4 * (Math.round(y * canvas.height) * canvas.width + Math.round(x * canvas.width))];
      const ink = (from, to) => Array.from({length: 200}, (_, k) => at(0.5, from + (to - from) * k / 200))
        .filter((value) => value < 100).length;
      return {far: ink(0.02, 0.2), near: ink(0.45, 0.66)};
    }"""
    page.wait_for_function(f"({strip})().far > 20")
    drawn = page.evaluate(strip)
    assert drawn["near"] < drawn["far"] / 2, "the likelier it is dry, the heavier the rows"
    above = page.get_by_role("button", name="The lawn from above")
    above.click()
    expect(page.locator(".lawn-drawing")).to_be_visible()
    assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}
    page.get_by_role("button", name="The strip underfoot").click()
    answers.known["live"] = {**answers.known["live"], "rig": {**EMPTY_ROOM["rig"], "name": "cart", "age_s": 42.0}}
    page.get_by_text("Alarm not known").wait_for(timeout=10_000)
    page.get_by_text("Too old to judge your step.").wait_for()
    for advice in (said, "You feel", "Shorter step"):
        expect(page.get_by_text(advice)).not_to_be_visible()
    assert errors_of(answers) == []


HEAR = """
window.heard = [];
window.AudioContext = class {
  get currentTime() { return performance.now() / 1000; }
  get destination() { return {}; }
  resume() {}
  suspend() {}
  createGain() { return {gain: {setValueAtTime() {}, linearRampToValueAtTime() {}}, connect: (next) => next}; }
  createOscillator() {
    const tone = {frequency: {value: 0}, connect: (next) => next, stop() {}};
    tone.start = (at) => window.heard.push([tone.frequency.value, at]);
    return tone;
  }
};"""


def test_the_right_step_is_ticked_only_on_wish_while_the_pace_is_off_and_no_alarm_stands(
    show: Callable[..., Page], answers: Answers
) -> None:
    answers.known["live"] = WALK
    page = show("lawn")
    page.add_init_script(HEAR)
    page.reload()
    ticks = "window.heard.filter(([hz]) => hz === 1500)"
    page.get_by_text("Shorter step", exact=True).wait_for()
    step = page.get_by_label("Your step, m")
    assert step.input_value() == "0.70"
    step.fill("0.5")
    step.press("Enter")
    assert page.evaluate(f"{ticks}.length") == 0, "not before it is wished for"
    page.get_by_role("button", name="Tick the right step").click()
    page.wait_for_function(f"{ticks}.length >= 4")
    times = page.evaluate(f"{ticks}.map(([, at]) => at)")
    assert [round(b - a, 3) for a, b in pairwise(times)] == [0.5] * (len(times) - 1)
    answers.known["live"] = {**WALK, "alarm": {"level": "notice", "reason": "gusts", "since_utc": None}}
    page.get_by_text("WATCH THE WIND").wait_for(timeout=10_000)
    count = page.evaluate(f"{ticks}.length")
    page.wait_for_timeout(1300)
    assert page.evaluate(f"{ticks}.length") - count <= 1, "what was planned before may still sound"
    page.get_by_role("button", name="The right step is ticked").click()
    page.get_by_role("button", name="Tick the right step").wait_for()
    page.reload()
    assert page.get_by_label("Your step, m").input_value() == "0.50"
    assert errors_of(answers) == []
