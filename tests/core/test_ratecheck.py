"""Whole checks: small plots, courses and areas, against published examples."""

import numpy as np
import pytest

from server.core.errors import EntryError
from server.core.grid import frame_around
from server.core.polygons import cell_fractions
from server.core.quantity import convert
from server.core.ratecheck import (
    EIGHTH_ACRE_M2,
    SMALL_PLOT_M2,
    THOUSAND_FT2_M2,
    course_length,
    dose_on_area,
    dose_on_plot,
    effective_width,
    judge_dose,
)
from server.core.uncertainty import Estimate, average_runs

FOOT = 0.3048


def area_of(east: np.ndarray, north: np.ndarray) -> float:
    """The area of a ring by the cells it covers, in square feet from feet."""
    frame = frame_around(east * FOOT, north * FOOT, margin_m=0.5, cell_m=0.25)
    covered = cell_fractions([np.column_stack((east, north)) * FOOT], frame).sum() * frame.cell_area_m2
    return convert(float(covered), "m2", into="ft2")


def per_acre(dose: Estimate) -> float:
    """A dose in gallons an acre."""
    return convert(dose.value, "L/m2", into="gal/acre")


def test_a08_the_spray_gun_gives_its_printed_rate() -> None:
    """Handbook A08; Pesticide Environmental Stewardship, spray gun: 5 ft, 200 ft, 78 s, 5.25 gal (within 0.05 GPA)."""
    assert course_length(THOUSAND_FT2_M2, width_m=5 * FOOT) == pytest.approx(200 * FOOT)
    walk = average_runs([77.0, 79.0, 78.0])
    assert walk.value == 78.0
    flow = Estimate(convert(5.25, "gal", into="L") / 78 * 60)
    dose = dose_on_plot(flow, seconds=walk, area=Estimate(THOUSAND_FT2_M2))
    assert convert(dose.value, "L/m2", into="gal/1000 ft2") == pytest.approx(5.25, rel=1e-12)
    assert per_acre(dose) == pytest.approx(228.7, abs=0.05)
    assert dose.share == pytest.approx(walk.share)


@pytest.mark.parametrize(("ounces", "seconds"), [(31.0, 20.0), (150.0, 75.0), (44.0, 46.0)])
def test_a09_a11_a27_ounces_on_the_small_plot_are_gallons_an_acre(ounces, seconds) -> None:
    """Handbook A09 (Kansas State University), A11 (Mesa County, Colorado), A27 (SportsTurf, April 2014): exact."""
    flow = Estimate(convert(ounces, "fl oz", into="L") / seconds * 60)
    dose = dose_on_plot(flow, seconds=Estimate(seconds), area=Estimate(SMALL_PLOT_M2))
    assert per_acre(dose) == pytest.approx(ounces, rel=1e-12)


def test_a09_the_small_plot_is_the_printed_square() -> None:
    """Handbook A09; Kansas State University: 18.5 x 18.5 ft, about 340 ft2; 340 x 128 = 43 520."""
    feet = convert(SMALL_PLOT_M2, "m2", into="ft2")
    assert feet == pytest.approx(340.3125)
    assert feet == pytest.approx(18.5 * 18.5, rel=0.006)
    assert feet * 128 == pytest.approx(43560)


@pytest.mark.parametrize(("inches", "feet"), [(18, 227), (20, 204), (24, 170), (30, 136), (36, 113), (40, 102)])
def test_a19_courses_are_as_long_as_printed(inches, feet) -> None:
    """Handbook A19; Ohio State University, FABE-520 and Bulletin 817, table 1: within 1 ft."""
    assert course_length(SMALL_PLOT_M2, width_m=inches * FOOT / 12) / FOOT == pytest.approx(feet, abs=1.0)


def test_a20_a_pattern_of_twenty_inches_takes_204_feet() -> None:
    """Handbook A20; Mississippi State University, Turf Tips 2013: 204 ft (within 1; exact 204.2)."""
    assert round(course_length(SMALL_PLOT_M2, width_m=20 * FOOT / 12) / FOOT, 1) == 204.2


def test_a21_pints_on_an_eighth_of_an_acre_are_gallons_an_acre() -> None:
    """Handbook A21; University of Kentucky, ENTFACT-805: 80 % of the wetted width, 5445 ft2, pints = GPA; exact."""
    assert effective_width(10.0) == pytest.approx(8.0)
    assert convert(EIGHTH_ACRE_M2, "m2", into="ft2") == pytest.approx(5445.0)
    assert course_length(EIGHTH_ACRE_M2, width_m=8 * FOOT) == pytest.approx(5445 / 8 * FOOT)
    dose = dose_on_area(Estimate(convert(17.0, "pt", into="L")), area=Estimate(EIGHTH_ACRE_M2))
    assert per_acre(dose) == pytest.approx(17.0, rel=1e-12)


