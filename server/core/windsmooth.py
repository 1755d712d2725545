"""The wind of a whole stretch seen afterwards: possible winds drawn backward through the bank's history.

Metres per second.
"""

from dataclasses import dataclass

import numpy as np

from server.core.log import Floats, Integers
from server.core.windbank import STATES, Bank

SPREAD = 1.15
"""Draws are spread by this round their mean; found by trial on simulated jobs."""


@dataclass(frozen=True, slots=True)
class Trace:
    """What of a second's bank is needed to look back, in single precision to save memory."""

    mean: Floats
    parent: Integers
    expected: Floats
    gain: Floats
    left: Floats


def trace_bank(bank: Bank) -> Trace:
    """Keep what looking back needs.

    Parameters
    ----------
    bank
        A second's bank.

    Returns
    -------
    Trace
        The same in single precision.

    References
    ----------
    Derivation: the backward step of `draw_winds` uses nothing else.

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> trace_bank(start_bank(3.0)).mean.dtype
    dtype('float32')
    """
    single = np.float32
    return Trace(
        bank.mean.astype(single),
        bank.parent.astype(np.int64),
        bank.expected.astype(single),
        bank.gain.astype(single),
        bank.left.astype(single),
    )


def draw_winds(history: list[Trace], bank: Bank, *, rng: np.random.Generator, draws: int) -> Floats:
    """Possible winds over the stretch, given all of its readings.

    From the last second back: a hypothesis by its weight, a state from its Gaussian, then each earlier state given the
    later one.

    Parameters
    ----------
    history
        A trace a second [n], the last of them of `bank`.
    bank
        The bank at the end.
    rng
        Source of the draws.
    draws
        How many.

    Returns
    -------
    Floats
        Speeds [draws, n] [m/s], spread by 1.15 round their mean.

    References
    ----------
    Godsill, Doucet, West, "Monte Carlo smoothing for nonlinear time series", JASA 99 (2004) 156 (from memory).

    Examples
    --------
    >>> from server.core.windbank import start_bank
    >>> bank = start_bank(3.0)
    >>> draw_winds([trace_bank(bank)], bank, rng=np.random.default_rng(1), draws=4).shape
    (4, 1)
    """
    pick = rng.choice(len(bank.log_weight), size=draws, p=np.exp(bank.log_weight) / np.exp(bank.log_weight).sum())
    state = bank.mean[pick] + _noise(bank.covariance, pick, rng)
    speed = np.zeros((draws, len(history)), dtype=np.float32)
    for second in range(len(history) - 1, -1, -1):
        speed[:, second] = np.hypot(state[:, 0] + state[:, 2], state[:, 1] + state[:, 3])
        if second == 0:
            break
        now = history[second]
        pull = np.einsum("dij,dj->di", now.gain[pick], state - now.expected[pick])
        noise = _noise(now.left.astype(np.float64), pick, rng)
        pick = now.parent[pick]
        state = history[second - 1].mean[pick] + pull + noise
    mean = speed.mean(axis=0)
    return np.asarray(np.maximum(mean + SPREAD * (speed - mean), 0.0))


def _noise(covariance: Floats, pick: Integers, rng: np.random.Generator) -> Floats:
    """A normal draw for each pick from the covariance of its hypothesis [draws, 6]."""
    value, vector = np.linalg.eigh(0.5 * (covariance + covariance.transpose(0, 2, 1)))
    root = vector * np.sqrt(np.maximum(value, 0.0))[:, None, :]
    return np.asarray(np.einsum("dij,dj->di", root[pick], rng.standard_normal((len(pick), STATES))))
