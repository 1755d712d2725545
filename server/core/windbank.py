"""The true wind from a speed-only cup that is carried about: a bank of Gaussian filters.

The cup feels |w - v|, the air relative to the rig, through its inertia. Walking in changing directions makes the wind
vector w observable. Each hypothesis is a Gaussian over (mean wind east, north; turbulence east, north; cup speed; scale
error of the cup); the hypotheses differ in direction, speed and turbulence intensity at the start and are weighted by
what the cup says. Metres per second; vectors say where the air goes.
"""

from dataclasses import dataclass, replace
from math import hypot, log, sqrt

import numpy as np

from server.core.cupmodel import CUP, Step, predict_cup, weigh_cup
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

    And how each came from the second before, for looking back: its `parent` [h] there, `back` [h, 6, 6] and `left`
    [h, 6, 6]: the state before was back · state, with covariance `left`. The cup's speed leads nowhere, since it bends
    too much with the wind; in looking back its place holds the constant 1 (`hold_constant`).
    """

    log_weight: Floats
    mean: Floats
    covariance: Floats
    intensity: Floats
    parent: Integers
    back: Floats
    left: Floats
    steps: int


@dataclass(frozen=True, slots=True)
class _Sources:
    """The hypotheses that step on: places in the bank, log weights, means, covariances, intensities, all [h, ...].

    `extra` [h] is how much further each one's mean wind may walk, m²/s².
    """

    place: Integers
    log_weight: Floats
    mean: Floats
    covariance: Floats
    intensity: Floats
    extra: Floats


@dataclass(frozen=True, slots=True)
class _Ahead:
    """What is expected a second on, before the cup is read: means [h, 6], covariances [h, 6, 6].

    Also what each state kept [h, 6] and gained in variance [h, 6], and the turbulence [h] in m/s.
    """

    mean: Floats
    covariance: Floats
    kept: Floats
    noise: Floats
    gust_mps: Floats


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
    parent, none = np.arange(count, dtype=np.int64), np.zeros_like(covariance)
    return Bank(np.full(count, -np.log(count)), mean, covariance, grid[:, 2], parent, none, none, 0)


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
    before = _choose_sources(bank)
    ahead = _drift(before)
    points = _spread_points(ahead)
    seen, end = predict_cup(points, step, gust_mps=ahead.gust_mps, distance_constant_m=distance_constant_m)
    expected = ahead.mean.copy()
    expected[:, CUP] = np.add.reduce(end, axis=1) / end.shape[1]
    apart, cup_apart = points - expected[:, None], end - expected[:, CUP, None]
    apart[:, :, CUP] = cup_apart
    covariance = ahead.covariance + _JITTER
    back, left = _lead_back(before, ahead, covariance)
    covariance[:, CUP] = covariance[:, :, CUP] = (cup_apart[:, None] @ apart)[:, 0] / end.shape[1]
    covariance[:, CUP, CUP] += _JITTER[CUP, CUP]
    mean, narrowed, log_like = weigh_cup(expected, covariance, apart, seen, step)
    log_weight = before.log_weight * FORGETTING + log_like
    return _prune(Bank(log_weight, mean, narrowed, before.intensity, before.place, back, left, bank.steps + 1))


@dataclass(frozen=True, slots=True)
class Reading:
    """The wind of one second by the whole bank: its speed, the mean wind, and the variance of the wind across that."""

    speed_mps: float
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
        Speed [m/s]; the mean wind vector [m/s] and the variance of the wind across it.

    References
    ----------
    Derivation: moments of a mixture; |w| of a Gaussian to second order.

    Examples
    --------
    >>> 0.5 < read_bank(start_bank(3.0)).speed_mps < 6.0
    True
    """
    weight = np.exp(bank.log_weight)
    _, size, area2 = measure_wind(bank)
    least = np.maximum(size, 0.3)
    var_across = area2 / (least * least)
    east, north = (weight @ bank.mean[:, :2]).tolist()
    apart = (bank.mean[:, :2] @ np.array([-north, east])) / max(hypot(east, north), 0.3)
    return Reading(
        speed_mps=float(weight @ (size + 0.5 * var_across / least)),
        east_mps=east,
        north_mps=north,
        across_variance=float(weight @ (var_across + apart * apart)),
    )


