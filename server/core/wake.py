"""One wind, changing slowly, and one cup, shielded on one side or on none, fitted to the readings of a job.

Metres per second. A side is where the body stands as seen from the cup, radians clockwise from the way walked.
"""

from dataclasses import dataclass

import numpy as np

from server.core.log import Floats

SCALES_S = (4.0, 30.0, 300.0)
"""Time scales of the wind's changes; those of the last are followed, the others are turbulence."""
SLOW = 2
LEAST_AIR_MPS = 0.15
WIND_SD_MPS, LOSS_SD, GAIN_SD, LAG_SD_M = 10.0, 0.3, 0.03, 1.5
"""What is thought beforehand of mean wind, a shield's loss, and the errors of the cup's scale and distance constant."""
MOST_LOSS = 0.8
_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Readings:
    """Means over some seconds [n]: middle and length [s], the air past the cup [m/s], the rig's velocity [n, 2].

    `lag` [n] is how much more air there was for each metre that the distance constant is longer than set [1/s].
    """

    t: Floats
    seconds: Floats
    air: Floats
    velocity: Floats
    lag: Floats


@dataclass(frozen=True, slots=True)
class Wake:
    """A fit: wind followed [n, 2], loss and its sd [-], log-likelihood, variances of the changes [3], air felt [n]."""

    wind: Floats
    loss: float
    loss_sd: float
    log_like: float
    sizes: Floats
    felt: Floats


@dataclass(frozen=True, slots=True)
class _Guess:
    """Where a round starts: the wind followed [n, 2], loss and gain of the cup [-]."""

    wind: Floats
    loss: float
    gain: float


@dataclass(frozen=True, slots=True)
class _Model:
    """What is expected at a guess [n], its derivatives by wind [n, 2] and by all numbers [n, 5], and the air felt."""

    expected: Floats
    by_wind: Floats
    slopes: Floats
    felt: Floats


def fit_wake(readings: Readings, related: Floats, start: Wake, *, side: float | None) -> Wake:
    """Fit mean wind, the cup's errors and the loss on one side; without a side, the sizes of the wind's changes.

    Gauss-Newton, with the slow changes of the wind followed and its turbulence in the covariance.

    Parameters
    ----------
    readings
        What cup and receiver said.
    related
        What `scatter.relate_means` gives for them at the time scales of this module [3, n, n] [-].
    start
        Wind [m/s] and sizes [m²/s²] to start from.
    side
        Where the body is thought to stand [rad]; None: nowhere.

    Returns
    -------
    Wake
        Its log-likelihood has mean wind, loss and the cup's errors integrated out, so that two of them may be compared.

    References
    ----------
    Derivation: Laplace's approximation about the wind followed; sizes by one step a round as in `scatter.fit_scatter`.

    Examples
    --------
    >>> from server.core.scatter import relate_means
    >>> t, way = 5.0 * np.arange(60.0), np.array([[1.2, 0.0], [-1.2, 0.0], [0.0, 1.2]])[np.arange(60) % 3]
    >>> readings = Readings(t, np.full(60, 5.0), np.hypot(3.0 - way[:, 0], 1.0 - way[:, 1]), way,
    ...     np.zeros(60))
    >>> start = Wake(np.tile([2.5, 0.5], (60, 1)), 0.0, 0.0, 0.0, np.full(3, 0.01), np.ones(60))
    >>> found = fit_wake(readings, relate_means(t, readings.seconds, scales_s=SCALES_S), start, side=None)
    >>> found.wind.mean(axis=0).round(1).tolist(), found.loss
    ([3.0, 1.0], 0.0)
    """
    noise = np.diag((0.05 + 0.02 * readings.air) ** 2 / readings.seconds)
    precision = np.array([WIND_SD_MPS, WIND_SD_MPS, 1e-6 if side is None else LOSS_SD, GAIN_SD, LAG_SD_M]) ** -2.0
    guess, sizes, found = _Guess(start.wind, 0.0, 0.0), start.sizes, start
    for _ in range(_ROUNDS):
        model = _expect(readings, guess, side or 0.0, float(sizes[:SLOW].sum()))
        shown = readings.air - model.expected + (model.by_wind * guess.wind).sum(axis=1)
        shown = shown + model.slopes[:, 2:4] @ np.array([guess.loss, guess.gain])
        both = related * (model.by_wind @ model.by_wind.T)
        covariance = noise + np.tensordot(sizes, both, 1)
        inverse = np.linalg.inv(covariance)
        normal = model.slopes.T @ inverse @ model.slopes + np.diag(precision)
        numbers = np.linalg.solve(normal, model.slopes.T @ inverse @ shown)
        left = shown - model.slopes @ numbers
        pulled = inverse @ left
        surprise = left @ pulled + precision @ numbers**2 - np.log(precision).sum()
        log_like = -0.5 * float(surprise + np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1])
        wind = numbers[:2] + sizes[SLOW] * related[SLOW] @ (model.by_wind * pulled[:, None])
        loss = 0.0 if side is None else float(np.clip(numbers[2], -MOST_LOSS, MOST_LOSS))
        guess = _Guess(wind, loss, float(numbers[3]))
        found = Wake(wind, loss, float(np.sqrt(np.linalg.inv(normal)[2, 2])), log_like, sizes, model.felt)
        if side is None:
            taken = inverse @ model.slopes
            sizes = _resize(sizes, both, inverse - taken @ np.linalg.solve(normal, taken.T), pulled)
    return found


def _resize(sizes: Floats, both: Floats, rest: Floats, pulled: Floats) -> Floats:
    """One step towards the sizes that make the readings likeliest."""
    seen = np.array([pulled @ spread @ pulled for spread in both])
    expected = np.array([np.sum(rest * spread) for spread in both])
    resized: Floats = sizes * np.sqrt(seen / expected) + 1e-6
    return resized


def _expect(readings: Readings, guess: _Guess, side: float, variance: float) -> _Model:
    """What the cup should show: |w - v| less what the body takes, which falls off as cos² to either side of it."""
    relative = guess.wind - readings.velocity
    felt = np.maximum(np.hypot(*relative.T), LEAST_AIR_MPS)
    along = relative / felt[:, None]
    across = np.stack((along[:, 1], -along[:, 0]), axis=1)
    heading = np.arctan2(readings.velocity[:, 0], readings.velocity[:, 1])
    turned = np.arctan2(-along[:, 0], -along[:, 1]) - heading - side
    turned = (turned + np.pi) % (2.0 * np.pi) - np.pi
    is_near = np.abs(turned) < 0.5 * np.pi
    lobe = np.where(is_near, np.cos(turned) ** 2, 0.0)
    bend = np.where(is_near, -np.sin(2.0 * turned), 0.0)
    left, scale = 1.0 - guess.loss * lobe, 1.0 + guess.gain
    air = felt + 0.5 * variance / np.maximum(felt, 0.7)
    by_wind = scale * (left[:, None] * along - (guess.loss * bend)[:, None] * across)
    slopes = np.column_stack((by_wind, -scale * lobe * air, left * air, -readings.lag))
    return _Model(scale * left * air, by_wind, slopes, felt)
