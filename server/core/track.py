"""The nozzle's way over the ground, from all fixes of a job.

East, north in metres on the local plane, job seconds, headings in degrees clockwise from true north.
"""

from dataclasses import dataclass, replace

import numpy as np

from server.core.aids import EDGE_SD_M, Crossing, Visit, choose_axis, gather_aids, turn_to_axis
from server.core.edges import find_crossings
from server.core.fit import fit_scales
from server.core.geodesy import plane_at, plane_from_degrees
from server.core.heading import heading_from_velocity, turn_rate
from server.core.log import FLOAT, NONE, SINGLE, Fixes, Floats, Integers
from server.core.motion import Motion, follow_motion
from server.core.passes import PassSpan, find_spans
from server.core.receiver import ErrorModel, judge_velocity_noise, list_models, usable_quality
from server.core.results import Bools, Interval, Plane, Track
from server.core.setup import Receiver, Sprayer
from server.core.smoother import MISFIT, Bins, Smoothed, smooth_errors
from server.core.timebase import Timebase, fix_times

DROPOUT_S = 10.0
"""A longer stretch without a usable fix has no position."""
SHORT_GAP_S, LONG_GAP_S = 1.0, 4.0
SHORT_GAP_DRIFT, GAP_DRIFT, LONG_GAP_DRIFT = 0.05, 0.4, 4.0
"""How fast the way loses its place while the velocity is missing for up to 1 s, up to 4 s, longer, m²/s."""
STANDING_DRIFT = 1e-5
HEADING_SD_DEG = 3.0
HEADING_SD_PER_TURN_S = 0.15
"""A heading is good to 3 degrees and 0.15 times the turn rate."""
_HEADING_S = 3.0
_SLOW_STEP_S, _FAST_STEP_S = 1.0, 0.4
FIT_STEP_S = 5.0
"""The model's sizes are fitted at steps beside which the velocity's noise has no memory."""


def plane_of(fixes: Fixes) -> Plane | None:
    """The local plane of a job: through its first usable fix.

    Parameters
    ----------
    fixes
        Position messages in order [n].

    Returns
    -------
    Plane | None
        The plane, None if no fix has a position.

    References
    ----------
    Definition of this project: the first usable fix rounded to 1e-5 degrees.

    Examples
    --------
    >>> column = np.array([1.0])
    >>> plane_of(Fixes(*[column] * 3, np.array([1]), column, np.array([45.0]), np.array([-30.0]), *[column] * 7))
    Plane(lat0_deg=45.0, lon0_deg=-30.0)
    """
    usable = np.flatnonzero(usable_quality(fixes, Receiver()) != NONE)
    if not len(usable):
        return None
    return plane_at(float(fixes.lat_deg[usable[0]]), float(fixes.lon_deg[usable[0]]))


