"""The wind story: right, wrong and late alarms on winds made by hand, so that every answer is known."""

from typing import Any

import numpy as np
import pytest

from server.core.flow import VolumeCurve
from server.core.results import Interval, Pass, WindSeries, WindStory
from server.core.setup import Treatment
from server.core.story import run_means, tell_story

LIMIT = 4.0
TREATMENT = Treatment(0.04, wind_limit_mps=LIMIT, wind_notice_mps=3.0)
NONE = np.zeros(0)


def make_series(
    speed: np.ndarray, alarms: dict[int, tuple[str, str]], *, draws: int = 40, sd: float = 0.02
) -> WindSeries:
    """A wind second by second, with an alarm that changes at some seconds."""
    count = len(speed)
    t, nan = 10.0 + np.arange(1.0, count + 1.0), np.full(count, np.nan)
    level, reason, levels, reasons = "none", "", [], []
    for row in range(count):
        level, reason = alarms.get(row, (level, reason))
        levels.append(level)
        reasons.append(reason)
    drawn = speed + sd * np.random.default_rng(1).standard_normal((draws, 1))
    columns: dict[str, Any] = {
        "boot": np.zeros(count, dtype=np.int64), "mono": t, "t": t, "utc": t + 1000.0, "alarm": tuple(levels),
        "alarm_reason": tuple(reasons), "mean_60s_mps": speed, "smooth_mps": drawn.mean(axis=0),
        "smooth_sd_mps": np.full(count, sd), "smooth_draws_mps": drawn.astype(np.float32),
    }  # fmt: skip
    rest = ("apparent_mps", "true_mps", "true_sd_mps", "mean_60s_sd_mps", "from_deg", "from_sd_deg", "mean_2min_mps",
        "gust_3s_mps", "p_above_limit")  # fmt: skip
    return WindSeries(**columns, **dict.fromkeys(rest, nan))


def make_passes(*rows: tuple[float, float, str]) -> tuple[Pass, ...]:
    """Passes of which only time and verdict matter."""
    return tuple(
        Pass(number, "", start, end, *[0.0] * 13, "", wind_verdict=verdict)
        for number, (start, end, verdict) in enumerate(rows, start=1)
    )


def tell(
    speed: np.ndarray, alarms: dict[int, tuple[str, str]], passes: tuple[Pass, ...] = (), **more: Any
) -> WindStory:
    """The story of a job that sprays 1 L a minute all the time."""
    series = make_series(speed, alarms, **more)
    end = float(series.t[-1])
    curve = VolumeCurve(np.array([0.0, end]), np.array([0.0, end / 60.0]), np.array([0.0, 450.0 * end / 60.0]))
    found = tell_story(series, passes, (Interval(0.0, end, end / 60.0),), curve, treatment=TREATMENT)
    assert found is not None
    return found


STEP = np.where(np.arange(600) < 200, 2.0, 6.0)
"""The 60-s mean passes 4 m/s 31 s after the step."""


def test_a_late_stop_says_how_long_and_how_much_was_sprayed_before_it() -> None:
    passes = make_passes(
        (100.0, 200.0, "within"),
        (230.0, 262.0, "above"),
        (300.0, 400.0, "above"),
    )
    story = tell(STEP, {260: ("stop", "60-s mean wind")}, passes)
    (found,) = story.exceedances
    crossing = 10.0 + 1.0 + 200.0 + 30.0
    assert found.start_t == pytest.approx(crossing, abs=1.0)
    assert found.alarm_t == 271.0
    assert found.late_s == pytest.approx(30.0, abs=1.0)
    assert found.sprayed_s == pytest.approx(30.0, abs=1.0)
    assert found.volume_l == pytest.approx(0.5, abs=0.02)
    assert found.passes == (2,)
    assert found.highest_mps == pytest.approx(6.0, abs=0.05)
    assert story.unwarned_passes == (2,)
    (change,) = story.changes
    assert (change.before, change.level, change.verdict, change.reason) == ("none", "stop", "right", "60-s mean wind")
    assert change.now_mps == pytest.approx((61 * 6.0 - 2.0) / 60.0, abs=0.1)


