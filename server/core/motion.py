"""How the rig moves: its velocity, where it points and how fast it turns, from the receiver's Doppler velocity.

Metres per second, degrees from true north, job seconds.
"""

import numpy as np

from server.core.log import Floats

STANDING_MPS = 0.15
STANDING_WINDOW_S = 2.0
HEADING_WINDOW_S = 2.0
HEADING_SD_DEG = 3.0
HEADING_SD_PER_TURN_S = 0.15
SAME_PLACE_WINDOW_S = 2.0


def velocity_from_course(speed_mps: Floats, course_deg: Floats) -> tuple[Floats, Floats]:
    """East and north of the velocity that a receiver states as speed and course.

    Parameters
    ----------
    speed_mps
        Ground speed [n] [m/s]; NaN where not given.
    course_deg
        Course [n] [deg]; a receiver that stands still gives none (NaN), which counts as no motion.

    Returns
    -------
    tuple[Floats, Floats]
        East and north [n] [m/s]; NaN where the speed is not known, or above 0.5 m/s without a course.

    References
    ----------
    Derivation: v = s (sin c, cos c).

    Examples
    --------
    >>> velocity_from_course(np.array([2.0, 0.1]), np.array([90.0, np.nan]))[0].round(6).tolist()
    [2.0, 0.0]
    """
    still = ~np.isfinite(course_deg) & (speed_mps < 0.5)
    course = np.radians(np.where(still, 0.0, course_deg))
    speed = np.where(still, 0.0, speed_mps)
    return speed * np.sin(course), speed * np.cos(course)


def smooth_window(t: Floats, values: Floats, *, window_s: float) -> Floats:
    """Weighted means about each time, with a Hann window.

    Parameters
    ----------
    t
        Ascending job seconds [n] [s].
    values
        Values [n] [any]; NaN are passed over.
    window_s
        Full width of the window [s].

    Returns
    -------
    Floats
        Means [n] [any]; NaN where nothing is known within the window.

    References
    ----------
    Derivation: w = cos²(π Δt / window).

    Examples
    --------
    >>> smooth_window(np.arange(5.0), np.array([0.0, 0.0, 1.0, 0.0, 0.0]), window_s=4.0).round(3).tolist()
    [0.0, 0.25, 0.5, 0.25, 0.0]
    """
    period = float(np.median(np.diff(t))) if len(t) > 1 else 1.0
    reach = max(1, int(np.ceil(window_s / 2.0 / max(period, 0.01))))
    total, weight = np.zeros(len(t)), np.zeros(len(t))
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    for lag in range(-reach, reach + 1):
        here = slice(max(0, -lag), min(len(t), len(t) - lag))
        there = slice(max(0, lag), min(len(t), len(t) + lag))
        apart = np.abs(t[there] - t[here])
        w = np.where(apart < window_s / 2.0, np.cos(np.pi * apart / window_s) ** 2, 0.0) * known[there]
        total[here] += w * filled[there]
        weight[here] += w
    return np.where(weight > 0.0, total / np.where(weight > 0.0, weight, 1.0), np.nan)


def find_heading(t: Floats, velocity_east: Floats, velocity_north: Floats) -> tuple[Floats, Floats, Floats]:
    """Where the rig points, how sure that is, and how fast it turns.

    The direction of the velocity averaged over 2 s; while standing the last direction stays.

    Parameters
    ----------
    t
        Ascending job seconds [n] [s].
    velocity_east
        Ground velocity [n] [m/s].
    velocity_north
        Ground velocity [n] [m/s].

    Returns
    -------
    tuple[Floats, Floats, Floats]
        Heading [n] [deg], its standard deviation [n] [deg], turn rate [n] [deg/s]; NaN before the first step.

    Notes
    -----
    A walker who moves sideways or backwards is not seen; the standard deviation is 3° + 0.15 s × turn rate.

    References
    ----------
    Error size found by trial on simulated walks; no source.

    Examples
    --------
    >>> t = np.arange(10.0)
    >>> heading, sd, turn = find_heading(t, np.ones(10), np.zeros(10))
    >>> heading.round(6).tolist()[0], sd.round(6).tolist()[5], abs(turn.round(6).tolist()[5])
    (90.0, 3.0, 0.0)
    """
    east = smooth_window(t, velocity_east, window_s=HEADING_WINDOW_S)
    north = smooth_window(t, velocity_north, window_s=HEADING_WINDOW_S)
    moves = np.hypot(east, north) > STANDING_MPS
    if not moves.any():
        nothing = np.full(len(t), np.nan)
        return nothing, nothing, np.zeros(len(t))
    last = np.maximum.accumulate(np.where(moves, np.arange(len(t)), -1))
    first = int(np.flatnonzero(moves)[0])
    last = np.where(last < 0, first, last)
    heading = np.unwrap(np.arctan2(east[last], north[last]))
    turn = np.abs(np.gradient(heading, t)) if len(t) > 1 else np.zeros(1)
    turn = np.degrees(smooth_window(t, turn, window_s=1.2))
    return np.degrees(heading) % 360.0, HEADING_SD_DEG + HEADING_SD_PER_TURN_S * turn, turn


def integrate_velocity(t: Floats, velocity: Floats) -> Floats:
    """The way made good along one axis by the trapezoid rule, straight through gaps.

    Parameters
    ----------
    t
        Ascending job seconds [n] [s].
    velocity
        Velocity along the axis [n] [m/s]; NaN are bridged.

    Returns
    -------
    Floats
        Metres since the first time [n] [m].

    References
    ----------
    Ranacher et al., "Why GPS makes distances bigger than they are", IJGIS 30 (2016): position differences overestimate
    length, so velocities are integrated.

    Examples
    --------
    >>> integrate_velocity(np.array([0.0, 1.0, 2.0]), np.array([1.0, np.nan, 1.0])).tolist()
    [0.0, 1.0, 2.0]
    """
    known = np.isfinite(velocity)
    if not known.any():
        return np.zeros(len(t))
    whole = np.interp(t, t[known], velocity[known])
    pieces = 0.5 * (whole[1:] + whole[:-1]) * np.diff(t)
    return np.asarray(np.concatenate(([0.0], np.cumsum(pieces))))
