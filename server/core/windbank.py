"""The true wind from a speed-only cup that is carried about: a bank of Gaussian filters.

The cup feels |w - v|, the air relative to the rig, through its inertia. Walking in changing directions makes the wind
vector w observable. Each hypothesis is a Gaussian over (mean wind east, north; turbulence east, north; cup speed; scale
error of the cup); the hypotheses differ in direction, speed and turbulence intensity at the start and are weighted by
what the cup says. Metres per second; vectors say where the air goes.
"""

from dataclasses import dataclass, field, replace
from math import exp, hypot, log
from typing import NamedTuple

import numpy as np

from server.core.cupmodel import CUP, Step, predict_cup, weigh_cup
from server.core.log import Floats, Integers
from server.core.winddrift import JITTER, STATES, drift_wind, lead_back, spread_points

DIRECTIONS = 12
SPEEDS_MPS = (0.7, 2.0, 3.6, 5.6)
INTENSITIES = (0.15, 0.25, 0.40, 0.60)
FORGETTING = 0.998
FULL_STEPS = 5
KEPT, KEPT_FIRST, FIRST_S = 24, 72, 60
"""So many hypotheses at most, and while the first headings are walked: what is dropped then may be the truth."""
MERGE_DISTANCE = 0.6
REFRESH_S = 10
REFRESH_SHARE = 0.25
REFRESH_WEIGHT = 0.02
OTHER_SIDE, LEAST_ACROSS_MPS = 0.03, 0.3
"""The side that the wind does not seem to blow from keeps this weight, where it blows at least so much across."""
LEAST_WEIGHT = 1e-3
DROPPED_WEIGHT = 1e-5
SCALE_SD = 0.03
"""How far a cup's line is trusted where no calibration says: carried along, never estimated, which biased the wind."""
_JITTERS = JITTER * np.eye(STATES)


@dataclass(frozen=True, slots=True)
class Bank:
    """Hypotheses after a second: log weights [h], means [h, 6], covariances [h, 6, 6], turbulence intensities [h].

    And how each came from the second before, for looking back: its `parent` [h] there, `back` [h, 6, 6] and `left`
    [h, 6, 6]: the state before was back · state, with covariance `left`. The cup's speed leads nowhere, since it bends
    too much with the wind; in looking back its place holds the constant 1. `mirrored` is the place of the hypothesis
    that is its parent's image this second (-1: none), `mirror` [2, 2] how east and north were turned.
    """

    log_weight: Floats
    mean: Floats
    covariance: Floats
    intensity: Floats
    parent: Integers
    back: Floats
    left: Floats
    steps: int
    mirrored: int = -1
    mirror: Floats = field(default_factory=lambda: np.eye(2))


@dataclass(frozen=True, slots=True)
class _Sources:
    """The hypotheses that step on: places in the bank, log weights, means, covariances, intensities, all [h, ...].

    `extra` [h] is how much further each one's mean wind may walk, m²/s²; `mirror` [2, 2] is how the last one was turned
    to be the best one's image, if it was.
    """

    place: Integers
    log_weight: Floats
    mean: Floats
    covariance: Floats
    intensity: Floats
    extra: Floats
    mirror: Floats | None = None