def measure_wind(bank: Bank) -> tuple[Floats, Floats, Floats]:
    """The wind of the present second, mean and turbulence together, in each hypothesis.

    Parameters
    ----------
    bank
        The hypotheses.

    Returns
    -------
    tuple
        Vectors [h, 2] and their lengths [h] [m/s]; squared length times the variance across the vector [h] [m⁴/s⁴].

    References
    ----------
    Derivation: the quadratic form of the vector turned by a right angle.

    Examples
    --------
    >>> _, size, area2 = measure_wind(start_bank(3.0))
    >>> round(float(size[0]), 6), round(float(area2[0] / size[0] ** 2), 4)
    (0.7, 0.171)
    """
    wind = bank.mean[:, :2] + bank.mean[:, 2:4]
    halves = bank.covariance[:, :2] + bank.covariance[:, 2:4]
    covariance = halves[:, :, :2] + halves[:, :, 2:4]
    return wind, np.hypot(wind[:, 0], wind[:, 1]), square_across(wind, covariance)


def square_across(vectors: Floats, covariances: Floats) -> Floats:
    """The variance across each vector, times its squared length.

    Parameters
    ----------
    vectors
        Vectors [h, 2], any unit.
    covariances
        Symmetric matrices [h, 2, 2], any unit.

    Returns
    -------
    Floats
        u' C u [h], where u is the vector turned by a right angle.

    References
    ----------
    Definition of a quadratic form, written out.

    Examples
    --------
    >>> square_across(np.array([[2.0, 0.0]]), np.diag([1.0, 3.0])[None]).tolist()
    [12.0]
    """
    x, y = vectors[:, 0], vectors[:, 1]
    return np.asarray(y * y * covariances[:, 0, 0] - 2.0 * x * y * covariances[:, 0, 1] + x * x * covariances[:, 1, 1])


def _choose_sources(bank: Bank) -> _Sources:
    """All hypotheses, and every 10 s a copy of the best whose mean wind may walk further."""
    count = len(bank.log_weight)
    if bank.steps < FULL_STEPS or bank.steps % REFRESH_S:
        place, extra = np.arange(count, dtype=np.int64), np.zeros(count)
        return _Sources(place, bank.log_weight, bank.mean, bank.covariance, bank.intensity, extra)
    best = int(bank.log_weight.argmax())
    place = np.array([*range(count), best], dtype=np.int64)
    log_weight, extra = bank.log_weight[place], np.zeros(count + 1)
    log_weight[-1] += log(REFRESH_WEIGHT)
    extra[-1] = (REFRESH_SHARE * max(hypot(*bank.mean[best, :2].tolist()), 0.7)) ** 2
    return _Sources(place, log_weight, bank.mean[place], bank.covariance[place], bank.intensity[place], extra)


def _drift(before: _Sources) -> _Ahead:
    """A second on: the mean wind walks, the turbulence fades and is fed, the cup and its scale stay."""
    size = np.hypot(before.mean[:, 0], before.mean[:, 1])
    keep = np.exp(-np.minimum(np.maximum(size / 24.0, 0.05), 0.2))
    gust = before.intensity * np.maximum(size, 0.6)
    walk, feed = WALK_SHARE * np.maximum(size, 0.7), gust * gust * (1.0 - keep * keep)
    kept, noise = np.ones_like(before.mean), np.zeros_like(before.mean)
    kept[:, 2:4] = keep[:, None]
    noise[:, :2], noise[:, 2:4] = (walk * walk + before.extra)[:, None], feed[:, None]
    covariance = before.covariance * kept[:, :, None] * kept[:, None, :]
    _diagonals(covariance)[:] += noise + _JITTER[0, 0]
    return _Ahead(before.mean * kept, covariance, kept, noise, gust)


def _spread_points(ahead: _Ahead) -> Floats:
    """Cubature points [h, 12, 6]: equally likely states with the mean and covariance expected."""
    steps = sqrt(STATES) * np.linalg.cholesky(ahead.covariance).transpose(0, 2, 1)
    points = np.empty((len(steps), 2 * STATES, STATES))
    np.add(ahead.mean[:, None], steps, out=points[:, :STATES])
    np.subtract(ahead.mean[:, None], steps, out=points[:, STATES:])
    return points


