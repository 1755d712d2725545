"""Straight passes, the lawn's edge and a peg say where the rig was, as far as they can be trusted."""

from dataclasses import replace

import numpy as np
import pytest

from server.core import smoother
from server.core.aids import Visit, choose_axis, turn_to_axis
from server.core.passes import PassSpan
from server.core.results import Interval, Plane
from server.core.setup import Receiver, Sprayer
from server.core.smoother import Aids, Bins, smooth_errors
from server.core.timebase import Timebase
from server.core.track import smooth_track

PLANE = Plane(45.0, -30.0)
BASE = Timebase(np.zeros(1), 1e9)
ORDINARY = {"quality": 1, "wander_m": 1.5, "white_m": 0.25, "doppler_mps": 0.07}
SEEDS = range(8)


def _follow(walk, fixes, *, aided, visits=(), edges=(), forward_m=0.0):
    intervals = tuple(Interval(a, b, 0.1) for a, b in walk.spraying) if aided else ()
    return smooth_track(
        fixes, BASE, PLANE, receiver=Receiver(), sprayer=Sprayer(1.0, nozzle_forward_m=forward_m),
        rng=np.random.default_rng(5), draws=0, intervals=intervals, visits=visits, edges=edges,
    )  # fmt: skip


def _errors(track, walk):
    return np.stack([track.east_m - walk.east_m, track.north_m - walk.north_m])


def _steps(track, walk):
    """How much the sideways error changes from pass to pass, metres."""
    means = [_errors(track, walk)[0, (walk.t >= a) & (walk.t <= b)].mean() for a, b in walk.spraying]
    return np.diff(means)


def test_straight_passes_take_a_quarter_of_the_error_between_passes_away(bench):
    walk = bench.walk_lawn([float(k) for k in range(10)])
    found = {False: [], True: []}
    for seed in SEEDS:
        fixes = bench.observe_walk(walk, np.random.default_rng(seed), **ORDINARY)
        for aided, steps in found.items():
            steps += list(_steps(_follow(walk, fixes, aided=aided), walk))
    assert np.std(found[True]) < 0.75 * np.std(found[False])


@pytest.mark.parametrize(
    "sides", [[0, 1, 2, 4, 5, 6, 7, 8], [0, 1, 2, 2.1, 3, 4, 5, 6], [0, 1.3, 2.2, 3.6, 4.4, 5.7, 6.6]]
)
def test_spacings_are_not_drawn_to_a_lattice(bench, sides):
    walk = bench.walk_lawn([float(side) for side in sides])
    steps = np.concatenate([
        _steps(_follow(walk, bench.observe_walk(walk, np.random.default_rng(seed), **ORDINARY), aided=True), walk)
        for seed in SEEDS
    ])  # fmt: skip
    wanted = np.tile(np.diff(sides), len(SEEDS))
    # Were spacings drawn to their usual, errors would run against what is unusual about them.
    slope = np.polyfit(wanted - np.median(wanted), steps, 1)[0]
    assert abs(slope) < 0.35
    assert np.std(steps) < 0.4


def test_a_bowed_pass_stays_bowed_with_a_receiver_that_sees_it(bench):
    t = np.arange(0.0, 60.0, 0.2)
    bow = 0.8 * np.sin(np.pi * np.clip(t - 5.0, 0.0, 50.0) / 50.0)
    bow_mps = np.gradient(bow, t)
    fixes = bench.make_fixes(t, bow, 1.2 * t, (bow_mps, np.full(len(t), 1.2)), quality=4)
    track = smooth_track(
        fixes, BASE, PLANE, receiver=Receiver(), sprayer=Sprayer(1.0), rng=np.random.default_rng(1), draws=0,
        intervals=(Interval(5.0, 55.0, 0.5),),
    )  # fmt: skip
    assert np.abs(track.east_m - bow).max() < 0.02


