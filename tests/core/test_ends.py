"""Liquid lies between where the spray went on and where it went off, whenever the fixes came."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.dose import integrate_dose
from server.core.ends import add_ends
from server.core.grid import GridFrame
from server.core.results import Interval, Track
from server.core.swath import Pattern

SPANS = st.floats(1.0, 18.0)


def _track(step=1.0, draws=3):
    t = np.arange(0.0, 20.0 + step, step)
    zero, ones = np.zeros(len(t)), np.zeros(len(t), dtype=np.int64)
    rng = np.random.default_rng(1)
    return Track(
        ones, t, t, t + 1e9, zero, 1.2 * t, zero, zero, zero, zero + 1.2, np.where(t < 10, 350.0, 10.0), zero, ones + 4,
        rng.standard_normal((draws, len(t), 2)).astype(np.float32),
    )  # fmt: skip


@given(SPANS, SPANS)
def test_epochs_are_added_at_the_ends_and_nothing_else_changes(one, two):
    start, end = sorted((one, two))
    track = _track()
    found = add_ends(track, (Interval(start, end, 0.1),))
    for wanted in (start, end):
        assert np.abs(found.t - wanted).min() <= 1e-3
    assert (np.diff(found.t) > 0).all()
    kept = np.isin(found.t, track.t)
    np.testing.assert_array_equal(found.t[kept], track.t)
    np.testing.assert_array_equal(found.deviations_m[:, kept], track.deviations_m)
    np.testing.assert_allclose(found.north_m, 1.2 * found.t, atol=1e-9)
    assert all(len(getattr(found, name)) == len(found.t) for name in ("boot", "mono", "utc", "quality", "heading_deg"))


def test_headings_turn_the_short_way_round():
    found = add_ends(_track(), (Interval(9.5, 15.0, 0.1),))
    assert float(found.heading_deg[found.t == 9.5][0]) == pytest.approx(0.0)


def test_liquid_lies_as_long_as_was_sprayed():
    # Closed form: 1 m wide, from 3.4 s to 12.7 s at 1.2 m/s.
    found = add_ends(_track(), (Interval(3.4, 12.7, 0.1),))
    litres = np.interp(found.t, [3.4, 12.7], [0.0, 1.0])
    frame = GridFrame(-1.0, -1.0, 0.02, 100, 1300)
    deposit = integrate_dose(
        found.east_m, found.north_m, np.zeros(len(found.t)), litres, t=found.t, pattern=Pattern(1.0, 1.0), frame=frame
    )
    covered = float((deposit.dose_l_per_m2 > 1e-9).sum()) * frame.cell_area_m2
    assert covered == pytest.approx((12.7 - 3.4) * 1.2, abs=0.03)
    assert float(deposit.dose_l_per_m2.sum()) * frame.cell_area_m2 == pytest.approx(1.0, rel=1e-12)


def test_nothing_is_added_outside_the_way_or_beside_an_unknown_place():
    track = _track()
    assert add_ends(track, (Interval(-5.0, 25.0, 0.1),)) is not None
    assert len(add_ends(track, (Interval(-5.0, 25.0, 0.1),)).t) == len(track.t)
    track.east_m[5] = np.nan
    assert len(add_ends(track, (Interval(4.5, 12.5, 0.1),)).t) == len(track.t) + 1
