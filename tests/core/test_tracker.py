"""The live track follows the truth as closely as it says, at once and cheaply."""

import time

import numpy as np
import pytest

from server.core.geodesy import plane_from_degrees
from server.core.receiver import MODELS
from server.core.results import Plane
from server.core.setup import Receiver, Sprayer
from server.core.timebase import Timebase
from server.core.track import smooth_track
from server.core.tracker import LiveFix, TrackFilter, step_track

PLANE = Plane(45.0, -30.0)
FIXED = {"quality": 4, "wander_m": 0.008, "white_m": 0.006, "doppler_mps": 0.012}
ORDINARY = {"quality": 1, "wander_m": 1.5, "white_m": 0.25, "doppler_mps": 0.07}


def _follow(fixes, sprayer=None):
    east, north = plane_from_degrees(fixes.lat_deg, fixes.lon_deg, plane=PLANE)
    state, states = TrackFilter(), []
    columns = (fixes.mono, east, north, fixes.speed_mps, fixes.course_deg, fixes.quality)
    for row in zip(*(column.tolist() for column in columns), strict=True):
        state = step_track(state, LiveFix(*row), sprayer=sprayer or Sprayer(1.0), models=MODELS)
        states.append(state)
    return states


def _column(states, name):
    return np.array([getattr(state, name) for state in states])


@pytest.mark.parametrize(("errors", "limit_m"), [(FIXED, 0.03), (ORDINARY, 2.2)])
def test_live_position_is_as_good_as_it_says(bench, errors, limit_m):
    walk = bench.walk_lawn([float(k) for k in range(8)])
    errors_m, stated = [], []
    for seed in range(6):
        states = _follow(bench.observe_walk(walk, np.random.default_rng(seed), **errors))
        errors_m.append(np.hypot(_column(states, "east_m") - walk.east_m, _column(states, "north_m") - walk.north_m))
        stated.append(_column(states, "sd_m"))
    rms = np.sqrt(np.mean(np.square(errors_m)) / 2)
    assert rms < limit_m
    assert 0.4 < rms / np.sqrt(np.mean(np.square(stated))) < 1.5


def test_the_live_track_agrees_with_the_review_where_both_know_all(bench):
    walk = bench.walk_lawn([0.0, 1.0, 2.0])
    fixes = bench.observe_walk(walk, np.random.default_rng(1), **FIXED)
    track = smooth_track(
        fixes, Timebase(np.zeros(1), 1e9), PLANE, receiver=Receiver(), sprayer=Sprayer(1.0),
        rng=np.random.default_rng(1), draws=0,
    )  # fmt: skip
    states = _follow(fixes)
    apart = np.hypot(_column(states, "east_m") - track.east_m, _column(states, "north_m") - track.north_m)
    assert apart.max() < 0.05


def test_heading_and_speed_are_those_of_the_walk(bench):
    walk = bench.walk_lawn([0.0, 1.0])
    states = _follow(bench.observe_walk(walk, np.random.default_rng(1), **FIXED))
    a, b = walk.spraying[0]
    inside = (walk.t > a + 2) & (walk.t < b - 1)
    heading = (_column(states, "heading_deg")[inside] + 180) % 360 - 180
    assert np.abs(heading).max() < 3.0
    assert _column(states, "speed_mps")[inside].mean() == pytest.approx(1.2, rel=0.02)


def test_nothing_is_known_before_a_fix_and_soon_after_the_last(bench):
    walk = bench.walk_lawn([0.0, 1.0])
    quality = np.full(len(walk.t), 4)
    quality[walk.t < 4.9] = 0
    quality[walk.t > 20.1] = 5
    states = _follow(bench.make_fixes(walk.t, walk.east_m, walk.north_m, walk.velocity, quality=quality))
    known = np.isfinite(_column(states, "east_m"))
    assert not known[walk.t < 4.9].any()
    assert known[(walk.t >= 4.9) & (walk.t < 22.0)].all()
    assert not known[walk.t > 22.3].any()
    bridged = (walk.t > 20.3) & (walk.t < 22.0)
    assert np.abs(_column(states, "north_m") - walk.north_m)[bridged].max() < 0.1
    assert _column(states, "sd_m")[bridged][-1] > 5 * _column(states, "sd_m")[walk.t < 20][-1]


def test_a_lever_arm_turns_with_the_heading(bench):
    walk = bench.walk_lawn([0.0, 1.0])
    fixes = bench.make_fixes(walk.t, walk.east_m, walk.north_m, walk.velocity)
    plain, ahead = _follow(fixes), _follow(fixes, Sprayer(1.0, nozzle_forward_m=0.8, nozzle_right_m=0.3))
    east, north = (_column(ahead, n) - _column(plain, n) for n in ("east_m", "north_m"))
    out, back = ((walk.t > a + 3) & (walk.t < b - 3) for a, b in walk.spraying)
    np.testing.assert_allclose(np.stack([east, north])[:, out].mean(axis=1), [0.3, 0.8], atol=0.01)
    np.testing.assert_allclose(np.stack([east, north])[:, back].mean(axis=1), [-0.3, -0.8], atol=0.01)


def test_what_comes_late_or_twice_changes_nothing():
    state = step_track(TrackFilter(), LiveFix(5.0, 1.0, 1.0, 1.2, 0.0, 4), sprayer=Sprayer(1.0), models=MODELS)
    for t in (5.0, 4.0):
        assert step_track(state, LiveFix(t, 9.0, 9.0, 1.2, 0.0, 4), sprayer=Sprayer(1.0), models=MODELS) is state


def test_after_a_long_loss_it_begins_anew():
    state = TrackFilter()
    for t, east in ((0.0, 0.0), (0.2, 0.0), (100.0, 500.0), (100.2, 500.0)):
        state = step_track(state, LiveFix(t, east, 0.0, 0.0, 0.0, 4), sprayer=Sprayer(1.0), models=MODELS)
    assert state.east_m == pytest.approx(500.0, abs=0.1)


def test_a_receiver_without_velocity_still_gives_positions():
    state = TrackFilter()
    for k in range(100):
        fix = LiveFix(k / 5, 0.0, 1.2 * k / 5, float("nan"), float("nan"), 4)
        state = step_track(state, fix, sprayer=Sprayer(1.0), models=MODELS)
    assert state.north_m == pytest.approx(1.2 * 99 / 5, abs=0.6)


def test_a_fix_costs_less_than_a_millisecond(bench):
    walk = bench.walk_lawn([float(k) for k in range(10)])
    fixes = bench.observe_walk(walk, np.random.default_rng(1), **FIXED)
    begun = time.process_time()
    _follow(fixes)
    assert (time.process_time() - begun) / len(walk.t) < 1e-3  # 0.03 ms measured
