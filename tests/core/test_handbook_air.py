"""Wind height and Delta T as the application handbook's rows have them."""

import pytest

from server.core.climate import delta_t, wet_bulb
from server.core.profile import height_factor
from server.core.quantity import convert


def test_c01_ten_metres_to_two_is_the_printed_factor() -> None:
    """Handbook C01; FAO-56 equation 47, example 14: 3.2 m/s at 10 m is 2.39 m/s (2.4), 8.62 km/h, 5.35 mph.

    The factor between two heights divides by the formula's own at 2 m, 1.0002; within 0.01 m/s.
    """
    found = 3.2 * height_factor(from_height=10.0, to_height=2.0)
    assert found == pytest.approx(2.39, abs=0.01)
    assert convert(found, "m/s", into="km/h") == pytest.approx(8.62, abs=0.036)
    assert convert(found, "m/s", into="mph") == pytest.approx(5.35, abs=0.022)
    assert found / 3.2 == pytest.approx(0.748, abs=0.001)


def test_c02_half_humid_air_of_twenty_degrees_has_its_wet_bulb() -> None:
    """Handbook C02; Stull (2011), value from memory: 13.7 °C, Delta T 6.3 °C (within 0.05)."""
    assert wet_bulb(20.0, 50.0) == pytest.approx(13.7, abs=0.05)
    assert delta_t(20.0, 50.0) == pytest.approx(6.3, abs=0.05)


@pytest.mark.parametrize(
    ("temperature", "humidity", "expected", "verdict"),
    [
        (25, 50, (7.0,), "suitable"),
        (30, 50, (7.7, 7.9), "suitable"),
        (30, 30, (11.6, 11.9), "not"),
        (10, 90, (1.1, 0.8), "not"),
    ],
)
def test_c03_delta_t_falls_in_its_band(temperature, humidity, expected, verdict) -> None:
    """Handbook C03; not published: by Stull's and the psychrometric formula, within 0.3 °C; 2 to 8 suitable."""
    found = delta_t(temperature, humidity)
    assert all(found == pytest.approx(value, abs=0.3) for value in expected)
    assert ("suitable" if 2.0 <= found <= 8.0 else "not" if found < 2.0 or found > 10.0 else "between") == verdict
