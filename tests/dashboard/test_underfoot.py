"""The strip underfoot, the step and what is felt, on pages against answers made up for the test. A double, clearly."""

from collections.abc import Callable

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


def test_the_lawn_from_above_is_one_tap_away_on_a_phone(show: Callable[..., Page], answers: Answers) -> None:
    answers.known["live"], answers.track = WALK, TRACK
    page = show("lawn")
    underfoot, above = page.locator(".underfoot-drawing"), page.locator(".lawn-drawing")
    expect(underfoot).to_be_visible()
    expect(above).not_to_be_visible()
    page.get_by_role("button", name="The lawn from above").click()
    expect(above).to_be_visible()
    expect(underfoot).not_to_be_visible()
    page.get_by_role("button", name="The strip underfoot").click()
    expect(underfoot).to_be_visible()
