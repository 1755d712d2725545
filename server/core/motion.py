"""How the rig moved: the velocity at every fix epoch, and the way that it integrates to.

East, north in metres on the local plane, job seconds, metres per second.
"""

from dataclasses import dataclass

import numpy as np

from server.core.heading import STANDING_MPS, smooth_velocity
from server.core.log import Fixes, Floats
from server.core.results import Bools


@dataclass(frozen=True, slots=True)
class Motion:
    """Velocity at every epoch [n], the way integrated from it [n, 2], and which epochs told a velocity of their own."""

    east_mps: Floats
    north_mps: Floats
    smooth_east_mps: Floats
    smooth_north_mps: Floats
    way_m: Floats
    is_told: Bools
    stands: Bools
    has_doppler: bool


def follow_motion(t: Floats, fixes: Fixes, place: Floats, usable: Bools) -> Motion:
    """The velocity at every epoch and the way that it integrates to.

    The receiver's own velocity where most fixes tell one, else the slope of its fixes; linear through gaps, and zero
    while its mean over 2 s is below 0.15 m/s.

    Parameters
    ----------
    t
        Times of the epochs, not falling [n] [s].
    fixes
        Position messages [n].
    place
        Their east and north [n, 2] [m].
    usable
        Which fixes count [n].

    Returns
    -------
    Motion
        A row an epoch, without NaN.

    References
    ----------
    Derivation: trapezoid rule; the length of a walk must never be a sum of differences of positions (P. Ranacher et
    al., Why GPS makes distances bigger than they are, Int. J. Geogr. Inf. Sci. 30, 2016).

    Examples
    --------
    >>> n = 50
    >>> one, t = np.ones(n), np.arange(n) / 5
    >>> fixes = Fixes(np.zeros(n, dtype=np.int64), np.arange(n), t, np.full(n, 4), t, 45 * one, -30 * one, one,
    ...     1.2 * one, 0 * one, *[one] * 4)
    >>> follow_motion(t, fixes, np.zeros((n, 2)), one > 0).way_m[25].round(3) + 0.0
    array([0., 6.])
    """
    slow = ~np.isfinite(fixes.course_deg) & (fixes.speed_mps < 2 * STANDING_MPS)
    course = np.radians(np.where(slow, 0.0, fixes.course_deg))
    speed = np.where(slow, 0.0, fixes.speed_mps)
    told = usable & np.isfinite(speed) & np.isfinite(course)
    has_doppler = bool(np.count_nonzero(told) > 0.5 * np.count_nonzero(usable))
    if has_doppler:
        east, north = speed * np.sin(course), speed * np.cos(course)
    else:
        told = usable.copy()
        east, north = (differentiate_places(t, place[:, axis], usable) for axis in (0, 1))
    if not told.any():
        told, east, north = usable, np.zeros(len(t)), np.zeros(len(t))
    east, north = (np.interp(t, t[told], velocity[told]) for velocity in (east, north))
    smooth_east, smooth_north = smooth_velocity(t, east, north)
    stands = np.hypot(smooth_east, smooth_north) < STANDING_MPS
    walked = np.where(stands, 0.0, np.stack([east, north])).T
    steps = (walked[1:] + walked[:-1]) / 2 * np.diff(t)[:, None]
    way = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
    return Motion(east, north, smooth_east, smooth_north, way, told, stands, has_doppler)


def differentiate_places(t: Floats, place_m: Floats, usable: Bools, *, span_s: float = 3.0) -> Floats:
    """The velocity along one axis for a receiver that tells none: the slope of its fixes.

    Parameters
    ----------
    t
        Times of the epochs, not falling [n] [s].
    place_m
        Position along the axis [n] [m].
    usable
        Which fixes count [n].
    span_s
        Span of the straight line through the fixes about each epoch [s].

    Returns
    -------
    Floats
        Velocity [n] [m/s]; 0 where too few fixes are near.

    Notes
    -----
    Far worse than a receiver's own velocity: with 1.5 m of white noise about 0.4 m/s.

    References
    ----------
    Derivation: least-squares slope in a moving window, by running sums.

    Examples
    --------
    >>> t = np.arange(20) / 5
    >>> float(differentiate_places(t, 1.3 * t, np.ones(20, dtype=bool))[10].round(6))
    1.3
    """
    t0, x0 = t[usable] - t[usable][0], place_m[usable] - place_m[usable][0]
    sums = [np.concatenate([[0.0], np.cumsum(v)]) for v in (np.ones(len(t0)), t0, x0, t0 * t0, t0 * x0)]
    at = t - t[usable][0]
    low, high = np.searchsorted(t0, at - span_s / 2, "left"), np.searchsorted(t0, at + span_s / 2, "right")
    n, st, sx, stt, stx = (total[high] - total[low] for total in sums)
    spread = n * stt - st**2
    return np.where((n >= 3) & (spread > 1e-6), (n * stx - st * sx) / np.maximum(spread, 1e-6), 0.0)