def smooth_track(
    fixes: Fixes,
    timebase: Timebase,
    plane: Plane,
    *,
    receiver: Receiver,
    sprayer: Sprayer,
    rng: np.random.Generator,
    draws: int = 64,
    intervals: tuple[Interval, ...] = (),
    visits: tuple[Visit, ...] = (),
    edges: tuple[Floats, ...] = (),
) -> Track:
    """The nozzle's way by all fixes before and after.

    The receiver's own velocity is integrated to a way whose shape is good to centimetres; what that way is off by is
    estimated from the fixes (`smooth_errors`) and added; that passes are walked straight and that a peg stays where it
    is helps to tell. The nozzle lies ahead and to the right of the antenna along the heading of the velocity averaged
    over 2 s.

    Parameters
    ----------
    fixes
        Position messages in order of boot and time [n].
    timebase
        The job's axis.
    plane
        The local plane.
    receiver
        Class and latency.
    sprayer
        Where the nozzle sits, seen from the antenna.
    rng
        Source of the posterior draws.
    draws
        How many posterior tracks, 0 for none.
    intervals
        When the sprayer was on, at ground time; without, no pass is known.
    visits
        When the operator stood at a peg; surveyed places are east and north on the plane [m].
    edges
        The lawn's rings on the plane, each [k, 2] [m]: where passes of a receiver that wanders begin and end.

    Returns
    -------
    Track
        A row a fix epoch; NaN where no position can be given: before the first fix, after the last, and in a dropout of
        more than 10 s.

    Notes
    -----
    Positions in a dropout of up to 10 s are bridged, their sd grows accordingly.

    References
    ----------
    Derivation: complementary filter, see `smooth_errors`.

    Examples
    --------
    >>> n = 50
    >>> one = np.ones(n)
    >>> mono = np.arange(n) / 5
    >>> north = 1.2 * mono / 111131.78
    >>> fixes = Fixes(np.zeros(n, dtype=np.int64), np.arange(n), mono, np.full(n, 4), mono + 1e9, 45 + north, -30 * one,
    ...     *[one] * 1, 1.2 * one, 0 * one, *[one] * 4)
    >>> track = smooth_track(fixes, Timebase(np.zeros(1), 1e9), Plane(45.0, -30.0), receiver=Receiver(),
    ...     sprayer=Sprayer(1.0), rng=np.random.default_rng(1), draws=2)
    >>> round(float(track.north_m[25]), 2), round(float(track.heading_deg[25]), 1)
    (6.0, 0.0)
    """
    t = fix_times(fixes, timebase, latency_s=receiver.latency_s)
    quality = usable_quality(fixes, receiver)
    usable = quality != NONE
    if np.count_nonzero(usable) < 2:
        return _unknown_track(fixes, t, quality, timebase, draws)
    place = np.stack(plane_from_degrees(fixes.lat_deg, fixes.lon_deg, plane=plane), axis=1)
    motion = follow_motion(t, fixes, place, usable)
    heading = heading_from_velocity(motion.smooth_east_mps, motion.smooth_north_mps)
    heading_sd = HEADING_SD_DEG + HEADING_SD_PER_TURN_S * np.abs(turn_rate(t, heading))
    arm = _reach_out(heading, sprayer)
    walk = _chart_walk(t, place, quality, motion, arm, intervals, visits)
    smoothed, centres = _smooth_walk(walk, edges, rng, draws)
    pointing = heading, heading_sd, arm
    return _place_nozzle(fixes, timebase, walk, smoothed, centres, pointing, rng)


@dataclass(frozen=True, slots=True)
class _Walk:
    """What the way's error is estimated from; `way`, `arm` and `difference` [n, 2] along and across the axis [m]."""

    t: Floats
    quality: Integers
    motion: Motion
    axis_deg: float
    way: Floats
    arm: Floats
    difference: Floats
    spans: tuple[PassSpan, ...]
    visits: tuple[Visit, ...]


def _chart_walk(
    t: Floats,
    place: Floats,
    quality: Integers,
    motion: Motion,
    arm: Floats,
    intervals: tuple[Interval, ...],
    visits: tuple[Visit, ...],
) -> _Walk:
    """Find the passes, and turn everything to the axis that they lie along."""
    known = np.where(_has_position(t, quality), 1.0, np.nan)
    spans = find_spans(t, motion.east_mps * known, motion.north_mps * known, intervals)
    axis = choose_axis(spans)
    way, reach, difference = (turn_to_axis(v, axis) for v in (motion.way_m, arm, place - motion.way_m))
    return _Walk(t, quality, motion, axis, way, reach, difference, spans, _turn_visits(visits, axis))


def _smooth_walk(
    walk: _Walk, edges: tuple[Floats, ...], rng: np.random.Generator, draws: int
) -> tuple[Smoothed, Floats]:
    """Fit the sizes to the job, find the edges where they help, and smooth; also the bins' centres."""
    usable = walk.quality != NONE
    usual = int(np.bincount(walk.quality[usable]).argmax())
    told = (np.where(walk.motion.is_told, v, np.nan) for v in (walk.motion.east_mps, walk.motion.north_mps))
    noise = judge_velocity_noise(walk.t, *told)
    kinds = list_models(noise, usual=usual, has_doppler=walk.motion.has_doppler)
    fits = fit_scales([_fill_bins(walk, models, FIT_STEP_S)[0] for models in kinds])
    (scales, _), models = max(zip(fits, kinds, strict=True), key=lambda fit: fit[0][1])
    step = _FAST_STEP_S if np.median(walk.quality[usable]) >= FLOAT else _SLOW_STEP_S
    bins, centres = _fill_bins(walk, models, step)
    if edges and models[usual].wander_sd_m > EDGE_SD_M:
        first = smooth_errors(bins, rng=rng, draws=0, scales=scales)
        error, sd = (_spread_bins(walk.t, centres, figures) for figures in (first.mean_m, first.sd_m))
        rings = tuple(turn_to_axis(ring, walk.axis_deg) for ring in edges)
        # It is the nozzle that is at the edge.
        way = walk.way + walk.arm
        crossings = find_crossings(walk.t, way, way + error, sd, walk.spans, rings, axis_deg=walk.axis_deg)
        bins, centres = _fill_bins(walk, models, step, crossings)
    return smooth_errors(bins, rng=rng, draws=draws, scales=scales), centres


