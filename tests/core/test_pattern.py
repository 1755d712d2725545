"""Swath and evenness from measured patterns, against shapes whose answers are known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.errors import EntryError
from server.core.pattern import find_swath, overlap_spread, widest_spacing
from server.core.setup import Sprayer
from server.core.swath import pattern_from_sprayer

ROW = np.round(np.arange(-1.6, 1.61, 0.1), 9)


def trapezoid(x: np.ndarray, *, base: float, top: float, centre: float = 0.0) -> np.ndarray:
    """A trapezoid of height 1."""
    return np.clip((base / 2 - np.abs(x - centre)) / ((base - top) / 2), 0.0, 1.0)


@pytest.mark.parametrize(("kind", "top"), [("triangle", None), ("trapezoid", 0.6), ("trapezoid", 0.2)])
def test_the_settings_patterns_have_the_settings_swath(kind, top) -> None:
    """Ohio State University, Bulletin 817: effective swath = twice the distance to the half-rate point."""
    shape = pattern_from_sprayer(Sprayer(swath_m=1.0, pattern=kind, pattern_top_m=top))
    found = find_swath(ROW, trapezoid(ROW, base=shape.base_m, top=shape.top_m))
    assert found.swath_m == pytest.approx(1.0, abs=1e-3)
    assert (found.base_m, found.top_m) == pytest.approx((shape.base_m, shape.top_m), abs=1e-2)
    assert found.misfit < 1e-3


@given(scale=st.floats(1e-3, 1e3), centre=st.floats(-0.3, 0.3))
def test_neither_the_unit_nor_the_place_of_the_row_matters(scale, centre) -> None:
    amounts = trapezoid(ROW, base=1.6, top=0.6)
    found = find_swath(ROW + centre, scale * amounts)
    assert found.swath_m == pytest.approx(1.1, abs=2e-3)
    assert found.centre_m == pytest.approx(centre, abs=2e-3)


def test_scatter_of_catches_does_not_narrow_the_swath() -> None:
    """Half of the largest catch would: with 8 % scatter it is a tenth too high."""
    rng = np.random.default_rng(2)
    shape = trapezoid(ROW, base=1.5, top=0.5)
    widths = [find_swath(ROW, shape * (1 + 0.08 * rng.standard_normal(len(ROW)))).swath_m for _ in range(100)]
    assert np.mean(widths) == pytest.approx(1.0, abs=0.015)
    assert np.std(widths) < 0.05


def test_a_dip_in_the_middle_does_not_cut_the_swath() -> None:
    amounts = trapezoid(ROW, base=1.6, top=1.0)
    amounts[np.abs(ROW) < 0.15] *= 0.4
    found = find_swath(ROW, amounts)
    assert found.swath_m == pytest.approx(1.3, abs=0.06)
    assert found.misfit > 0.1


@pytest.mark.parametrize("spacing", [1.05, 1.2, 1.4, 1.7, 1.95])
def test_a_triangle_s_unevenness_is_the_integral_s(spacing) -> None:
    """Derived: overlap of 2 - s at constant 2 - s, between them 1 - |x|; mean 1 / s."""
    x = np.array([-1.2, -1.0, -0.5, 0.0, 0.5, 1.0, 1.2])
    overlap = 2.0 - spacing
    square = (overlap**3 + 2.0 * (1.0 - overlap**3) / 3.0) / spacing
    expected = math.sqrt(square - 1.0 / spacing**2) * spacing
    found = overlap_spread(x, np.clip(1.0 - np.abs(x), 0.0, None), spacing_m=spacing)
    assert found == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize(("kind", "top"), [("triangle", None), ("trapezoid", 0.4)])
def test_passes_one_swath_apart_add_up_evenly(kind, top) -> None:
    shape = pattern_from_sprayer(Sprayer(swath_m=1.0, pattern=kind, pattern_top_m=top))
    x = np.round(np.arange(-1.1, 1.11, 0.1), 9)
    assert overlap_spread(x, trapezoid(x, base=shape.base_m, top=shape.top_m), spacing_m=1.0) < 1e-9


def test_a_lopsided_pattern_is_even_one_way_but_not_turned() -> None:
    x = np.linspace(-1.0, 1.0, 21)
    lopsided = np.interp(x, [-0.8, 0.6, 0.8], [0.0, 1.0, 0.0], left=0.0, right=0.0)
    one_way = overlap_spread(x, lopsided, spacing_m=1.0, is_turned=False)
    turned = overlap_spread(x, lopsided, spacing_m=1.0)
    assert turned > 1.5 * one_way


@given(spacing=st.floats(0.4, 2.5), shift=st.floats(-0.4, 0.4))
def test_where_the_row_lies_does_not_matter_one_way(spacing, shift) -> None:
    amounts = trapezoid(ROW, base=1.4, top=0.8)
    one = overlap_spread(ROW, amounts, spacing_m=spacing, is_turned=False)
    assert overlap_spread(ROW + shift, amounts, spacing_m=spacing, is_turned=False) == pytest.approx(one, abs=5e-3)


def test_the_widest_even_spacing_of_a_triangle_is_the_integral_s() -> None:
    """Derived, see above: the coefficient of variation passes 0.10 between 1.25 and 1.26 swaths."""
    x = np.linspace(-1.2, 1.2, 25)
    assert widest_spacing(x, np.clip(1.0 - np.abs(x), 0.0, None)) == pytest.approx(1.25, abs=0.011)


def test_a_pattern_uneven_at_its_own_swath_has_no_even_spacing() -> None:
    x = np.linspace(-1.0, 1.0, 21)
    assert math.isnan(widest_spacing(x, np.where(np.abs(x) < 0.75, 0.2, 0.0) + np.where(np.abs(x) > 0.55, 1.0, 0.0)
                                     * (np.abs(x) < 0.75)))  # fmt: skip


@pytest.mark.parametrize(
    ("offsets", "amounts", "words"),
    [
        ([0.0, 1.0, 2.0], [0.0, 1.0, 0.0], "5 or more places"),
        ([0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 1.0, 0.0], "each with its amount"),
        ([0.0, 1.0, 1.0, 3.0, 4.0], [0.0, 1.0, 1.0, 1.0, 0.0], "each further than the last"),
        ([0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 1.0, -1.0, 1.0, 0.0], "from 0 up"),
        ([0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 1.0, math.nan, 1.0, 0.0], "from 0 up"),
        ([0.0, 1.0, 2.0, 3.0, 4.0], [0.0] * 5, "not all 0"),
        ([0.0, 1.0, 2.0, 3.0, 4.0], [1.0] * 5, "past an outermost catch"),
    ],
)
def test_catches_that_make_no_pattern_are_refused(offsets, amounts, words) -> None:
    with pytest.raises(EntryError, match=words):
        find_swath(np.array(offsets), np.array(amounts))


@pytest.mark.parametrize("spacing", [0.0, 0.001, 100.0, math.nan])
def test_spacings_that_cannot_be_meant_are_refused(spacing) -> None:
    with pytest.raises(EntryError, match="spacing"):
        overlap_spread(ROW, trapezoid(ROW, base=1.4, top=0.8), spacing_m=spacing)
