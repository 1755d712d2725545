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
from server.core.results import Bools

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
WAY_BACK = np.array([0, 1, 2, 3, 5])
"""The states that lead back to the second before; not the cup's speed, which bends too much with the wind."""
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
    >>> for second in range(120):
    ...     ahead = 1.2 if second % 30 < 15 else -1.2
    ...     bank = step_bank(bank, Step(3.0 - ahead, False, ahead, 0.0, 0.05), distance_constant_m=2.5)
    >>> abs(read_bank(bank).speed_mps - 3.0) < 0.2
    True
    """
    source, log_weight, extra = _choose_sources(bank)
    before, keep, root = bank.covariance[source], bank.intensity[source], np.sqrt(STATES)
    drift, noise = _drift(bank.mean[source], keep, extra)
    mean = bank.mean[source] * drift
    covariance = before * drift[:, :, None] * drift[:, None, :]
    covariance[:, range(STATES), range(STATES)] += noise
    steps = root * np.linalg.cholesky(covariance + _JITTER).transpose(0, 2, 1)
    points = np.concatenate((mean[:, None, :] + steps, mean[:, None, :] - steps), axis=1)
    size = np.maximum(np.hypot(mean[:, 0], mean[:, 1]), 0.6)
    seen, end = predict_cup(points, step, gust_mps=keep * size, distance_constant_m=distance_constant_m)
    offset = points - mean[:, None, :]
    expected = mean.copy()
    expected[:, 4] = np.add.reduce(end, axis=1) / points.shape[1]
    apart = offset.copy()
    apart[:, :, 4] = end - expected[:, None, 4]
    ahead = apart.transpose(0, 2, 1) @ apart / points.shape[1] + _JITTER
    across = offset.transpose(0, 2, 1) @ apart / points.shape[1]
    both = np.linalg.solve(covariance + _JITTER, across)
    link = (before * drift[:, None, :]) @ both
    gain = np.zeros_like(link)
    gain[:, :, WAY_BACK] = np.linalg.solve(
        ahead[:, WAY_BACK][:, :, WAY_BACK], link[:, :, WAY_BACK].transpose(0, 2, 1)
    ).transpose(0, 2, 1)
    left = before - gain @ link.transpose(0, 2, 1)
    updated, narrowed, log_like = weigh_cup(expected, ahead, apart, seen, step)
    log_weight = _normalise(log_weight * FORGETTING + log_like)
    found = Bank(log_weight, updated, narrowed, keep, source, expected, gain, left, bank.steps + 1)
    return found if found.steps < FULL_STEPS else _prune(found)


@dataclass(frozen=True, slots=True)
class Reading:
    """The wind of one second: speed and mean wind with variances, all of the whole bank."""

    speed_mps: float
    speed_variance: float
    mean_variance: float
    turbulence_variance: float
    east_mps: float
    north_mps: float
    across_variance: float


def read_bank(bank: Bank) -> Reading:
    """What the bank as a whole says of the present second.

    Parameters
    ----------
    bank
        The hypotheses.

    Returns
    -------
    Reading
        Speed [m/s] and its variance, split into what is not known of the mean wind and of the turbulence; the wind
        vector [m/s] and the variance across it.

    References
    ----------
    Derivation: moments of a mixture; |w| of a Gaussian to second order.

    Examples
    --------
    >>> 0.5 < read_bank(start_bank(3.0)).speed_mps < 6.0
    True
    """
    weight = np.exp(bank.log_weight)
    wind = bank.mean[:, :2] + bank.mean[:, 2:4]
    halves = bank.covariance[:, :2] + bank.covariance[:, 2:4]
    covariance = halves[:, :, :2] + halves[:, :, 2:4]
    size = np.maximum(np.hypot(wind[:, 0], wind[:, 1]), 0.3)
    along = wind / size[:, None]
    across = np.stack((-along[:, 1], along[:, 0]), axis=1)
    var_across = form_square(across, covariance)
    speed = np.hypot(wind[:, 0], wind[:, 1]) + 0.5 * var_across / size
    mean = float(weight @ speed)
    between = float(weight @ (speed - mean) ** 2)
    parts = [
        float(weight @ form_square(along, part))
        for part in (covariance, bank.covariance[:, :2, :2], bank.covariance[:, 2:4, 2:4])
    ]
    east, north = (float(weight @ bank.mean[:, axis]) for axis in (0, 1))
    lean = np.array([-north, east]) / max(float(np.hypot(east, north)), 0.3)
    apart = (bank.mean[:, :2] - np.array([east, north])) @ lean
    return Reading(
        speed_mps=mean,
        speed_variance=parts[0] + between,
        mean_variance=parts[1] + between,
        turbulence_variance=parts[2],
        east_mps=east,
        north_mps=north,
        across_variance=float(weight @ (var_across + apart**2)),
    )


def form_square(vectors: Floats, matrices: Floats) -> Floats:
    """The quadratic form of each vector with its matrix.

    Parameters
    ----------
    vectors
        Vectors [h, n], any unit.
    matrices
        Symmetric matrices [h, n, n].

    Returns
    -------
    Floats
        v' M v [h].

    References
    ----------
    Definition of a quadratic form.

    Examples
    --------
    >>> form_square(np.array([[1.0, 2.0]]), np.eye(2)[None]).tolist()
    [5.0]
    """
    return np.asarray(np.add.reduce((vectors[:, None, :] @ matrices)[:, 0] * vectors, axis=1))


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
    """Keep the likeliest, join what is alike, keep one of each intensity at a thousandth of the best or more."""
    order = np.argsort(-bank.log_weight, kind="stable")[: 3 * KEPT]
    weight = np.exp(bank.log_weight)
    least = float(weight[order[0]])
    kept: dict[int, float] = {}
    ranks: list[tuple[int, int]] = []
    places = zip(order.tolist(), weight[order].tolist(), _find_alike(bank, order).tolist(), strict=True)
    for rank, (place, own, alike) in enumerate(places):
        twin = next((other for other_rank, other in ranks if alike[other_rank]), None)
        if twin is not None:
            kept[twin] += own
        elif len(kept) < KEPT and own > DROPPED_WEIGHT * least:
            kept[place] = own
            ranks.append((rank, place))
    for intensity in INTENSITIES:
        same = np.flatnonzero(bank.intensity == intensity)
        best = int(same[np.argmax(weight[same])])
        kept[best] = max(kept.get(best, 0.0), LEAST_WEIGHT * least)
    chosen = np.array(list(kept))
    return Bank(
        _normalise(np.log(np.array(list(kept.values())))),
        bank.mean[chosen],
        bank.covariance[chosen],
        bank.intensity[chosen],
        bank.parent[chosen],
        bank.expected[chosen],
        bank.gain[chosen],
        bank.left[chosen],
        bank.steps,
    )


def _find_alike(bank: Bank, chosen: Integers) -> Bools:
    """Which pairs of hypotheses of one intensity say nearly the same mean wind [k, k]."""
    mean, covariance = bank.mean[chosen, :2], bank.covariance[chosen, :2, :2]
    apart = mean[:, None, :] - mean[None, :, :]
    pooled = 0.5 * (covariance[:, None] + covariance[None, :])
    a, b, d = pooled[..., 0, 0] + 1e-6, pooled[..., 0, 1], pooled[..., 1, 1] + 1e-6
    x, y = apart[..., 0], apart[..., 1]
    distance2 = (d * x * x - 2.0 * b * x * y + a * y * y) / (a * d - b * b)
    same = bank.intensity[chosen][:, None] == bank.intensity[chosen][None, :]
    return np.asarray(same & (distance2 < MERGE_DISTANCE**2))
