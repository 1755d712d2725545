"""Where the nozzle is now: the causal half of the track, a fix at a time, for the live picture.

East, north in metres on the local plane, job seconds, headings in degrees clockwise from true north. Plain numbers
throughout: arrays would cost more than the arithmetic.
"""

from dataclasses import dataclass, replace
from math import atan2, cos, degrees, exp, hypot, inf, isfinite, nan, radians, sin, sqrt

from server.core.heading import STANDING_MPS
from server.core.log import ESTIMATED, NONE, SINGLE
from server.core.receiver import ErrorModel
from server.core.setup import Sprayer
from server.core.smoother import BIAS_FACTOR, BIAS_S, DRIFT_FACTOR, OUTLIER, START_SD_M, WANDER_FACTOR

HEADING_S = 1.0
STANDING_S = 2.0
BRIDGED_S = 2.0
"""So long without a fix the last velocity is held; longer, nothing is known."""
LOST_S = 30.0
"""After this long without a fix the filter begins anew."""
_GAP_DRIFT = 0.4
_STANDING_DRIFT = 1e-5


Six = tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True)
class TrackFilter:
    """What is known after the latest fix; `east_m`, `north_m` of the nozzle, NaN where not known.

    Inside: the way integrated so far, mean and covariance of its error, of the receiver's wander and of the velocity's
    bias, and the velocities of the last 2 s (of a receiver that tells none, its places).
    """

    t: float = nan
    east_m: float = nan
    north_m: float = nan
    heading_deg: float = nan
    speed_mps: float = nan
    sd_m: float = nan
    velocity_east_mps: float = nan
    velocity_north_mps: float = nan
    quality: int = NONE
    fixed_t: float = -inf
    way: tuple[float, float] = (0.0, 0.0)
    mean: Six = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    covariance: Six = (START_SD_M**2, 0.0, 0.0, 1.0, 0.0, 1.0)
    recent: tuple[tuple[float, float, float], ...] = ()
    places: tuple[tuple[float, float, float], ...] = ()


Motion = tuple[tuple[float, float], Six, Six, tuple[tuple[float, float, float], ...]]
"""The way, mean and covariance of its error, and the recent velocities, as in TrackFilter."""


@dataclass(frozen=True, slots=True)
class LiveFix:
    """One fix on the plane: place, the receiver's velocity (NaN: not told) and class code."""

    t: float
    east_m: float
    north_m: float
    speed_mps: float
    course_deg: float
    quality: int


def step_track(state: TrackFilter, fix: LiveFix, *, sprayer: Sprayer, models: dict[int, ErrorModel]) -> TrackFilter:
    """Take in one fix.

    The forward half of `smooth_errors`, without its look ahead: the way integrated from velocity, corrected by what the
    fixes say of its error.

    Parameters
    ----------
    state
        What was known before; `TrackFilter()` at the start.
    fix
        The fix, in order of time; one that is not later than the last changes nothing.
    sprayer
        Where the nozzle sits, seen from the antenna.
    models
        Error model of each class, `server.core.receiver.MODELS` where nothing better is known.

    Returns
    -------
    TrackFilter
        What is known now. Without a usable fix the last velocity is held for 2 s, then position and speed are NaN.

    Notes
    -----
    The heading is that of the last second's mean velocity, half a second late in turns.

    References
    ----------
    R. E. Kalman, A new approach to linear filtering and prediction problems, J. Basic Engineering 82, 1960.

    Examples
    --------
    >>> from server.core.receiver import MODELS
    >>> state = TrackFilter()
    >>> for k in range(20):
    ...     fix = LiveFix(k / 5, 0.0, 1.2 * k / 5, 1.2, 0.0, 4)
    ...     state = step_track(state, fix, sprayer=Sprayer(1.0), models=MODELS)
    >>> round(state.north_m, 2), round(state.heading_deg, 1), round(state.speed_mps, 2)
    (4.56, 0.0, 1.2)
    """
    if state.t == state.t and fix.t <= state.t:
        return state
    has_velocity = isfinite(fix.speed_mps)
    is_usable = fix.quality not in (NONE, ESTIMATED) and isfinite(fix.east_m) and isfinite(fix.north_m)
    if not is_usable and state.fixed_t == -inf:
        return replace(state, t=fix.t, quality=NONE)
    if is_usable and fix.t - state.fixed_t > LOST_S:
        state = TrackFilter(heading_deg=state.heading_deg)
    east, north = _velocity_of(state, fix, is_usable)
    model = models[fix.quality if is_usable else SINGLE]
    motion = _advance(state, fix.t, east, north, model, is_told=is_usable and has_velocity)
    places, fixed_t, quality = state.places, state.fixed_t, NONE
    if is_usable and not has_velocity:
        kept = (place for place in places if fix.t - place[0] <= HEADING_S)
        places = (*kept, (fix.t, fix.east_m, fix.north_m))
    if is_usable:
        motion = _observe(state, motion, fix, models[fix.quality])
        fixed_t, quality = fix.t, fix.quality
    figures = _point(motion, fix, sprayer, state.heading_deg, is_bridged=fix.t - fixed_t <= BRIDGED_S)
    return TrackFilter(fix.t, *figures, quality, fixed_t, *motion, places)


