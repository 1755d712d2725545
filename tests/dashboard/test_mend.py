"""What to mend on the page: the walk in its order, drawn and in words, the mix by what is left, a sheet to print."""

import json
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route

JOB = {"id": 2, "name": "Back lawn", "state": "finished", "started_at": "2027-04-02T07:30:00+00:00"}
LAWN = [{"name": "Lawn", "kind": "zone", "rings_m": [[[0, 0], [9, 0], [9, 20], [0, 20], [0, 0]]]}]
STRIP = {
    "kind": "gap", "passes": [3, 4], "why_not": None, "length_m": 20.0, "width_m": 1.0, "area_m2": 20.0,
    "volume_l": 0.4, "probability": 0.97, "place_sd_m": 0.02, "gain_m2": 17.0, "doubled_if_wrong_m2": 20.0,
}  # fmt: skip
PLAN: dict[str, Any] = {
    "target_l_per_m2": 0.02, "swath_m": 1.0, "area_m2": 40.0, "volume_l": 0.8, "allowance_l": 0.08, "between_m": 5.0,
    "small_count": 1, "small_m2": 0.6, "small_surplus_l": 0.0, "seams_m": 160.0, "untold_m": 0.0,
    "repeats": [
        {**STRIP, "order": 1, "lines_m": [[[3.5, 0.0], [3.5, 20.0]]]},
        {**STRIP, "order": 2, "kind": "edge", "passes": [], "lines_m": [[[8.5, 20.0], [8.5, 0.0]]]},
    ],
    "looks": [{**STRIP, "order": None, "why_not": "narrow", "width_m": 0.6, "lines_m": [[[6.0, 0.0], [6.0, 20.0]]]}],
    "alone": [{
        "kind": "doubled", "passes": [1, 2], "line_m": [[1.5, 0.0], [1.5, 20.0]], "area_m2": 18.0,
        "dose_l_per_m2": 0.04, "times_target": 2.0, "surplus_l": 0.36, "probability": 0.98, "is_beyond_label": True,
    }],
    "thin": [],
    "label": {"carrier_least_l_per_m2": None, "carrier_most_l_per_m2": None, "most_times": 1.5, "strictest": "Feed"},
}  # fmt: skip
EMPTY = {
    "review": {"state": "ready", "wind": {}, "notes": [], "passes": 4, "zones": LAWN}, "passes": [], "pairs": [],
    "findings": [], "track": {"t_s": [], "east_m": [], "north_m": [], "spraying": []},
    "wind": {"t_s": [], "mean_60s_mps": [], "limit_mps": None, "limit_stated": None},
    "flow": {"t_s": [], "flow_l_per_min": []},
    "dose": {"x0_m": 0, "y0_m": 0, "cell_m": 1, "nx": 0, "ny": 0, "target_l_per_m2": 0.02, "under_fraction": 0.9,
             "over_fraction": 1.1, "l_per_m2": []},
}  # fmt: skip


def mix(left_l: float) -> dict[str, float]:
    """What the service says to so much left in the tank."""
    taken = min(0.88, left_l)
    return {"need_l": 0.88, "from_tank_l": taken, "mix_l": 0.88 - taken, "left_l": left_l - taken}


def open_report(browser: Browser, files: str, size: tuple[int, int], scheme: Any, plan: Any = PLAN) -> Page:
    """The report of a job with a plan, or without one."""

    def answer(route: Route) -> None:
        name, _, query = route.request.url.partition("/api/")[2].partition("?")
        part = name.removeprefix("jobs/2").removeprefix("/")
        if name == "jobs":
            found: Any = [JOB]
        elif name == "jobs/2":
            found = JOB
        elif part == "touchup" and plan is not None:
            found = {**plan, "mix": mix(float(query.partition("=")[2] or 0.0))}
        else:
            found = EMPTY.get(part)
        if found is None:
            route.fulfill(status=404, json={"title": "Not here", "detail": "not here"})
        else:
            route.fulfill(status=200, content_type="application/json", body=json.dumps(found))

    viewport = {"width": size[0], "height": size[1]}
    page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.route("**/api/**", answer)
    page.goto(f"{files}/#got/2")
    page.get_by_role("heading", name="Before you rely on it").wait_for()
    assert faults == []
    return page