def test_a_stop_before_the_crossing_leaves_nothing_sprayed_above_the_limit() -> None:
    (found,) = tell(STEP, {215: ("stop", "60-s mean wind")}).exceedances
    assert found.late_s == pytest.approx(-15.0, abs=1.0)
    assert (found.sprayed_s, found.volume_l, found.passes) == (0.0, 0.0, ())


def test_without_any_stop_all_that_was_sprayed_above_counts_and_its_passes_are_named() -> None:
    passes = make_passes(
        (100.0, 200.0, "within"),
        (300.0, 400.0, "above"),
        (420.0, 500.0, "unsure"),
    )
    story = tell(STEP, {}, passes)
    (found,) = story.exceedances
    assert np.isnan(found.alarm_t)
    assert found.sprayed_s == pytest.approx(610.0 - 241.0, abs=2.0)
    assert found.passes == (2, 3)
    assert story.unwarned_passes == (2,)
    assert story.changes == ()


@pytest.mark.parametrize(
    ("level_mps", "sd", "verdict"), [(3.0, 0.05, "wrong"), (4.3, 0.05, "right"), (3.95, 0.1, "unsure")]
)
def test_a_rise_is_right_wrong_or_unsure_by_what_is_known_now(level_mps: float, sd: float, verdict: str) -> None:
    story = tell(np.full(400, level_mps), {200: ("stop", "60-s mean wind")}, sd=sd, draws=400)
    assert [change.verdict for change in story.changes] == [verdict]


@pytest.mark.parametrize(("mps", "verdict"), [(3.5, "right"), (4.5, "wrong"), (4.03, "unsure")])
def test_a_fall_is_wrong_where_it_is_surely_still_above(mps: float, verdict: str) -> None:
    speed = np.full(400, mps)
    story = tell(speed, {0: ("stop", "60-s mean wind"), 300: ("notice", "60-s mean wind")}, sd=0.05, draws=400)
    assert (story.changes[1].before, story.changes[1].verdict) == ("stop", verdict)


def test_a_gust_that_is_seen_is_right_and_one_of_which_nothing_is_left_is_wrong() -> None:
    for gust, verdict in ((7.0, "right"), (5.0, "unsure"), (2.0, "wrong")):
        speed = np.full(300, 2.0)
        speed[198:203] = gust
        story = tell(speed, {201: ("stop", "3-s gust 7.0 m/s, more than 1.5 times the limit")})
        assert story.changes[0].verdict == verdict


def test_unknown_wind_is_an_alarm_for_itself() -> None:
    story = tell(np.full(300, np.nan), {100: ("notice", "The wind has not been known for 30 s while spraying")})
    assert story.changes[0].verdict == "right"
    assert np.isnan(story.changes[0].now_mps)
    assert story.exceedances == ()


def test_without_draws_the_story_rests_on_the_smoothed_wind() -> None:
    story = tell(STEP, {260: ("stop", "60-s mean wind")}, draws=1, sd=0.3)
    (found,) = story.exceedances
    assert found.late_s == pytest.approx(30.0, abs=4.0)


def test_without_a_limit_there_is_no_story() -> None:
    series = make_series(STEP, {})
    assert tell_story(series, (), (), VolumeCurve(NONE, NONE, NONE), treatment=Treatment(0.04)) is None


def test_a_running_mean_is_that_of_the_seconds_before() -> None:
    """Against a plain loop."""
    speed = np.random.default_rng(2).uniform(1.0, 5.0, 200)
    speed[50:75] = np.nan
    series = make_series(speed, {}, draws=1, sd=0.0)
    found = run_means(series, seconds=60)[0]
    for row in (0, 10, 60, 90, 130, 199):
        piece = speed[max(row - 59, 0) : row + 1]
        piece = piece[np.isfinite(piece)]
        wanted = piece.mean() if len(piece) >= 0.5 * min(60, row + 1) else np.nan
        assert found[row] == pytest.approx(wanted, nan_ok=True, abs=1e-6)