def _reach_out(heading: Floats, sprayer: Sprayer) -> Floats:
    """From the antenna to the nozzle, east and north [n, 2], metres; NaN where there is a way but no heading."""
    ahead, right = sprayer.nozzle_forward_m, sprayer.nozzle_right_m
    if ahead == right == 0.0:
        return np.zeros((len(heading), 2))
    angle = np.radians(heading)
    east, north = ahead * np.sin(angle) + right * np.cos(angle), ahead * np.cos(angle) - right * np.sin(angle)
    return np.stack([east, north], axis=1)


def _spread_bins(at: Floats, t: Floats, figures: Floats) -> Floats:
    """Both axes' figures [n, 2], given at times t, at other times."""
    return np.stack([np.interp(at, t, figures[:, axis]) for axis in (0, 1)], axis=1)


def _turn_visits(visits: tuple[Visit, ...], axis_deg: float) -> tuple[Visit, ...]:
    """Visits with surveyed pegs along and across the axis."""
    turned = [turn_to_axis(np.array([visit.east_m, visit.north_m]), axis_deg).tolist() for visit in visits]
    return tuple(replace(v, east_m=along, north_m=across) for v, (along, across) in zip(visits, turned, strict=True))


def _unknown_track(fixes: Fixes, t: Floats, quality: Integers, timebase: Timebase, draws: int) -> Track:
    """A track that knows nothing but its times."""
    x = np.full(len(t), np.nan)
    utc = t + timebase.utc_offset_s
    empty = np.full((draws, len(t), 2), np.nan)
    return Track(fixes.boot, fixes.mono, t, utc, x, x, x, x, x, x, x, x, quality, empty)


def _fill_bins(
    walk: _Walk, models: dict[int, ErrorModel], step: float, crossings: tuple[Crossing, ...] = ()
) -> tuple[Bins, Floats]:
    """Average what was observed over even bins, and say what each bin's errors are like; also the bins' centres."""
    t, quality, difference = walk.t, walk.quality, walk.difference
    usable = np.flatnonzero(quality != NONE)
    start = t[usable[0]] - step / 2
    index = np.floor((t[usable] - start) / step + 1e-6).astype(np.int64)
    count = int(index[-1]) + 1
    number = np.bincount(index, minlength=count)
    sums = np.stack([np.bincount(index, weights=difference[usable, axis], minlength=count) for axis in (0, 1)], axis=1)
    observed = np.where(number[:, None] > 0, sums / np.maximum(number, 1)[:, None], np.nan)
    worst = np.full(count, 99)
    np.minimum.at(worst, index, quality[usable])
    last = np.maximum.accumulate(np.where(number > 0, np.arange(count), 0))
    klass = worst[last]
    sizes = np.array(
        [
            (m.white_sd_m**2, m.wander_sd_m**2, m.wander_s, m.bias_sd_mps**2, m.drift_m2_per_s)
            for m in (models.get(code, models[SINGLE]) for code in range(6))
        ]
    )
    white, wander, wander_s, bias, drift = sizes[klass].T
    centres = start + (np.arange(count) + 0.5) * step
    middle = centres - step / 2
    drift, stands = _drift_rates(t, walk.motion, middle, drift)
    restarts = np.concatenate([[False], np.diff(klass) != 0])
    white = white / np.clip(number, 1, 5 * max(step, 1.0))
    way = _spread_bins(centres, t, walk.way)
    aids = gather_aids(centres, way, walk.spans, walk.visits, axis_deg=walk.axis_deg, crossings=crossings)
    return Bins(step, observed, white, wander, wander_s, bias, drift * step, ~stands, restarts, aids), centres


