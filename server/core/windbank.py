"""The true wind from a speed-only cup that is carried about: a bank of Gaussian filters.

The cup feels |w - v|, the air relative to the rig, through its inertia. Walking in changing directions makes the wind
vector w observable. Each hypothesis is a Gaussian over (mean wind east, north; turbulence east, north; cup speed; scale
error of the cup); the hypotheses differ in direction, speed and turbulence intensity at the start and are weighted by
what the cup says. Metres per second; vectors say where the air goes.
"""

from dataclasses import dataclass

import numpy as np

from server.core.cupmodel import Step, predict_cup, weigh_cup
from server.core.log import Floats, Integers

DIRECTIONS = 12
SPEEDS_MPS = (0.7, 2.0, 3.6, 5.6)
INTENSITIES = (0.15, 0.25, 0.40, 0.60)
WALK_SHARE = 0.01
"""The mean wind walks by this share of itself a root second."""
FORGETTING = 0.998
FULL_STEPS = 5
KEPT = 24
MERGE_DISTANCE = 0.6
REFRESH_S = 10
REFRESH_SHARE = 0.25
REFRESH_WEIGHT = 0.02
LEAST_WEIGHT = 1e-3
DROPPED_WEIGHT = 1e-5
SCALE_SD = 0.03
"""How far a cup's calibration is trusted: carried along, never estimated, since estimating it biased the wind."""
STATES = 6
_JITTER = 1e-7 * np.eye(STATES)


@dataclass(frozen=True, slots=True)
class Bank:
    """Hypotheses after a second: log weights [h], means [h, 6], covariances [h, 6, 6], turbulence intensities [h].

    And how each came from the second before, for looking back: `parent` [h] there, `expected` [h, 6] the mean before
    the cup was read, `gain` [h, 6, 6] and `left` [h, 6, 6], so that x_before = mean[parent] + gain (x - expected), with
    covariance `left`.
    """

    log_weight: Floats
    mean: Floats
    covariance: Floats
    intensity: Floats
    parent: Integers
    expected: Floats
    gain: Floats
    left: Floats
    steps: int


def start_bank(cup_mps: float) -> Bank:
    """The hypotheses before anything is known but the cup's speed.

    Parameters
    ----------
    cup_mps
        The first apparent speed [m/s].

    Returns
    -------
    Bank
        12 directions × 4 speeds × 4 intensities, all as likely.

    References
    ----------
    Gaussian sum filters: Alspach, Sorenson, IEEE Transactions on Automatic Control 17 (1972) 439. From memory.

    Examples
    --------
    >>> start_bank(3.0).mean.shape
    (192, 6)
    """
    angle = 2.0 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    grid = np.array([(a, s, i) for a in angle for s in SPEEDS_MPS for i in INTENSITIES])
    count = len(grid)
    mean = np.zeros((count, STATES))
    mean[:, 0], mean[:, 1], mean[:, 4] = grid[:, 1] * np.cos(grid[:, 0]), grid[:, 1] * np.sin(grid[:, 0]), cup_mps
    spread = np.maximum(0.4, 0.3 * grid[:, 1]) ** 2
    turbulence = (grid[:, 2] * np.maximum(grid[:, 1], 0.6)) ** 2
    covariance = np.zeros((count, STATES, STATES))
    for state, variance in enumerate((spread, spread, turbulence, turbulence, 0.25, SCALE_SD**2)):
        covariance[:, state, state] = variance
    none = np.zeros_like(covariance)
    parent = np.arange(count, dtype=np.int64)
    return Bank(np.full(count, -np.log(count)), mean, covariance, grid[:, 2], parent, mean, none, covariance, 0)


