"""What walk is missing, where a walk has not told the cup's line well enough."""

from math import hypot, sqrt

import numpy as np

from server.core.legs import Blocks
from server.core.log import Floats
from server.core.scatter import Scatter
from server.core.setup import Anemometer
from server.core.windbank import SCALE_SD

MORE_S = 300.0
LONGEST_MIN = 20.0
HOPELESS_MIN = 90.0
LIGHT_MPS = 0.7
SLOW_MPS, FAST_MPS = 1.0, 1.9


def advise_walk(
    blocks: Blocks,
    numbers: Floats,
    covariance: Floats,
    scatter: Scatter,
    *,
    anemometer: Anemometer,
    at_mps: float,
) -> str:
    """One sentence: what would make the line sure enough, reckoned from what each further leg would tell.

    Parameters
    ----------
    blocks
        What was walked [m/s].
    numbers
        Wind east, north [m/s]; what the cup shows for each m/s of air [-] and beyond that [m/s].
    covariance
        Of these [4, 4] [m²/s²].
    scatter
        The turbulence.
    anemometer
        Its threshold [m/s]: no leg is advised in which the cup would stand.
    at_mps
        Where the line is judged [m/s].

    Returns
    -------
    str
        More of the same where 20 minutes would do; else the five minutes that help most, if they are enough; else to
        come back in lighter air.

    References
    ----------
    Derivation: the normal matrix with further rows.

    Examples
    --------
    >>> walked = Blocks(np.arange(6.0) * 30.0, np.full(6, 30.0), np.full(6, 3.0), np.tile([1.3, -1.3], 3), np.zeros(6),
    ...     np.arange(6))
    >>> covariance = np.diag([0.0004, 0.0004, 0.0255, 0.04])
    >>> covariance[2, 3] = covariance[3, 2] = -0.0318
    >>> quiet = Scatter(np.full(3, 1e-5), np.eye(6), np.eye(6))
    >>> advise_walk(walked, np.array([0.0, 0.3, 1.0, -0.2]), covariance, quiet, anemometer=Anemometer(0.34), at_mps=4.5)
    'Missing: about 5 minutes out and back at a fast pace (1.9 m/s).'
    """
    now = _judge(covariance, numbers, at_mps)
    walked_s = float(blocks.seconds.sum())
    more_min = walked_s * ((now / SCALE_SD) ** 2 - 1.0) / 60.0
    if more_min <= LONGEST_MIN:
        return f"Missing: about {max(1.0, np.ceil(more_min)):.0f} more minutes of the same walk."
    outcomes = {}
    for name, velocities in _propose(blocks).items():
        rows = _foresee(velocities, numbers, anemometer, scatter.turbulence_mps)
        if rows is not None:
            variance = scatter.variance_of_mean(MORE_S / len(velocities)) + 1e-6
            after = np.linalg.inv(np.linalg.inv(covariance) + rows.T @ rows / variance)
            outcomes[name] = _judge(after, numbers, at_mps)
    best = min(outcomes, key=outcomes.__getitem__, default="")
    if best and outcomes[best] <= SCALE_SD:
        return f"Missing: about 5 minutes {best}."
    if hypot(*numbers[:2]) > LIGHT_MPS:
        return f"In this wind no short walk tells it: come back when it is below {LIGHT_MPS:.1f} m/s."
    if more_min > HOPELESS_MIN:
        return "Missing: calmer air; in this it would take hours."
    hint = f", above all {best}" if best else ""
    return f"Missing: calmer air, or a walk of about {np.ceil(more_min / 10.0) * 10.0:.0f} more minutes{hint}."


def _judge(covariance: Floats, numbers: Floats, at_mps: float) -> float:
    """The line's standard uncertainty at one speed, as a share of it."""
    row = np.array([0.0, 0.0, at_mps, 1.0]) / numbers[2]
    return sqrt(max(float(row @ covariance @ row), 0.0)) / at_mps


def _propose(blocks: Blocks) -> dict[str, list[tuple[float, float]]]:
    """Walks that could be missing, each by its name: along the line walked most, or standing."""
    east, north = np.linalg.eigh(np.cov(np.stack((blocks.east, blocks.north))))[1][:, 1]

    def both_ways(pace: float) -> list[tuple[float, float]]:
        return [(pace * east, pace * north), (-pace * east, -pace * north)]

    return {
        f"out and back at a fast pace ({FAST_MPS:.1f} m/s)": both_ways(FAST_MPS),
        f"out and back at a slow pace ({SLOW_MPS:.1f} m/s)": both_ways(SLOW_MPS),
        "standing still": [(0.0, 0.0)],
    }


def _foresee(
    velocities: list[tuple[float, float]], numbers: Floats, anemometer: Anemometer, turbulence_mps: float
) -> Floats | None:
    """The derivatives of readings at these velocities; None where the cup would stand at one."""
    apart = numbers[:2] - np.array(velocities)
    air = np.hypot(*apart.T)
    if (air < anemometer.threshold_mps + 2.0 * turbulence_mps).any():
        return None
    return np.column_stack((numbers[2] * apart / air[:, None], air, np.ones(len(air))))
