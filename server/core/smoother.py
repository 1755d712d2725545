"""The error of a way that was integrated from velocity, estimated from fixes in both directions of time.

A row a bin of even length; states of each axis: e, the error of the integrated way [m]; b, the receiver's wander [m];
d, the bias of its velocity [m/s]; a, c, where the pass that is being walked lies [m] and how it slants [m/m]; then one
place for each peg [m].
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import exp

import numpy as np

from server.core.log import Floats
from server.core.results import Bools

BIAS_S = 150.0
"""Time scale of the velocity's bias."""
START_SD_M = 100.0
OUTLIER = 16.0
"""What is observed with a squared normalised innovation above this is believed less."""
MISFIT = 3.0
"""Mean squared normalised innovation above which the model does not fit the log."""
WANDER_FACTOR, DRIFT_FACTOR, BIAS_FACTOR = 1.15, 1.1, 1.1
"""By how much the model's sizes are inflated, since a fitted model is never quite the true one."""
OWN_STATES = 5
_E, _B, _D, _LINE, _SLANT = range(OWN_STATES)
_BLOCK = 512
_SETTLING = 10
_NOTHING = 1e12
_AXES = {"mean": 1, "start": 1, "white": 1, "added": 2, "aid_noise": 2}
"""Along which axis of a model's figures its alternatives lie."""


@dataclass(frozen=True, slots=True)
class Aids:
    """What is known besides fixes: way + e = `look` · (a, c, pegs) + noise on either axis.

    `look` [n, 2, 2 + pegs], `value_m` [n, 2] is minus the way, `noise_m2` [n, 2] infinite where there is nothing;
    `begins` [n, 2] where a new pass is walked, whose slant has the prior `slant_m2` (per metre squared); `is_line`
    [n, 2] tells a pass from the rest; pegs are near `peg_m` [pegs, 2] give or take `peg_m2` [pegs].
    """

    look: Floats
    value_m: Floats
    noise_m2: Floats
    begins: Bools
    is_line: Bools
    slant_m2: float
    peg_m: Floats
    peg_m2: Floats


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
    aids: Aids | None = None


@dataclass(frozen=True, slots=True)
class Scales:
    """Factors on the model's sizes (standard deviations), arrays [k] of alternatives."""

    white: Floats = field(default_factory=lambda: np.ones(1))
    wander: Floats = field(default_factory=lambda: np.ones(1))
    drift: Floats = field(default_factory=lambda: np.ones(1))
    weave: Floats = field(default_factory=lambda: np.ones(1))
    slant: Floats = field(default_factory=lambda: np.ones(1))


@dataclass(frozen=True, slots=True)
class Smoothed:
    """The way's error: mean and standard deviation [n, 2], metres; deviations [draws, n, 2]."""

    mean_m: Floats
    sd_m: Floats
    deviations_m: Floats
    misfit: float


def smooth_errors(bins: Bins, *, rng: np.random.Generator, draws: int, scales: Scales | None = None) -> Smoothed:
    """Estimate the error of the integrated way from all fixes, before and after, and from what else is known.

    A Kalman filter forward, Rauch-Tung-Striebel and backward sampling behind it. D = fix - way = e + b + white; e
    drifts by the velocity's noise and by -d while the rig moves; b and d are first-order processes. On a pass way + e
    keeps to a straight line of unknown place and slant; at a peg it is where it was there before.

    Parameters
    ----------
    bins
        Observations and sizes, a row a bin.
    rng
        Source of the draws.
    draws
        How many posterior samples, 0 for none.
    scales
        One factor for each size; None leaves them.

    Returns
    -------
    Smoothed
        Mean, standard deviation and deviations of e, and the mean squared normalised innovation of the fixes.

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
    >>> smoothed.mean_m[25].round(3), bool(smoothed.sd_m[25, 0] < 0.03)
    (array([3., 3.]), True)
    """
    model = _Model(bins, scales or Scales())
    forward = _filter(model, keeps=True)
    return _sample_back(model, forward, rng, draws)


