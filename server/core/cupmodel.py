"""What a carried cup shows for a given wind, and how a reading changes what is believed of the wind.

States of a hypothesis, in this order: mean wind east, north, turbulence east, north, cup speed [m/s], the cup's scale
error [-]. Arrays [h, p, 6] hold p cubature points of h hypotheses.
"""

from dataclasses import dataclass
from math import erfc, exp, isfinite, pi, sqrt

import numpy as np

from server.core.log import Floats

STUDENT = 6.0
WILD = 3.0
"""A reading more than so many standard deviations off is trusted less."""
LEAST_AIR_MPS = 0.05
OVERSPEED_LIMIT = 0.05
CUP, SCALE = 4, 5


@dataclass(frozen=True, slots=True)
class Step:
    """One second: the cup's mean speed [m/s] (`is_bound`: only below it), the rig's mean velocity and its sd [m/s]."""

    cup_mps: float
    is_bound: bool
    velocity_east_mps: float
    velocity_north_mps: float
    velocity_sd_mps: float


def predict_cup(points: Floats, step: Step, *, gust_mps: Floats, distance_constant_m: float) -> tuple[Floats, Floats]:
    """What the cup would read over the second at each point, and its speed at the end.

    In air of constant speed A past the cup, dc/dt = (A / L)(A - c) has the solution A + (c0 - A) exp(-A t / L), taken
    at the end and averaged over the second. Turbulence makes the cup read up to 5 % too much.

    Parameters
    ----------
    points
        States [h, p, 6] [m/s], the last a ratio [-].
    step
        The rig's velocity.
    gust_mps
        Standard deviation of the turbulence of each hypothesis [h] [m/s].
    distance_constant_m
        The cup's distance constant L [m].

    Returns
    -------
    tuple
        The mean reading [h, p] and the cup's speed at the end [h, p] [m/s].

    References
    ----------
    Kristensen, J. Atmos. Oceanic Technol. 17 (2000) 1139 (first-order filter in distance); overspeeding of the order of
    the squared turbulence intensity: Busch, Kristensen, Riso-R-339 (1976), here a tenth of it and at most 5 %.

    Examples
    --------
    >>> still = np.array([[[3.0, 0.0, 0.0, 0.0, 2.0, 0.0]]])
    >>> seen, end = predict_cup(still, Step(3.0, False, -1.0, 0.0, 0.1), gust_mps=np.zeros(1), distance_constant_m=4.0)
    >>> round(float(seen[0, 0]), 4), round(float(end[0, 0]), 4)
    (2.7358, 3.2642)
    """
    east = points[:, :, 0] + points[:, :, 2] - step.velocity_east_mps
    north = points[:, :, 1] + points[:, :, 3] - step.velocity_north_mps
    air = np.maximum(np.hypot(east, north), LEAST_AIR_MPS)
    rate = air / distance_constant_m
    left = np.exp(-rate)
    slack = points[:, :, CUP] - air
    seen = air + slack * (1.0 - left) / rate
    share = gust_mps[:, None] / np.maximum(seen, 0.3)
    over = np.minimum(0.1 * (share * share), OVERSPEED_LIMIT)
    return seen * (1.0 + over) * (1.0 + points[:, :, SCALE]), air + slack * left


def weigh_cup(
    mean: Floats, covariance: Floats, apart: Floats, seen: Floats, step: Step
) -> tuple[Floats, Floats, Floats]:
    """Take the cup's reading into each hypothesis, and say how well each foresaw it.

    A Kalman update whose last state, the scale error, is considered in every covariance but never moved. "Below b" is
    taken as the part of what was expected that lies below b.

    Parameters
    ----------
    mean
        Expected states [h, 6] [m/s].
    covariance
        Their covariances [h, 6, 6] [m²/s²].
    apart
        Cubature points less the mean [h, p, 6] [m/s].
    seen
        What the cup would read at each point [h, p] [m/s].
    step
        The reading; NaN changes nothing.

    Returns
    -------
    tuple
        Means [h, 6], covariances [h, 6, 6], log likelihoods [h] (Student's t with 6 degrees of freedom).

    References
    ----------
    Schmidt, Advances in Control Systems 3 (1966) 293 (from memory); moments of a truncated normal: Johnson, Kotz,
    Balakrishnan, Continuous Univariate Distributions 1 (1994), chapter 13.

    Examples
    --------
    >>> apart = np.sqrt(6.0) * np.concatenate((np.eye(6), -np.eye(6)))[None]
    >>> mean, covariance, _ = weigh_cup(np.zeros((1, 6)), np.eye(6)[None], apart, 3.0 + apart[:, :, 4],
    ...     Step(4.0, False, 0.0, 0.0, 0.0))
    >>> bool(0.9 < mean[0, 4] < 1.0), float(mean[0, 5])
    (True, 0.0)
    """
    if not isfinite(step.cup_mps):
        return mean, covariance, np.zeros(len(mean))
    count = seen.shape[1]
    expected = np.add.reduce(seen, axis=1) / count
    off = seen - expected[:, None]
    cross = (off[:, None, :] @ apart)[:, 0] / count
    foreseen = np.add.reduce(off * off, axis=1) / count + ((0.12 + 0.03 * step.cup_mps) ** 2 + step.velocity_sd_mps**2)
    miss = step.cup_mps - expected
    if step.is_bound:
        miss, unheard, log_like = _hear_bound(miss, foreseen)
        total, trusted = foreseen, foreseen + unheard
    else:
        miss2 = miss * miss
        total = trusted = np.maximum(foreseen, miss2 / WILD**2)
        log_like = -0.5 * (STUDENT + 1.0) * np.log1p(miss2 / (STUDENT * foreseen)) - 0.5 * np.log(foreseen)
    gain = cross / total[:, None]
    gain[:, SCALE] = 0.0
    # gain ⊗ cross + cross ⊗ gain - trusted gain ⊗ gain is this half and its mirror image.
    half = gain[:, :, None] * (cross - 0.5 * trusted[:, None] * gain)[:, None, :]
    return mean + gain * miss[:, None], covariance - half - half.transpose(0, 2, 1), log_like


def _hear_bound(miss: Floats, total: Floats) -> tuple[Floats, Floats, Floats]:
    """ "Below": the mean and variance of the part below the bound, and its log probability."""
    scale = np.sqrt(total)
    z = np.maximum(miss / scale, -8.0)
    below = np.array([0.5 * erfc(-v / sqrt(2.0)) for v in z.tolist()])
    ratio = np.array([exp(-0.5 * v * v) / sqrt(2.0 * pi) for v in z.tolist()]) / below
    return -scale * ratio, total * np.maximum(1.0 - ratio * (z + ratio), 0.02), np.log(below)
