"""What it got: grain, the straightened lawn and one pass looked at everywhere, over answers made up for the test.

A double, clearly: no figure is judged here.
"""

import json
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, Route
from screens import MEASURE
from walked import JOB, LAWN, PASSES, lay_dose, list_passes, review_parts

NOTE = "In 2 s the wind was above 4.4704 m/s."


def answers() -> dict[str, Any]:
    """All parts of the review."""
    review = {"state": "ready", "wind": {}, "notes": [NOTE], "passes": PASSES, "zones": LAWN, "track_sd_m": 0.3}
    return {"review": review, "findings": [], **review_parts()}


def open_report(browser: Browser, files: str, size: tuple[int, int], scheme: Any, changed: Any = None) -> Page:
    """The report, once its table is there."""
    known = {**answers(), **(changed or {})}

    def answer(route: Route) -> None:
        name = route.request.url.partition("/api/")[2].partition("?")[0]
        part = name.removeprefix("jobs/2/")
        found = [JOB] if name == "jobs" else JOB if name == "jobs/2" else known.get(part)
        if found is None:
            route.fulfill(status=404, json={"title": "Not here", "detail": "not here"})
        else:
            route.fulfill(status=200, content_type="application/json", body=json.dumps(found))

    page = browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme).new_page()
    page.on("pageerror", lambda error: page.evaluate("text => { document.title = text }", f"ERROR {error}"))
    page.route("**/api/**", answer)
    page.goto(f"{files}/#got/2")
    page.get_by_role("heading", name="Before you rely on it").wait_for()
    page.wait_for_timeout(150)
    return page


def darkest(canvas: Locator, box: tuple[float, float, float, float]) -> float:
    """The share of dark points in a part of a drawing, by shares of its width and height."""
    return canvas.evaluate(
        """(canvas, [left, top, right, low]) => {
      const {width, height} = canvas;
      const pen = canvas.getContext('2d');
      const {data} = pen.getImageData(left * width, top * height, (right - left) * width, (low - top) * height);
      let dark = 0;
      for (let at = 0; at < data.length; at += 4) {
        if (data[at + 3] > 128 && data[at] + data[at + 1] + data[at + 2] < 240) dark += 1;
      }
      return (4 * dark) / data.length;
    }""",
        list(box),
    )


def lane(canvas: Locator, line_m: float) -> tuple[float, float, float, float]:
    """The part of the map that a swath's middle half covers: the lawn is 20 m high between margins of 30 points."""
    size: dict[str, float] = canvas.evaluate("canvas => ({width: canvas.clientWidth, height: canvas.clientHeight})")
    scale = (size["height"] - 60) / 20
    left = size["width"] / 2 + (line_m - 0.3 - 2) * scale
    return left / size["width"], 0.3, (left + 0.6 * scale) / size["width"], 0.7


def picture(canvas: Locator) -> str:
    """What a drawing shows."""
    found: str = canvas.evaluate("canvas => canvas.toDataURL()")
    return found


def test_the_grain_tells_missed_once_and_doubled_ground_without_colour(browser, files) -> None:
    page = open_report(browser, files, (1280, 800), "light")
    lawn = page.locator(".report .lawn-drawing").first
    once, doubled, missed = (darkest(lawn, lane(lawn, line_m)) for line_m in (0.5, 1.5, 2.5))
    assert missed == 0.0, "bare"
    assert once > 0.02
    assert doubled > 1.7 * once


