"""Pace, flow and passes against published examples."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.errors import EntryError
from server.core.pace import (
    flow_for,
    pace_for,
    pace_from_walks,
    plan_passes,
    rate_at,
    seconds_for,
    walk_spread,
)
from server.core.quantity import convert

FOOT = 0.3048


def mph(number: float) -> float:
    """Miles an hour in m/s."""
    return convert(number, "mph", into="m/s")


def gpm(number: float) -> float:
    """Gallons a minute in L/min."""
    return convert(number, "gal/min", into="L/min")


def test_a06_the_nozzle_s_flow_follows_from_the_rate() -> None:
    """Handbook A06; Cornell 2024 (Grapes), 7.6: 20 GPA at 4 mph and 20 in are 0.27 GPM (within 0.005)."""
    target = convert(20.0, "gal/acre", into="L/m2")
    found = flow_for(target, swath_m=20 * FOOT / 12, pace_mps=mph(4.0))
    assert convert(found, "L/min", into="gal/min") == pytest.approx(0.27, abs=0.005)
    assert convert(found, "L/min", into="gal/min") == pytest.approx(0.2694, abs=5e-5)


def test_a07_the_rate_follows_from_the_nozzle_s_flow() -> None:
    """Handbook A07; Cornell 2024 (Grapes), 7.6: 0.26 GPM at 4 mph and 20 in are 19.3 GPA (within 0.1)."""
    found = rate_at(gpm(0.26), swath_m=20 * FOOT / 12, pace_mps=mph(4.0))
    assert convert(found, "L/m2", into="gal/acre") == pytest.approx(19.3, abs=0.1)


@pytest.mark.parametrize(("flow", "speed", "width"), [(0.3, 3.0, 20.0), (0.8, 2.0, 60.0)])
def test_a01_the_boom_formula_is_followed(flow, speed, width) -> None:
    """Handbook A01; Mesa County, Colorado: GPA = 5940 GPM/(mph in) = 495 GPM/(mph ft), exact."""
    found = convert(rate_at(gpm(flow), swath_m=width * FOOT / 12, pace_mps=mph(speed)), "L/m2", into="gal/acre")
    assert found == pytest.approx(5940 * flow / (speed * width), rel=1e-12)
    assert found == pytest.approx(495 * flow / (speed * width / 12), rel=1e-12)


def test_the_forgotten_88_is_not_repeated() -> None:
    """Handbook, errors in print: a private exam guide has 327 GPA for 0.15 GPM, 48 in, 5 mph; it is 3.7."""
    found = rate_at(gpm(0.15), swath_m=48 * FOOT / 12, pace_mps=mph(5.0))
    assert convert(found, "L/m2", into="gal/acre") == pytest.approx(3.7, abs=0.05)


def test_a03_the_metric_formula_is_followed() -> None:
    """Handbook A03; derived, no publication seen: L/ha = 600 (L/min)/(km/h m)."""
    found = rate_at(1.3, swath_m=0.75, pace_mps=4.0 / 3.6)
    assert convert(found, "L/m2", into="L/ha") == pytest.approx(600 * 1.3 / (4.0 * 0.75), rel=1e-12)


def test_a10_the_metric_boom_s_nozzles_lie_in_the_band() -> None:
    """Handbook A10; Alberta Agriculture, Agdex 606-1: 40 L/acre, 9 km/h, 50 cm: 0.741 L/min; band 0.71 to 0.79."""
    found = flow_for(convert(40.0, "L/acre", into="L/m2"), swath_m=0.5, pace_mps=9.0 / 3.6)
    assert found == pytest.approx(0.741, abs=0.001)
    assert 0.71 - 0.01 <= found <= 0.79 + 0.01
    assert [0.75 * share for share in (0.95, 1.05)] == pytest.approx([0.71, 0.79], abs=0.01)


@pytest.mark.parametrize(
    ("speed", "seconds"),
    [(1.0, (68, 136, 205)), (2.0, (34, 68, 102)), (3.0, (23, 45, 68)), (4.0, (17, 34, 51)), (5.0, (14, 27, 41))],
)
def test_a23_walks_take_the_printed_seconds(speed, seconds) -> None:
    """Handbook A23; Pesticide Environmental Stewardship: seconds for 100, 200 and 300 ft (within 0.6)."""
    found = [seconds_for(feet * FOOT, pace_mps=mph(speed)) for feet in (100, 200, 300)]
    assert found == pytest.approx(seconds, abs=0.6)


def test_a24_eighty_eight_feet_a_minute_are_a_mile_an_hour() -> None:
    """Handbook A24; rule: University of Nebraska, pesticide education; values derived (within 0.1 s)."""
    found = [seconds_for(88 * FOOT, pace_mps=mph(speed)) for speed in (1.0, 2.0, 3.0, 4.0)]
    assert found == pytest.approx([60, 30, 20, 15], abs=0.1)
    assert seconds_for(50 * FOOT, pace_mps=mph(3.0)) == pytest.approx(11.4, abs=0.1)


def test_a25_eight_hundred_metres_take_the_printed_minutes() -> None:
    """Handbook A25; Alberta Agriculture, Agdex 606-1: 800 m at 8, 10, 12 km/h in 6:00, 4:48, 4:00 (within 1 s)."""
    assert [seconds_for(800, pace_mps=kmh / 3.6) for kmh in (8, 10, 12)] == pytest.approx([360, 288, 240], abs=1)


@given(flow=st.floats(0.5, 10.0), swath=st.floats(0.3, 3.0), target=st.floats(0.005, 0.2))
def test_the_pace_asked_for_lays_the_dose(flow, swath, target) -> None:
    pace = pace_for(flow, swath_m=swath, target_l_per_m2=target)
    if 0.1 <= pace.pace_mps <= 5.0:
        assert rate_at(flow, swath_m=swath, pace_mps=pace.pace_mps) == pytest.approx(target, rel=1e-12)
        assert flow_for(target, swath_m=swath, pace_mps=pace.pace_mps) == pytest.approx(flow, rel=1e-12)
    assert pace.seconds_per_10_m * pace.pace_mps == pytest.approx(10.0)
    assert pace.seconds_per_100_ft / pace.seconds_per_10_m == pytest.approx(3.048)


@pytest.mark.parametrize(
    ("flow", "verdict"), [(0.9, "too slow"), (1.0, "walkable"), (4.5, "walkable"), (4.7, "too fast")]
)
def test_paces_that_nobody_keeps_are_told(flow, verdict) -> None:
    assert pace_for(flow, swath_m=1.0, target_l_per_m2=0.04).verdict == verdict


def test_passes_come_out_even_and_never_wider_than_the_swath() -> None:
    assert plan_passes(450.0, length_m=30.0, swath_m=1.5).passes == 10
    assert plan_passes(450.0, length_m=30.0, swath_m=1.5).spacing_m == pytest.approx(1.5)
    assert plan_passes(451.0, length_m=30.0, swath_m=1.5).passes == 11


@given(area=st.floats(10.0, 5000.0), length=st.floats(3.0, 100.0), swath=st.floats(0.3, 5.0))
def test_passes_cover_the_area(area, length, swath) -> None:
    plan = plan_passes(area, length_m=length, swath_m=swath)
    assert plan.spacing_m <= swath * (1 + 1e-6)
    assert plan.passes * plan.spacing_m * length == pytest.approx(area)
    assert (plan.passes - 1) * swath * length < area * (1 + 1e-6)
    assert plan.way_m == plan.passes * length


def test_half_the_dose_each_way_takes_passes_along_both_sides() -> None:
    """Kansas State University, turf blog: half the rate in each of two directions."""
    plan = plan_passes(600.0, length_m=30.0, swath_m=2.0, directions=2)
    assert plan.passes == 10 + 15
    assert plan.way_m == pytest.approx(10 * 30.0 + 15 * 20.0)
    with pytest.raises(EntryError, match="1 or 2"):
        plan_passes(600.0, length_m=30.0, swath_m=2.0, directions=3)


def test_a_timed_walk_tells_the_pace_and_its_doubt() -> None:
    """GUM equations 5, 10 and 12, worked by hand."""
    found = pace_from_walks(30.0, [25.0, 24.0, 26.0], course_sd_m=0.15, reaction_s=0.2)
    share = math.sqrt((1.0 / 3.0 + 0.04) / 25.0**2 + (0.15 / 30.0) ** 2)
    assert found.value == pytest.approx(1.2)
    assert found.sd == pytest.approx(1.2 * share)
    assert found.freedom == pytest.approx(2 * (share / (math.sqrt(1 / 3) / 25)) ** 4)
    assert walk_spread([25.0, 24.0, 26.0]) == pytest.approx(0.04)


def test_one_walk_tells_no_more_than_its_watch() -> None:
    found = pace_from_walks(30.0, [25.0])
    assert (found.value, found.share) == pytest.approx((1.2, 0.2 / 25.0))
    assert math.isinf(found.freedom)


@pytest.mark.parametrize("scatter_s", [0.1, 0.6, 1.5])
def test_intervals_of_timed_walks_hold_as_often_as_they_say(scatter_s) -> None:
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(1500):
        times = 25.0 + rng.normal(0.0, scatter_s, 3) + rng.normal(0.0, 0.2)
        found = pace_from_walks(30.0, times.tolist())
        held += abs(found.value - 1.2) <= found.margin
    assert 0.915 <= held / 1500 <= 0.97


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: pace_for(0.0, swath_m=1.0, target_l_per_m2=0.04), "flow: 0 L/min is outside"),
        (lambda: pace_for(2.0, swath_m=100.0, target_l_per_m2=0.04), "swath: 100 m is outside"),
        (lambda: pace_for(2.0, swath_m=1.0, target_l_per_m2=40.0), "carrier rate: 40"),
        (lambda: rate_at(2.0, swath_m=1.0, pace_mps=30.0), "pace: 30 m/s is outside"),
        (lambda: pace_from_walks(30.0, []), "at least one timed walk"),
        (lambda: pace_from_walks(30.0, [0.5]), "time: 0.5 s is outside"),
        (lambda: pace_from_walks(100.0, [10.0]), "pace: 10 m/s is outside"),
        (lambda: pace_from_walks(1.0, [10.0]), "course: 1 m is outside"),
        (lambda: plan_passes(0.0, length_m=30.0, swath_m=1.0), "area: 0 m² is outside"),
    ],
)
def test_what_cannot_be_meant_is_refused(call, words) -> None:
    with pytest.raises(EntryError, match=words):
        call()


def test_a_way_takes_time_only_at_a_pace() -> None:
    with pytest.raises(ValueError, match="above 0"):
        seconds_for(10.0, pace_mps=0.0)
