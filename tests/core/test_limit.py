"""Limits as labels state them, held against readings exactly."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.alarm import AlarmState, step_alarm
from server.core.chance import chance_above
from server.core.limit import EXACT_MPS, exact_speed, read_limit, tell_limit
from server.core.profile import tell_conversion


def test_units_are_as_large_as_they_are_defined() -> None:
    """The international mile of 5280 feet of 0.3048 m; the nautical mile of 1852 m (handbook: kn = 1852/3600)."""
    assert EXACT_MPS["mph"] == Fraction(5280) * Fraction("0.3048") / 3600 == Fraction("0.44704")
    assert EXACT_MPS["kn"] == Fraction(1852, 3600)
    assert EXACT_MPS["km/h"] == Fraction(10, 36)


@given(st.integers(1, 999), st.sampled_from(sorted(EXACT_MPS)))
def test_a_reading_of_as_much_as_the_limit_is_not_above_it(tenths: int, unit: str) -> None:
    limit = read_limit(f"{tenths / 10} {unit}")
    reading = exact_speed(tenths / 10, unit=unit)
    assert not reading > limit
    assert chance_above(reading, 0.0, limit) == 0.5
    assert exact_speed(tenths / 10 + 0.001, unit=unit) > limit
    assert np.nextafter(limit, 1e4) > reading


@pytest.mark.parametrize("unit", ["mph", "MPH", "mi/h", "miles per hour", "Miles  per hour"])
def test_names_of_units_are_read_however_they_are_written(unit: str) -> None:
    assert read_limit(f" 10{unit} ") == 4.4704


@pytest.mark.parametrize("stated", ["", "mph", "10", "-3 mph", "1e3 mph", "ten mph", "10 mph gusts", "10 % mph", "5 m"])
def test_what_is_no_speed_is_refused(stated: str) -> None:
    with pytest.raises(ValueError, match="no speed as a label states it"):
        read_limit(stated)


def test_a_steady_wind_of_just_the_limit_raises_no_stop_by_its_mean_or_gust() -> None:
    limit = read_limit("10 mph")
    state = AlarmState()
    for t in range(120):
        state = step_alarm(
            state, t=float(t), p_above_limit=chance_above(limit, 0.1, limit), p_above_notice=1.0, mean_60s_mps=limit,
            apparent_60s_mps=limit, gust_3s_mps=1.5 * limit, limit_mps=limit, notice_mps=limit, is_spraying=True,
            is_wind_known=True, limit_told=tell_limit(limit, "10 mph"),
        )  # fmt: skip
        assert state.level == "notice"


def test_the_alarm_tells_the_limit_in_the_label_s_words() -> None:
    limit = read_limit("10 mph")
    state = step_alarm(
        AlarmState(), t=0.0, p_above_limit=0.95, p_above_notice=1.0, mean_60s_mps=5.0, apparent_60s_mps=5.0,
        gust_3s_mps=5.0, limit_mps=limit, notice_mps=3.6, is_spraying=True, is_wind_known=True,
        limit_told=tell_limit(limit, "10 mph"),
    )  # fmt: skip
    assert "limit 10 mph (4.5 m/s)" in state.reason


@pytest.mark.parametrize(("to_height", "factor"), [(10.0, "1.34"), (1.0, "0.85")])
def test_a_conversion_is_told_with_its_factor_and_where_it_holds(to_height: float, factor: float) -> None:
    """FAO-56 equation 47 (handbook row W11): u2/uz is 0.74795 at 10 m, 1.17825 at 1 m."""
    told = tell_conversion(from_height=2.0, to_height=to_height)
    assert f"{factor} times" in told
    assert "not in an inversion" in told
    assert "guess" not in told


@pytest.mark.parametrize("heights", [(0.3, 2.0), (2.0, 12.0)])
def test_a_conversion_beyond_its_heights_is_called_a_guess(heights: tuple[float, float]) -> None:
    assert "guess" in tell_conversion(from_height=heights[0], to_height=heights[1])
    assert tell_conversion(from_height=2.0, to_height=2.0) == ""
