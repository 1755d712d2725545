"""How far turbulence scatters means over some seconds, and how those of one walk hang together.

Turbulence is a sum of first-order noises, alike in both directions, whose sizes are found from what is left over.
"""

from dataclasses import dataclass

import numpy as np

from server.core.legs import Blocks
from server.core.log import Floats

SCALES_S = (3.0, 10.0, 30.0)
"""Time scales of the noises; what changes more slowly is a change of the wind, not its turbulence."""
FLOOR_MPS = 0.02
"""Receiver and cup scatter a block's mean by so much even in still air."""
_ROUNDS = 12


@dataclass(frozen=True, slots=True)
class Scatter:
    """Variances of the noises, as many as time scales [m²/s²]; covariance of the blocks [n, n], and its inverse."""

    variances: Floats
    covariance: Floats
    inverse: Floats

    @property
    def turbulence_mps(self) -> float:
        """The standard deviation of the air's speed in one direction."""
        return float(np.sqrt(self.variances.sum()))

    def variance_of_mean(self, seconds: float) -> float:
        """The variance of a mean over so many seconds."""
        return float(self.variances @ [2.0 * scale / seconds for scale in SCALES_S])


def relate_means(t: Floats, seconds: Floats, *, scales_s: tuple[float, ...]) -> Floats:
    """Covariances of means over some seconds of first-order noises of unit variance.

    Parameters
    ----------
    t, seconds
        Middles and lengths of the spans, none over another, each [n] [s].
    scales_s
        Time scales of the noises [m] [s].

    Returns
    -------
    Floats
        [m, n, n] [-].

    References
    ----------
    Derivation: exp(-|t - s| / T) averaged over t in one span and s in the other.

    Examples
    --------
    >>> relate_means(np.array([0.0]), np.array([5.0]), scales_s=(3.0, 30.0))[:, 0, 0].round(3).tolist()
    [0.616, 0.947]
    """
    apart, found = np.abs(t[:, None] - t), []
    for scale in scales_s:
        share = seconds / scale
        reach = 2.0 * np.sinh(share / 2.0) / share
        related = reach[:, None] * reach * np.exp(-apart / scale)
        np.fill_diagonal(related, 2.0 / share - 2.0 / share**2 * (1.0 - np.exp(-share)))
        found.append(related)
    return np.array(found)


def spread_means(blocks: Blocks, along: Floats) -> Floats:
    """What one unit of variance of each noise makes of the covariance of the cup's means.

    Parameters
    ----------
    blocks
        When they were and how long [s].
    along
        Unit vectors of the apparent wind [n, 2] [-]: the cup feels the turbulence along it.

    Returns
    -------
    Floats
        [time scales, n, n] [-].

    References
    ----------
    Derivation: `relate_means`, with turbulence alike in both directions.

    Examples
    --------
    >>> blocks = Blocks(np.array([0.0]), np.array([5.0]), *[np.zeros(1)] * 3, np.zeros(1, dtype=np.int64))
    >>> spread_means(blocks, np.array([[1.0, 0.0]]))[:, 0, 0].round(3).tolist()
    [0.616, 0.852, 0.947]
    """
    related = relate_means(blocks.t, blocks.seconds, scales_s=SCALES_S)
    spread: Floats = related * (along @ along.T)
    return spread


def fit_scatter(left: Floats, slopes: Floats, spreads: Floats, before: Floats | None = None) -> Scatter:
    """The sizes of the noises that what is left over makes most likely.

    Restricted likelihood: what the fitted numbers took away is allowed for.

    Parameters
    ----------
    left
        Residuals [n] [m/s].
    slopes
        Their derivatives by the fitted numbers [n, k] [any].
    spreads
        What `spread_means` gives [scales, n, n] [-].
    before
        Variances to start from [scales] [m²/s²].

    Returns
    -------
    Scatter
        At least 0.02 m/s of scatter in each block.

    References
    ----------
    Zhou, Hu, Zhou, Lange, MM algorithms for variance components models, J. Comput. Graph. Statist. 28 (2019) 350
    (from memory).

    Examples
    --------
    >>> noise = 0.3 * np.random.default_rng(1).standard_normal(200)
    >>> float(fit_scatter(noise, np.ones((200, 1)), np.array([np.eye(200)])).variances[0].round(2))
    0.08
    """
    count = len(left)
    sizes = np.full(len(spreads), left @ left / count / len(spreads) + 1e-6) if before is None else before
    floor = FLOOR_MPS**2 * np.eye(count)
    for _ in range(_ROUNDS):
        rest = reduce_inverse(np.linalg.inv(floor + np.tensordot(sizes, spreads, 1)), slopes)
        pulled = rest @ left
        seen = np.array([pulled @ spread @ pulled for spread in spreads])
        expected = np.array([np.sum(rest * spread) for spread in spreads])
        sizes = sizes * np.sqrt(seen / expected) + 1e-9
    covariance = floor + np.tensordot(sizes, spreads, 1)
    return Scatter(sizes, covariance, np.linalg.inv(covariance))


def reduce_inverse(inverse: Floats, slopes: Floats) -> Floats:
    """An inverse covariance without what the fitted numbers can take up.

    Parameters
    ----------
    inverse
        Inverse covariance [n, n] [s²/m²].
    slopes
        Derivatives by the fitted numbers [n, k] [any].

    Returns
    -------
    Floats
        [n, n], of rank n - k.

    References
    ----------
    Derivation: the projection of generalised least squares.

    Examples
    --------
    >>> reduce_inverse(np.eye(2), np.ones((2, 1))).tolist()
    [[0.5, -0.5], [-0.5, 0.5]]
    """
    taken = inverse @ slopes
    found: Floats = inverse - taken @ np.linalg.pinv(slopes.T @ taken, hermitian=True) @ taken.T
    return found
