"""Where the air past the rig comes from, as a vane tells it, and what that changes in the bank of hypotheses.

Metres per second, degrees. A vane points relative to the rig; the rig is taken to point where it walks.
"""

from dataclasses import replace
from math import atan2, cos, degrees, hypot, isfinite, nan, radians, sin

import numpy as np

from server.core.cupmodel import SCALE, STUDENT, WILD
from server.core.windbank import Bank

LEAST_PACE_MPS = 0.5
"""Slower, and the way walked does not say where the rig points."""
VANE_SD_DEG = 20.0
"""One second's bearing: a mount askew by some degrees stays so for the whole job, hence so much for each second."""
LEAST_AIR_MPS = 0.5


def face_air(from_bow_deg: float, *, east: float, north: float) -> float:
    """Where the air past a walking rig comes from.

    Parameters
    ----------
    from_bow_deg
        Where it comes from, clockwise from the rig's bow [degrees]; NaN: not known.
    east, north
        The rig's velocity [m/s].

    Returns
    -------
    float
        From where, clockwise from true north [degrees]; NaN where the rig hardly moves, for then nothing says where it
        points.

    References
    ----------
    Smith, Bourassa, Sharp, J. Atmos. Oceanic Technol. 16 (1999) 939: the vane's angle is added to the heading, for
    which the course stands in here.

    Examples
    --------
    >>> face_air(350.0, east=1.2, north=0.0), face_air(0.0, east=0.0, north=0.1)
    (80.0, nan)
    """
    if not isfinite(from_bow_deg) or not hypot(east, north) >= LEAST_PACE_MPS:
        return nan
    return (degrees(atan2(east, north)) + from_bow_deg) % 360.0


def hear_vane(bank: Bank, *, air_from_deg: float, air_mps: float, velocity: tuple[float, float]) -> Bank:
    """Take a vane's bearing into each hypothesis, and weigh them by how well they foresaw it.

    The air w - v has no part across the bearing: that is linear in the wind, and a Kalman update. A hypothesis whose
    air comes from the other side is not moved but thought less likely.

    Parameters
    ----------
    bank
        The hypotheses, the cup's reading of the second already in.
    air_from_deg
        Where the air past the rig comes from [degrees]; NaN changes nothing.
    air_mps
        How fast it passes [m/s].
    velocity
        The rig's velocity east and north [m/s].

    Returns
    -------
    Bank
        With the bearing.

    Notes
    -----
    Each second's bearing counts with 20 degrees, far more than its noise: a mount that is askew by 5 degrees, or a
    rig that is carried at an angle to its way, is so in every second. Air below 0.5 m/s turns no vane.

    References
    ----------
    Derivation: the wind triangle of Smith, Bourassa, Sharp, J. Atmos. Oceanic Technol. 16 (1999) 939, as an update with
    Student's t of 6 degrees of freedom, as in `cupmodel.weigh_cup`.

    Examples
    --------
    >>> from server.core.windbank import read_bank, start_bank
    >>> bank = start_bank(3.0)
    >>> for _ in range(20):
    ...     bank = hear_vane(bank, air_from_deg=90.0, air_mps=3.0, velocity=(0.0, 0.0))
    >>> found = read_bank(bank)
    >>> found.east_mps < -1.0, abs(found.north_mps) < 0.3
    (True, True)
    """
    if not isfinite(air_from_deg) or not air_mps >= LEAST_AIR_MPS:
        return bank
    toward = radians(air_from_deg + 180.0)
    east, north = sin(toward), cos(toward)
    air = bank.mean[:, :2] + bank.mean[:, 2:4] - np.array(velocity)
    along, across = air @ np.array([east, north]), air @ np.array([north, -east])
    row = np.array([north, -east, north, -east, 0.0, 0.0])
    cross = bank.covariance @ row
    foreseen = cross @ row + (radians(VANE_SD_DEG) * air_mps) ** 2
    is_ahead = along > 0.0
    miss2 = np.where(is_ahead, across**2, np.maximum(across**2, air_mps**2))
    log_like = -0.5 * (STUDENT + 1.0) * np.log1p(miss2 / (STUDENT * foreseen)) - 0.5 * np.log(foreseen)
    total = np.maximum(foreseen, miss2 / WILD**2)
    gain = np.where(is_ahead, 1.0 / total, 0.0)[:, None] * cross
    gain[:, SCALE] = 0.0
    half = gain[:, :, None] * (cross - 0.5 * total[:, None] * gain)[:, None, :]
    log_weight = bank.log_weight + log_like
    log_weight -= np.logaddexp.reduce(log_weight)
    mean = bank.mean - gain * across[:, None]
    return replace(bank, log_weight=log_weight, mean=mean, covariance=bank.covariance - half - half.transpose(0, 2, 1))