def test_the_edge_tells_where_passes_end(bench):
    walk = bench.walk_lawn([float(k) for k in range(8)])
    lawn = np.array([[-0.5, 0.0], [7.5, 0.0], [7.5, 25.0], [-0.5, 25.0], [-0.5, 0.0]])
    errors = {False: [], True: []}
    for seed in SEEDS:
        fixes = bench.observe_walk(walk, np.random.default_rng(seed), **ORDINARY)
        for has_edge, found in errors.items():
            track = _follow(walk, fixes, aided=True, edges=(lawn,) if has_edge else ())
            found.append(np.sqrt(np.nanmean(_errors(track, walk)[1] ** 2)))
    assert np.mean(errors[True]) < 0.4 * np.mean(errors[False])


def test_it_is_the_nozzle_that_is_at_the_edge(bench):
    # The nozzle is 0.8 m ahead: where a line of 25 m begins, it is that far in, and the spray goes off 1.6 m early.
    walk = bench.walk_lawn([float(k) for k in range(8)])
    walk = replace(walk, spraying=[(a, b - 1.6 / 1.2) for a, b in walk.spraying])
    lawn = np.array([[-0.5, 0.8], [7.5, 0.8], [7.5, 24.2], [-0.5, 24.2], [-0.5, 0.8]])
    off = {0.8: [], 0.0: []}
    for seed in SEEDS:
        fixes = bench.observe_walk(walk, np.random.default_rng(seed), **ORDINARY)
        for forward_m, found in off.items():
            track = _follow(walk, fixes, aided=True, edges=(lawn,), forward_m=forward_m)
            error = track.north_m - walk.north_m
            for k, (a, b) in enumerate(walk.spraying):
                ahead = forward_m if k % 2 == 0 else -forward_m
                found.append(float(error[(walk.t >= a) & (walk.t <= b)].mean()) - ahead)
    # With the antenna taken for the nozzle the edges of passes to and fro contradict each other.
    assert np.std(off[0.8]) < 0.3
    assert np.std(off[0.8]) < 0.8 * np.std(off[0.0])


def test_an_edge_far_from_the_passes_is_not_believed(bench):
    walk = bench.walk_lawn([float(k) for k in range(8)])
    lawn = np.array([[-0.5, -20.0], [7.5, -20.0], [7.5, 45.0], [-0.5, 45.0], [-0.5, -20.0]])
    fixes = bench.observe_walk(walk, np.random.default_rng(1), **ORDINARY)
    without, with_edge = (_follow(walk, fixes, aided=True, edges=edges) for edges in ((), (lawn,)))
    np.testing.assert_array_equal(with_edge.north_m, without.north_m)


def test_a_surveyed_peg_takes_the_wander_away_and_an_unknown_one_the_drift(bench):
    walk = bench.walk_lawn([float(k) for k in range(8)])
    # Standing at the first line's beginning before the start, and where the last line ends after it.
    first, last = float(walk.t[10]), float(walk.t[-10])
    places = [(walk.east_m[10], walk.north_m[10]), (walk.east_m[-10], walk.north_m[-10])]
    errors = {"none": [], "surveyed": []}
    for seed in SEEDS:
        fixes = bench.observe_walk(walk, np.random.default_rng(seed), **ORDINARY)
        surveyed = tuple(
            Visit(t, name, float(east), float(north), 0.05)
            for t, name, (east, north) in zip((first, last), "AB", places, strict=True)
        )
        for name, visits in (("none", ()), ("surveyed", surveyed)):
            track = _follow(walk, fixes, aided=True, visits=visits)
            errors[name].append(np.sqrt(np.nanmean(_errors(track, walk) ** 2)))
    assert np.mean(errors["surveyed"]) < 0.5 * np.mean(errors["none"])


def test_axes_are_those_of_the_most_walking_and_turning_is_its_own_inverse():
    spans = (PassSpan(0, 30, 31.0, 0, 1), PassSpan(30, 60, 211.0, 0, 1), PassSpan(60, 70, 80.0, 0, 1))
    assert choose_axis(spans) == pytest.approx(31.0)
    places = np.random.default_rng(1).standard_normal((50, 2))
    np.testing.assert_allclose(turn_to_axis(turn_to_axis(places, 31.0), 31.0), places, atol=1e-12)
    # Compass: at heading 31 degrees one goes sin 31 east and cos 31 north.
    ahead = np.array([np.sin(np.radians(31.0)), np.cos(np.radians(31.0))])
    np.testing.assert_allclose(turn_to_axis(ahead, 31.0), [1.0, 0.0], atol=1e-12)