def test_a_pass_chosen_anywhere_is_seen_everywhere(browser, files) -> None:
    page = open_report(browser, files, (390, 844), "light")
    lawn, strips = page.locator(".report .lawn-drawing").first, page.locator(".straight")
    traces = page.locator(".trace")
    drawings = [lawn, strips, *(traces.nth(k) for k in range(traces.count()))]
    assert len(drawings) == 6
    plain = [picture(each) for each in drawings]
    picks = page.locator(".pick")
    picks.nth(1).focus()
    page.keyboard.press("Enter")
    page.get_by_text("Pass 2 of 4").wait_for()
    page.wait_for_timeout(100)
    assert all(picture(each) != before for each, before in zip(drawings, plain, strict=True))
    page.get_by_role("button", name="Pass after").click()
    page.get_by_text("Pass 3 of 4").wait_for()
    pressed = [picks.nth(k).get_attribute("aria-pressed") for k in range(PASSES)]
    assert pressed == ["false", "false", "true", "false"]
    page.get_by_role("button", name="Look at no pass").click()
    page.wait_for_timeout(100)
    assert [picture(each) for each in drawings] == plain, "and nothing moved meanwhile"


def test_a_tap_on_each_drawing_chooses_the_pass_under_it(browser, files) -> None:
    page = open_report(browser, files, (1280, 800), "dark")
    lawn, strips, wind = (
        page.locator(".report .lawn-drawing").first,
        page.locator(".straight"),
        page.locator(".trace").first,
    )
    said = page.locator(".chosen-bar [role=status]")

    def tap(canvas: Locator, x: float, y: float, wanted: str) -> None:
        canvas.scroll_into_view_if_needed()
        canvas.evaluate(
            "(canvas, [x, y]) => { const {left, top} = canvas.getBoundingClientRect();"
            " canvas.dispatchEvent(new MouseEvent('click', {clientX: left + x, clientY: top + y, bubbles: true})); }",
            [x, y],
        )
        page.wait_for_function("([bar, text]) => bar.innerText.startsWith(text)", arg=[said.element_handle(), wanted])

    left, _, right, _ = lane(lawn, 3.5)
    width, height = lawn.evaluate("canvas => [canvas.clientWidth, canvas.clientHeight]")
    tap(lawn, width * (left + right) / 2, height / 2, "Pass 4 of 4")
    slot = min(72, strips.evaluate("canvas => Math.floor(canvas.clientWidth / 4)"))
    tap(strips, slot * 0.5, 100, "Pass 1 of 4")
    wide = wind.evaluate("canvas => canvas.clientWidth")
    tap(wind, 46 + (wide - 58) * 70 / 119, 90, "Pass 3 of 4")


@pytest.mark.parametrize(("size", "scheme"), [((390, 844), "light"), ((820, 1180), "dark"), ((1440, 900), "light")])
def test_the_page_is_readable_with_a_pass_chosen(browser, files, size, scheme) -> None:
    page = open_report(browser, files, size, scheme)
    page.locator(".pick").first.click()
    page.get_by_text("Pass 1 of 4").wait_for()
    assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}
    assert not page.title().startswith("ERROR")


def test_the_strips_are_told_in_words_and_a_change_of_units_keeps_the_pass(browser, files) -> None:
    page = open_report(browser, files, (390, 844), "light")
    page.get_by_text("The strips in words").click()
    words = page.inner_text(".strip-words").replace("\u00a0", " ")
    assert "20.0 m to the north, 100 % of its target" in words
    assert "towards pass 4 a gap from 0 m to 20 m (97 % sure)" in words
    assert words.count("on ground sprayed twice from 0 m to 20 m") == 2
    page.locator(".pick").nth(2).click()
    page.get_by_text("In 2 s the wind was above 4.5\u00a0m/s.").wait_for()
    page.get_by_label("Units").select_option("gal_per_acre")
    page.get_by_text("In 2 s the wind was above 10.0\u00a0mph.").wait_for()
    page.get_by_text("65.6\u00a0ft, 100\u00a0% of target").wait_for()
    assert page.locator(".pick").nth(2).get_attribute("aria-pressed") == "true"


def test_a_review_from_before_strips_were_drawn_says_what_to_do(browser, files) -> None:
    passes = [
        {name: value for name, value in each.items() if name not in ("start_s", "end_s")} for each in list_passes()
    ]
    dose = {name: value for name, value in lay_dose().items() if name not in ("swath_m", "sd_tenths")}
    page = open_report(browser, files, (390, 844), "light", {"passes": passes, "dose": dose})
    page.get_by_text("Compute it again, at the foot of the page", exact=False).wait_for()
    page.locator(".pick").first.click()
    page.get_by_text("Pass 1 of 4").wait_for()
    assert not page.title().startswith("ERROR")


