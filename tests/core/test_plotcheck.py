"""Timed walks, rows of cups and whole checks of a sprayer."""

import numpy as np
import pytest

from server.core.checkcard import CupRow, RateEntry, SwathEntry, WalkEntry
from server.core.due import Use, judge_due
from server.core.entered import Stated
from server.core.errors import EntryError
from server.core.plotcheck import apply_swath, judge_rate, judge_swath, judge_walk
from server.core.sprayercard import SprayerCard

CARD = SprayerCard("One", Stated(1, "m"), (450.0,))
TRIANGLE = (0, 25, 50, 75, 100, 75, 50, 25, 0)


def test_a_course_of_200_ft_in_68_s_is_2_mph() -> None:
    """Pesticide Environmental Stewardship, walking speeds: 2.0 mph 34/68/102 s for 100/200/300 ft."""
    pace, spread = judge_walk(WalkEntry(Stated(200, "ft"), (68.0, 67.6, 68.4)))
    assert pace.value / 0.44704 == pytest.approx(2.0, rel=0.01)
    assert spread == pytest.approx(0.4 / 68.0, rel=1e-6)
    assert judge_walk(WalkEntry(Stated(200, "ft"), (68.0,)))[1] is None


def test_a_whole_check_on_18_and_a_half_feet_square_tells_gallons_an_acre_as_ounces() -> None:
    """Kansas State University (R. Wolf): 18.5 x 18.5 ft, 20 s, 31 fl oz caught in 20 s: 31 gal/acre."""
    given = RateEntry("plot", Stated(31, "gal/acre"), Stated(31, "fl oz"), Stated(0.5, "fl oz"), times_s=(20.0, 20.0))
    check = judge_rate(given)
    assert check.verdict == "right"
    assert check.share == pytest.approx(1.0, abs=1e-9)


def test_a_thousand_square_feet_with_a_spray_gun() -> None:
    """Pesticide Environmental Stewardship: runs of 77, 79, 78 s, 5.25 gal in the mean time: 228.7 gal/acre."""
    given = RateEntry(
        "plot", Stated(200, "gal/acre"), Stated(5.25, "gal"), Stated(0.125, "gal"), Stated(1000, "ft2"),
        times_s=(77.0, 79.0, 78.0),
    )  # fmt: skip
    check = judge_rate(given)
    assert check.share * 200.0 == pytest.approx(228.7, abs=0.05)
    assert (check.verdict, check.is_sure) == ("over", True)


def test_ten_square_metres_refilled() -> None:
    """NSW Department of Primary Industries: litres on 10 m x 1 m times 10 are L/100 m²."""
    given = RateEntry("refill", Stated(4, "L/100 m2"), Stated(0.5, "L"), Stated(10, "mL"), Stated(10, "m2"))
    check = judge_rate(given)
    assert check.dose_l_per_m2.value * 100.0 == pytest.approx(5.0)
    assert (check.verdict, check.pace_factor) == ("over", pytest.approx(1.25))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (RateEntry("refill", Stated(4, "L/100 m2"), Stated(0.5, "L"), Stated(10, "mL")), "area: is needed"),
        (RateEntry("plot", Stated(4, "L/100 m2"), Stated(0.5, "L"), Stated(10, "mL")), "time at least one"),
        (
            RateEntry("plot", Stated(4, "L/100 m2"), Stated(0.1, "L"), Stated(10, "mL"), times_s=(20.0,)),
            "too small for steps of 10 mL",
        ),
        (
            RateEntry("refill", Stated(4, "L/100 m2"), Stated(50, "L"), Stated(10, "mL"), Stated(10, "m2")),
            "check the units",
        ),
    ],
)
def test_whole_checks_that_tell_nothing_are_refused_in_words(given, words) -> None:
    with pytest.raises(EntryError, match=words):
        judge_rate(given)


def test_the_swath_lies_between_the_half_rate_points() -> None:
    """Ohio State University Extension, Bulletin 817: effective swath = twice the distance to the half-rate point."""
    found = judge_swath(SwathEntry(Stated(25, "cm"), (CupRow(TRIANGLE),) * 3))
    assert found.swath.value == pytest.approx(1.0, abs=0.01)
    assert found.shape == "triangle"
    assert found.unevenness == pytest.approx(0.0, abs=0.01)
    assert found.pattern.centre_m == pytest.approx(0.0, abs=1e-6)