def test_a22_two_hundred_feet_have_their_constant() -> None:
    """Handbook A22; Louisiana State University AgCenter: GPA = 20.4 fl oz / in (exact 20.42; within 0.1 %)."""
    area = Estimate(200 * FOOT * 20 * FOOT / 12)
    dose = dose_on_area(Estimate(convert(20.0, "fl oz", into="L")), area=area)
    assert per_acre(dose) == pytest.approx(20.4, rel=0.001)
    assert round(per_acre(dose), 2) == 20.42


def test_a26_ten_square_metres_tell_the_rate_by_moving_the_point() -> None:
    """Handbook A26; NSW DPI, INT09/35816, 2009: litres on 10 m x 1 m x 10 are L/100 m2, x 1000 L/ha (derived)."""
    dose = dose_on_area(Estimate(0.4, 0.005), area=Estimate(10.0)).value
    assert convert(dose, "L/m2", into="L/100 m2") == pytest.approx(4.0)
    assert convert(dose, "L/m2", into="L/ha") == pytest.approx(400.0)


def test_b07_the_reference_nozzle_lays_forty_millilitres() -> None:
    """Handbook B07; WHO manual, from memory, 40 mL/m2 in UNHCR 1997: 760 mL/min over 19 m2/min."""
    dose = dose_on_plot(Estimate(0.760), seconds=Estimate(60.0), area=Estimate(19.0))
    assert dose.value == pytest.approx(0.040, rel=0.01)


def test_a15_a_rectangle_and_a_circle_have_their_areas() -> None:
    """Handbook A15; Oklahoma State University OKC, 2013: 1500 ft2; 5024 ft2 with pi = 3.14 (within 0.1 %)."""
    assert area_of(np.array([0, 60, 60, 0, 0.0]), np.array([0, 0, 25, 25, 0.0])) == pytest.approx(1500.0, rel=0.001)
    turn = np.linspace(0.0, 2 * np.pi, 361)
    found = area_of(40 * np.cos(turn), 40 * np.sin(turn))
    assert found == pytest.approx(5024.0, rel=0.001)
    assert found == pytest.approx(5026.5, rel=0.0002)


@pytest.mark.parametrize(
    ("dose", "verdict", "is_sure"),
    [
        (0.0400, "right", True), (0.0420, "right", False), (0.0421, "over", False), (0.0440, "over", True),
        (0.0380, "right", False), (0.0370, "under", True),
    ],
)  # fmt: skip
def test_five_per_cent_decide(dose, verdict, is_sure) -> None:
    """Pesticide Environmental Stewardship, spray gun: within 5 % of the label's rate."""
    found = judge_dose(Estimate(dose, 0.0003), target_l_per_m2=0.04)
    assert (found.verdict, found.is_sure) == (verdict, is_sure)
    assert found.pace_factor == pytest.approx(dose / 0.04)


def test_a_doubtful_dose_is_never_called_sure() -> None:
    assert not judge_dose(Estimate(0.04, 0.002), target_l_per_m2=0.04).is_sure
    assert judge_dose(Estimate(0.04, 0.0005), target_l_per_m2=0.04).is_sure
    assert not judge_dose(Estimate(0.04, 0.0005, 2), target_l_per_m2=0.04).is_sure


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: judge_dose(Estimate(0.4), target_l_per_m2=0.04), "10 times the one wanted: check the units"),
        (lambda: judge_dose(Estimate(0.04), target_l_per_m2=0.0), "carrier rate: 0"),
        (lambda: course_length(0.0, width_m=1.0), "area: 0 m²"),
        (lambda: course_length(100.0, width_m=0.0), "swath: 0 m"),
        (lambda: dose_on_plot(Estimate(0.0), seconds=Estimate(20.0), area=Estimate(30.0)), "flow: 0"),
        (lambda: dose_on_area(Estimate(0.0), area=Estimate(30.0)), "catch: 0 L"),
        (lambda: effective_width(0.0), "swath: 0 m"),
    ],
)
def test_what_cannot_be_meant_is_refused(call, words) -> None:
    with pytest.raises(EntryError, match=words):
        call()