def weigh_scales(kinds: Sequence[Bins], scales: Sequence[Scales]) -> list[Floats]:
    """The logarithm of how likely the observations are under each alternative.

    Parameters
    ----------
    kinds
        The same observations with the sizes of each kind of receiver, a row a bin.
    scales
        Alternative factors on each kind's sizes, each [k].

    Returns
    -------
    list[Floats]
        Log-likelihoods [k] of each kind, up to a constant.

    References
    ----------
    F. C. Schweppe, Evaluation of likelihood functions for Gaussian signals, IEEE Trans. Information Theory 11, 1965
    (prediction-error decomposition); outliers are given the variance that the filter gives them.

    Examples
    --------
    >>> flat = np.ones(300)
    >>> place = 0.3 * np.random.default_rng(1).standard_normal((300, 2))
    >>> bins = Bins(1.0, place, 0.09 * flat, 1e-9 * flat, 100 * flat, 1e-12 * flat, 1e-9 * flat, flat > 0, flat < 0)
    >>> one, more = np.ones(3), np.array([0.5, 1.0, 2.0])
    >>> int(weigh_scales([bins], [Scales(more, one, one, one, one)])[0].argmax())
    1
    """
    models = [_Model(*kind) for kind in zip(kinds, scales, strict=True)]
    ends = np.cumsum([model.kinds for model in models])[:-1]
    return np.split(_filter(_join_models(models), keeps=False).weight, ends)


class _Model:
    """The state model's matrices, bin by bin: axis, alternative and state are the axes behind the bin's."""

    def __init__(self, bins: Bins, scales: Scales) -> None:
        n, aids = len(bins.white_m2), bins.aids
        self.kinds, self.states = len(scales.white), OWN_STATES + (len(aids.peg_m2) if aids else 0)
        self.count = n
        keep = np.ones((n, 2, 1, self.states))
        keep[..., _B] = np.where(bins.restarts, 0.0, np.exp(-bins.step_s / bins.wander_s))[:, None, None]
        keep[..., _D] = exp(-bins.step_s / BIAS_S)
        added = np.zeros((n, 2, self.kinds, self.states))
        wander = (WANDER_FACTOR * scales.wander) ** 2 * bins.wander_m2[:, None]
        bias = BIAS_FACTOR**2 * bins.bias_m2ps2[:, None]
        added[..., _E] = (DRIFT_FACTOR * scales.drift**2 * bins.drift_m2[:, None])[:, None]
        added[..., _B] = wander[:, None] * (1.0 - keep[:, :, 0, _B, None] ** 2)
        added[..., _D] = (bias * (1.0 - keep[:, 0, :, _D] ** 2))[:, None]
        self.drag = np.where(bins.moves, bins.step_s, 0.0)
        self.seen = np.isfinite(bins.observed_m[:, 0])
        self.observed = np.where(self.seen[:, None], bins.observed_m, 0.0)[..., None]
        self.white = bins.white_m2[:, None] * scales.white**2
        self.mean, self.start = np.zeros((2, 2, self.kinds, self.states))
        if self.seen.any():
            self.mean[..., _E] = bins.observed_m[np.argmax(self.seen)][:, None]
        self.start[..., _E] = self.start[..., _LINE] = START_SD_M**2
        self.start[..., _B], self.start[..., _D], self.start[..., _SLANT] = wander[0], bias[0], 1.0
        self.has_aid: Bools = np.zeros(n, dtype=np.bool_)
        self.look = np.zeros((0,))
        if aids is not None:
            self._add_aids(aids, scales, keep, added)
        self.keep, self.added = keep, added

    def _add_aids(self, aids: Aids, scales: Scales, keep: Floats, added: Floats) -> None:
        """Lines and pegs."""
        slant = aids.slant_m2 * scales.slant**2
        keep[:, :, 0, _LINE:OWN_STATES] = np.where(aids.begins, 0.0, 1.0)[..., None]
        added[..., _LINE] = np.where(aids.begins, START_SD_M**2, 0.0)[..., None]
        added[..., _SLANT] = np.where(aids.begins[..., None], slant, 0.0)
        self.start[..., _SLANT] = slant
        self.mean[..., OWN_STATES:] = aids.peg_m.T[:, None, :]
        self.start[..., OWN_STATES:] = aids.peg_m2
        self.look = np.zeros((*aids.value_m.shape, 1, self.states))
        self.look[..., 0, _E] = 1.0
        self.look[..., 0, _LINE:] = -aids.look
        has = np.isfinite(aids.noise_m2)
        noise = np.where(has, aids.noise_m2, _NOTHING)[..., None]
        is_woven = (has & aids.is_line)[..., None]
        self.aid_noise = np.where(is_woven, noise * scales.weave**2, noise)
        self.aid_value = np.where(has, aids.value_m, 0.0)[..., None]
        self.look[~has] = 0.0
        self.has_aid = np.logical_or(has[:, 0], has[:, 1])


