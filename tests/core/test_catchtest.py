"""Catch tests: what they tell, how well, what they refuse, and whether a meter agrees."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.catchtest import (
    Catch,
    Vessel,
    compare_meter,
    judge_catches,
    least_catch,
    litres_from_weight,
)
from server.core.errors import EntryError
from server.core.quantity import convert
from server.core.uncertainty import Estimate

RUNS = [Catch(2.0, 60.0, 900), Catch(2.04, 60.0, 915), Catch(1.96, 60.0, 885)]
JUG = Vessel(step_l=0.02, most_error=0.01)


def test_flow_and_its_uncertainty_are_worked_by_hand() -> None:
    """GUM equations 5, 10, F.2.2.1: scatter 2 % of three, step 0.02 L, scale 1 %, watch 0.2 s in 60."""
    found = judge_catches(RUNS, vessel=JUG)
    shares = [0.02 / math.sqrt(3), 0.02 / math.sqrt(12) / 2.0, 0.01 / math.sqrt(3), 0.2 / 60]
    assert found.flow_l_per_min.value == pytest.approx(2.0)
    assert found.flow_l_per_min.share == pytest.approx(math.hypot(*shares))
    assert found.flow_l_per_min.freedom == pytest.approx(2 * (math.hypot(*shares) / shares[0]) ** 4)
    assert found.spread == pytest.approx(0.02)
    assert found.is_steady


def test_pulses_per_litre_and_their_uncertainty_are_worked_by_hand() -> None:
    """GUM equations 5, 10; triangular ends of a count (GUM 4.3.9)."""
    found = judge_catches(RUNS, vessel=JUG).pulses_per_l
    per_litre = [catch.pulses / catch.litres for catch in RUNS]
    shares = [
        np.std(per_litre, ddof=1) / math.sqrt(3) / np.mean(per_litre),
        0.02 / math.sqrt(12) / 2.0,
        0.01 / math.sqrt(3),
        1 / math.sqrt(6) / 900,
    ]
    assert found.value == pytest.approx(np.mean(per_litre))
    assert found.share == pytest.approx(math.hypot(*shares))


def test_without_counts_in_every_run_no_pulses_per_litre_are_told() -> None:
    assert judge_catches([*RUNS[:2], replace(RUNS[2], pulses=None)], vessel=JUG).pulses_per_l is None


def test_a27_ounces_caught_in_46_seconds_have_their_mean() -> None:
    """Handbook A27; SportsTurf, April 2014: 44, 45, 44 fl oz in 46 s, 44 on average (44.33; within 0.5)."""
    runs = [Catch(convert(ounces, "fl oz", into="L"), 46.0) for ounces in (44.0, 45.0, 44.0)]
    found = judge_catches(runs, vessel=Vessel(convert(1.0, "fl oz", into="L")))
    caught = convert(found.flow_l_per_min.value / 60 * 46, "L", into="fl oz")
    assert caught == pytest.approx(44.0, abs=0.5)
    assert caught == pytest.approx(133 / 3)
    assert found.is_steady


@given(factor=st.floats(0.2, 5.0))
def test_longer_catches_tell_the_same_flow_better(factor) -> None:
    longer = [Catch(c.litres * factor, c.seconds * factor, int(c.pulses * 1000)) for c in RUNS]
    vessel = Vessel(0.005)
    one, other = (judge_catches(runs, vessel=vessel).flow_l_per_min for runs in (RUNS, longer))
    assert other.value == pytest.approx(one.value)
    assert (other.share <= one.share) == (factor >= 1.0) or other.share == pytest.approx(one.share)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    rng = np.random.default_rng(3)
    held_flow, held_pulses, widest, count = 0, 0, 0.0, 1000
    for _ in range(count):
        scale = 1.0 + rng.uniform(-0.01, 0.01)
        runs = []
        for _ in range(3):
            seconds = 60.0 + rng.normal(0.0, 0.2)
            litres = 2.0 / 60.0 * seconds * (1.0 + rng.normal(0.0, 0.01))
            pulses = math.floor(450.0 * litres + rng.uniform())
            runs.append(Catch(round(litres * scale / 0.02) * 0.02, 60.0, pulses))
        found = judge_catches(runs, vessel=JUG)
        held_flow += abs(found.flow_l_per_min.value - 2.0) <= found.flow_l_per_min.margin
        held_pulses += abs(found.pulses_per_l.value - 450.0) <= found.pulses_per_l.margin
        widest = max(widest, found.pulses_per_l.share, found.flow_l_per_min.share)
    # Rather too wide: the step is counted beside the scatter that it makes, and rectangles have no tails.
    assert min(held_flow, held_pulses) / count >= 0.95
    assert widest < 0.03


def test_runs_that_scatter_are_told() -> None:
    runs = [Catch(2.0, 60.0), Catch(2.3, 60.0), Catch(1.8, 60.0)]
    found = judge_catches(runs, vessel=JUG)
    assert not found.is_steady
    assert found.spread == pytest.approx(np.std([2.0, 2.3, 1.8], ddof=1) / np.mean([2.0, 2.3, 1.8]))


@pytest.mark.parametrize("step", [0.05, 0.1, 0.2])
def test_a_catch_too_small_for_its_vessel_is_refused_with_what_would_do(step) -> None:
    vessel = Vessel(step)
    enough = least_catch(vessel)
    assert step / 2 / enough == pytest.approx(0.02)
    judge_catches([Catch(enough, 60.0)] * 3, vessel=vessel)
    with pytest.raises(EntryError, match=f"catch at least {enough:g} L, use a finer vessel or weigh it"):
        judge_catches([Catch(enough, 60.0), Catch(enough, 60.0), Catch(0.99 * enough, 60.0)], vessel=vessel)


@pytest.mark.parametrize(
    ("runs", "vessel", "words"),
    [
        (RUNS[:2], JUG, "2 are too few: catch 3 times or more"),
        ([], JUG, "0 are too few"),
        ([Catch(0.0, 60.0)] * 3, JUG, "catch: 0 L is outside"),
        ([Catch(2.0, 0.0)] * 3, JUG, "time: 0 s is outside"),
        ([Catch(200.0, 6.0)] * 3, JUG, "flow: 2,000 L/min is outside"),
        ([Catch(2.0, 60.0, 0)] * 3, JUG, "pulses: 0 pulses is outside"),
        (RUNS, Vessel(0.0), "vessel step: 0 L is outside"),
        (RUNS, Vessel(0.02, 1.0), "vessel error: 1 of the catch is outside"),
        ([Catch(math.nan, 60.0)] * 3, JUG, "catch: a number from"),
    ],
)
def test_what_cannot_be_meant_is_refused(runs, vessel, words) -> None:
    with pytest.raises(EntryError, match=words):
        judge_catches(runs, vessel=vessel)


@pytest.mark.parametrize(("degrees", "litres"), [(10, 1.0013), (15, 1.0020), (20, 1.0029), (25, 1.0040), (30, 1.0054)])
def test_a_weighed_litre_is_a_litre(degrees, litres) -> None:
    """ISO 8655-6 / ISO 4787, table of mL for each g weighed at 1013 hPa (from memory): within 0.0001."""
    assert litres_from_weight(1.0, temperature_c=degrees) == pytest.approx(litres, abs=1.5e-4)


def test_water_near_boiling_or_ice_is_not_weighed() -> None:
    with pytest.raises(EntryError, match="outside 0 to 40"):
        litres_from_weight(1.0, temperature_c=60.0)


def test_meter_and_catch_agree_or_differ_by_their_doubts() -> None:
    """GUM equation 10: z is the difference over both uncertainties; beyond 1.96 of the normal distribution."""
    catch = Estimate(2.0, 0.012)
    for meter, verdict in ((2.0, "agree"), (2.039, "agree"), (1.961, "agree"), (2.041, "differ"), (1.959, "differ")):
        found = compare_meter(catch, meter=Estimate(meter, 0.016))
        assert (found.verdict, found.z) == (verdict, pytest.approx((meter - 2.0) / 0.02)), meter
        assert found.excess == pytest.approx(meter / 2.0 - 1.0)


def test_few_runs_ask_for_a_larger_difference() -> None:
    """GUM table G.2: with 2 degrees of freedom 4.30 instead of 1.96."""
    far = Estimate(2.03, 0.0)
    assert compare_meter(Estimate(2.0, 0.01), meter=far).verdict == "differ"
    assert compare_meter(Estimate(2.0, 0.01, 2), meter=far).verdict == "agree"


def test_a_doubt_wider_than_the_rule_cannot_tell() -> None:
    assert compare_meter(Estimate(2.0, 0.1), meter=Estimate(2.05, 0.04)).verdict == "cannot tell"


def test_false_accusations_are_one_in_twenty() -> None:
    rng = np.random.default_rng(4)
    accused = 0
    for _ in range(1000):
        catch, meter = rng.normal(2.0, 0.012), rng.normal(2.0, 0.016)
        accused += compare_meter(Estimate(catch, 0.012), meter=Estimate(meter, 0.016)).verdict == "differ"
    assert accused / 1000 == pytest.approx(0.05, abs=0.02)


def test_certainties_are_not_compared() -> None:
    with pytest.raises(ValueError, match="at least one"):
        compare_meter(Estimate(2.0), meter=Estimate(2.0))
