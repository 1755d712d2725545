"""What is expected of the wind and the cup a second on, before the cup is read, and the way back from there.

States as in `cupmodel`: mean wind east, north, turbulence east, north, cup speed [m/s], the cup's scale error [-].
"""

from dataclasses import dataclass
from math import exp, hypot, sqrt

import numpy as np

from server.core.cupmodel import CUP
from server.core.log import Floats

STATES = 6
WALK_SHARE = 0.01
"""The mean wind walks by this share of itself a root second."""
JITTER = 1e-7
"""Added to each variance, m²/s², so that roots exist."""
_IS_CUP = np.arange(STATES) == CUP
_NOT_CUP = np.outer(~_IS_CUP, ~_IS_CUP).astype(float)
_ALONE = np.diag(np.where(_IS_CUP, 1.0, JITTER))
"""With these two the cup's speed is cut out of a covariance, and so out of its inverse."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """What is expected: means [h, 6], covariances [h, 6, 6].

    Also what each state kept [h, 6] and gained in variance [h, 6], and the turbulence [h] in m/s.
    """

    mean: Floats
    covariance: Floats
    kept: Floats
    noise: Floats
    gust_mps: Floats


def drift_wind(mean: Floats, covariance: Floats, *, intensity: Floats, extra: Floats) -> Ahead:
    """A second on: the mean wind walks, the turbulence fades and is fed, the cup and its scale stay.

    Parameters
    ----------
    mean
        States [h, 6] [m/s].
    covariance
        Their covariances [h, 6, 6] [m²/s²].
    intensity
        Turbulence intensities [h] [-].
    extra
        How much further each mean wind may walk [h] [m²/s²].

    Returns
    -------
    Ahead
        The cup's speed not yet moved.

    Notes
    -----
    In plain numbers: there are mostly five or six hypotheses, and so many array calls would take longer.

    References
    ----------
    Derivation: a random walk and a first-order process whose memory is 24 m of wind, 5 to 20 s.

    Examples
    --------
    >>> mean, none = np.array([[3.0, 0.0, 1.0, 0.0, 3.0, 0.0]]), np.zeros((1, 6, 6))
    >>> ahead = drift_wind(mean, none, intensity=np.ones(1), extra=np.zeros(1))
    >>> ahead.mean.round(3).tolist()
    [[3.0, 0.0, 0.882, 0.0, 3.0, 0.0]]
    """
    kept, noise, gusts = [], [], []
    for wind, share, more in zip(mean[:, :2].tolist(), intensity.tolist(), extra.tolist(), strict=True):
        size = hypot(wind[0], wind[1])
        keep = exp(-min(max(size / 24.0, 0.05), 0.2))
        gust = share * max(size, 0.6)
        walk = (WALK_SHARE * max(size, 0.7)) ** 2 + more + JITTER
        feed = gust * gust * (1.0 - keep * keep) + JITTER
        kept.append((1.0, 1.0, keep, keep, 1.0, 1.0))
        noise.append((walk, walk, feed, feed, JITTER, JITTER))
        gusts.append(gust)
    keeps, noises = np.array(kept), np.array(noise)
    covariance = covariance * (keeps[:, :, None] * keeps[:, None])
    _add_diagonals(covariance, noises)
    return Ahead(mean * keeps, covariance, keeps, noises, np.array(gusts))


def spread_points(ahead: Ahead) -> Floats:
    """Cubature points: equally likely states with the mean and covariance expected.

    Parameters
    ----------
    ahead
        What is expected [m/s].

    Returns
    -------
    Floats
        States [h, 12, 6], in pairs 6 apart on either side of the mean.

    References
    ----------
    Arasaratnam, Haykin, "Cubature Kalman filters", IEEE Transactions on Automatic Control 54 (2009) 1254 (from memory).

    Examples
    --------
    >>> ahead = drift_wind(np.ones((1, 6)), np.eye(6)[None], intensity=np.ones(1), extra=np.zeros(1))
    >>> points = spread_points(ahead)
    >>> np.allclose(points.mean(axis=1), ahead.mean), np.allclose(np.cov(points[0].T, bias=True), ahead.covariance[0])
    (True, True)
    """
    steps = sqrt(STATES) * np.linalg.cholesky(ahead.covariance).transpose(0, 2, 1)
    points = np.empty((len(steps), 2 * STATES, STATES))
    np.add(ahead.mean[:, None], steps, out=points[:, :STATES])
    np.subtract(ahead.mean[:, None], steps, out=points[:, STATES:])
    return points


def lead_back(before: Floats, ahead: Ahead) -> tuple[Floats, Floats]:
    """The state before as a linear function of the state expected: before = back · state, with covariance left.

    The cup's speed leads nowhere, since it bends too much with the wind: in its place the state holds the constant 1.

    Parameters
    ----------
    before
        The means before [h, 6] [m/s].
    ahead
        What was expected from there [m/s].

    Returns
    -------
    tuple
        `back` and `left`, both [h, 6, 6].

    Notes
    -----
    With D what the states keep, Q the noise and A = D P D + Q the covariance expected, the gain P D A⁻¹ is
    D⁻¹ (1 - Q A⁻¹), and what it leaves unknown is D⁻¹ (Q - Q A⁻¹ Q) D⁻¹: D and Q are diagonal.

    References
    ----------
    Rauch, Tung, Striebel, AIAA Journal 3 (1965) 1445 (from memory).

    Examples
    --------
    >>> before = np.array([[3.0, 0.0, 1.0, 0.0, 3.0, 0.0]])
    >>> ahead = drift_wind(before, np.eye(6)[None], intensity=np.ones(1), extra=np.zeros(1))
    >>> back, left = lead_back(before, ahead)
    >>> state = ahead.mean[0].copy()
    >>> state[4] = 1.0
    >>> (back[0] @ state).round(9).tolist()
    [3.0, 0.0, 1.0, 0.0, 1.0, 0.0]
    """
    noise = (ahead.noise + JITTER) / ahead.kept
    noise[:, CUP] = 0.0
    back = np.linalg.inv(ahead.covariance * _NOT_CUP + _ALONE) * -noise[:, :, None]
    left = back * noise[:, None]
    _add_diagonals(back, 1.0 / ahead.kept)
    _add_diagonals(left, noise / ahead.kept)
    back[:, :, CUP] = before - (back @ ahead.mean[:, :, None])[:, :, 0]
    back[:, CUP, CUP] = 1.0
    return back, left


def _add_diagonals(matrices: Floats, values: Floats) -> None:
    """Add values [h, 6] to the diagonals of matrices [h, 6, 6] in place."""
    diagonals = matrices.reshape(len(matrices), -1)[:, :: STATES + 1]
    diagonals += values
