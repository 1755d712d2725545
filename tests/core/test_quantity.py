"""Quantities of labels: exact there and back, and as extension publications print them."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core import units
from server.core.quantity import UNITS, convert, convert_exactly, exact, kind_of

NUMBERS = st.decimals(min_value="0.000001", max_value="1000000", places=6).map(float)
KINDS = sorted({kind for kind, _ in UNITS.values()})


@given(number=NUMBERS, data=st.data())
def test_every_unit_goes_to_every_other_of_its_kind_and_back_exactly(number, data) -> None:
    kind = data.draw(st.sampled_from(KINDS))
    names = [name for name, (its, _) in UNITS.items() if its == kind]
    here, there = data.draw(st.sampled_from(names)), data.draw(st.sampled_from(names))
    away = convert_exactly(exact(number), here, into=there)
    assert convert_exactly(away, there, into=here) == exact(number)
    assert float(convert_exactly(away, there, into=here)) == number


@given(number=NUMBERS, data=st.data())
def test_every_rate_goes_there_and_back_exactly(number, data) -> None:
    amounts = [name for name, (kind, _) in UNITS.items() if kind in ("volume", "mass")]
    bases = [name for name, (kind, _) in UNITS.items() if kind == "area"]
    here = f"{data.draw(st.sampled_from(amounts))}/{data.draw(st.sampled_from(bases))}"
    there = f"{data.draw(st.sampled_from(amounts))}/{data.draw(st.sampled_from(bases))}"
    density = Fraction(data.draw(st.integers(200, 3000)), 1000)
    away = convert_exactly(exact(number), here, into=there, density_kg_per_l=density)
    assert convert_exactly(away, there, into=here, density_kg_per_l=density) == exact(number)


def test_a01_both_forms_of_the_boom_constant_are_exact() -> None:
    """Handbook A01; Mesa County, Colorado: GPA = 5940 GPM/(mph in) = 495 GPM/(mph ft)."""
    for width, constant in (("in", 5940), ("ft", 495)):
        across = convert_exactly(Fraction(1), width, into="m") * convert_exactly(Fraction(1), "mph", into="m/s")
        flow = convert_exactly(Fraction(1), "gal/min", into="L/s")
        assert convert_exactly(flow / across, "L/m2", into="gal/acre") == constant


def test_a02_the_thousand_feet_constant_is_136_36() -> None:
    """Handbook A02; 136 from memory, the exact value derived: gal/1000 ft2 = 136.36 GPM/(mph in); within 0.3 %."""
    across = convert_exactly(Fraction(1), "in", into="m") * convert_exactly(Fraction(1), "mph", into="m/s")
    flow = convert_exactly(Fraction(1), "gal/min", into="L/s")
    found = convert_exactly(flow / across, "L/m2", into="gal/1000 ft2")
    assert found == Fraction(1500, 11)
    assert float(found) == pytest.approx(136, rel=0.003)


def test_a03_the_metric_constant_is_600() -> None:
    """Handbook A03; derived, no publication seen: L/ha = 600 (L/min)/(km/h m)."""
    flow, speed = (convert_exactly(Fraction(1), unit, into=si) for unit, si in (("L/min", "L/s"), ("km/h", "m/s")))
    assert convert_exactly(flow / speed, "L/m2", into="L/ha") == 600


def test_a04_constants_are_the_printed_ones() -> None:
    """Handbook A04; University of Nebraska, pesticide education: printed digits."""
    assert convert_exactly(Fraction(1), "mph", into="ft/min") == 88
    assert convert(1.0, "mph", into="ft/s") == pytest.approx(1.46, abs=0.01)
    assert convert_exactly(Fraction(1), "acre", into="ft2") == 43560
    assert round(convert(1.0, "ha", into="acre"), 3) == 2.471
    assert convert_exactly(Fraction(1), "gal", into="fl oz") == 128
    assert round(convert(1.0, "gal", into="L"), 3) == 3.785
    assert round(convert(1.0, "fl oz", into="mL"), 2) == 29.57
    mile, swath = convert_exactly(Fraction(1), "mi", into="ft"), Fraction(33, 4)
    assert mile * swath == 43560


def test_a05_rates_are_the_printed_ones() -> None:
    """Handbook A05; Pesticide Environmental Stewardship, Ohio State University: within 0.2 %."""
    assert convert(1.0, "gal/acre", into="L/ha") == pytest.approx(9.35, rel=0.002)
    assert convert(1.0, "gal/acre", into="gal/1000 ft2") == pytest.approx(0.023, rel=0.002)
    assert convert_exactly(Fraction(1), "gal/1000 ft2", into="gal/acre") == Fraction(4356, 100)
    assert convert(1.0, "gal/1000 ft2", into="L/ha") == pytest.approx(407.5, rel=0.002)
    assert convert(1.0, "gal/1000 ft2", into="L/100 m2") == pytest.approx(4.075, rel=0.002)


def test_a13_forty_gallons_an_acre_are_0_92_a_thousand_feet() -> None:
    """Handbook A13; Oklahoma State University OKC, 2013: within 0.005."""
    assert convert(40.0, "gal/acre", into="gal/1000 ft2") == pytest.approx(0.92, abs=0.005)


def test_a28_four_pints_an_acre_are_1_5_ounces_a_thousand_feet() -> None:
    """Handbook A28; University of Georgia, back calibration: within 0.05 (exact 1.469)."""
    found = convert(4.0, "pt/acre", into="fl oz/1000 ft2")
    assert found == pytest.approx(1.5, abs=0.05)
    assert round(found, 3) == 1.469


def test_a31_an_acre_is_16_5_feet_by_half_a_mile() -> None:
    """Handbook A31; University of Nebraska, pesticide education: exact."""
    mile = convert_exactly(Fraction(1), "mi", into="ft")
    assert Fraction(33, 2) * mile / 2 == 33 * mile / 4 == convert_exactly(Fraction(1), "acre", into="ft2")


def test_imperial_gallons_and_pressures_are_the_defined_ones() -> None:
    """NIST SP 811, 2008, appendix B.8: 1 imp gal = 4.546 09 L, 1 imp fl oz = 28.413 06 mL, 1 psi = 6.894 757 kPa."""
    assert convert(1.0, "imp gal", into="L") == 4.54609
    assert round(convert(1.0, "imp fl oz", into="mL"), 5) == 28.41306
    assert round(convert(1.0, "psi", into="kPa"), 6) == 6.894757
    assert convert_exactly(Fraction(1), "bar", into="kPa") == 100
    assert convert_exactly(Fraction(1), "imp gal", into="imp pt") == 8
    assert round(convert(1.0, "imp gal", into="gal"), 4) == 1.2009
    assert round(convert(1.0, "kn", into="km/h"), 3) == 1.852
    assert convert(1.0, "lb", into="kg") == 0.45359237


def test_fluid_ounces_are_not_ounces() -> None:
    with pytest.raises(ValueError, match=r"oz is a weight and fl oz a volume: give the density"):
        convert(16.0, "oz", into="fl oz")
    with pytest.raises(ValueError, match=r"density"):
        convert(16.0, "fl oz/acre", into="oz/1000 ft2")
    # A pint of water weighs 1.043 lb (8.345 lb/gal at 4 °C, by 3.785411784 L and 0.45359237 kg).
    assert convert(16.0, "fl oz", into="oz", density_kg_per_l=1.0) == pytest.approx(16.69, abs=0.005)


@pytest.mark.parametrize("density", [0.0, -1.0])
def test_a_density_that_cannot_be_is_refused(density) -> None:
    with pytest.raises(ValueError, match="above 0"):
        convert(1.0, "oz", into="fl oz", density_kg_per_l=density)


@pytest.mark.parametrize(
    ("unit", "into", "words"),
    [
        ("ounce", "mL", "unit 'ounce' is not known"),
        ("gal/acre/min", "L/ha", "is not known"),
        ("mph/s", "m/s", "is not known"),
        ("gal", "acre", "gal is volume and acre is area"),
        ("gal/acre", "gal/min", "one does not become the other"),
        ("oz/acre", "fl oz/gal", "one does not become the other"),
    ],
)
def test_what_cannot_be_converted_is_refused_by_name(unit, into, words) -> None:
    with pytest.raises(ValueError, match=words):
        convert(1.0, unit, into=into)


def test_what_is_not_known_stays_so() -> None:
    assert math.isnan(convert(math.nan, "gal", into="L"))
    with pytest.raises(ValueError, match="not a number"):
        exact(math.inf)


def test_kinds_are_told() -> None:
    assert [kind_of(unit) for unit in ("oz/gal", "fl oz/1000 ft2", "psi")] == ["mass/volume", "volume/area", "pressure"]


@pytest.mark.parametrize("table", [units.RATE_UNITS, units.SPEED_UNITS, units.AREA_UNITS, units.VOLUME_UNITS])
def test_the_shown_units_are_the_same(table) -> None:
    for name, size in table.items():
        base = {"volume": "L", "area": "m2", "length/time": "m/s", "volume/area": "L/m2"}[kind_of(name)]
        assert convert(1.0, name, into=base) == pytest.approx(size, rel=3e-16), name
