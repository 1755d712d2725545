"""Units against published conversions and worked examples."""

import math

import pytest

from server.core.units import (
    AREA_UNITS,
    RATE_UNITS,
    SPEED_UNITS,
    VOLUME_UNITS,
    area_in,
    rate_from,
    rate_in,
    speed_from,
    speed_in,
    volume_in,
)


def test_speed_and_area_constants_equal_the_printed_ones():
    # University of Nebraska pesticide education: 1 mph = 88 ft/min; 1 acre = 43 560 ft2; 1 ha = 2.471 acre.
    assert math.isclose(speed_in(speed_from(1, unit="mph"), unit="ft/min"), 88.0, rel_tol=1e-12)
    assert math.isclose(area_in(AREA_UNITS["acre"], unit="ft2"), 43560.0, rel_tol=1e-12)
    assert round(area_in(AREA_UNITS["ha"], unit="acre"), 3) == 2.471


def test_gallon_and_ounce_equal_the_printed_ones():
    # University of Nebraska pesticide education: 1 US gal = 128 fl oz = 3.785 L; 1 fl oz = 29.57 mL.
    assert math.isclose(volume_in(VOLUME_UNITS["gal"], unit="fl oz"), 128.0, rel_tol=1e-12)
    assert round(VOLUME_UNITS["gal"], 3) == 3.785
    assert round(volume_in(VOLUME_UNITS["fl oz"], unit="mL"), 2) == 29.57


def test_a_swath_of_8_25_feet_over_a_mile_is_an_acre():
    # University of Nebraska pesticide education: 1 acre = a swath 8.25 ft wide by 1 mile.
    assert math.isclose(area_in(8.25 * 0.3048 * 1609.344, unit="acre"), 1.0, rel_tol=1e-12)


def test_rates_convert_as_the_extension_tables_print_them():
    # Pesticide Environmental Stewardship; Ohio State University: 1 GPA = 9.35 L/ha = 0.023 gal/1000 ft2;
    # 1 gal/1000 ft2 = 43.56 GPA.
    one = rate_from(1, unit="gal/acre")
    assert round(rate_in(one, unit="L/ha"), 3) == 9.354
    assert round(rate_in(one, unit="gal/1000 ft2"), 6) == 0.022957
    thousand = rate_from(1, unit="gal/1000 ft2")
    assert math.isclose(rate_in(thousand, unit="gal/acre"), 43.56, rel_tol=1e-12)
    # Derived: 407.5 L/ha = 4.075 L/100 m2.
    assert round(rate_in(thousand, unit="L/ha"), 1) == 407.5
    assert round(rate_in(thousand, unit="L/100 m2"), 3) == 4.075


def test_forty_gallons_an_acre_is_0_92_gallons_a_thousand_square_feet():
    # Oklahoma State University OKC, Calibrating application equipment, 2013.
    assert round(rate_in(rate_from(40, unit="gal/acre"), unit="gal/1000 ft2"), 2) == 0.92


def test_the_worked_spray_gun_gives_its_printed_rate():
    # Pesticide Environmental Stewardship, spray gun: 5.25 gal on 1000 ft2 is 228.7 GPA.
    litres, square_metres = 5.25 * VOLUME_UNITS["gal"], AREA_UNITS["1000 ft2"]
    assert abs(rate_in(litres / square_metres, unit="gal/acre") - 228.7) < 0.05


def test_ten_square_metres_tell_the_rate_by_moving_the_point():
    # NSW DPI, INT09/35816, 2009: litres on 10 m2 times 10 are L/100 m2 and times 1000 are L/ha.
    assert math.isclose(rate_in(0.4 / 10, unit="L/100 m2"), 4.0)
    assert math.isclose(rate_in(0.4 / 10, unit="L/ha"), 400.0)


@pytest.mark.parametrize(("mph", "seconds"), [(1.0, 68), (2.0, 34), (3.0, 23), (4.0, 17), (5.0, 14)])
def test_a_hundred_feet_take_the_printed_seconds(mph, seconds):
    # Pesticide Environmental Stewardship, walking speed table (100 ft).
    assert abs(100 * 0.3048 / speed_from(mph, unit="mph") - seconds) < 0.6


def test_eight_hundred_metres_take_the_printed_minutes():
    # Alberta Agriculture, Agdex 606-1: 800 m at 8, 10, 12 km/h in 6:00, 4:48, 4:00.
    times = [800 / speed_from(kmh, unit="km/h") for kmh in (8, 10, 12)]
    assert [round(time, 6) for time in times] == [360, 288, 240]


def test_a_knot_is_0_514444_metres_a_second():
    # NIST SP 811, 2008, appendix B.8.
    assert round(SPEED_UNITS["kn"], 6) == 0.514444


@pytest.mark.parametrize("unit", sorted(RATE_UNITS))
def test_rates_go_there_and_back(unit):
    assert math.isclose(rate_in(rate_from(0.37, unit=unit), unit=unit), 0.37, rel_tol=1e-15)
    assert math.isnan(rate_in(math.nan, unit=unit))


def test_an_unknown_unit_is_refused_by_name():
    with pytest.raises(ValueError, match=r"furlong.*m/s, km/h"):
        speed_in(1.0, unit="furlong")
