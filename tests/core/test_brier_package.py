"""The Brier score beside the package `scores` of the Bureau of Meteorology, which this project did not write."""

import numpy as np
import pytest
import xarray
from hypothesis import given
from hypothesis import strategies as st
from scores.probability import brier_score

from server.core.logit import score_brier

PAIRS = st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), min_size=1, max_size=60)


def ask_package(said: np.ndarray, came: np.ndarray) -> float:
    return float(brier_score(xarray.DataArray(said), xarray.DataArray(came)))


def test_both_give_the_published_example() -> None:
    """Row B1: 0.2075, documentation of brier_score in scores 2.7.0."""
    said, came = np.array([0.3, 0.5, 0.7, 1.0]), np.array([0.0, 1.0, 0.0, 1.0])
    assert ask_package(said, came) == pytest.approx(0.2075)
    assert score_brier(said, came) == pytest.approx(ask_package(said, came), abs=1e-12)


@given(PAIRS)
def test_both_agree_whatever_was_said(pairs: list[tuple[float, bool]]) -> None:
    said, came = (np.array(column, dtype=float) for column in zip(*pairs, strict=True))
    assert score_brier(said, came) == pytest.approx(ask_package(said, came), abs=1e-12)


def test_both_leave_out_what_is_not_known() -> None:
    said, came = np.array([0.2, np.nan, 0.9]), np.array([0.0, 1.0, 1.0])
    assert score_brier(said, came) == pytest.approx(ask_package(said, came), abs=1e-12)
