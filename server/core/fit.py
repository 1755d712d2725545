"""How far a receiver and an operator err in one job, fitted to that job: maximum a posteriori about their class."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.core.log import Floats
from server.core.smoother import WANDER_FACTOR, Bins, Scales, weigh_scales

PRIOR_SD = (0.4, 0.5, 0.5, 0.6, 0.6)
"""Standard deviation of the logarithm of each factor: white noise, wander, drift, weave, slant."""
DOUBT = 1.12
"""What is fitted to a short job may as well be this much larger: the drift decides how sure neighbours are."""
_PROBE = 0.3
_ROUNDS = 3
_LONGEST_STEP = 0.7
_ENOUGH = 40
_AT_MOST = 2000


def fit_scales(kinds: Sequence[Bins]) -> list[tuple[Scales, float]]:
    """Find the factors on the model's sizes that this job makes most likely, given what is usual.

    A few rounds of a Newton step in each factor's logarithm by itself, the likelihoods of one round in one run of the
    filter; the best of all that was tried.

    Parameters
    ----------
    kinds
        The same observations with the sizes of each kind of receiver, a row a bin; of a long job the middle counts.

    Returns
    -------
    list[tuple[Scales, float]]
        For each kind one factor for each size, and the logarithm of how likely the job is with them, up to a constant;
        all 1 and 0 where there are fewer than 40 bins.

    Notes
    -----
    A job of some minutes tells little of a wander that lasts minutes: there the prior decides, and a wander that was
    not seen is not believed to be smaller than its class's.

    References
    ----------
    Derivation: maximum a posteriori with log-normal priors (their widths: common practice, no source).

    Examples
    --------
    >>> flat = np.ones(400)
    >>> place = 0.6 * np.random.default_rng(1).standard_normal((400, 2))
    >>> bins = Bins(1.0, place, 0.09 * flat, 1e-9 * flat, 100 * flat, 1e-12 * flat, 1e-9 * flat, flat > 0, flat < 0)
    >>> 1.8 < float(fit_scales([bins])[0][0].white[0]) < 2.1
    True
    """
    count = len(kinds[0].white_m2)
    if count < _ENOUGH:
        return [(Scales(), 0.0) for _ in kinds]
    low, high = max(0, (count - _AT_MOST) // 2), min(count, (count + _AT_MOST) // 2)
    cut = [_cut(bins, low, high) for bins in kinds]
    size = len(PRIOR_SD)
    probes = np.concatenate([np.zeros((1, size)), _PROBE * np.eye(size), -_PROBE * np.eye(size)])
    here, best, best_weight = np.zeros((len(kinds), size)), np.zeros((len(kinds), size)), np.full(len(kinds), -np.inf)
    for turn in range(_ROUNDS + 1):
        tried = here[:, None] + (probes if turn < _ROUNDS else probes[:1])
        weights = _weigh(cut, tried)
        for kind, (those, weight) in enumerate(zip(tried, weights, strict=True)):
            if weight.max() > best_weight[kind]:
                best[kind], best_weight[kind] = those[weight.argmax()], weight.max()
            if turn < _ROUNDS:
                here[kind] += _step(weight)
    return [(_settle(found), float(weight)) for found, weight in zip(best, best_weight, strict=True)]


def _weigh(kinds: list[Bins], tried: Floats) -> list[Floats]:
    """The log-posterior of each kind's alternatives, given by the logarithms of their factors [kinds, k, sizes]."""
    likely = weigh_scales(kinds, [Scales(*np.exp(each).T) for each in tried])
    usual = 0.5 * (np.square(tried / PRIOR_SD)).sum(axis=2)
    return [one - other for one, other in zip(likely, usual, strict=True)]


def _step(weights: Floats) -> Floats:
    """A Newton step in each logarithm, from the weights here, further up and further down."""
    size = len(PRIOR_SD)
    up, down = weights[1 : size + 1], weights[size + 1 :]
    curve = np.maximum((2.0 * weights[0] - up - down) / _PROBE**2, 1.0 / np.square(PRIOR_SD))
    step: Floats = np.clip((up - down) / (2.0 * _PROBE) / curve, -_LONGEST_STEP, _LONGEST_STEP)
    return step


def _settle(logarithms: Floats) -> Scales:
    """The factors found, none smaller than is believed."""
    found = Scales(*np.exp(logarithms)[:, None])
    return replace(found, wander=np.maximum(found.wander, 1.0 / WANDER_FACTOR), drift=DOUBT * found.drift)


def _cut(bins: Bins, low: int, high: int) -> Bins:
    """Some bins of all."""
    part, aids = slice(low, high), bins.aids
    if aids is not None:
        rows = {name: getattr(aids, name)[part] for name in ("look", "value_m", "noise_m2", "begins", "is_line")}
        aids = replace(aids, **rows)
    names = (
        "observed_m", "white_m2", "wander_m2", "wander_s", "bias_m2ps2", "drift_m2", "moves", "restarts",
    )  # fmt: skip
    return replace(bins, aids=aids, **{name: getattr(bins, name)[part] for name in names})
