"""Wet bulb, Delta T and the sun against published values."""

import numpy as np
import pytest

from server.core.climate import delta_t, is_icing_likely, is_inversion_likely, sun_place, wet_bulb

GOLDEN = {"lat_deg": 39.742476, "lon_deg": -105.1786}
SPA_UTC = 1066419030.0
"""2003-10-17 19:30:30 UTC."""


def test_wet_bulb_is_the_published_example() -> None:
    """Stull (2011): 20 °C at 50 % is 13.7 °C; 13.69934196898814 in the test of an independent library (handbook T1)."""
    assert wet_bulb(20.0, 50.0) == pytest.approx(13.69934196898814, abs=1e-9)


@pytest.mark.parametrize(
    ("temperature", "humidity", "expected"),
    [(20, 50, 6.30), (25, 50, 7.00), (15, 80, 2.27), (10, 90, 1.08), (35, 20, 15.70)],
)
def test_delta_t_rows(temperature: float, humidity: float, expected: float) -> None:
    """Handbook row T2: Delta T by the same formula, to two decimals."""
    assert delta_t(temperature, humidity) == pytest.approx(expected, abs=0.005)


def test_the_trap_of_thirty_degrees_is_avoided() -> None:
    """Handbook row T3: public pages print 21.9, the formula gives 22.297; psychrometric 21.828 shows its accuracy."""
    assert wet_bulb(30.0, 50.0) == pytest.approx(22.297, abs=0.001)
    assert abs(wet_bulb(30.0, 50.0) - 21.828) < 1.0


@pytest.mark.parametrize(
    ("temperature", "humidity"), [(60, 50), (-30, 50), (20, 2), (20, 100), (np.nan, 50), (20, np.nan)]
)
def test_outside_its_range_the_wet_bulb_is_unknown(temperature: float, humidity: float) -> None:
    assert np.isnan(wet_bulb(temperature, humidity))


def test_the_sun_stands_where_the_published_algorithm_puts_it() -> None:
    """NREL/TP-560-34302 (SPA) worked example: elevation 39.872046°, azimuth 194.340241° (handbook T7)."""
    height, azimuth = sun_place(SPA_UTC, **GOLDEN)
    assert height == pytest.approx(39.872046, abs=0.02)
    assert azimuth == pytest.approx(194.340241, abs=0.03)


@pytest.mark.parametrize("clock", ["14:21:55", "23:47:43"])
def test_the_sun_is_on_the_horizon_at_published_sunrise_and_sunset(clock: str) -> None:
    """NREL SPA for Golden, 2015-01-02: sunrise 07:21:55, sunset 16:47:43 MST (handbook T8), at -0.8333°."""
    hours, minutes, seconds = (int(part) for part in clock.split(":"))
    utc = 1420156800.0 + 3600 * hours + 60 * minutes + seconds
    assert sun_place(utc, **GOLDEN)[0] == pytest.approx(-0.8333, abs=0.1)


def test_little_wind_under_a_low_sun_is_a_caution() -> None:
    evening = 1420156800.0 + 23.8 * 3600
    assert is_inversion_likely(0.8, evening, **GOLDEN)
    assert not is_inversion_likely(3.0, evening, **GOLDEN)
    assert not is_inversion_likely(0.8, SPA_UTC, **GOLDEN)
    assert not is_inversion_likely(np.nan, evening, **GOLDEN)
    assert not is_inversion_likely(0.8, np.nan, **GOLDEN)


@pytest.mark.parametrize(("temperature", "humidity", "likely"), [(-5, 95, 1), (1, 85, 1), (1.5, 99, 0), (-5, 60, 0)])
def test_damp_air_near_freezing_may_ice_a_cup(temperature: float, humidity: float, likely: int) -> None:
    assert is_icing_likely(temperature, humidity) == bool(likely)
    assert not is_icing_likely(np.nan, humidity)
    assert not is_icing_likely(temperature, np.nan)
