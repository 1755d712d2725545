"""The error of a way that was integrated from velocity, estimated from fixes in both directions of time.

A row a bin of even length; states of each axis: e, the error of the integrated way [m]; b, the receiver's wander [m];
d, the bias of its velocity [m/s]. Both axes share covariances.
"""

from dataclasses import dataclass
from math import exp

import numpy as np

from server.core.log import Floats
from server.core.results import Bools

BIAS_S = 150.0
"""Time scale of the velocity's bias."""
START_SD_M = 100.0
OUTLIER = 16.0
"""A fix whose squared normalised innovation is above this is believed less."""
MISFIT = 3.0
"""Mean squared normalised innovation above which the model does not fit the log."""
WANDER_FACTOR, DRIFT_FACTOR, BIAS_FACTOR = 1.15, 1.1, 1.1
"""By how much the model's sizes are inflated, since a fitted model is never quite the true one."""
_BLOCK = 512
_SETTLING = 10

Six = tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Bins:
    """What was observed bin by bin: `observed_m` [n, 2] (NaN: nothing) and the model's sizes, arrays [n].

    `drift_m2` and `moves` concern the step from the bin before to this one; `restarts` where the wander begins anew.
    """

    step_s: float
    observed_m: Floats
    white_m2: Floats
    wander_m2: Floats
    wander_s: Floats
    bias_m2ps2: Floats
    drift_m2: Floats
    moves: Bools
    restarts: Bools


@dataclass(frozen=True, slots=True)
class Smoothed:
    """The way's error: mean [n, 2] and standard deviation [n] of one axis, metres; deviations [draws, n, 2]."""

    mean_m: Floats
    sd_m: Floats
    deviations_m: Floats
    misfit: float


def smooth_errors(bins: Bins, *, rng: np.random.Generator, draws: int) -> Smoothed:
    """Estimate the error of the integrated way from all fixes, before and after.

    A Kalman filter forward, gains precomputed in plain numbers; Rauch-Tung-Striebel and backward sampling behind it.
    D = fix - way = e + b + white; e drifts by the velocity's noise and by -d while the rig moves; b and d are
    first-order processes.

    Parameters
    ----------
    bins
        Observations and sizes, a row a bin.
    rng
        Source of the draws.
    draws
        How many posterior samples, 0 for none.

    Returns
    -------
    Smoothed
        Mean, standard deviation and deviations of e, and the mean squared normalised innovation.

    References
    ----------
    H. E. Rauch, F. Tung, C. T. Striebel, Maximum likelihood estimates of linear dynamic systems, AIAA Journal 3, 1965,
    equations 3.25-3.30. S. Fruehwirth-Schnatter, Data augmentation and dynamic linear models, J. Time Series Analysis
    15, 1994 (backward sampling).

    Examples
    --------
    >>> flat = np.ones(50)
    >>> bins = Bins(1.0, np.full((50, 2), 3.0), 0.01 * flat, 1e-6 * flat, 100 * flat, 1e-12 * flat, 1e-9 * flat,
    ...     flat > 0, flat < 0)
    >>> smoothed = smooth_errors(bins, rng=np.random.default_rng(1), draws=4)
    >>> smoothed.mean_m[25].round(3), bool(smoothed.sd_m[25] < 0.03)
    (array([3., 3.]), True)
    """
    forward = _filter(bins)
    return _sample_back(bins, forward, rng, draws)


@dataclass(frozen=True, slots=True)
class _Forward:
    """Filtered and predicted means [n, 3, 2] and covariances [n, 3, 3], transitions [n, 3, 3] into each bin."""

    mean: Floats
    covariance: Floats
    predicted_mean: Floats
    predicted: Floats
    transition: Floats
    misfit: float


