"""Extrapolating noise away: closed form and a job whose truth is known."""

import math

import numpy as np
import pytest

from server.core.grid import GridFrame
from server.core.results import Track
from server.core.setup import Treatment
from server.core.simex import correct_covered_area, extrapolate_noise
from server.core.swath import Pattern


def test_a_quadratic_is_extrapolated_exactly():
    added = np.array([0.0, 0.5, 1.0, 1.5, 2.0])
    assert math.isclose(extrapolate_noise(2 - 0.5 * added + 0.1 * added**2), 2.6, rel_tol=1e-12)
    assert math.isnan(extrapolate_noise([1.0, math.nan, 1.0, 1.0, 1.0]))
    with pytest.raises(ValueError, match="three figures"):
        extrapolate_noise([1.0, 2.0], added=[0.0, 1.0])


def test_covered_area_under_wander_comes_nearer_the_truth():
    # Truth by construction: ten passes one swath apart cover 200 m2; each pass is seen 0.25 m aside (sd).
    rng = np.random.default_rng(4)
    n, passes = 21, 10
    north = np.tile(np.linspace(0.0, 20.0, n), passes)
    east = np.repeat(np.arange(passes) + 0.5, n)
    litres = np.cumsum(np.where(np.diff(north, prepend=0.0) > 0, 0.04, 0.0))
    zero, t = np.zeros(n * passes), np.arange(n * passes, dtype=float)
    naive, corrected = [], []
    options = {"pattern": Pattern(1.0, 1.0), "treatment": Treatment(target_l_per_m2=0.04)}
    for _ in range(6):
        seen = east + np.repeat(rng.normal(0.0, 0.25, passes), n)
        deviations = np.zeros((8, n * passes, 2))
        deviations[:, :, 0] = np.repeat(rng.normal(0.0, 0.25, (8, passes)), n, axis=1)
        track = Track(zero, t, t, t, seen, north, zero, zero, zero, zero, zero, zero, zero, deviations)
        still = Track(zero, t, t, t, seen, north, zero, zero, zero, zero, zero, zero, zero, 0 * deviations)
        frame = GridFrame(-3.0, -2.0, 0.1, 160, 240)
        naive.append(correct_covered_area(still, litres, frame, **options))
        corrected.append(correct_covered_area(track, litres, frame, **options))
    assert np.mean(naive) < 190.0
    assert abs(np.mean(corrected) - 200.0) < 0.6 * abs(np.mean(naive) - 200.0)


def test_without_sampled_tracks_nothing_is_claimed():
    zero = np.zeros(2)
    track = Track(zero, zero, zero, zero, zero, zero, zero, zero, zero, zero, zero, zero, zero, np.zeros((0, 2, 2)))
    frame = GridFrame(0.0, 0.0, 1.0, 2, 2)
    got = correct_covered_area(track, zero, frame, pattern=Pattern(1.0, 1.0), treatment=Treatment(target_l_per_m2=0.1))
    assert math.isnan(got)
