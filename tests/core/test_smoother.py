"""The smoother is the exact posterior of its model."""

import numpy as np

from server.core import smoother
from server.core.smoother import Bins, smooth_errors


def _bins(rng, n=40, step=1.0, holes=()):
    observed = np.cumsum(rng.standard_normal((n, 2)), axis=0) * 0.3
    observed[list(holes)] = np.nan
    flat = np.ones(n)
    restarts = np.zeros(n, dtype=bool)
    restarts[20] = True
    return Bins(
        step, observed, 0.04 * flat, 0.5 * flat, 60 * flat, 4e-4 * flat, 0.01 * flat, np.arange(n) % 7 > 1, restarts
    )


def _dense_posterior(bins):
    """The same model as one big Gaussian, by textbook conditioning."""
    n, step = len(bins.white_m2), bins.step_s
    prior = np.diag([smoother.START_SD_M**2, bins.wander_m2[0] * smoother.WANDER_FACTOR**2,
                     bins.bias_m2ps2[0] * smoother.BIAS_FACTOR**2])  # fmt: skip
    blocks = [np.zeros((3, 3 * n)) for _ in range(n)]
    noise = [prior]
    blocks[0][:, :3] = np.eye(3)
    for k in range(1, n):
        keep_b = 0.0 if bins.restarts[k] else np.exp(-step / bins.wander_s[k])
        keep_d = np.exp(-step / smoother.BIAS_S)
        f = np.array([[1, 0, -step * bins.moves[k]], [0, keep_b, 0], [0, 0, keep_d]])
        q = np.diag([
            bins.drift_m2[k] * smoother.DRIFT_FACTOR,
            bins.wander_m2[k] * smoother.WANDER_FACTOR**2 * (1 - keep_b**2),
            bins.bias_m2ps2[k] * smoother.BIAS_FACTOR**2 * (1 - keep_d**2),
        ])  # fmt: skip
        blocks[k] = f @ blocks[k - 1]
        blocks[k][:, 3 * k : 3 * k + 3] += np.eye(3)
        noise.append(q)
    mix, spread = np.concatenate(blocks), np.zeros((3 * n, 3 * n))
    for k, q in enumerate(noise):
        spread[3 * k : 3 * k + 3, 3 * k : 3 * k + 3] = q
    covariance = mix @ spread @ mix.T
    seen = np.flatnonzero(np.isfinite(bins.observed_m[:, 0]))
    look = np.zeros((len(seen), 3 * n))
    look[np.arange(len(seen)), 3 * seen] = look[np.arange(len(seen)), 3 * seen + 1] = 1.0
    gain = covariance @ look.T @ np.linalg.inv(look @ covariance @ look.T + np.diag(bins.white_m2[seen]))
    start = bins.observed_m[seen[0]]
    means = []
    for axis in (0, 1):
        before = np.tile([start[axis], 0, 0], n)
        means.append((before + gain @ (bins.observed_m[seen, axis] - look @ before))[::3])
    # Joseph's form: the plain difference of two large covariances is only good to a millionth.
    left = np.eye(3 * n) - gain @ look
    spread = left @ covariance @ left.T + gain @ np.diag(bins.white_m2[seen]) @ gain.T
    return np.stack(means, axis=1), np.sqrt(np.diag(spread)[::3])


def test_mean_and_sd_are_those_of_the_dense_gaussian(monkeypatch):
    monkeypatch.setattr(smoother, "OUTLIER", np.inf)
    for seed in range(3):
        bins = _bins(np.random.default_rng(seed), holes=(0, 5, 6, 7, 30))
        smoothed = smooth_errors(bins, rng=np.random.default_rng(1), draws=0)
        mean, sd = _dense_posterior(bins)
        np.testing.assert_allclose(smoothed.mean_m, mean, atol=1e-8)
        np.testing.assert_allclose(smoothed.sd_m, np.stack([sd, sd], axis=1), atol=1e-8)


def test_draws_have_the_posteriors_spread_and_memory(monkeypatch):
    bins = _bins(np.random.default_rng(2), holes=(10, 11, 12))
    smoothed = smooth_errors(bins, rng=np.random.default_rng(3), draws=4000)
    spread = smoothed.deviations_m[:, :, 0].std(axis=0)
    np.testing.assert_allclose(spread, smoothed.sd_m[:, 0], rtol=0.05)
    assert np.abs(smoothed.deviations_m.mean(axis=0)).max() < 0.1
    steps = np.diff(smoothed.deviations_m[:, :, 0], axis=1).std(axis=0)
    assert steps.max() < 0.2


def test_axes_are_drawn_apart():
    smoothed = smooth_errors(_bins(np.random.default_rng(4)), rng=np.random.default_rng(3), draws=4000)
    together = np.corrcoef(smoothed.deviations_m[:, 20, 0], smoothed.deviations_m[:, 20, 1])[0, 1]
    assert abs(together) < 0.06


def test_one_seed_gives_one_result():
    bins = _bins(np.random.default_rng(4), n=700)
    one, two = (smooth_errors(bins, rng=np.random.default_rng(9), draws=3) for _ in range(2))
    np.testing.assert_array_equal(one.deviations_m, two.deviations_m)
