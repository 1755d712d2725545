"""The last two minutes of wind seen again from now, in every hypothesis of the bank.

A turn tells which way the wind blew a minute ago. So the speed and the vector of each past second are kept as linear
functions of the present state, and are revised with it: no pass back in time is needed. Metres per second.
"""

from dataclasses import dataclass
from math import atan2, degrees, nan, sqrt

import numpy as np

from server.core.log import Floats
from server.core.windbank import STATES, Bank, form_square

LOOKBACK_S = 120
SPREAD_S = 60
"""How many seconds keep the joint spread of their speeds."""
LIGHT_MPS = 0.3
"""A lighter mean wind has no direction worth telling."""
WIDEST_SD_DEG = 60.0


@dataclass(frozen=True, slots=True)
class Lookback:
    """Past seconds, the latest first: speed, east, north = `offset` [h, n, 3] + `slope` [h, n, 3, 6] · state.

    `spread` [h, m, m] is what stays unknown of the speeds of the latest m seconds once the present state is known.
    """

    offset: Floats
    slope: Floats
    spread: Floats


@dataclass(frozen=True, slots=True)
class Window:
    """A mean over the latest seconds: speed of each hypothesis [h] with its variance [h], and the weights [h]."""

    speed: Floats
    variance: Floats
    weight: Floats

    @property
    def mean_mps(self) -> float:
        """The mean speed of the whole bank."""
        return float(self.weight @ self.speed)

    @property
    def sd_mps(self) -> float:
        """Its standard deviation, within and between hypotheses."""
        return sqrt(float(self.weight @ (self.variance + (self.speed - self.mean_mps) ** 2)))


def extend_lookback(past: Lookback | None, before: Bank, bank: Bank) -> Lookback:
    """Add a second and see the earlier ones from it.

    Parameters
    ----------
    past
        The seconds as seen from `before` [m/s]; None at the start.
    before
        The bank a second ago.
    bank
        The bank now.

    Returns
    -------
    Lookback
        The seconds as seen from now, at most 120.

    Notes
    -----
    Exact for linear functions of a Gaussian state. The speed is made linear at the wind as it was seen in its own
    second, with the part that unknown wind across it adds.

    References
    ----------
    Derivation: E[x_before | x] = mean + gain (x - expected), the step of Rauch, Tung, Striebel, AIAA Journal 3 (1965)
    1445 (from memory), put into a linear function of x_before.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> extend_lookback(None, bank, bank).offset.shape
    (192, 1, 3)
    """
    offset, slope = _newest_second(bank)
    if past is None:
        return Lookback(offset[:, None], slope[:, None], np.zeros((len(offset), 1, 1), dtype=np.float32))
    parent, (_, had, _, _) = bank.parent, past.slope.shape
    count, kept = min(had, LOOKBACK_S - 1), min(past.spread.shape[1], SPREAD_S - 1)
    rest = before.mean[parent] - (bank.gain @ bank.expected[:, :, None])[:, :, 0]
    old = past.slope.reshape(len(past.slope), had * 3, STATES)[parent, : 3 * count]
    offsets = np.empty((len(parent), count + 1, 3))
    offsets[:, 0] = offset
    offsets[:, 1:] = past.offset[parent, :count] + (old @ rest[:, :, None]).reshape(len(parent), count, 3)
    slopes = np.empty((len(parent), count + 1, 3, STATES))
    slopes[:, 0] = slope
    np.matmul(old, bank.gain, out=slopes.reshape(len(parent), -1, STATES)[:, 3:])
    return Lookback(offsets, slopes, _extend_spread(past.spread[parent], old[:, : 3 * kept : 3], bank.left))


def _extend_spread(before: Floats, speeds: Floats, left: Floats) -> Floats:
    """What stays unknown of the speeds, a second on: single precision is enough, and half the memory to move."""
    hypotheses, kept, _ = speeds.shape
    spread = np.empty((hypotheses, kept + 1, kept + 1), dtype=np.float32)
    spread[:, 0], spread[:, :, 0] = 0.0, 0.0
    speeds = speeds.astype(np.float32)
    spread[:, 1:, 1:] = speeds @ left.astype(np.float32) @ speeds.transpose(0, 2, 1)
    spread[:, 1:, 1:] += before[:, :kept, :kept]
    return spread