def start_bank(cup_mps: float, *, scale_sd: float = SCALE_SD) -> Bank:
    """The hypotheses before anything is known but the cup's speed.

    Parameters
    ----------
    cup_mps
        The first apparent speed [m/s].
    scale_sd
        Standard uncertainty of the cup's line as a share of the speed [-].

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
    for state, variance in enumerate((spread, spread, turbulence, turbulence, 0.25, scale_sd**2)):
        covariance[:, state, state] = variance
    parent, none = np.arange(count, dtype=np.int64), np.zeros_like(covariance)
    return Bank(np.full(count, -np.log(count)), mean, covariance, grid[:, 2], parent, none, none, 0)


def step_bank(bank: Bank, step: Step, *, distance_constant_m: float, axis: tuple[float, float] | None = None) -> Bank:
    """One second on: predict, compare with the cup, weigh, prune.

    Parameters
    ----------
    bank
        The hypotheses before.
    step
        What the second brought; a NaN speed only predicts.
    distance_constant_m
        The cup's distance constant [m].
    axis
        The line that is walked up and down, east and north of length 1 [-]; None: there is none.

    Returns
    -------
    Bank
        The hypotheses after.

    Notes
    -----
    Cubature points carry the covariance through |w - v| and the cup's inertia, which is exact over the second for a
    steady air speed. Every 10 s a copy of the best sets out with a wider mean wind, so that a veer is followed. A walk
    up and down a line never shows the side of the wind, only its turns do: so the other side is never given up, and the
    best one's image about the line sets out there when less than 1 % is left.

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
    before = _choose_sources(bank, axis)
    ahead = drift_wind(before.mean, before.covariance, intensity=before.intensity, extra=before.extra)
    points = spread_points(ahead)
    seen, end = predict_cup(points, step, gust_mps=ahead.gust_mps, distance_constant_m=distance_constant_m)
    expected = ahead.mean.copy()
    expected[:, CUP] = np.add.reduce(end, axis=1) / end.shape[1]
    apart, cup_apart = points - expected[:, None], end - expected[:, CUP, None]
    apart[:, :, CUP] = cup_apart
    back, left = lead_back(before.mean, ahead)
    mirrored = -1
    if before.mirror is not None:
        mirrored, turn = len(back) - 1, _turn_states(before.mirror)
        back[-1], left[-1] = turn @ back[-1], turn @ left[-1] @ turn.T
    covariance = ahead.covariance + _JITTERS
    covariance[:, CUP] = covariance[:, :, CUP] = (cup_apart[:, None] @ apart)[:, 0] / end.shape[1]
    covariance[:, CUP, CUP] += JITTER
    mean, narrowed, log_like = weigh_cup(expected, covariance, apart, seen, step)
    log_weight = before.log_weight * FORGETTING + log_like
    turned = np.eye(2) if before.mirror is None else before.mirror
    places = before.intensity, before.place
    return _prune(Bank(log_weight, mean, narrowed, *places, back, left, bank.steps + 1, mirrored, turned))


class Present(NamedTuple):
    """The wind of one second in one hypothesis, mean and turbulence together: vector, length and variance across, SI.

    `across` is that variance times the squared length. A tuple, for one is made every second for each hypothesis.
    """

    east_mps: float
    north_mps: float
    size_mps: float
    across: float


@dataclass(frozen=True, slots=True)
class Reading:
    """The wind of one second by the whole bank: its speed, the mean wind, and the variance of the wind across that."""

    speed_mps: float
    east_mps: float
    north_mps: float
    across_variance: float


def measure_wind(bank: Bank) -> list[Present]:
    """The wind of the present second in each hypothesis.

    Parameters
    ----------
    bank
        The hypotheses.

    Returns
    -------
    list[Present]
        One each [m/s].

    Notes
    -----
    In plain numbers: there are mostly five or six hypotheses, and so many array calls would take longer.

    References
    ----------
    Derivation: the sum of two Gaussian vectors.

    Examples
    --------
    >>> first = measure_wind(start_bank(3.0))[0]
    >>> round(first.size_mps, 6), round(first.across / first.size_mps**2, 4)
    (0.7, 0.171)
    """
    found = []
    for mean, (a, b, c, d) in zip(bank.mean[:, :4].tolist(), bank.covariance[:, :4, :4].tolist(), strict=True):
        east, north = mean[0] + mean[2], mean[1] + mean[3]
        east2, north2 = a[0] + 2.0 * a[2] + c[2], b[1] + 2.0 * b[3] + d[3]
        both = a[1] + a[3] + c[1] + c[3]
        found.append(Present(east, north, hypot(east, north), square_across(east, north, east2, both, north2)))
    return found


def square_across(x: float, y: float, xx: float, xy: float, yy: float) -> float:
    """The variance across a vector, times its squared length.

    Parameters
    ----------
    x, y
        The vector, any unit.
    xx, xy, yy
        Its covariance, the unit squared.

    Returns
    -------
    float
        u' C u, where u is the vector turned by a right angle.

    References
    ----------
    Definition of a quadratic form, written out.

    Examples
    --------
    >>> square_across(2.0, 0.0, 1.0, 0.0, 3.0)
    12.0
    """
    return y * y * xx - 2.0 * x * y * xy + x * x * yy