def test_the_cup_under_the_nozzle_says_to_which_side_the_pattern_lies() -> None:
    found = judge_swath(SwathEntry(Stated(25, "cm"), (CupRow(TRIANGLE),), middle=4.0))
    assert found.pattern.centre_m == pytest.approx(0.25, abs=1e-6)


def test_scattering_walks_widen_the_swath_s_uncertainty_which_then_holds_the_truth() -> None:
    rng = np.random.default_rng(3)
    hits, sds = 0, []
    for _ in range(100):
        rows = tuple(CupRow(tuple(float(max(0.0, v * rng.normal(1.0, 0.1))) for v in TRIANGLE)) for _ in range(3))
        found = judge_swath(SwathEntry(Stated(25, "cm"), rows)).swath
        hits += abs(found.value - 1.0) <= found.margin
        sds.append(found.sd)
    assert hits >= 90
    assert max(sds) > 0.06 > 0.051


@pytest.mark.parametrize(
    ("rows", "words"),
    [((), "at least one walk"), ((CupRow(TRIANGLE), CupRow(TRIANGLE[1:])), "same cups, not 9, 8"),
     ((CupRow((50, 75, 100, 100, 100)),), "goes on past an outermost"), ((CupRow((0, 1, 0)),), "5 or more")],
)  # fmt: skip
def test_rows_that_make_no_pattern_are_refused_in_words(rows, words) -> None:
    with pytest.raises(EntryError, match=words):
        judge_swath(SwathEntry(Stated(25, "cm"), rows))


def test_a_swath_is_put_to_use_in_the_unit_of_the_card_with_its_even_middle() -> None:
    rows = (CupRow((0, 0, 100, 200, 300, 300, 300, 200, 100, 0, 0)),)
    found = judge_swath(SwathEntry(Stated(1, "ft"), rows))
    made = apply_swath(SprayerCard("Boom", Stated(48, "in"), (450.0,)), found)
    assert made.swath.unit == "in"
    assert made.swath.value == pytest.approx(60.0, rel=0.01)
    assert made.pattern == "trapezoid"
    assert made.pattern_top.value == pytest.approx(24.0, rel=0.1)


@pytest.mark.parametrize(
    ("use", "by", "words"),
    [
        (Use(None), ("never",), "never calibrated"),
        (Use(10.0, 84.0), (), "due in 170 days or after 416 L"),
        (Use(180.0, 0.0), ("time",), "180 days are set"),
        (Use(1.5, 500.0), ("use",), "calibrated 1 day ago, 500 L sprayed since; 500 L are set"),
        (Use(1.0, 20.0, "a later catch differs", 2), ("drift",), "at least 20 L"),
        (Use(181.0, 501.0, "a later catch differs"), ("drift", "time", "use"), "due: "),
    ],
)
def test_it_is_due_by_time_by_use_and_by_drift(use, by, words) -> None:
    found = judge_due(CARD, use)
    assert (found.by, found.is_due) == (by, bool(by))
    assert words in found.sentence


def test_volumes_of_the_sentence_are_in_the_card_s_unit() -> None:
    card = SprayerCard("One", Stated(1, "m"), (450.0,), due_volume=Stated(100, "gal"))
    assert "10 gal sprayed since; due in 170 days or after 90 gal" in judge_due(card, Use(10.0, 37.854)).sentence


def test_a_shape_that_too_few_cups_tell_stays_the_card_s() -> None:
    found = judge_swath(SwathEntry(Stated(1, "ft"), (CupRow((0, 0, 50, 100, 100, 100, 50, 0, 0)),)))
    assert found.shape == ""
    card = SprayerCard("Boom", Stated(1, "m"), (450.0,), pattern="trapezoid", pattern_top=Stated(0.5, "m"))
    made = apply_swath(card, found)
    assert (made.pattern, made.pattern_top, made.swath) == ("trapezoid", Stated(0.5, "m"), Stated(1.22, "m"))