@pytest.mark.parametrize(("size", "scheme"), [((390, 844), "light"), ((1280, 800), "dark")])
def test_the_walk_stands_in_its_order_with_what_is_left_alone_and_what_is_for_the_eye(
    browser, files, size, scheme
) -> None:
    page = open_report(browser, files, size, scheme)
    part = page.locator(".mend")
    items = part.locator("ol li").all_inner_texts()
    assert [item.partition(":")[0] for item in items] == ["Between passes 3 and 4", "Beside the edge"]
    text = part.inner_text().replace("\u00a0", " ")
    assert "2 strips were missed. Walk them again in this order: 40.0 m², 0.800 L" in text
    assert "Passes 1 and 2 lie on one another: 18.0 m² got 2.0 times the target, 0.36 L too much" in text
    assert "beyond the label of Feed" in text
    assert "Narrow the swath, or leave it." in text
    assert "One smaller strip" in text
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0


def test_the_lines_to_walk_are_drawn(browser, files) -> None:
    page = open_report(browser, files, (390, 844), "light")
    page.wait_for_timeout(150)
    darkest = page.evaluate("""() => {
      const canvas = document.querySelector('.mend-drawing');
      const {clientWidth: width, clientHeight: height} = canvas, ratio = canvas.width / width;
      const scale = Math.min((width - 60) / 9, (height - 60) / 20);
      const at = (east, north) => [width / 2 + (east - 4.5) * scale, height / 2 - (north - 10) * scale];
      const read = (east, north) => {
        const [x, y] = at(east, north);
        const {data} = canvas.getContext('2d').getImageData((x - 1) * ratio, (y - 1) * ratio, 3, 3);
        return Math.min(...Array.from({length: data.length / 4}, (_, place) => data[4 * place]));
      };
      return {walked: read(3.5, 10), plain: read(4.7, 10)};
    }""")
    assert darkest["walked"] < 60
    assert darkest["plain"] > 200


def test_what_is_left_in_the_tank_is_used_first(browser, files) -> None:
    page = open_report(browser, files, (390, 844), "light")
    part = page.locator(".mix")
    assert "Mix 0.880\u00a0L" in part.inner_text()
    page.get_by_label("Left in the tank, L").fill("0,5")
    page.get_by_label("Left in the tank, L").press("Enter")
    part.get_by_text("Use the 0.500\u00a0L in the tank and mix 0.380\u00a0L more").wait_for()
    page.get_by_label("Left in the tank, L").fill("minus one")
    page.get_by_label("Left in the tank, L").press("Enter")
    part.get_by_text("That is no volume that a tank holds.").wait_for()


def test_the_sheet_to_print_is_the_list_and_its_drawing_alone(browser, files) -> None:
    page = open_report(browser, files, (800, 1000), "light")
    page.evaluate("window.print = () => { window.isPrinted = true; }")
    page.get_by_role("button", name="Print this list").click()
    assert page.evaluate("window.isPrinted")
    page.emulate_media(media="print")
    shown = page.evaluate("""() => [...document.querySelectorAll('.report > *')]
      .filter((each) => getComputedStyle(each).display !== 'none')
      .map((each) => each.querySelector('h2').textContent)""")
    assert shown == ["What to mend?"]
    assert page.locator(".tick-box:visible").count() == 3, "two to walk and one to look at"
    assert "from the edge on your" in page.inner_text(".mend ol")
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.evaluate("document.body.dataset.print") is None


def test_a_review_from_before_there_were_plans_is_shown_without_one(browser, files) -> None:
    page = open_report(browser, files, (390, 844), "light", plan=None)
    assert page.locator(".mend").count() == 0