def test_the_job_is_played_back_up_to_a_moment_and_comes_back_whole(browser, files) -> None:
    page = open_report(browser, files, (1280, 800), "light")
    lawn = page.locator(".report .lawn-drawing").first
    slider = page.get_by_label("How did it come about?")
    before = picture(lawn)
    slider.fill("45")
    page.get_by_text("After 45\u00a0s: pass 2").wait_for()
    page.wait_for_timeout(100)
    first, fourth = (darkest(lawn, lane(lawn, line_m)) for line_m in (0.5, 3.5))
    assert first > 0.02
    assert fourth == 0.0, "nobody was there yet"
    slider.press("ArrowRight")
    page.get_by_text("After 46\u00a0s").wait_for()
    page.get_by_role("button", name="Show the whole job").click()
    page.wait_for_timeout(100)
    assert picture(lawn) == before
    page.get_by_role("button", name="Play it back, 5 times as fast").click()
    page.get_by_text("between passes", exact=False).wait_for()
    page.get_by_role("button", name="Hold").click()
    held = slider.input_value()
    page.wait_for_timeout(300)
    assert slider.input_value() == held
    assert 20 < float(held) < 119
    assert not page.title().startswith("ERROR")


def test_the_strips_are_printed_alone_with_their_words_in_black_on_white(browser, files) -> None:
    printed = []
    for scheme in ("light", "dark"):
        page = open_report(browser, files, (900, 800), scheme)
        page.evaluate("window.print = () => { document.body.dataset.printed = 'yes' }")
        strips = page.locator(".straight")
        before = picture(strips)
        page.get_by_role("button", name="Print the strips").click()
        page.emulate_media(media="print")
        page.wait_for_timeout(100)
        assert page.locator("body").get_attribute("data-printed") == "yes"
        printed.append((strips.bounding_box(), picture(strips)))
        box = page.locator(".strip-words li").first.bounding_box()
        assert box is not None
        assert box["width"] > 700
        assert page.locator(".report > .part:visible").count() == 1
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        page.emulate_media(media="screen")
        page.wait_for_timeout(100)
        assert picture(strips) == before
        assert page.locator(".strips-part details").get_attribute("open") is None
    assert printed[0] == printed[1], "the same ink whatever the screen's light"


def test_the_whole_report_goes_on_paper_in_ink_and_as_wide_as_a_sheet(browser, files) -> None:
    drawn = []
    for scheme, width in (("light", 1280), ("dark", 390)):
        page = open_report(browser, files, (width, 844), scheme)
        page.evaluate("""() => addEventListener("beforeprint", () => {
          const drawings = [...document.querySelectorAll(".straight, .trace")];
          window.onSheet = drawings.map((each) => [each.clientWidth, each.toDataURL()]);
        })""")
        screen = page.locator(".trace").first.bounding_box()
        page.pdf(format="A4")
        drawn.append(page.evaluate("window.onSheet"))
        page.wait_for_timeout(100)
        assert page.locator(".trace").first.bounding_box() == screen, "as it was once the sheets are out"
    assert len(drawn[0]) >= 3
    assert drawn[0] == drawn[1], "the same ink whatever the screen's light and width"
    assert {width for width, _ in drawn[0]} == {680}
    page.emulate_media(media="print")
    pressed = page.locator("button:visible, input:visible, select:visible, nav:visible")
    assert set(pressed.evaluate_all("all => all.map((each) => each.className)")) == {"pick"}, "the passes' names"
    assert page.locator(".pick").first.evaluate("each => getComputedStyle(each).borderStyle") == "none"
    overflows = page.locator(".scroll").evaluate_all("all => all.map((each) => getComputedStyle(each).overflowX)")
    assert set(overflows) == {"visible"}, "no table is cut"
