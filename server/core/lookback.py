"""The last two minutes of wind seen again from now, in every hypothesis of the bank.

A turn tells which way the wind blew a minute ago. So the speed and the vector of each past second are kept as linear
functions of the present state, and are revised with it: no pass back in time is needed. Metres per second.
"""

from dataclasses import dataclass
from math import atan2, degrees, exp, hypot, log, nan, sqrt

import numpy as np

from server.core.cupmodel import CUP
from server.core.log import Floats, Integers
from server.core.windbank import Bank, Present, measure_wind, square_across
from server.core.winddrift import STATES

LOOKBACK_S = 120
SPREAD_S = 60
"""How many seconds keep their wind vectors, and the joint spread of their speeds."""
LIGHT_MPS = 0.3
"""A lighter mean wind has no direction worth telling."""
WIDEST_SD_DEG = 60.0
EAST, NORTH = LOOKBACK_S, LOOKBACK_S + SPREAD_S
ROWS = LOOKBACK_S + 2 * SPREAD_S
"""The rows of a hypothesis: speeds of 120 s, east and north of 60 s, each the latest first."""
SPANS_S = np.array([1, 3, SPREAD_S, LOOKBACK_S, SPREAD_S, SPREAD_S])[:, None]
"""The means that are read: speeds of so many seconds, and the last two east and north."""
_SUMS = np.zeros((len(SPANS_S), ROWS))
for _span, _first in enumerate((0, 0, 0, 0, EAST, NORTH)):
    _SUMS[_span, _first : _first + SPANS_S[_span, 0]] = 1.0
