"""A sprayer's catch test: pulses per litre, whether the meter agrees, wear, and what is put to use."""

import numpy as np
import pytest

from server.core.checkcard import CatchEntry, Run
from server.core.checkup import apply_catch, judge_catch, meter_at
from server.core.entered import Stated
from server.core.errors import EntryError
from server.core.sprayercard import SprayerCard

CARD = SprayerCard("One", Stated(1, "m"), (450.0,), meter_sd_percent=1.0)
STEP = Stated(20, "mL")


def runs(litres, seconds=60.0, pulses_per_l=450.0):
    """Runs with pulses."""
    return tuple(Run(Stated(each, "L"), seconds=seconds, pulses=round(each * pulses_per_l)) for each in litres)


def test_a_meter_that_counts_right_agrees_and_one_that_is_a_tenth_off_differs() -> None:
    good = judge_catch(CatchEntry(runs([2.0, 2.01, 1.99]), STEP), card=CARD)
    assert (good.agreement.verdict, good.test.is_steady) == ("agree", True)
    worn = judge_catch(CatchEntry(runs([2.0, 2.01, 1.99], pulses_per_l=405.0), STEP), card=CARD)
    assert worn.agreement.verdict == "differ"
    assert worn.agreement.excess == pytest.approx(-0.1, abs=0.002), "by 450 pulses a litre it tells a tenth too little"


def test_without_pulses_the_flow_is_told_and_the_meter_is_not_judged() -> None:
    found = judge_catch(CatchEntry(tuple(Run(Stated(2, "L"), seconds=60.0) for _ in range(3)), STEP), card=CARD)
    assert found.test.flow_l_per_min.value == pytest.approx(2.0)
    assert found.agreement is None
    with pytest.raises(EntryError, match="not counted in every run"):
        apply_catch(CARD, found.test)


def test_weights_and_volumes_tell_the_same_litres() -> None:
    """A kilogram of water at 20 °C against brass weights in air is 1.00287 L (ISO 4787, from memory)."""
    weighed = tuple(Run(weight=Stated(1994.28, "g"), seconds=60.0, pulses=900) for _ in range(3))
    found = judge_catch(CatchEntry(weighed, scale_step=Stated(5, "g"), temperature_c=20.0), card=CARD)
    assert found.test.flow_l_per_min.value == pytest.approx(2.0, rel=2e-5)


def test_a_catch_in_ounces_counts_as_in_litres() -> None:
    """45 fl oz in 46 s: 44 gal/acre of the plot that such a time is of (STMA, April 2014), here only the flow."""
    given = CatchEntry(tuple(Run(Stated(each, "fl oz"), seconds=46.0) for each in (44, 45, 44)), Stated(1, "fl oz"))
    flow = judge_catch(given, card=CARD).test.flow_l_per_min.value
    assert flow * 46.0 / 60.0 / 0.0295735295625 == pytest.approx(44.33, abs=0.005)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (CatchEntry(), "0 are too few"),
        (CatchEntry(runs([2.0, 2.0]), STEP), "2 are too few: catch 3 times"),
        (CatchEntry(runs([0.3, 0.3, 0.3], pulses_per_l=900.0), STEP), "catch at least 0.5 L, use a finer vessel"),
        (CatchEntry(runs([2.0, 2.0, 2.0])), "step: is needed"),
        (CatchEntry((Run(weight=Stated(2, "kg"), seconds=60.0),) * 3, STEP), "scale_step: is needed"),
        (CatchEntry((Run(seconds=60.0),) * 3, STEP), "give each run a volume or a weight"),
        (CatchEntry((Run(Stated(2, "L")),) * 3, STEP), "give each run its time"),
    ],
)
def test_catches_that_tell_nothing_are_refused_in_words(given, words) -> None:
    with pytest.raises(EntryError, match=words):
        judge_catch(given, card=CARD)


@pytest.mark.parametrize(
    ("flow", "verdict"), [(2.0, "good"), (2.13, "watch"), (2.25, "replace"), (1.75, "clogged")]
)  # 5 and 10 %: University of Nebraska (R. Klein), Ohio State University (E. Ozkan)
def test_wear_is_told_at_the_same_pump_setting_by_the_5_and_10_per_cent_rules(flow, verdict) -> None:
    card = SprayerCard("One", Stated(1, "m"), (450.0,), rated_flow=Stated(2, "L/min"))
    given = CatchEntry(runs([flow] * 3), STEP)
    found = judge_catch(given, card=card)
    assert (found.wear.verdict, found.wear_by) == (verdict, "a new nozzle at this pump setting")
    by_record = judge_catch(given, card=CARD, earlier_l_per_min=2.0, earlier_on="2027-03-01")
    assert (by_record.wear.verdict, by_record.wear_by) == (verdict, "the catch of 2027-03-01 at this pump setting")


def test_wear_at_another_pressure_is_reckoned_to_the_rated_one() -> None:
    """0.30 gal/min at 40 psi is 0.26 at 30 psi (Cornell guidelines 2024, 7.6): a new nozzle, not a clogged one."""
    card = SprayerCard(
        "One", Stated(1, "m"), (450.0,), rated_flow=Stated(0.30, "gal/min"), rated_pressure=Stated(40, "psi")
    )
    caught = tuple(Run(Stated(0.26, "gal"), seconds=60.0) for _ in range(3))
    found = judge_catch(CatchEntry(caught, Stated(0.5, "fl oz"), pressure=Stated(30, "psi")), card=card)
    assert found.wear.verdict == "good"
    assert found.wear.excess == pytest.approx(0.0008, abs=0.0005)
    assert judge_catch(CatchEntry(caught, Stated(0.5, "fl oz")), card=card).wear is None, "the pressure was not read"


def test_what_is_put_to_use_is_the_new_figure_and_a_table_keeps_its_shape() -> None:
    test = judge_catch(CatchEntry(runs([2.0, 2.0, 2.0], pulses_per_l=495.0), STEP), card=CARD).test
    table = SprayerCard("One", Stated(1, "m"), (440.0, 460.0), flow_l_per_min=(1.0, 3.0))
    made = apply_catch(table, test)
    assert made.pulses_per_l == (484.0, 506.0)
    assert meter_at(made, flow_l_per_min=2.0) == pytest.approx(495.0)
    assert 0.1 <= made.meter_sd_percent < 2.0


def test_the_uncertainty_put_to_use_holds_the_truth_as_often_as_it_says() -> None:
    """Simulated catches: the vessel's scale off by up to 1 %, read to a step, three runs."""
    rng = np.random.default_rng(7)
    hits = 0
    for _ in range(400):
        scale = 1.0 + rng.uniform(-0.01, 0.01)
        caught = rng.normal(2.0, 0.02, 3)
        read = np.round(caught * scale / 0.02) * 0.02
        entry = tuple(
            Run(Stated(float(each), "L"), seconds=60.0, pulses=int(450 * true + rng.uniform(0, 1)))
            for each, true in zip(read, caught, strict=True)
        )
        made = apply_catch(CARD, judge_catch(CatchEntry(entry, STEP), card=CARD).test)
        hits += abs(made.pulses_per_l[0] / 450.0 - 1.0) <= 1.96 * made.meter_sd_percent / 100.0
    assert hits >= 0.93 * 400