def read_bank(bank: Bank, present: list[Present] | None = None) -> Reading:
    """What the bank as a whole says of the present second.

    Parameters
    ----------
    bank
        The hypotheses.
    present
        What `measure_wind` finds in them, where that is known already.

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
    weights, means = np.exp(bank.log_weight), bank.mean[:, :2]
    east, north = (weights @ means).tolist()
    length = max(hypot(east, north), 0.3)
    speed, variance = 0.0, 0.0
    for weight, mean, wind in zip(weights.tolist(), means.tolist(), present or measure_wind(bank), strict=True):
        size = max(wind.size_mps, 0.3)
        across = wind.across / (size * size)
        speed += weight * (wind.size_mps + 0.5 * across / size)
        variance += weight * (across + ((mean[1] * east - mean[0] * north) / length) ** 2)
    return Reading(speed, east, north, variance)


def _choose_sources(bank: Bank, axis: tuple[float, float] | None) -> _Sources:
    """All hypotheses, and every 10 s a copy of the best whose mean wind may walk further, and its image if need be."""
    count = len(bank.log_weight)
    if bank.steps < FULL_STEPS or bank.steps % REFRESH_S:
        place, extra = np.arange(count, dtype=np.int64), np.zeros(count)
        return _Sources(place, bank.log_weight, bank.mean, bank.covariance, bank.intensity, extra)
    best = int(bank.log_weight.argmax())
    lacking = 0.0 if axis is None else _lack_side(bank, best, axis)
    place = np.array([*range(count), best] + [best] * (lacking > 0.0), dtype=np.int64)
    log_weight, extra = bank.log_weight[place], np.zeros(len(place))
    log_weight[count] += log(REFRESH_WEIGHT)
    extra[count] = (REFRESH_SHARE * max(hypot(*bank.mean[best, :2].tolist()), 0.7)) ** 2
    mean, covariance, mirror = bank.mean[place], bank.covariance[place], None
    if axis is not None and lacking > 0.0:
        log_weight[-1] = log(lacking)
        mirror = 2.0 * np.outer(axis, axis) - np.eye(2)
        turn = _turn_states(mirror)
        mean[-1], covariance[-1] = turn @ mean[-1], turn @ covariance[-1] @ turn.T
    return _Sources(place, log_weight, mean, covariance, bank.intensity[place], extra, mirror)


def _lack_side(bank: Bank, best: int, axis: tuple[float, float]) -> float:
    """How much weight is wanting on the other side of the axis than the best one; 0 where that lies along it."""
    across = bank.mean[:, :2] @ np.array([-axis[1], axis[0]])
    side = float(across[best])
    if abs(side) < LEAST_ACROSS_MPS:
        return 0.0
    return max(OTHER_SIDE - float(np.exp(bank.log_weight[across * side < 0.0]).sum()), 0.0)


def _turn_states(mirror: Floats) -> Floats:
    """What turns states [6] as `mirror` [2, 2] turns east and north."""
    turn = np.eye(STATES)
    turn[:2, :2] = turn[2:4, 2:4] = mirror
    return turn


def _prune(bank: Bank) -> Bank:
    """Keep the likeliest, join what is alike, keep one of each intensity at a thousandth of the best or more.

    In the first seconds all are kept. Weights come in to any scale, and go out summing to one.
    """
    logs = bank.log_weight.tolist()
    top = max(logs)
    weights = [exp(value - top) for value in logs]
    if bank.steps < FULL_STEPS:
        return replace(bank, log_weight=bank.log_weight - (top + log(sum(weights))))
    order = sorted(range(len(weights)), key=logs.__getitem__, reverse=True)
    intensities = bank.intensity.tolist()
    kept: dict[int, float] = {}
    rivals: dict[float, list[int]] = {intensity: [] for intensity in INTENSITIES}
    means, covariances = bank.mean[:, :2].tolist(), bank.covariance[:, :2, :2].tolist()
    most = KEPT_FIRST if bank.steps < FIRST_S else KEPT
    for place in order[: 3 * most]:
        same = rivals[intensities[place]]
        facts = means[place], covariances[place]
        twin = next((other for other in same if _is_alike(*facts, means[other], covariances[other])), None)
        if twin is not None:
            kept[twin] += weights[place]
        elif len(kept) < most and weights[place] > DROPPED_WEIGHT:
            kept[place] = weights[place]
            same.append(place)
    for intensity, same in rivals.items():
        best = same[0] if same else next(place for place in order if intensities[place] == intensity)
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
    places, whole = list(kept), sum(kept.values())
    log_weight = np.array([log(weight / whole) for weight in kept.values()])
    if places == list(range(len(bank.log_weight))):
        return replace(bank, log_weight=log_weight)
    chosen = np.array(places)
    return Bank(
        log_weight,
        bank.mean.take(chosen, axis=0),
        bank.covariance.take(chosen, axis=0),
        bank.intensity.take(chosen),
        bank.parent.take(chosen),
        bank.back.take(chosen, axis=0),
        bank.left.take(chosen, axis=0),
        bank.steps,
        places.index(bank.mirrored) if bank.mirrored in places else -1,
        bank.mirror,
    )