def test_lines_and_pegs_are_weighed_as_the_dense_gaussian_says(monkeypatch):
    monkeypatch.setattr(smoother, "OUTLIER", np.inf)
    rng = np.random.default_rng(3)
    n, flat = 24, np.ones(24)
    observed = rng.standard_normal((n, 2))
    look, value, noise = np.zeros((n, 2, 3)), rng.standard_normal((n, 2)), np.full((n, 2), np.inf)
    begins, is_line = np.zeros((n, 2), bool), np.zeros((n, 2), bool)
    look[4:12, 1, 0], look[4:12, 1, 1], noise[4:12, 1] = 1.0, np.arange(8) - 3.5, 0.01
    begins[4, 1], is_line[4:12, 1] = True, True
    look[[1, 20], :, 2], noise[[1, 20]] = 1.0, 0.02
    aids = Aids(look, value, noise, begins, is_line, 0.03, np.array([[0.2, -0.1]]), np.array([2.0]))
    bins = Bins(1.0, observed, 0.04 * flat, 0.5 * flat, 60 * flat, 4e-4 * flat, 0.01 * flat, flat > 0, flat < 0, aids)
    smoothed = smooth_errors(bins, rng=rng, draws=0)
    for axis in (0, 1):
        mean, sd = _dense(bins, axis)
        np.testing.assert_allclose(smoothed.mean_m[:, axis], mean, atol=1e-8)
        np.testing.assert_allclose(smoothed.sd_m[:, axis], sd, atol=1e-8)


def _dense(bins, axis):
    """e of one axis by textbook conditioning of one big Gaussian: e, b, d of each bin, a line, a slant, a peg."""
    n, aids = len(bins.white_m2), bins.aids
    keep_b, keep_d = np.exp(-1.0 / 60.0), np.exp(-1.0 / smoother.BIAS_S)
    wander, bias = 0.5 * smoother.WANDER_FACTOR**2, 4e-4 * smoother.BIAS_FACTOR**2
    free = [smoother.START_SD_M**2, wander, bias]
    for _ in range(n - 1):
        free += [0.01 * smoother.DRIFT_FACTOR, wander * (1 - keep_b**2), bias * (1 - keep_d**2)]
    free += [smoother.START_SD_M**2, aids.slant_m2, aids.peg_m2[0]]
    mix = np.zeros((3 * n + 3, 3 * n + 3))
    mix[:3, :3], mix[3 * n :, 3 * n :] = np.eye(3), np.eye(3)
    step = np.array([[1, 0, -1.0], [0, keep_b, 0], [0, 0, keep_d]])
    for k in range(1, n):
        mix[3 * k : 3 * k + 3] = step @ mix[3 * k - 3 : 3 * k]
        mix[3 * k : 3 * k + 3, 3 * k : 3 * k + 3] += np.eye(3)
    covariance = mix @ np.diag(free) @ mix.T
    before = mix @ np.array([bins.observed_m[0, axis], 0, 0] + [0, 0, 0] * (n - 1) + [0, 0, aids.peg_m[0, axis]])
    looks, values, noises = [], [], []
    for k in range(n):
        row = np.zeros(3 * n + 3)
        row[3 * k] = row[3 * k + 1] = 1.0
        looks, values, noises = [*looks, row], [*values, bins.observed_m[k, axis]], [*noises, 0.04]
        if np.isfinite(aids.noise_m2[k, axis]):
            row = np.zeros(3 * n + 3)
            row[3 * k], row[3 * n :] = 1.0, -aids.look[k, axis]
            looks, values, noises = [*looks, row], [*values, aids.value_m[k, axis]], [*noises, aids.noise_m2[k, axis]]
    look = np.array(looks)
    gain = covariance @ look.T @ np.linalg.inv(look @ covariance @ look.T + np.diag(noises))
    mean = before + gain @ (np.array(values) - look @ before)
    left = np.eye(3 * n + 3) - gain @ look
    spread = left @ covariance @ left.T + gain @ np.diag(noises) @ gain.T
    return mean[: 3 * n : 3], np.sqrt(np.diag(spread)[: 3 * n : 3])