def correct_state(mean: Six, covariance: Six, east_m: float, north_m: float, white_m2: float) -> tuple[Six, Six, float]:
    """Correct mean and covariance by one observation of fix - way = e + b + white on both axes.

    An observation whose squared normalised innovation is above 16 is given a variance that brings it down to 16.

    Parameters
    ----------
    mean
        East and north of e [m], of b [m] and of d [m/s].
    covariance
        Upper triangle of one axis: ee, eb, ed, bb, bd, dd [m², m²/s, m²/s²].
    east_m
        Observed east [m].
    north_m
        Observed north [m].
    white_m2
        Variance of its white noise [m²].

    Returns
    -------
    tuple[Six, Six, float]
        Mean and covariance afterwards, and the squared normalised innovation, averaged over both axes.

    References
    ----------
    R. E. Kalman, A new approach to linear filtering and prediction problems, J. Basic Engineering 82, 1960.

    Examples
    --------
    >>> correct_state((0.0,) * 6, (1.0, 0.0, 0.0, 0.0, 0.0, 0.0), 2.0, 0.0, 1.0)[:2]
    ((1.0, 0.0, 0.0, 0.0, 0.0, 0.0), (0.5, 0.0, 0.0, 0.0, 0.0, 0.0))
    """
    xe, ye, xb, yb, xd, yd = mean
    ee, eb, ed, bb, bd, dd = covariance
    vx, vy = east_m - xe - xb, north_m - ye - yb
    spread = ee + 2 * eb + bb + white_m2
    innovation = (vx * vx + vy * vy) / (2 * spread)
    spread *= max(1.0, max(vx * vx, vy * vy) / (spread * OUTLIER))
    ge, gb, gd = (ee + eb) / spread, (eb + bb) / spread, (ed + bd) / spread
    return (
        (xe + ge * vx, ye + ge * vy, xb + gb * vx, yb + gb * vy, xd + gd * vx, yd + gd * vy),
        (
            ee - ge * ge * spread,
            eb - ge * gb * spread,
            ed - ge * gd * spread,
            bb - gb * gb * spread,
            bd - gb * gd * spread,
            dd - gd * gd * spread,
        ),
        innovation,
    )


def _velocity_of(state: TrackFilter, fix: LiveFix, is_usable: bool) -> tuple[float, float]:
    """The velocity to believe at a fix: its own, else from the last second's places, else the last one, else none."""
    if is_usable and isfinite(fix.speed_mps):
        if isfinite(fix.course_deg):
            angle = radians(fix.course_deg)
            return fix.speed_mps * sin(angle), fix.speed_mps * cos(angle)
        if fix.speed_mps < 2 * STANDING_MPS:
            return 0.0, 0.0
    if is_usable and state.places and fix.t - state.places[0][0] > 0.4:
        before = state.places[0]
        age = fix.t - before[0]
        return (fix.east_m - before[1]) / age, (fix.north_m - before[2]) / age
    if state.recent:
        return state.recent[-1][1], state.recent[-1][2]
    return 0.0, 0.0


