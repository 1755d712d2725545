"""The rate curve: its integral and the inverse of it are exact, whatever the knots."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_sim.curve import integrate_rate
from firmware_sim.noise import make_generator, wander

rates = st.lists(st.one_of(st.just(0.0), st.floats(0.01, 50.0)), min_size=2, max_size=20)


def test_a_ramp_integrates_to_half_its_square():
    """Closed form: rate = t gives t² / 2."""
    curve = integrate_rate(np.array([0.0, 4.0]), np.array([0.0, 4.0]))
    t = np.linspace(0.0, 4.0, 17)
    assert curve.total_at(t) == pytest.approx(t**2 / 2.0, abs=1e-14)
    assert curve.time_of(np.array([0.5, 2.0, 8.0])) == pytest.approx([1.0, 2.0, 4.0], abs=1e-14)


def test_beyond_the_ends_the_integral_stands_still():
    """Before the first and after the last knot nothing flows."""
    curve = integrate_rate(np.array([1.0, 2.0]), np.array([3.0, 3.0]))
    assert curve.total_at(np.array([0.0, 9.0])).tolist() == [0.0, 3.0]
    assert np.isnan(curve.time_of(np.array([3.0001]))[0])


@given(rates, st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=10))
def test_the_integral_at_the_time_of_a_level_is_the_level(values, shares):
    """The inverse inverts, with flat pieces and pieces of no flow between."""
    curve = integrate_rate(np.arange(len(values), dtype=float), np.array(values))
    levels = np.array(shares) * curve.total[-1]
    if curve.total[-1] > 0.0:
        assert curve.total_at(curve.time_of(levels)) == pytest.approx(levels, rel=1e-9, abs=1e-9)


@given(rates)
def test_the_integral_agrees_with_a_fine_sum(values):
    """Simpson's rule is exact for a piecewise quadratic's derivative: an independent sum between knots."""
    curve = integrate_rate(np.arange(len(values), dtype=float), np.array(values))
    middle = 0.5 * (curve.t[1:] + curve.t[:-1])
    simpson = (curve.rate[:-1] + 4.0 * curve.rate_at(middle) + curve.rate[1:]) / 6.0
    assert curve.total[-1] == pytest.approx(float(np.sum(simpson)), rel=1e-12)


def test_unsorted_knots_and_negative_rates_are_refused():
    """A caller's mistake raises."""
    with pytest.raises(ValueError, match="ascending"):
        integrate_rate(np.array([0.0, 0.0]), np.array([1.0, 1.0]))
    with pytest.raises(ValueError, match="negative"):
        integrate_rate(np.array([0.0, 1.0]), np.array([1.0, -1.0]))


def test_one_part_of_the_world_does_not_disturb_another():
    """Each part has a generator of its own, the same for the same seed."""
    first, again, other = (make_generator(3, part).standard_normal(4) for part in ("wind", "wind", "walk"))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_wander_has_its_spread_and_its_correlation():
    """Gauss–Markov: sd as asked, correlation e^(−1) after one time scale (sampling error about 3 % here)."""
    series = wander(make_generator(5, "test"), 400_000, step_s=0.2, time_scale_s=10.0, sd=2.0)
    assert np.std(series) == pytest.approx(2.0, rel=0.05)
    assert np.corrcoef(series[:-50], series[50:])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.05)