def read_window(past: Lookback, bank: Bank, *, seconds: int) -> Window:
    """The mean speed over the latest seconds, as each hypothesis sees it now.

    Parameters
    ----------
    past
        The seconds as seen from now.
    bank
        The bank now.
    seconds
        How many [s]; fewer are taken where fewer are known. Above 60 the variance is that of the latest 60.

    Returns
    -------
    Window
        Speeds and variances [m/s, m²/s²].

    References
    ----------
    Derivation: variance of a sum of linear functions of a Gaussian state.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> 2.0 < read_window(extend_lookback(None, bank, bank), bank, seconds=60).mean_mps < 4.0
    True
    """
    speed, slope = _average_latest(past, bank, seconds)
    known = min(seconds, past.spread.shape[1])
    own = np.add.reduce(past.spread[:, :known, :known].reshape(len(slope), -1), axis=1) / known**2
    return Window(speed, own + form_square(slope, bank.covariance), np.exp(bank.log_weight))


def read_mean(past: Lookback, bank: Bank, *, seconds: int) -> float:
    """The mean speed over the latest seconds, by the whole bank; `read_window` without its doubt, at half the cost.

    Parameters
    ----------
    past
        The seconds as seen from now.
    bank
        The bank now.
    seconds
        How many [s]; fewer are taken where fewer are known.

    Returns
    -------
    float
        The mean [m/s].

    References
    ----------
    Derivation: see `read_window`.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> past = extend_lookback(None, bank, bank)
    >>> read_mean(past, bank, seconds=60) == read_window(past, bank, seconds=60).mean_mps
    True
    """
    return float(np.exp(bank.log_weight) @ _average_latest(past, bank, seconds)[0])


def _average_latest(past: Lookback, bank: Bank, seconds: int) -> tuple[Floats, Floats]:
    """Each hypothesis's mean speed over the latest seconds [h], and how it hangs on the present state [h, 6]."""
    count = min(seconds, past.offset.shape[1])
    slope = np.add.reduce(past.slope[:, :count, 0], axis=1) / count
    speed = np.add.reduce(past.offset[:, :count, 0], axis=1) / count + np.add.reduce(slope * bank.mean, axis=1)
    return np.maximum(speed, 0.0), slope


def read_direction(past: Lookback, bank: Bank, *, seconds: int) -> tuple[float, float]:
    """Where the mean wind over the latest seconds came from, and how sure that is.

    Parameters
    ----------
    past
        The seconds as seen from now.
    bank
        The bank now.
    seconds
        How many [s].

    Returns
    -------
    tuple
        Direction FROM which it blew and its standard deviation [degrees]; NaN in light wind, or while the side is open.

    References
    ----------
    Circular standard deviation √(-2 ln R): Mardia, Jupp, Directional Statistics (2000), equation 2.3.14.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> read_direction(extend_lookback(None, bank, bank), bank, seconds=60)
    (nan, nan)
    """
    count = min(seconds, past.offset.shape[1])
    slope = np.add.reduce(past.slope[:, :count, 1:], axis=1) / count
    wind = np.add.reduce(past.offset[:, :count, 1:], axis=1) / count + (slope @ bank.mean[:, :, None])[:, :, 0]
    size = np.maximum(np.hypot(wind[:, 0], wind[:, 1]), LIGHT_MPS)
    across = np.stack((-wind[:, 1], wind[:, 0]), axis=1) / size[:, None]
    reach = (across[:, None, :] @ slope)[:, 0]
    variance = form_square(reach, bank.covariance) / size**2
    weight = np.exp(bank.log_weight) * np.exp(-0.5 * variance)
    east, north = (float(weight @ (wind[:, axis] / size)) for axis in (0, 1))
    length = min(float(np.hypot(east, north)), 1.0 - 1e-9)
    sd = degrees(sqrt(-2.0 * np.log(max(length, 1e-9))))
    if sd > WIDEST_SD_DEG or float(np.exp(bank.log_weight) @ size) <= LIGHT_MPS:
        return nan, nan
    return degrees(atan2(-east, -north)) % 360.0, sd


