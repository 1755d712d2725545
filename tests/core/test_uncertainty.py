"""Uncertainties as the GUM combines them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.uncertainty import (
    Estimate,
    add_doubt,
    average_runs,
    coverage_factor,
    coverage_of,
    multiply_powers,
)


@pytest.mark.parametrize(
    ("freedom", "factor"),
    [
        (1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (6, 2.45), (7, 2.36), (8, 2.31), (9, 2.26), (10, 2.23),
        (15, 2.13), (20, 2.09), (30, 2.04), (50, 2.01), (100, 1.984),
    ],
)  # fmt: skip
def test_coverage_factors_are_the_tabled_ones(freedom, factor) -> None:
    """JCGM 100:2008 (GUM), table G.2, column 95 % (from memory)."""
    assert coverage_factor(freedom) == pytest.approx(factor, abs=0.0051)


def test_coverage_factors_for_99_per_cent_are_the_tabled_ones() -> None:
    """JCGM 100:2008 (GUM), table G.2, column 99 % (from memory), at 1, 2, 3 and 10."""
    found = [coverage_factor(freedom, coverage=0.99) for freedom in (1, 2, 3, 10)]
    assert found == pytest.approx([63.66, 9.92, 5.84, 3.17], abs=0.006)


def test_the_end_gauge_example_has_its_degrees_of_freedom() -> None:
    """JCGM 100:2008 (GUM), H.1 (from memory): 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 make 32 nm with 16."""
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    # As shares of a product of ones: sizes are what matters.
    found = multiply_powers([(Estimate(1.0, sd * 1e-9, freedom), 1.0) for sd, freedom in parts])
    assert found.sd * 1e9 == pytest.approx(32.0, abs=0.5)
    assert math.floor(found.freedom) == 16


def test_the_mean_of_runs_is_the_text_books() -> None:
    """GUM equations 3 and 5, by numpy."""
    values = [44.0, 45.0, 44.0]
    found = average_runs(values)
    assert found.value == pytest.approx(np.mean(values))
    assert found.sd == pytest.approx(np.std(values, ddof=1) / math.sqrt(3))


def test_intervals_of_three_runs_hold_as_often_as_they_say() -> None:
    rng = np.random.default_rng(7)
    held = sum(
        abs(found.value - 10.0) <= found.margin
        for found in (average_runs((10.0 + rng.standard_normal(3)).tolist()) for _ in range(2000))
    )
    assert held / 2000 == pytest.approx(0.95, abs=0.015)


@given(freedom=st.integers(1, 200), coverage=st.floats(0.01, 0.999))
def test_factor_and_coverage_are_each_others_inverse(freedom, coverage) -> None:
    factor = coverage_factor(freedom, coverage=coverage)
    assert coverage_of(factor, freedom=freedom) == pytest.approx(coverage, abs=1e-9)


@given(
    value=st.floats(0.1, 100.0), share=st.floats(0.001, 0.3), power=st.sampled_from([-2.0, -1.0, -0.5, 0.5, 1.0, 2.0])
)
def test_a_power_has_its_power_times_the_share(value, share, power) -> None:
    found = multiply_powers([(Estimate(value, share * value, 4), power)])
    assert found.share == pytest.approx(abs(power) * share)
    assert found.freedom == pytest.approx(4)


def test_doubt_that_is_sure_of_itself_adds_freedom() -> None:
    found = add_doubt(Estimate(10.0, 0.3, 2), [0.4])
    assert found.sd == pytest.approx(0.5)
    assert found.freedom == pytest.approx(0.5**4 / (0.3**4 / 2))
    assert add_doubt(Estimate(10.0), [0.1]) == Estimate(10.0, 0.1, math.inf)


def test_a_share_of_nought_is_not_known() -> None:
    assert math.isnan(Estimate(0.0, 1.0).share)


@pytest.mark.parametrize("values", [[1.0], [], [1.0, math.nan]])
def test_too_few_readings_are_refused(values) -> None:
    with pytest.raises(ValueError, match="two or more"):
        average_runs(values)


def test_what_cannot_be_is_refused() -> None:
    for freedom, coverage in ((0.5, 0.95), (math.nan, 0.95), (3, 1.0)):
        with pytest.raises(ValueError, match="at least 1"):
            coverage_factor(freedom, coverage=coverage)
    with pytest.raises(ValueError, match="at least 1"):
        coverage_of(2.0, freedom=0.0)
    with pytest.raises(ValueError, match="above 0"):
        multiply_powers([(Estimate(0.0, 1.0), 1.0)])