def step_bank(bank: Bank, step: Step, *, distance_constant_m: float) -> Bank:
    """One second on: predict, compare with the cup, weigh, prune.

    Parameters
    ----------
    bank
        The hypotheses before.
    step
        What the second brought; a NaN speed only predicts.
    distance_constant_m
        The cup's distance constant [m].

    Returns
    -------
    Bank
        The hypotheses after.

    Notes
    -----
    Cubature points carry the covariance through |w - v| and the cup's inertia, which is exact over the second for a
    steady air speed. Every 10 s a copy of the best sets out with a wider mean wind, so that a veer is followed.

    References
    ----------
    Arasaratnam, Haykin, "Cubature Kalman filters", IEEE Transactions on Automatic Control 54 (2009) 1254 (from memory);
    considered parameters: Schmidt, Advances in Control Systems 3 (1966) 293 (from memory).

    Examples
    --------
    >>> bank = start_bank(3.0)
    >>> for second in range(40):
    ...     ahead = 1.2 if second % 20 < 10 else -1.2
    ...     bank = step_bank(bank, Step(abs(3.0 - ahead), False, ahead, 0.0, 0.05), distance_constant_m=0.1)
    >>> best = bank.mean[np.argmax(bank.log_weight)]
    >>> abs(np.hypot(best[0], best[1]) - 3.0) < 0.3
    True
    """
    source, log_weight, extra = _choose_sources(bank)
    before, keep, root = bank.covariance[source], bank.intensity[source], np.sqrt(STATES)
    factor, noise = _drift(bank.mean[source], keep, extra)
    mean = bank.mean[source] * factor
    covariance = before * factor[:, :, None] * factor[:, None, :]
    covariance[:, range(STATES), range(STATES)] += noise
    steps = root * np.linalg.cholesky(covariance + _JITTER).transpose(0, 2, 1)
    points = np.concatenate((mean[:, None, :] + steps, mean[:, None, :] - steps), axis=1)
    size = np.maximum(np.hypot(mean[:, 0], mean[:, 1]), 0.6)
    seen, end = predict_cup(points, step, gust_mps=keep * size, distance_constant_m=distance_constant_m)
    offset = points - mean[:, None, :]
    expected = mean.copy()
    expected[:, 4] = end.mean(axis=1)
    apart = offset.copy()
    apart[:, :, 4] = end - expected[:, None, 4]
    ahead = apart.transpose(0, 2, 1) @ apart / points.shape[1] + _JITTER
    across = offset.transpose(0, 2, 1) @ apart / points.shape[1]
    both = np.linalg.solve(covariance + _JITTER, across)
    link = (before * factor[:, None, :]) @ both
    gain = np.linalg.solve(ahead, link.transpose(0, 2, 1)).transpose(0, 2, 1)
    left = before - gain @ link.transpose(0, 2, 1)
    mean, covariance, log_like = weigh_cup(expected, ahead, apart, seen, step)
    found = Bank(
        _normalise(log_weight * FORGETTING + log_like),
        mean,
        covariance,
        keep,
        source,
        expected,
        gain,
        left,
        bank.steps + 1,
    )
    return found if found.steps < FULL_STEPS else _prune(found)


def _choose_sources(bank: Bank) -> tuple[Integers, Floats, Floats]:
    """Which hypotheses step on, their log weights, and how much further each one's mean wind may walk, m²/s²."""
    source = np.arange(len(bank.log_weight), dtype=np.int64)
    extra = np.zeros(len(source))
    if bank.steps < FULL_STEPS or bank.steps % REFRESH_S:
        return source, bank.log_weight, extra
    best = int(np.argmax(bank.log_weight))
    size = max(float(np.hypot(bank.mean[best, 0], bank.mean[best, 1])), 0.7)
    log_weight = np.append(bank.log_weight, bank.log_weight[best] + np.log(REFRESH_WEIGHT))
    return np.append(source, best), log_weight, np.append(extra, (REFRESH_SHARE * size) ** 2)


def _drift(mean: Floats, intensity: Floats, extra: Floats) -> tuple[Floats, Floats]:
    """What each state keeps over a second, and the variance it gains."""
    size = np.hypot(mean[:, 0], mean[:, 1])
    keep = np.exp(-1.0 / np.clip(24.0 / np.maximum(size, 0.8), 5.0, 20.0))
    factor = np.ones_like(mean)
    factor[:, 2] = factor[:, 3] = keep
    noise = np.zeros_like(mean)
    noise[:, 0] = noise[:, 1] = (WALK_SHARE * np.maximum(size, 0.7)) ** 2 + extra
    noise[:, 2] = noise[:, 3] = (intensity * np.maximum(size, 0.6)) ** 2 * (1.0 - keep**2)
    return factor, noise


def _normalise(log_weight: Floats) -> Floats:
    """Weights that sum to one."""
    top = float(log_weight.max())
    return np.asarray(log_weight - top - np.log(np.exp(log_weight - top).sum()))


def _prune(bank: Bank) -> Bank:
    """Keep the likeliest, join what is alike, keep one of each intensity at a thousandth of the best."""
    order = np.argsort(-bank.log_weight, kind="stable").tolist()
    weight = np.exp(bank.log_weight)
    alike = _find_alike(bank, np.array(order[: 3 * KEPT]))
    kept: dict[int, float] = {}
    for rank, place in enumerate(order):
        is_first = bank.intensity[place] not in bank.intensity[list(kept)]
        twin = next((other for other, at in zip(kept, range(KEPT), strict=False) if alike(place, other)), None)
        if rank < 3 * KEPT and twin is not None and not is_first:
            kept[twin] += float(weight[place])
        elif is_first:
            kept[place] = max(float(weight[place]), LEAST_WEIGHT * float(weight[order[0]]))
        elif len(kept) < KEPT and weight[place] > DROPPED_WEIGHT * weight[order[0]]:
            kept[place] = float(weight[place])
    chosen = np.array(list(kept))
    return pick_hypotheses(bank, chosen, log_weight=_normalise(np.log(np.array(list(kept.values())))))