def _advance(state: TrackFilter, t: float, east: float, north: float, model: ErrorModel, *, is_told: bool) -> Motion:
    """Integrate the velocity up to a time and let the uncertainty grow."""
    recent = (*(r for r in state.recent if t - r[0] <= STANDING_S), (t, east, north))
    if state.t != state.t:
        wander, bias = model.wander_sd_m * WANDER_FACTOR, model.bias_sd_mps * BIAS_FACTOR
        return state.way, state.mean, (START_SD_M**2, 0.0, 0.0, wander**2, 0.0, bias**2), recent
    mean = hypot(sum(r[1] for r in recent), sum(r[2] for r in recent)) / len(recent)
    stands = mean < STANDING_MPS and hypot(east, north) < 2 * STANDING_MPS
    step = t - state.t
    before = state.recent[-1] if state.recent else (t, east, north)
    way = state.way
    if not stands:
        way = (way[0] + step * (before[1] + east) / 2, way[1] + step * (before[2] + north) / 2)
    drift = _STANDING_DRIFT if stands else model.drift_m2_per_s * DRIFT_FACTOR
    if not is_told or step > 1.5:
        drift = max(drift, _GAP_DRIFT)
    return way, *_predict(state, step, 0.0 if stands else step, drift, model), recent


def _predict(state: TrackFilter, step: float, h: float, drift: float, model: ErrorModel) -> tuple[Six, Six]:
    """Mean and covariance a step later, `h` of it walking."""
    kb, kd = exp(-step / model.wander_s), exp(-step / BIAS_S)
    qb = (model.wander_sd_m * WANDER_FACTOR) ** 2 * (1 - kb * kb)
    qd = (model.bias_sd_mps * BIAS_FACTOR) ** 2 * (1 - kd * kd)
    ee, eb, ed, bb, bd, dd = state.covariance
    xe, ye, xb, yb, xd, yd = state.mean
    covariance = (
        ee - 2 * h * ed + h * h * dd + drift * step,
        kb * (eb - h * bd),
        kd * (ed - h * dd),
        kb * kb * bb + qb,
        kb * kd * bd,
        kd * kd * dd + qd,
    )
    return (xe - h * xd, ye - h * yd, kb * xb, kb * yb, kd * xd, kd * yd), covariance


def _observe(state: TrackFilter, motion: Motion, fix: LiveFix, model: ErrorModel) -> Motion:
    """Correct the way's error by one fix."""
    way, (xe, ye, xb, yb, xd, yd), (ee, eb, ed, bb, bd, dd), recent = motion
    east, north = fix.east_m - way[0], fix.north_m - way[1]
    if state.quality not in (NONE, fix.quality):
        eb, bb, bd, xb, yb = 0.0, (model.wander_sd_m * WANDER_FACTOR) ** 2, 0.0, 0.0, 0.0
    if state.fixed_t == -inf:
        xe, ye = east, north
    mean, covariance, _ = correct_state(
        (xe, ye, xb, yb, xd, yd), (ee, eb, ed, bb, bd, dd), east, north, model.white_sd_m**2
    )
    return way, mean, covariance, recent


def _point(
    motion: Motion, fix: LiveFix, sprayer: Sprayer, heading: float, *, is_bridged: bool
) -> tuple[float, float, float, float, float, float, float]:
    """Nozzle east and north, heading, speed, standard deviation and velocity, as they stand in TrackFilter."""
    way, mean, covariance, recent = motion
    late = [r for r in recent if fix.t - r[0] <= HEADING_S]
    east, north = sum(r[1] for r in late) / len(late), sum(r[2] for r in late) / len(late)
    if hypot(east, north) >= STANDING_MPS:
        heading = degrees(atan2(east, north)) % 360.0
    if not is_bridged:
        return nan, nan, heading, nan, nan, nan, nan
    forward, right = sprayer.nozzle_forward_m, sprayer.nozzle_right_m
    angle = radians(heading) if heading == heading else 0.0
    return (
        way[0] + mean[0] + forward * sin(angle) + right * cos(angle),
        way[1] + mean[1] + forward * cos(angle) - right * sin(angle),
        heading,
        hypot(recent[-1][1], recent[-1][2]),
        sqrt(max(covariance[0], 0.0)),
        recent[-1][1],
        recent[-1][2],
    )
