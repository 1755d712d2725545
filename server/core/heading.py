"""Where the rig points and how fast it turns, from its velocity.

Degrees clockwise from true north, velocities east and north in metres per second, times in job seconds.
"""

import numpy as np

from server.core.log import Floats

WINDOW_S = 2.0
"""Velocity is averaged over this (Hann weights) before a heading is read from it."""
TURN_SPAN_S = 1.2
"""A turn rate is a change of heading over this."""
STANDING_MPS = 0.15
"""Below this the rig stands: its heading is the last one it walked on."""
_GRID_S = 0.1


def smooth_velocity(
    t: Floats, east_mps: Floats, north_mps: Floats, *, window_s: float = WINDOW_S
) -> tuple[Floats, Floats]:
    """The velocity averaged with Hann weights over a window about each epoch.

    Parameters
    ----------
    t
        Times of the epochs, not falling [n] [s].
    east_mps
        East velocity [n] [m/s]; NaN is bridged.
    north_mps
        North velocity [n] [m/s]; NaN is bridged.
    window_s
        Whole width of the window [s].

    Returns
    -------
    tuple[Floats, Floats]
        Smoothed velocity [n] [m/s], NaN throughout where none was ever known.

    References
    ----------
    Derivation: convolution with w(u) = cos²(pi u / window) on an even grid of 0.1 s.

    Examples
    --------
    >>> t = np.arange(20) / 5
    >>> east, north = smooth_velocity(t, np.full(20, 1.2), np.zeros(20))
    >>> float(east.min().round(6)), float(east.max().round(6))
    (1.2, 1.2)
    """
    known = np.isfinite(east_mps) & np.isfinite(north_mps)
    if not known.any():
        return np.full(len(t), np.nan), np.full(len(t), np.nan)
    grid = np.arange(t[0], t[-1] + _GRID_S, _GRID_S)
    half = max(1, round(window_s / 2 / _GRID_S))
    weights = np.cos(np.pi * np.arange(-half + 1, half) / (2 * half)) ** 2
    weights /= weights.sum()
    smooth = []
    for velocity in (east_mps, north_mps):
        even = np.interp(grid, t[known], velocity[known])
        padded = np.concatenate([np.full(half - 1, even[0]), even, np.full(half - 1, even[-1])])
        smooth.append(np.interp(t, grid, np.convolve(padded, weights, mode="valid")))
    return smooth[0], smooth[1]


def heading_from_velocity(east_mps: Floats, north_mps: Floats) -> Floats:
    """Where the rig points at each epoch: where it walks, and while it stands where it last walked.

    Parameters
    ----------
    east_mps
        Smoothed east velocity [n] [m/s].
    north_mps
        Smoothed north velocity [n] [m/s].

    Returns
    -------
    Floats
        Heading from 0 up to 360 [n] [deg]; before the first step that of the first step, NaN if it never walks.

    Notes
    -----
    Wrong by the half turn while walking backwards.

    References
    ----------
    Derivation: atan2(east, north).

    Examples
    --------
    >>> heading_from_velocity(np.array([0.0, 1.0, 0.01]), np.array([0.0, 0.0, 0.0]))
    array([90., 90., 90.])
    """
    heading = np.degrees(np.arctan2(east_mps, north_mps)) % 360.0
    walks = np.hypot(east_mps, north_mps) >= STANDING_MPS
    if not walks.any():
        return np.full(len(heading), np.nan)
    last = np.maximum.accumulate(np.where(walks, np.arange(len(heading)), -1))
    return heading[np.where(last < 0, int(np.argmax(walks)), last)]


def turn_rate(t: Floats, heading_deg: Floats, *, span_s: float = TURN_SPAN_S) -> Floats:
    """How fast the heading changes about each epoch.

    Parameters
    ----------
    t
        Times of the epochs, not falling [n] [s].
    heading_deg
        Heading [n] [deg].
    span_s
        Span over which the change is taken, centred [s].

    Returns
    -------
    Floats
        Turn rate, positive to the right [n] [deg/s]; NaN where no heading is known.

    References
    ----------
    Derivation: (h(t + span/2) - h(t - span/2)) / span of the unwrapped heading.

    Examples
    --------
    >>> t = np.arange(10) / 5
    >>> float(turn_rate(t, 350 + 10 * t)[5].round(6))
    10.0
    """
    if not np.isfinite(heading_deg).any() or len(t) < 2:
        return np.full(len(t), np.nan)
    whole = np.unwrap(heading_deg, period=360.0)
    after, before = np.minimum(t + span_s / 2, t[-1]), np.maximum(t - span_s / 2, t[0])
    change = np.interp(after, t, whole) - np.interp(before, t, whole)
    rate: Floats = change / np.maximum(after - before, 1e-6)
    return rate