def _filter(bins: Bins) -> _Forward:
    """Run the filter forward in plain numbers (for three states arrays cost more than the arithmetic)."""
    transition, noise = _state_model(bins)
    columns = zip(
        transition[:, 1, 1].tolist(),
        (-transition[:, 0, 2]).tolist(),
        noise.tolist(),
        bins.white_m2.tolist(),
        bins.observed_m.tolist(),
        strict=True,
    )
    keep_d = exp(-bins.step_s / BIAS_S)
    mean, covariance = _start(bins)
    means, covariances, predicted_means, predictions, innovations = [], [], [], [], []
    for i, (kb, h, (qe, qb, qd), white, place) in enumerate(columns):
        if i:
            ee, eb, ed, bb, bd, dd = covariance
            covariance = (
                ee - 2 * h * ed + h * h * dd + qe,
                kb * (eb - h * bd),
                keep_d * (ed - h * dd),
                kb * kb * bb + qb,
                kb * keep_d * bd,
                keep_d * keep_d * dd + qd,
            )
            xe, ye, xb, yb, xd, yd = mean
            mean = (xe - h * xd, ye - h * yd, kb * xb, kb * yb, keep_d * xd, keep_d * yd)
        predictions.append(covariance)
        predicted_means.append(mean)
        if place[0] == place[0]:
            mean, covariance, innovation = correct_state(mean, covariance, place[0], place[1], white)
            innovations.append(innovation)
        covariances.append(covariance)
        means.append(mean)
    judged = np.minimum(innovations[_SETTLING:], 100.0)
    return _Forward(
        np.array(means).reshape(-1, 3, 2),
        _fill_symmetric(covariances),
        np.array(predicted_means).reshape(-1, 3, 2),
        _fill_symmetric(predictions),
        transition,
        float(judged.mean()) if len(judged) else 0.0,
    )


def _state_model(bins: Bins) -> tuple[Floats, Floats]:
    """Transitions [n, 3, 3] into each bin and the variances [n, 3] that are added on the way."""
    keep_d = exp(-bins.step_s / BIAS_S)
    keep_b = np.where(bins.restarts, 0.0, np.exp(-bins.step_s / bins.wander_s))
    transition = np.zeros((len(keep_b), 3, 3))
    transition[:, 0, 0], transition[:, 1, 1], transition[:, 2, 2] = 1.0, keep_b, keep_d
    transition[:, 0, 2] = np.where(bins.moves, -bins.step_s, 0.0)
    noise_b = bins.wander_m2 * WANDER_FACTOR**2 * (1.0 - keep_b**2)
    noise_d = bins.bias_m2ps2 * BIAS_FACTOR**2 * (1.0 - keep_d**2)
    return transition, np.stack([bins.drift_m2 * DRIFT_FACTOR, noise_b, noise_d], axis=1)


def _start(bins: Bins) -> tuple[Six, Six]:
    """Mean and covariance before the first bin: the error is what the first fix says, give or take 100 m."""
    seen = np.flatnonzero(np.isfinite(bins.observed_m[:, 0]))
    x, y = bins.observed_m[seen[0]].tolist() if len(seen) else (0.0, 0.0)
    wander, bias = float(bins.wander_m2[0]) * WANDER_FACTOR**2, float(bins.bias_m2ps2[0]) * BIAS_FACTOR**2
    return (x, y, 0.0, 0.0, 0.0, 0.0), (START_SD_M**2, 0.0, 0.0, wander, 0.0, bias)