_MEANS = _SUMS / SPANS_S
_EAST, _NORTH = (np.array([1.0 - axis, axis, 1.0 - axis, axis, 0.0, 0.0]) for axis in (0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Lookback:
    """Past seconds as seen from now: speed, east or north = row · state, the state with 1 in the place of the cup's.

    `rows` [h, 240, 6], see `ROWS`, nought where nothing is known yet. `spread` [h, 60, 60] is what stays unknown of
    the speeds of the latest minute once the present state is known; `known_s` is how many seconds there are, `present`
    the latest of them. `state` [h, 6] and `covariance` [h, 6, 6] are the bank's, with that 1.
    """

    rows: Floats
    spread: Floats
    known_s: int
    present: list[Present]
    state: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class Outlook:
    """Means over the latest seconds by the whole bank, with standard deviations; NaN where a direction is not told."""

    second_mps: float
    second_sd_mps: float
    three_mps: float
    minute_mps: float
    minute_sd_mps: float
    two_minutes_mps: float
    two_minutes_sd_mps: float
    from_deg: float
    from_sd_deg: float


def extend_lookback(past: Lookback | None, bank: Bank) -> Lookback:
    """Add a second and see the earlier ones from it.

    Parameters
    ----------
    past
        The seconds as seen from the second before [m/s]; None at the start.
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
    Derivation: E[x_before | x] = back · x, the step of Rauch, Tung, Striebel, AIAA Journal 3 (1965) 1445 (from memory),
    put into a linear function of x_before.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> extend_lookback(extend_lookback(None, bank), bank).known_s
    2
    """
    count, present = len(bank.log_weight), measure_wind(bank)
    if past is None:
        rows, spread = np.zeros((count, ROWS, STATES)), np.zeros((count, SPREAD_S, SPREAD_S), dtype=np.float32)
        known_s = 1
    else:
        before, known_s = _follow(past.rows, bank.parent), min(past.known_s + 1, LOOKBACK_S)
        rows = np.empty((count, ROWS, STATES))
        np.matmul(before[:, :-1], bank.back, out=rows[:, 1:])
        if bank.mirrored >= 0:
            vectors = rows[bank.mirrored, EAST:].reshape(2, SPREAD_S * STATES)
            vectors[:] = bank.mirror @ vectors
        spread = _extend_spread(_follow(past.spread, bank.parent), before, bank.left)
    rows[:, 0], rows[:, EAST], rows[:, NORTH] = [_make_linear(wind) for wind in present], _EAST, _NORTH
    return Lookback(rows, spread, known_s, present, *_hold_constant(bank))


def _follow(values: Floats, parent: Integers) -> Floats:
    """The values of each hypothesis's parent; mostly all are in place, and nothing is moved."""
    return values if parent.tolist() == list(range(len(values))) else values[parent]


def _extend_spread(spread: Floats, rows: Floats, left: Floats) -> Floats:
    """What stays unknown of the speeds, a second on: single precision is enough, and half the memory to move."""
    count = len(rows)
    speeds = np.zeros((count, SPREAD_S, STATES), dtype=np.float32)
    speeds[:, 1:] = rows[:, : SPREAD_S - 1]
    found = speeds @ left.astype(np.float32) @ speeds.transpose(0, 2, 1)
    # A second on is a row down and a column on: in one piece of memory that is a shift by one row and one.
    found.reshape(count, -1)[:, SPREAD_S + 1 :] += spread.reshape(count, -1)[:, : -SPREAD_S - 1]
    found[:, :, 0] = 0.0
    return np.asarray(found)


def _make_linear(wind: Present) -> tuple[float, ...]:
    """The speed of the present second as a row."""
    size = max(wind.size_mps, 1e-3)
    east, north = wind.east_mps / size, wind.north_mps / size
    return east, north, east, north, sqrt(size * size + wind.across / (size * size)) - size, 0.0


def _hold_constant(bank: Bank) -> tuple[Floats, Floats]:
    """Means [h, 6] and covariances [h, 6, 6] of the states that `rows` are functions of: 1 in the cup's place."""
    state, covariance = bank.mean.copy(), bank.covariance.copy()
    state[:, CUP] = 1.0
    covariance[:, CUP] = covariance[:, :, CUP] = 0.0
    return state, covariance


def read_outlook(past: Lookback, bank: Bank) -> Outlook:
    """The means over the latest seconds, as the bank sees them now.

    Parameters
    ----------
    past
        The seconds as seen from now.
    bank
        The bank now.

    Returns
    -------
    Outlook
        Mean speeds over 1, 3, 60 and 120 s, or fewer where fewer are known, all but the second with their standard
        deviations [m/s]; what stays unknown of the minute before the last is taken to be as much as in the last;
        the direction FROM which the wind of the latest minute blew and its standard deviation [degrees], NaN in light
        wind or while the side is open.

    References
    ----------
    Derivation: variance of a sum of linear functions of a Gaussian state; moments of a mixture. Circular standard
    deviation √(-2 ln R): Mardia, Jupp, Directional Statistics (2000), equation 2.3.14.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> outlook = read_outlook(extend_lookback(None, bank), bank)
    >>> 2.0 < outlook.minute_mps < 4.0, outlook.from_deg
    (True, nan)
    """
    weight, count = np.exp(bank.log_weight), len(bank.log_weight)
    rows = (_MEANS if past.known_s == LOOKBACK_S else _SUMS / np.minimum(SPANS_S, past.known_s)) @ past.rows
    means = (rows @ past.state[:, :, None])[:, :, 0]
    joint = rows @ past.covariance @ rows.transpose(0, 2, 1)
    speeds = np.maximum(means[:, :4], 0.0)
    told = weight @ speeds
    own = np.add.reduce(past.spread.reshape(count, -1), axis=1) / min(past.known_s, SPREAD_S) ** 2
    variances = weight @ (np.einsum("hii->hi", joint)[:, :4] + (speeds - told) ** 2)
    second, three, minute, two_minutes = told.tolist()
    second_variance, _, minute_variance, long_variance = variances.tolist()
    unknown = float(weight @ own)
    minute_sd = sqrt(minute_variance + unknown)
    long_sd = sqrt(long_variance + unknown * min(past.known_s, SPREAD_S) / past.known_s)
    direction = _tell_direction(weight.tolist(), means[:, 4:].tolist(), joint[:, 4:, 4:].tolist())
    return Outlook(second, sqrt(second_variance), three, minute, minute_sd, two_minutes, long_sd, *direction)


def _tell_direction(
    weights: list[float], winds: list[list[float]], covariances: list[list[list[float]]]
) -> tuple[float, float]:
    """Where the mean wind comes from, and how sure that is; a vector and its covariance from each hypothesis."""
    east, north, speed = 0.0, 0.0, 0.0
    for weight, (x, y), ((xx, xy), (_, yy)) in zip(weights, winds, covariances, strict=True):
        size = max(hypot(x, y), LIGHT_MPS)
        aim = weight * exp(-0.5 * square_across(x, y, xx, xy, yy) / size**4) / size
        east, north, speed = east + aim * x, north + aim * y, speed + weight * size
    length = min(hypot(east, north), 1.0 - 1e-9)
    sd = degrees(sqrt(-2.0 * log(max(length, 1e-9))))
    if sd > WIDEST_SD_DEG or speed <= LIGHT_MPS:
        return nan, nan
    return degrees(atan2(-east, -north)) % 360.0, sd


def expect_gust(past: Lookback, bank: Bank, normals: Floats, *, gust_s: int = 3) -> tuple[float, float]:
    """The highest 3-s mean of the latest minute, as the likeliest hypothesis sees it now.

    Parameters
    ----------
    past
        The seconds as seen from now.
    bank
        The bank now.
    normals
        Standard normal numbers [60 or more, k] [-] for k possible minutes.
    gust_s
        Over how many seconds a gust is averaged [s].

    Returns
    -------
    tuple[float, float]
        The expected highest and its standard deviation [m/s]; NaN before 3 s.

    References
    ----------
    Gust as the highest 3-s running mean: WMO-No. 8, Guide to Instruments, part I, chapter 5.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> expect_gust(extend_lookback(None, bank), bank, np.zeros((60, 1)))
    (nan, nan)
    """
    if past.known_s < gust_s:
        return nan, nan
    best = int(bank.log_weight.argmax())
    level, root = _spell_minute(past, best)
    # The running sums of the root's rows first: they are fewer than the minutes drawn.
    drawn = _add_running(root, gust_s) @ normals[: len(level)]
    drawn += _add_running(level, gust_s)[:, None]
    highest = (np.maximum.reduce(drawn, axis=0) / gust_s).tolist()
    mean = sum(highest) / len(highest)
    return mean, sqrt(sum((each - mean) ** 2 for each in highest) / len(highest))


def _spell_minute(past: Lookback, which: int) -> tuple[Floats, Floats]:
    """The mean speeds [m] of the latest minute in one hypothesis, and a root [m, m] of their covariance."""
    count = min(past.known_s, SPREAD_S)
    rows = past.rows[which, :count]
    joint = rows @ past.covariance[which] @ rows.T
    joint += past.spread[which, :count, :count]
    joint.reshape(-1)[:: count + 1] += 1e-6
    return rows @ past.state[which], np.linalg.cholesky(joint)


def _add_running(rows: Floats, length: int) -> Floats:
    """Sums of so many rows in a row."""
    stop = len(rows) - length + 1
    found = rows[:stop].copy()
    for first in range(1, length):
        found += rows[first : stop + first]
    return np.asarray(found)


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
    >>> draw_speeds(extend_lookback(None, bank), bank, rng=np.random.default_rng(1), draws=4).shape
    (4, 1)
    """
    weight = np.exp(bank.log_weight)
    share = rng.multinomial(draws, weight / weight.sum())
    found = []
    for which in np.flatnonzero(share).tolist():
        mean, root = _spell_minute(past, which)
        found.append(mean + rng.standard_normal((int(share[which]), len(mean))) @ root.T)
    return np.asarray(np.maximum(np.concatenate(found), 0.0))