def _join_models(models: list[_Model]) -> _Model:
    """Several kinds with the same observations as alternatives of one."""
    whole = models[0]
    if len(models) == 1:
        return whole
    whole.keep = np.concatenate([np.broadcast_to(m.keep, (*m.added.shape[:3], m.states)) for m in models], axis=2)
    for name in ("mean", "start", "white", "added", "aid_noise"):
        if hasattr(whole, name):
            setattr(whole, name, np.concatenate([getattr(m, name) for m in models], axis=_AXES[name]))
    whole.kinds = sum(m.kinds for m in models)
    return whole


@dataclass(frozen=True, slots=True)
class _Forward:
    """Filtered and predicted means [n, 2, states] and covariances [n, 2, states, states], if kept; log-likelihoods."""

    mean: Floats
    covariance: Floats
    predicted_mean: Floats
    predicted: Floats
    weight: Floats
    misfit: float


def _filter(model: _Model, *, keeps: bool) -> _Forward:
    """Run the filter forward, all alternatives at once."""
    n, size = (model.count if keeps else 0), model.states
    means, covariances = np.empty((n, 2, size)), np.empty((n, 2, size, size))
    before_means, before = np.empty_like(means), np.empty_like(covariances)
    state = _State(model)
    x, p = state.x, state.p
    drags, seen, has_aid = model.drag.tolist(), model.seen.tolist(), model.has_aid.tolist()
    for i in range(model.count):
        if i:
            state.predict(drags[i], model.keep[i], model.added[i])
        if keeps:
            before_means[i], before[i] = x[:, 0], p[:, 0]
        if seen[i]:
            state.see_fix(model.observed[i], model.white[i])
        if has_aid[i]:
            state.see_aid(model.look[i], model.aid_value[i], model.aid_noise[i])
        if keeps:
            means[i], covariances[i] = x[:, 0], p[:, 0]
    return _Forward(means, covariances, before_means, before, state.weigh(), state.judge())