def expect_gust(past: Lookback, bank: Bank, normals: Floats, *, gust_s: int = 3) -> float:
    """The highest 3-s mean of the latest minute, as the likeliest hypothesis sees it now.

    Parameters
    ----------
    past
        The seconds as seen from now.
    bank
        The bank now.
    normals
        Standard normal numbers [k, 60 or more] [-] for k possible minutes.
    gust_s
        Over how many seconds a gust is averaged [s].

    Returns
    -------
    float
        The expected highest [m/s]; NaN before 3 s.

    References
    ----------
    Gust as the highest 3-s running mean: WMO-No. 8, Guide to Instruments, part I, chapter 5.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> expect_gust(extend_lookback(None, bank, bank), bank, np.zeros((1, 60)))
    nan
    """
    count = past.spread.shape[1]
    if count < gust_s:
        return nan
    best = int(np.argmax(bank.log_weight))
    slope = past.slope[best, :count, 0]
    speed = past.offset[best, :count, 0] + slope @ bank.mean[best]
    covariance = past.spread[best] + slope @ bank.covariance[best] @ slope.T
    root = np.linalg.cholesky(covariance + 1e-6 * np.eye(count))
    # The running means of the root's rows first: they are fewer than the minutes drawn.
    means, level = _average_running(root, gust_s), _average_running(speed, gust_s)
    return float(np.add.reduce((level + normals[:, :count] @ means.T).max(axis=1)) / len(normals))


def _average_running(rows: Floats, length: int) -> Floats:
    """Means of so many rows in a row."""
    sums = np.cumsum(rows, axis=0)
    return np.asarray(np.concatenate((sums[length - 1 : length], sums[length:] - sums[:-length])) / length)


def draw_speeds(past: Lookback, bank: Bank, *, rng: np.random.Generator, draws: int) -> Floats:
    """Possible speeds of the latest minute, as seen from now.

    Parameters
    ----------
    past
        The seconds as seen from now.
    bank
        The bank now.
    rng
        Source of the draws.
    draws
        How many.

    Returns
    -------
    Floats
        Speeds [draws, m] [m/s], the latest second first.

    References
    ----------
    Derivation: a hypothesis by its weight, the present state from its Gaussian, the speeds given the state.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> draw_speeds(extend_lookback(None, bank, bank), bank, rng=np.random.default_rng(1), draws=4).shape
    (4, 1)
    """
    count = past.spread.shape[1]
    weight = np.exp(bank.log_weight)
    share = rng.multinomial(draws, weight / weight.sum())
    found = []
    for which in np.flatnonzero(share).tolist():
        slope = past.slope[which, :count, 0]
        covariance = past.spread[which] + slope @ bank.covariance[which] @ slope.T
        root = np.linalg.cholesky(covariance + 1e-6 * np.eye(count))
        mean = past.offset[which, :count, 0] + slope @ bank.mean[which]
        found.append(mean + rng.standard_normal((int(share[which]), count)) @ root.T)
    return np.asarray(np.maximum(np.concatenate(found), 0.0))


def _newest_second(bank: Bank) -> tuple[Floats, Floats]:
    """Speed, east and north of the present second as functions of the state: offsets [h, 3], slopes [h, 3, 6]."""
    wind = bank.mean[:, :2] + bank.mean[:, 2:4]
    halves = bank.covariance[:, :2] + bank.covariance[:, 2:4]
    covariance = halves[:, :, :2] + halves[:, :, 2:4]
    size = np.maximum(np.hypot(wind[:, 0], wind[:, 1]), 1e-3)
    along = wind / size[:, None]
    across = np.stack((-along[:, 1], along[:, 0]), axis=1)
    variance = form_square(across, covariance)
    slope = np.zeros((len(size), 3, STATES))
    slope[:, 0, :2] = slope[:, 0, 2:4] = along
    slope[:, 1, 0] = slope[:, 1, 2] = slope[:, 2, 1] = slope[:, 2, 3] = 1.0
    offset = np.zeros((len(size), 3))
    offset[:, 0] = np.sqrt(size**2 + variance) - size
    return offset, slope