def _drift_rates(t: Floats, motion: Motion, at: Floats, drift: Floats) -> tuple[Floats, Bools]:
    """How fast the way loses its place at given times, and where the rig stands."""
    told = t[motion.is_told]
    step = np.diff(told)
    usual = float(np.median(step)) if len(step) else 1.0
    which = np.clip(np.searchsorted(told, at) - 1, 0, max(len(step) - 1, 0))
    gap = step[which] if len(step) else np.ones(len(at))
    by_gap = np.where(gap <= SHORT_GAP_S, SHORT_GAP_DRIFT, np.where(gap <= LONG_GAP_S, GAP_DRIFT, LONG_GAP_DRIFT))
    is_gap = gap > max(1.6 * usual, 0.25)
    stands = motion.stands[np.clip(np.searchsorted(t, at) - 1, 0, len(t) - 1)] & ~is_gap
    rates = np.where(is_gap, np.maximum(by_gap, drift), np.where(stands, STANDING_DRIFT, drift))
    return rates, stands


def _place_nozzle(
    fixes: Fixes,
    timebase: Timebase,
    walk: _Walk,
    smoothed: Smoothed,
    centres: Floats,
    pointing: tuple[Floats, Floats, Floats],
    rng: np.random.Generator,
) -> Track:
    """Put the smoothed antenna and the nozzle before it together, and forget what cannot be known."""
    (heading, heading_sd, arm), t, quality, motion = pointing, walk.t, walk.quality, walk.motion
    unknown = ~_has_position(t, quality)
    error, deviations, spread = _errors_at(smoothed, walk.axis_deg, centres, t)
    position = motion.way_m + error + arm
    if arm.any():
        turn = np.radians(heading_sd) * _draw_pointing(t, len(deviations), rng)
        deviations[:, :, 0] += turn * arm[:, 1]
        deviations[:, :, 1] -= turn * arm[:, 0]
        spread = spread + (np.radians(heading_sd) * arm[:, ::-1].T) ** 2
    blank = np.where(unknown, np.nan, 1.0)
    sd = np.sqrt(spread) * blank
    deviations[:, unknown] = np.nan
    return Track(
        fixes.boot,
        fixes.mono,
        t,
        t + timebase.utc_offset_s,
        position[:, 0] * blank,
        position[:, 1] * blank,
        sd[0],
        sd[1],
        motion.east_mps * blank,
        motion.north_mps * blank,
        heading * blank,
        heading_sd * blank,
        quality,
        deviations,
        is_misfit=smoothed.misfit > MISFIT,
    )


def _errors_at(smoothed: Smoothed, axis: float, centres: Floats, t: Floats) -> tuple[Floats, Floats, Floats]:
    """The way's error between the bins' centres: mean [n, 2], deviations [draws, n, 2], variances [2, n]."""
    low = np.clip(np.searchsorted(centres, t) - 1, 0, max(len(centres) - 2, 0))
    high = np.minimum(low + 1, len(centres) - 1)
    span = np.where(high > low, centres[high] - centres[low], 1.0)
    part = np.clip((t - centres[low]) / span, 0.0, 1.0)
    late, early = part[:, None], (1 - part)[:, None]
    mean = turn_to_axis(smoothed.mean_m, axis)
    drawn = turn_to_axis(smoothed.deviations_m, axis).astype(np.float32)
    deviations = drawn[:, low]
    deviations *= early
    late_share = drawn[:, high]
    late_share *= late
    deviations += late_share
    sd = smoothed.sd_m[low] * early + smoothed.sd_m[high] * late
    shares = turn_to_axis(np.eye(2), axis) ** 2
    return mean[low] * early + mean[high] * late, deviations, (sd**2 @ shares).T


def _has_position(t: Floats, quality: Integers) -> Bools:
    """Where a position can be given: at usable fixes and between two of them no more than a dropout apart."""
    known = t[quality != NONE]
    after = np.searchsorted(known, t, "left")
    before = np.searchsorted(known, t, "right") - 1
    inside = (after < len(known)) & (before >= 0)
    gap = known[np.minimum(after, len(known) - 1)] - known[np.maximum(before, 0)]
    has: Bools = (inside & (gap <= DROPOUT_S)) | (quality != NONE)
    return has


def _draw_pointing(t: Floats, draws: int, rng: np.random.Generator) -> Floats:
    """Unit heading errors [draws, n] that last about 3 s."""
    noise = rng.standard_normal((len(t), draws))
    keep = np.exp(-np.diff(t, prepend=t[0]) / _HEADING_S)
    fresh = np.sqrt(1.0 - keep**2)
    drawn = np.empty((len(t), draws))
    state = noise[0]
    for i, (k, f) in enumerate(zip(keep.tolist(), fresh.tolist(), strict=True)):
        state = k * state + f * noise[i] if i else noise[0]
        drawn[i] = state
    return drawn.T