def correct_state(mean: Six, covariance: Six, east_m: float, north_m: float, white_m2: float) -> tuple[Six, Six, float]:
    """Correct mean and covariance by one observation of fix - way = e + b + white on both axes.

    An observation whose squared normalised innovation is above 16 is given a variance that brings it down to 16.

    Parameters
    ----------
    mean
        East and north of e [m], of b [m] and of d [m/s].
    covariance
        Upper triangle of one axis: ee, eb, ed, bb, bd, dd [m², m²/s, m²/s²].
    east_m
        Observed east [m].
    north_m
        Observed north [m].
    white_m2
        Variance of its white noise [m²].

    Returns
    -------
    tuple[Six, Six, float]
        Mean and covariance afterwards, and the squared normalised innovation, averaged over both axes.

    References
    ----------
    R. E. Kalman, A new approach to linear filtering and prediction problems, J. Basic Engineering 82, 1960.

    Examples
    --------
    >>> correct_state((0.0,) * 6, (1.0, 0.0, 0.0, 0.0, 0.0, 0.0), 2.0, 0.0, 1.0)[:2]
    ((1.0, 0.0, 0.0, 0.0, 0.0, 0.0), (0.5, 0.0, 0.0, 0.0, 0.0, 0.0))
    """
    xe, ye, xb, yb, xd, yd = mean
    ee, eb, ed, bb, bd, dd = covariance
    vx, vy = east_m - xe - xb, north_m - ye - yb
    spread = ee + 2 * eb + bb + white_m2
    innovation = (vx * vx + vy * vy) / (2 * spread)
    spread *= max(1.0, max(vx * vx, vy * vy) / (spread * OUTLIER))
    ge, gb, gd = (ee + eb) / spread, (eb + bb) / spread, (ed + bd) / spread
    return (
        (xe + ge * vx, ye + ge * vy, xb + gb * vx, yb + gb * vy, xd + gd * vx, yd + gd * vy),
        (
            ee - ge * ge * spread,
            eb - ge * gb * spread,
            ed - ge * gd * spread,
            bb - gb * gb * spread,
            bd - gb * gd * spread,
            dd - gd * gd * spread,
        ),
        innovation,
    )


def _fill_symmetric(triangles: list[Six]) -> Floats:
    """Matrices [n, 3, 3] of upper triangles."""
    return np.array(triangles).reshape(-1, 6)[:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3)


def _sample_back(bins: Bins, forward: _Forward, rng: np.random.Generator, draws: int) -> Smoothed:
    """Smooth and draw from the last bin to the first."""
    count = len(bins.white_m2)
    held = forward.covariance[:-1] @ forward.transition[1:].transpose(0, 2, 1)
    gain = np.linalg.solve(forward.predicted[1:], held.transpose(0, 2, 1)).transpose(0, 2, 1)
    left = forward.covariance[:-1] - gain @ forward.predicted[1:] @ gain.transpose(0, 2, 1)
    root = np.concatenate([_square_root(left), _square_root(forward.covariance[-1:])])
    mean, sd = np.zeros((count, 2)), np.zeros(count)
    deviations = np.zeros((draws, count, 2), dtype=np.float32)
    state, spread = forward.mean[-1], forward.covariance[-1]
    drawn = np.zeros((3, 2 * draws))
    for block in range((count - 1) // _BLOCK, -1, -1):
        low, high = block * _BLOCK, min((block + 1) * _BLOCK, count)
        noise = root[low:high] @ rng.standard_normal((high - low, 3, 2 * draws))
        for k in range(high - 1, low - 1, -1):
            if k == count - 1:
                drawn = noise[k - low]
            else:
                state = forward.mean[k] + gain[k] @ (state - forward.predicted_mean[k + 1])
                spread = forward.covariance[k] + gain[k] @ (spread - forward.predicted[k + 1]) @ gain[k].T
                drawn = gain[k] @ drawn + noise[k - low]
            mean[k], sd[k] = state[0], spread[0, 0]
            if draws:
                deviations[:, k, :] = drawn[0].reshape(draws, 2)
    return Smoothed(mean, np.sqrt(np.maximum(sd, 0.0)), deviations, forward.misfit)


def _square_root(covariance: Floats) -> Floats:
    """A matrix root [n, 3, 3] of each covariance, rounding below zero set to zero."""
    values, vectors = np.linalg.eigh((covariance + covariance.transpose(0, 2, 1)) / 2)
    root: Floats = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    return root