def _lead_back(before: _Sources, ahead: _Ahead, covariance: Floats) -> tuple[Floats, Floats]:
    """`back` and `left` of a bank: the state before as a linear function of the state expected.

    With D what the states keep, Q the noise and A = D P D + Q the covariance expected, the gain P D A⁻¹ of Rauch, Tung
    and Striebel is D⁻¹ (1 - Q A⁻¹), and what it leaves unknown is D⁻¹ (Q - Q A⁻¹ Q) D⁻¹: D and Q are diagonal.
    """
    joint = covariance.copy()
    joint[:, CUP], joint[:, :, CUP], joint[:, CUP, CUP] = 0.0, 0.0, 1.0
    noise = (ahead.noise + 2.0 * _JITTER[0, 0]) / ahead.kept
    noise[:, CUP] = 0.0
    back = -noise[:, :, None] * np.linalg.inv(joint)
    left = back * noise[:, None, :]
    _diagonals(back)[:] += 1.0 / ahead.kept
    _diagonals(left)[:] += noise / ahead.kept
    back[:, :, CUP] = before.mean - (back @ ahead.mean[:, :, None])[:, :, 0]
    back[:, CUP, CUP] = 1.0
    return back, left


def _diagonals(matrices: Floats) -> Floats:
    """The diagonals [h, 6] of whole arrays of matrices [h, 6, 6], to be written to."""
    return matrices.reshape(len(matrices), -1)[:, :: STATES + 1]


def _prune(bank: Bank) -> Bank:
    """Keep the likeliest, join what is alike, keep one of each intensity at a thousandth of the best or more.

    In the first seconds all are kept. Weights come in to any scale, and go out summing to one.
    """
    weights = np.exp(bank.log_weight - bank.log_weight.max()).tolist()
    if bank.steps < FULL_STEPS:
        return _pick(bank, dict(enumerate(weights)))
    order = sorted(range(len(weights)), key=bank.log_weight.tolist().__getitem__, reverse=True)
    intensities = bank.intensity.tolist()
    kept: dict[int, float] = {}
    rivals: dict[float, list[int]] = {intensity: [] for intensity in INTENSITIES}
    means, covariances = bank.mean[:, :2].tolist(), bank.covariance[:, :2, :2].tolist()
    for place in order[: 3 * KEPT]:
        same = rivals[intensities[place]]
        facts = means[place], covariances[place]
        twin = next((other for other in same if _is_alike(*facts, means[other], covariances[other])), None)
        if twin is not None:
            kept[twin] += weights[place]
        elif len(kept) < KEPT and weights[place] > DROPPED_WEIGHT:
            kept[place] = weights[place]
            same.append(place)
    for intensity in INTENSITIES:
        best = next(place for place in order if intensities[place] == intensity)
        kept[best] = max(kept.get(best, 0.0), LEAST_WEIGHT)
    return _pick(bank, kept)


def _is_alike(
    mean: list[float], covariance: list[list[float]], other_mean: list[float], other_covariance: list[list[float]]
) -> bool:
    """Whether two hypotheses say nearly the same mean wind, for the covariance that they have on average."""
    x, y = mean[0] - other_mean[0], mean[1] - other_mean[1]
    a = 0.5 * (covariance[0][0] + other_covariance[0][0]) + 1e-6
    b = 0.5 * (covariance[0][1] + other_covariance[0][1])
    d = 0.5 * (covariance[1][1] + other_covariance[1][1]) + 1e-6
    return d * x * x - 2.0 * b * x * y + a * y * y < MERGE_DISTANCE**2 * (a * d - b * b)


def _pick(bank: Bank, kept: dict[int, float]) -> Bank:
    """The hypotheses at the places kept, in that order, with weights in proportion to those given."""
    weight = np.array(list(kept.values()))
    log_weight, chosen = np.log(weight / np.add.reduce(weight)), list(kept)
    if chosen == list(range(len(bank.log_weight))):
        return replace(bank, log_weight=log_weight)
    return Bank(
        log_weight,
        bank.mean[chosen],
        bank.covariance[chosen],
        bank.intensity[chosen],
        bank.parent[chosen],
        bank.back[chosen],
        bank.left[chosen],
        bank.steps,
    )