class _State:
    """What the filter knows: states x [2, k, s] and covariances p [2, k, s, s], changed in place, and how it fared."""

    def __init__(self, model: _Model) -> None:
        self.x, self.p = model.mean.copy(), model.start[..., None] * np.eye(model.states)
        self._diagonal = np.einsum("...ii->...i", self.p)
        self._error, self._wander, self._bias = (self.x[..., state] for state in (_E, _B, _D))
        self._error_row, self._bias_row = self.p[..., _E, :], self.p[..., _D, :]
        self._error_column, self._wander_column, self._bias_column = (self.p[..., state] for state in (_E, _B, _D))
        self._fixes: list[tuple[Floats, Floats, Floats]] = []
        self._aids: list[tuple[Floats, Floats, Floats]] = []

    def predict(self, drag: float, keep: Floats, added: Floats) -> None:
        """Carry states and covariances a bin further."""
        if drag:
            self._error -= drag * self._bias
            self._error_row -= drag * self._bias_row
            self._error_column -= drag * self._bias_column
        self.x *= keep
        self.p *= keep[..., None]
        self.p *= keep[..., None, :]
        self._diagonal += added

    def see_fix(self, value: Floats, white: Floats) -> None:
        """Correct by a fix, which shows the way's error and the receiver's wander."""
        seen = self._error_column + self._wander_column
        miss = value - self._error
        miss -= self._wander
        self._fixes.append(self._correct(seen, seen[..., _E] + seen[..., _B] + white, miss))

    def see_aid(self, look: Floats, value: Floats, noise: Floats) -> None:
        """Correct by what else is known."""
        seen = np.matmul(self.p, look[..., None])[..., 0]
        spread = np.add.reduce(seen * look, axis=-1) + noise
        self._aids.append(self._correct(seen, spread, value - np.add.reduce(self.x * look, axis=-1)))

    def _correct(self, seen: Floats, spread: Floats, miss: Floats) -> tuple[Floats, Floats, Floats]:
        """Correct by one observation an axis; its spread, its squared miss and their ratio before it was doubted."""
        squared = miss * miss
        ratio = squared / spread
        spread *= np.maximum(1.0, ratio / OUTLIER)
        gain = seen / spread[..., None]
        self.x += gain * miss[..., None]
        self.p -= gain[..., None] * seen[..., None, :]
        return spread, squared, ratio

    def weigh(self) -> Floats:
        """The logarithm of how likely all that was seen is under each alternative."""
        weight = np.zeros(self.x.shape[1])
        for told in (self._fixes, self._aids):
            if told:
                spread, squared = (np.stack(column) for column in list(zip(*told, strict=True))[:2])
                weight -= 0.5 * (np.log(spread) + squared / spread).sum(axis=(0, 1))
        return weight

    def judge(self) -> float:
        """The fixes' mean squared normalised innovation once the filter has settled."""
        ratios = [ratio for _, _, ratio in self._fixes[_SETTLING:]]
        return float(np.minimum(np.stack(ratios).mean(axis=(1, 2)), 100.0).mean()) if ratios else 0.0


def _sample_back(model: _Model, forward: _Forward, rng: np.random.Generator, draws: int) -> Smoothed:
    """Smooth and draw from the last bin to the first."""
    count, size = model.count, model.states
    transition = np.zeros((count - 1, 2, size, size))
    np.einsum("...ii->...i", transition)[...] = model.keep[1:, :, 0]
    transition[..., _E, _D] = -model.drag[1:, None]
    held = forward.covariance[:-1] @ transition.transpose(0, 1, 3, 2)
    gain = np.linalg.solve(forward.predicted[1:], held.transpose(0, 1, 3, 2)).transpose(0, 1, 3, 2)
    left = forward.covariance[:-1] - gain @ forward.predicted[1:] @ gain.transpose(0, 1, 3, 2)
    root = np.concatenate([_square_root(left), _square_root(forward.covariance[-1:])])
    mean, sd = np.zeros((count, 2)), np.zeros((count, 2))
    deviations = np.zeros((draws, count, 2), dtype=np.float32)
    state, spread = forward.mean[-1][..., None], forward.covariance[-1]
    drawn = np.zeros((2, size, draws))
    for block in range((count - 1) // _BLOCK, -1, -1):
        low, high = block * _BLOCK, min((block + 1) * _BLOCK, count)
        noise = root[low:high] @ rng.standard_normal((high - low, 2, size, draws))
        for k in range(high - 1, low - 1, -1):
            if k == count - 1:
                drawn = noise[k - low]
            else:
                back = gain[k]
                state = forward.mean[k][..., None] + back @ (state - forward.predicted_mean[k + 1][..., None])
                spread = forward.covariance[k] + back @ (spread - forward.predicted[k + 1]) @ back.transpose(0, 2, 1)
                drawn = back @ drawn + noise[k - low]
            mean[k], sd[k] = state[:, _E, 0], spread[:, _E, _E]
            if draws:
                deviations[:, k, :] = drawn[:, _E].T
    return Smoothed(mean, np.sqrt(np.maximum(sd, 0.0)), deviations, forward.misfit)


def _square_root(covariance: Floats) -> Floats:
    """A matrix root of each covariance, rounding below zero set to zero."""
    values, vectors = np.linalg.eigh((covariance + covariance.swapaxes(-1, -2)) / 2)
    root: Floats = vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :]
    return root
