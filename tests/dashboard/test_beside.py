"""Two jobs beside each other, over answers made up for the test: one page, three sizes, day and night.

A double, clearly: no figure is judged here.
"""

import json
from typing import Any

from playwright.sync_api import Browser, Page, Route
from screens import MEASURE
from walked import JOB, LAWN, TARGET, lay_dose, walk

OTHER = {"id": 5, "name": "North lawn, again", "state": "finished", "started_at": "2027-02-15T08:00:00+00:00"}
NINTH_M2 = 80.0 / 9.0


def answers() -> dict[str, Any]:
    """Both jobs and their comparison; the second lies 3 m to the east on a plane of its own."""
    track, _ = walk()
    dose = lay_dose()
    moved = {**dose, "x0_m": -3.0}
    shifted = {**track, "east_m": [each - 3.0 for each in track["east_m"]]}
    heads = [
        {"job": number, "name": name, "target_l_per_m2": TARGET, "start_utc": 1.8e9, "volume_l": 1.6,
         "volume_sd_l": 0.02, "track_sd_m": 0.1, "wind": {"mean_mps": 2.0, "gust_mps": 3.5},
         "missed_ninths_m2": [0, 0, 6.7, 0, 0, 6.7, 0, 0, 6.7]}
        for number, name in ((2, JOB["name"]), (5, OTHER["name"]))
    ]  # fmt: skip
    found = {
        "jobs": heads, "season": heads, "shift_m": [3.0, 0.0], "place_sd_m": 0.14, "ground_m2": 80.0,
        "missed_m2": [20.0, 20.0], "missed_both_m2": 20.0, "missed_by_chance_m2": 5.0, "doubled_m2": [20.0, 20.0],
        "doubled_both_m2": 20.0, "doubled_by_chance_m2": 5.0, "together_under_m2": 20.0,
        "together_on_target_m2": 40.0, "together_over_m2": 20.0, "mean_share": [1.0, 1.0],
        "mean_share_together": 1.0, "wanted_ninths_m2": [NINTH_M2] * 9,
    }  # fmt: skip
    return {"jobs/2/beside/5": found, "jobs/2/dose": dose, "jobs/5/dose": moved, "jobs/2/track": track,
            "jobs/5/track": shifted, "lawn": {"plane": None, "zones": LAWN}, "jobs": [JOB, OTHER]}  # fmt: skip


COUNT_COLOURS = """(canvas) => {
  const {data} = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  return new Set(new Uint32Array(data.buffer)).size;
}"""


def open_pair(browser: Browser, files: str, errors: list[str]) -> Page:
    """The page, once its answer is there."""
    known = answers()

    def answer(route: Route) -> None:
        found = known.get(route.request.url.partition("/api/")[2].partition("?")[0])
        if found is None:
            route.fulfill(status=404, json={"title": "Not here", "detail": "not here"})
        else:
            route.fulfill(status=200, content_type="application/json", body=json.dumps(found))

    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.route("**/api/**", answer)
    page.goto(f"{files}/#got/2+5")
    page.locator(".beside-answer").wait_for()
    return page


def test_two_jobs_lie_beside_each_other_at_one_place_and_scale_and_are_told_in_words(browser, files) -> None:
    errors: list[str] = []
    page = open_pair(browser, files, errors)
    said = page.inner_text(".beside-page").replace("\u00a0", " ")
    assert "20 m² were missed both times" in said
    assert "Yes: the east side was missed in part in all 2 jobs." in said
    for size, scheme in (((390, 844), "light"), ((820, 1180), "dark"), ((1440, 900), "light")):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.emulate_media(color_scheme=scheme)
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}, (size, scheme)
        lawns = page.locator(".beside-drawing")
        first, second = (lawns.nth(k).evaluate("canvas => canvas.toDataURL()") for k in range(2))
        assert first == second, "the same work on another plane is the same drawing"
        assert lawns.first.evaluate(COUNT_COLOURS) > 3, "and not two blank sheets"
    assert errors == []


def test_the_other_job_is_chosen_where_one_is_looked_at(browser, files) -> None:
    errors: list[str] = []
    page = open_pair(browser, files, errors)
    page.get_by_role("link", name="Back to one job").click()
    page.get_by_label("Beside another job").select_option("5")
    page.locator(".beside-answer").wait_for()
    assert page.evaluate("location.hash") == "#got/2+5"
    assert errors == []
