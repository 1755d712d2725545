"""Nozzles: pressure, density and wear against published figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.errors import EntryError
from server.core.nozzle import density_factor, find_uneven, flow_at_pressure, judge_wear, pressure_for_flow
from server.core.quantity import convert
from server.core.uncertainty import Estimate

PRESSURES = st.floats(50.0, 1000.0)


def psi(number: float) -> float:
    """Pounds a square inch in kPa."""
    return convert(number, "psi", into="kPa")


def test_b01_twice_the_flow_asks_for_four_times_the_pressure() -> None:
    """Handbook B01; from an exam-study site that digests the core manual: exact law."""
    assert pressure_for_flow(100.0, flow_ratio=2.0) == 400.0
    assert flow_at_pressure(0.8, from_kpa=100.0, to_kpa=400.0) == 1.6


@given(flow=st.floats(0.1, 10.0), one=PRESSURES, other=PRESSURES)
def test_flow_and_pressure_go_there_and_back(flow, one, other) -> None:
    away = flow_at_pressure(flow, from_kpa=one, to_kpa=other)
    assert flow_at_pressure(away, from_kpa=other, to_kpa=one) == pytest.approx(flow)
    assert pressure_for_flow(one, flow_ratio=away / flow) == pytest.approx(other)


@given(one=PRESSURES, other=PRESSURES)
def test_less_pressure_is_never_more_flow(one, other) -> None:
    """Handbook, errors in print: FABE-531 (Ohio State University) has it the other way round."""
    low, high = sorted((one, other))
    assert flow_at_pressure(1.0, from_kpa=high, to_kpa=low) <= 1.0 <= flow_at_pressure(1.0, from_kpa=low, to_kpa=high)


def test_b02_a_quarter_more_speed_asks_for_56_per_cent_more_pressure() -> None:
    """Handbook B02; Iowa State University, Integrated Crop News: 12 to 15 mph, 40 to 63 psi (exact 62.5; within 1)."""
    found = pressure_for_flow(psi(40.0), flow_ratio=15 / 12)
    assert convert(found, "kPa", into="psi") == pytest.approx(63.0, abs=1.0)
    assert found / psi(40.0) == pytest.approx(1.56, abs=0.005)


def test_b03_the_nozzle_of_0_30_gives_0_26_at_30_psi() -> None:
    """Handbook B03, A07; Cornell 2024 (Grapes), 7.6: 0.30 GPM at 40 psi is 0.26 at 30 psi (within 0.005)."""
    found = flow_at_pressure(0.30, from_kpa=psi(40.0), to_kpa=psi(30.0))
    assert found == pytest.approx(0.26, abs=0.005)
    assert round(found, 4) == 0.2598


@pytest.mark.parametrize(
    ("pounds", "factor"),
    [(7.0, 0.92), (8.0, 0.98), (8.34, 1.00), (9.0, 1.04), (10.0, 1.10), (10.65, 1.13), (11.0, 1.15), (12.0, 1.20)],
)
def test_b04_density_factors_are_the_printed_ones(pounds, factor) -> None:
    """Handbook B04; University of Nebraska, CropWatch 2016; University of Georgia (P. Sumner): within 0.005.

    12 lb/gal is 1.20: a table of Oklahoma State University prints 1.30 there, of 14 lb/gal.
    """
    density, water = (convert(number, "lb/gal", into="kg/L") for number in (pounds, 8.34))
    assert density_factor(density, water_kg_per_l=water) == pytest.approx(factor, abs=0.005)


def test_b05_a_heavy_liquid_asks_for_a_larger_nozzle() -> None:
    """Handbook B05; University of Nebraska, CropWatch 2016: 20 GPA of 10.65 lb/gal are 22.6 of water (0.05)."""
    factor = density_factor(10.65 / 8.34)
    assert round(10.65 / 8.34, 2) == 1.28
    assert 20.0 * factor == pytest.approx(22.6, abs=0.05)


def test_b06_b07_a_hand_pump_loses_a_third_of_its_flow() -> None:
    """Handbook B06 (pesticide-use manual for cocoa, direction) and B07 (from memory): 55 to 25 psi, 0.674 (1 %)."""
    assert flow_at_pressure(1.0, from_kpa=psi(55.0), to_kpa=psi(25.0)) == pytest.approx(0.674, rel=0.01)
    falling = [flow_at_pressure(1.0, from_kpa=600.0, to_kpa=to) for to in (600.0, 400.0, 200.0, 100.0)]
    assert falling == sorted(falling, reverse=True)


@pytest.mark.parametrize(
    ("flow", "verdict"),
    [
        (0.89, "clogged"),
        (0.93, "watch"),
        (0.96, "good"),
        (1.04, "good"),
        (1.06, "watch"),
        (1.09, "watch"),
        (1.11, "replace"),
    ],
)
def test_wear_is_judged_by_five_and_ten_per_cent(flow, verdict) -> None:
    """University of Nebraska, Louisiana State University AgCenter (10 %); Ohio State University (5 %)."""
    found = judge_wear(Estimate(flow, 0.001), rated_l_per_min=1.0)
    assert (found.verdict, found.is_sure) == (verdict, True)
    assert found.excess == pytest.approx(flow - 1.0)


def test_wear_is_judged_at_the_same_pressure() -> None:
    """A new nozzle at twice the pressure is not worn; a worn one at less pressure does not look new."""
    new = judge_wear(Estimate(2**0.5, 1e-4), rated_l_per_min=1.0, pressure_kpa=Estimate(600.0), rated_kpa=300.0)
    assert new.verdict == "good"
    assert new.excess == pytest.approx(0.0, abs=1e-9)
    worn = judge_wear(Estimate(1.0, 1e-4), rated_l_per_min=1.0, pressure_kpa=Estimate(240.0), rated_kpa=300.0)
    assert worn.verdict == "replace"
    assert worn.excess == pytest.approx((300 / 240) ** 0.5 - 1)


def test_a_poor_gauge_leaves_wear_unsure() -> None:
    """GUM equation 12: 4 % of pressure are 2 % of flow."""
    found = judge_wear(Estimate(1.08, 0.0), rated_l_per_min=1.0, pressure_kpa=Estimate(300.0, 12.0), rated_kpa=300.0)
    assert found.margin == pytest.approx(1.96 * 0.02 * 1.08, rel=0.02)
    assert (found.verdict, found.is_sure) == ("watch", False)


def test_a27_seven_per_cent_about_the_average_is_the_printed_band() -> None:
    """Handbook A27; SportsTurf, April 2014: 44, 45, 44 fl oz are even; limits 41.2 to 47.4 at an average of 44.33."""
    litres = [convert(ounces, "fl oz", into="L") / 46 * 60 for ounces in (44, 45, 44)]
    assert find_uneven(litres, share=0.07) == ()
    for outer, uneven in ((47.35, ()), (47.5, (0,)), (41.3, ()), (41.1, (0,))):
        assert find_uneven([outer, (133 - outer) / 2, (133 - outer) / 2], share=0.07) == uneven


def test_alberta_s_five_per_cent_find_the_nozzle_that_is_off() -> None:
    """Alberta Agriculture, Agdex 606-1: 5 % of the average."""
    assert find_uneven([0.75, 0.74, 0.76, 0.82]) == (3,)


def test_what_cannot_be_meant_is_refused() -> None:
    with pytest.raises(EntryError, match="pressure: 0 kPa is outside"):
        flow_at_pressure(1.0, from_kpa=0.0, to_kpa=100.0)
    with pytest.raises(EntryError, match="density"):
        density_factor(10.65)
    with pytest.raises(ValueError, match="above 0"):
        pressure_for_flow(100.0, flow_ratio=0.0)
    with pytest.raises(ValueError, match="both pressures"):
        judge_wear(Estimate(1.0, 0.01), rated_l_per_min=1.0, rated_kpa=300.0)
    with pytest.raises(EntryError, match="flow: 0 L/min"):
        judge_wear(Estimate(1.0, 0.01), rated_l_per_min=0.0)
    with pytest.raises(ValueError, match="one nozzle at least"):
        find_uneven([])
