"""Headings and turn rates are those of the walk."""

import numpy as np
import pytest

from server.core.heading import heading_from_velocity, smooth_velocity, turn_rate


def _circle(rate_deg_per_s, step=0.2, seconds=60.0):
    t = np.arange(0, seconds, step)
    angle = np.radians(rate_deg_per_s * t)
    return t, 1.2 * np.sin(angle), 1.2 * np.cos(angle)


@pytest.mark.parametrize("rate", [-40.0, -5.0, 5.0, 40.0])
def test_a_circles_heading_and_turn_rate(rate):
    t, east, north = _circle(rate)
    heading = heading_from_velocity(*smooth_velocity(t, east, north))
    inner = slice(10, -10)
    off = (heading - rate * t + 180) % 360 - 180
    assert np.abs(off[inner]).max() < 0.6
    np.testing.assert_allclose(turn_rate(t, heading)[inner], rate, atol=1.0)


def test_smoothing_by_hann_halves_noise_as_its_weights_say():
    # The variance of a Hann mean of white noise at spacing d over a window W is 1.5 d / W (sum of squared weights).
    rng = np.random.default_rng(1)
    t = np.arange(0, 2000, 0.1)
    smooth, _ = smooth_velocity(t, rng.standard_normal(len(t)), np.zeros(len(t)))
    assert smooth.std() == pytest.approx(np.sqrt(1.5 * 0.1 / 2.0), rel=0.05)


def test_standing_keeps_the_last_heading():
    east = np.array([np.nan, 1.0, 1.0, 0.0, 0.01, 0.0, -1.0])
    known = np.nan_to_num(east)
    heading = heading_from_velocity(known, np.zeros(7))
    np.testing.assert_allclose(heading, [90, 90, 90, 90, 90, 90, 270])


def test_never_walking_has_no_heading():
    assert np.isnan(heading_from_velocity(np.zeros(4), np.zeros(4))).all()
    assert np.isnan(turn_rate(np.arange(4.0), np.full(4, np.nan))).all()


def test_missing_velocity_is_bridged():
    t = np.arange(0, 20, 0.2)
    east = np.where((t > 8) & (t < 10), np.nan, 1.2)
    smooth, _ = smooth_velocity(t, east, np.zeros(len(t)))
    np.testing.assert_allclose(smooth, 1.2)
    none, _ = smooth_velocity(t, np.full(len(t), np.nan), np.zeros(len(t)))
    assert np.isnan(none).all()
