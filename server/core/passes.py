"""Where a job falls into passes, and what each pass came to.

Job seconds, metres on the local plane, headings in degrees clockwise from true north, litres.
"""

from dataclasses import dataclass

import numpy as np

from server.core.flow import VolumeCurve, litres_at
from server.core.heading import heading_from_velocity, smooth_velocity, turn_rate
from server.core.log import NONE, Boot, Floats
from server.core.receiver import judge_receiver, judge_velocity_noise
from server.core.results import Interval, Pass, Track
from server.core.setup import FlowMeter, Sprayer, Treatment
from server.core.swath import swept_area
from server.core.timebase import Timebase
from server.core.turns import sharpen_turns

STRAIGHT_DEG_PER_S = 25.0
"""Faster than this is turning."""
RANGE_DEG = 75.0
"""A run whose heading ranges over more than this is more than one pass."""
GROW_DEG = 22.0
"""A pass reaches as far as the heading stays within this of its nearest 2 s."""
NEAREST_S = 2.0
ARC_DEG_PER_S = 10.0
"""A run that turns faster than this from end to end is an arc and no pass."""
JOIN_S, JOIN_M = 2.0, 2.0
"""Spray off for less than both does not split a pass."""
JOIN_DEG = 30.0
"""Runs this far apart in heading are never one pass."""
SHORTEST_S, SHORTEST_M = 1.0, 1.0
DROPOUT_S = 2.0
"""A pass with fixes further apart than this has no known length."""
HIDDEN_SHARE = 0.2
"""While no fix comes the pace may be off by this share: near its ends a pass is walked slower."""
CLEAN_WINDOW_S, NOISY_WINDOW_S, NOISY_MPS = 1.0, 4.0, 0.12
"""Velocity is averaged over this for headings; longer where it is noisier than a walker turns."""
_GRID_S = 0.1


@dataclass(frozen=True, slots=True)
class PassSpan:
    """One pass in time; `i0` to `i1` (exclusive) are the track's epochs in it."""

    start_t: float
    end_t: float
    heading_deg: float
    i0: int
    i1: int


@dataclass(frozen=True, slots=True)
class _Course:
    """Heading (unwrapped, degrees), turn rate and way gone on an even grid of 0.1 s."""

    t: Floats
    heading: Floats
    rate: Floats
    way: Floats


def split_passes(track: Track, intervals: tuple[Interval, ...]) -> tuple[PassSpan, ...]:
    """Find the passes: longest spraying runs on one heading.

    Spraying intervals that are interrupted for less than 2 s and 2 m are one. In each, the stretches that turn slower
    than 25 deg/s over 1.2 s are the cores; cores on one heading with a short wobble between are merged; one whose
    heading ranges over more than 75 degrees is split where it bends most; each then grows while the heading is within
    22 degrees of that of its nearest 2 s. What turns on and on, a wide turn with the spray on, is no pass.

    Parameters
    ----------
    track
        The nozzle's way.
    intervals
        When the sprayer was on, at ground time.

    Returns
    -------
    tuple[PassSpan, ...]
        Passes in order of time, not overlapping.

    Notes
    -----
    Ends are those of the spraying interval where the spray goes off in turns; else within about 1 s.

    References
    ----------
    Derivation: limits measured on simulated jobs.

    Examples
    --------
    >>> t = np.arange(0, 30, 0.2)
    >>> x = np.zeros(len(t))
    >>> i = x.astype(int)
    >>> track = Track(i, t, t, t, x, 1.2 * t, x, x, x, x + 1.2, x, x, i + 4, np.zeros((0, 150, 2)))
    >>> [(span.start_t, span.end_t) for span in split_passes(track, (Interval(2.0, 20.0, 0.4),))]
    [(2.0, 20.0)]
    """
    return find_spans(track.t, track.velocity_east_mps, track.velocity_north_mps, intervals)


def find_spans(t: Floats, east_mps: Floats, north_mps: Floats, intervals: tuple[Interval, ...]) -> tuple[PassSpan, ...]:
    """Find the passes where only the velocity is known yet; `split_passes` says how.

    Parameters
    ----------
    t
        Times of the epochs [n] [s].
    east_mps
        East velocity [n] [m/s]; NaN where not known.
    north_mps
        North velocity [n] [m/s].
    intervals
        When the sprayer was on, at ground time.

    Returns
    -------
    tuple[PassSpan, ...]
        Passes in order of time, not overlapping.

    References
    ----------
    Derivation: see `split_passes`.

    Examples
    --------
    >>> t = np.arange(0, 30, 0.2)
    >>> [(span.start_t, span.end_t) for span in find_spans(t, 0 * t, 0 * t + 1.2, (Interval(2.0, 20.0, 0.4),))]
    [(2.0, 20.0)]
    """
    known = np.isfinite(east_mps)
    if np.count_nonzero(known) < 3:
        return ()
    motion = t[known], east_mps[known], north_mps[known]
    is_noisy = judge_velocity_noise(*motion) > NOISY_MPS
    course = _chart_course(*motion, window_s=NOISY_WINDOW_S if is_noisy else CLEAN_WINDOW_S)
    found: list[PassSpan] = []
    for start, end in _join_intervals(intervals, course):
        spans = _split_interval(course, start, end)
        for a, b in sharpen_turns(spans, *motion) if is_noisy else spans:
            way, turned = (np.diff(np.interp([a, b], course.t, v))[0] for v in (course.way, course.heading))
            if b - a >= SHORTEST_S and way >= SHORTEST_M and abs(turned) <= ARC_DEG_PER_S * (b - a):
                found.append(_span_of(t, course, a, b))
    return tuple(found)


def measure_passes(
    track: Track,
    spans: tuple[PassSpan, ...],
    curve: VolumeCurve,
    *,
    timebase: Timebase,
    boots: tuple[Boot, ...],
    sprayer: Sprayer,
    meter: FlowMeter,
    treatment: Treatment,
) -> tuple[Pass, ...]:
    """What each pass came to: length, volume, area and dose.

    Length is velocity integrated, area what the swath swept, dose volume over area. The dose's uncertainty joins the
    meter's, that of one pulse, the length's by the sampled tracks and that of short gaps without a fix; the swath's own
    is not known here.

    Parameters
    ----------
    track
        The nozzle's way.
    spans
        The passes.
    curve
        The job's volume.
    timebase
        The job's axis.
    boots
        The job's boots.
    sprayer
        Swath [m].
    meter
        Pulses per litre and their standard uncertainty [%].
    treatment
        Target [L/m²].

    Returns
    -------
    tuple[Pass, ...]
        Passes numbered from 1; length, area, speed and dose NaN where a dropout lies in the pass, its volume known.

    References
    ----------
    JCGM 100:2008, equation 12 (relative uncertainties of a quotient add in squares).

    Examples
    --------
    >>> t = np.arange(0, 30, 0.2)
    >>> x = np.zeros(len(t))
    >>> i = x.astype(int)
    >>> track = Track(i, t, t, t, x, 1.2 * t, x, x, x, x + 1.2, x, x, i + 4, np.zeros((0, 150, 2)))
    >>> curve = VolumeCurve(np.array([2.0, 20.0]), np.array([0.0, 0.36]), np.array([0.0, 162.0]))
    >>> found = measure_passes(track, split_passes(track, (Interval(2.0, 20.0, 0.36),)), curve,
    ...     timebase=Timebase(np.zeros(1), 0.0), boots=(Boot("a", 0.0, 0.0),), sprayer=Sprayer(1.0),
    ...     meter=FlowMeter(450.0), treatment=Treatment(target_l_per_m2=1 / 60))
    >>> round(found[0].length_m, 2), round(found[0].dose_l_per_m2, 5), round(found[0].percent_of_target, 1)
    (21.6, 0.01667, 100.0)
    """
    return tuple(
        _measure_pass(number, track, span, curve, timebase, boots, sprayer, meter, treatment)
        for number, span in enumerate(spans, start=1)
    )


def _chart_course(t: Floats, east: Floats, north: Floats, *, window_s: float) -> _Course:
    """Heading, turn rate and way on an even grid."""
    grid = np.arange(t[0], t[-1] + _GRID_S, _GRID_S)
    east, north = np.interp(grid, t, east), np.interp(grid, t, north)
    smooth = smooth_velocity(grid, east, north, window_s=window_s)
    heading = np.unwrap(np.nan_to_num(heading_from_velocity(*smooth)), period=360.0)
    speed = np.hypot(*smooth)
    way = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(grid))])
    return _Course(grid, heading, turn_rate(grid, heading), way)


def _join_intervals(intervals: tuple[Interval, ...], course: _Course) -> list[tuple[float, float]]:
    """Spraying intervals with short interruptions bridged."""
    joined: list[tuple[float, float]] = []
    for interval in intervals:
        start, end = max(interval.start_t, course.t[0]), min(interval.end_t, course.t[-1])
        if end <= start:
            continue
        if joined:
            way = np.interp([joined[-1][1], start], course.t, course.way)
            if start - joined[-1][1] < JOIN_S and way[1] - way[0] < JOIN_M:
                joined[-1] = (joined[-1][0], end)
                continue
        joined.append((float(start), float(end)))
    return joined


def _split_interval(course: _Course, start: float, end: float) -> list[tuple[float, float]]:
    """The passes within one spraying interval, as spans of time."""
    low, high = np.searchsorted(course.t, start), np.searchsorted(course.t, end, "right")
    if high - low < 3:
        return []
    cores = _find_cores(course.rate[low:high])
    cores = [(a + int(low), b + int(low)) for a, b in cores]
    cores = _merge_cores(course, cores)
    cores = [part for core in cores for part in _split_bent(course, core)]
    cores = [core for core in cores if (core[1] - core[0]) * _GRID_S >= SHORTEST_S]
    grown: list[tuple[int, int]] = []
    for k, (a, b) in enumerate(cores):
        floor = grown[-1][1] if grown else int(low)
        roof = cores[k + 1][0] if k + 1 < len(cores) else int(high)
        grown.append(_grow_core(course, a, b, floor, roof))
    return [(start if a == low else float(course.t[a]), end if b == high else float(course.t[b - 1])) for a, b in grown]


def _find_cores(rate: Floats) -> list[tuple[int, int]]:
    """Runs that do not turn."""
    edges = np.diff(np.concatenate([[0], (np.abs(rate) < STRAIGHT_DEG_PER_S).astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True))


def _merge_cores(course: _Course, cores: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Join cores that go on in the same heading after a short wobble."""
    merged: list[tuple[int, int]] = []
    for a, b in cores:
        if merged:
            before = merged[-1]
            ahead = float(np.median(course.heading[a : min(b, a + 20)]))
            behind = float(np.median(course.heading[max(before[0], before[1] - 20) : before[1]]))
            short = (a - before[1]) * _GRID_S < JOIN_S
            if short and abs(ahead - behind) < JOIN_DEG:
                merged[-1] = (before[0], b)
                continue
        merged.append((a, b))
    return merged


def _split_bent(course: _Course, core: tuple[int, int]) -> list[tuple[int, int]]:
    """Cut a run where it bends most until no part ranges over too much heading."""
    a, b = core
    heading = course.heading[a:b]
    if b - a < 4 or heading.max() - heading.min() <= RANGE_DEG:
        return [core]
    margin = min(10, (b - a) // 4)
    cut = a + margin + int(np.argmax(np.abs(course.rate[a + margin : b - margin])))
    if cut <= a or cut >= b:
        return [core]
    return _split_bent(course, (a, cut)) + _split_bent(course, (cut, b))


def _grow_core(course: _Course, a: int, b: int, floor: int, roof: int) -> tuple[int, int]:
    """Extend a run both ways while the heading stays near that of its nearest 2 s."""
    reach = round(NEAREST_S / _GRID_S)
    first = float(np.median(course.heading[a : min(b, a + reach)]))
    last = float(np.median(course.heading[max(a, b - reach) : b]))
    while a > floor and abs(course.heading[a - 1] - first) < GROW_DEG:
        a -= 1
    while b < roof and abs(course.heading[b] - last) < GROW_DEG:
        b += 1
    while b - a > reach and abs(course.heading[a] - first) > GROW_DEG:
        a += 1
    while b - a > reach and abs(course.heading[b - 1] - last) > GROW_DEG:
        b -= 1
    return a, b


def _span_of(t: Floats, course: _Course, start: float, end: float) -> PassSpan:
    """A pass with its mean heading and the track's epochs in it."""
    inside = (course.t >= start) & (course.t <= end)
    angle = np.radians(course.heading[inside])
    heading = float(np.degrees(np.arctan2(np.sin(angle).sum(), np.cos(angle).sum())) % 360.0)
    i0, i1 = int(np.searchsorted(t, start)), int(np.searchsorted(t, end, "right"))
    return PassSpan(start, end, heading, i0, i1)


def _measure_pass(
    number: int,
    track: Track,
    span: PassSpan,
    curve: VolumeCurve,
    timebase: Timebase,
    boots: tuple[Boot, ...],
    sprayer: Sprayer,
    meter: FlowMeter,
    treatment: Treatment,
) -> Pass:
    """One pass's record."""
    litres = litres_at(curve, [span.start_t, span.end_t])
    volume = float(litres[1] - litres[0])
    length, area, hidden = _measure_way(track, span, swath_m=sprayer.swath_m)
    dose = volume / area if area > 0 else float("nan")
    pulses = float(np.diff(np.interp([span.start_t, span.end_t], curve.t, curve.pulses))[0]) if len(curve.t) else 0.0
    spread = _spread_of_length(track, span) / length if length > 0 else 0.0
    unseen = HIDDEN_SHARE * hidden / (span.end_t - span.start_t)
    shares = (meter.sd_percent / 100.0, 1.0 / max(pulses, 1.0), spread, unseen)
    relative = float(np.sqrt(np.sum(np.square(shares))))
    boot = int(track.boot[min(span.i0, len(track.boot) - 1)])
    shift = float(timebase.shift_s[boot])
    epochs = slice(span.i0, span.i1)
    return Pass(
        number=number,
        boot=boots[boot].name,
        start_t=span.start_t,
        end_t=span.end_t,
        start_utc=span.start_t + timebase.utc_offset_s,
        end_utc=span.end_t + timebase.utc_offset_s,
        start_mono=span.start_t - shift,
        end_mono=span.end_t - shift,
        length_m=length,
        heading_deg=span.heading_deg,
        speed_mps=length / (span.end_t - span.start_t),
        volume_l=volume,
        area_m2=area,
        dose_l_per_m2=dose,
        dose_sd_l_per_m2=dose * relative,
        percent_of_target=100.0 * dose / treatment.pass_l_per_m2,
        receiver=judge_receiver(track.quality[epochs], np.ones(span.i1 - span.i0, dtype=np.bool_)),
    )


def _spread_of_length(track: Track, span: PassSpan) -> float:
    """Standard deviation of a pass's length in metres, from how far the sampled tracks part along its heading."""
    if len(track.deviations_m) < 2 or span.i1 - span.i0 < 2:
        return 0.0
    heading = np.radians(span.heading_deg)
    parted = track.deviations_m[:, span.i1 - 1] - track.deviations_m[:, span.i0]
    spread = float((parted @ np.array([np.sin(heading), np.cos(heading)])).std())
    return spread if np.isfinite(spread) else 0.0


def _measure_way(track: Track, span: PassSpan, *, swath_m: float) -> tuple[float, float, float]:
    """Length and swept area of a pass between its exact ends, NaN where a dropout hides them; seconds without a fix."""
    low, high = max(span.i0 - 1, 0), min(span.i1 + 1, len(track.t))
    rows = np.arange(low, high)
    known = rows[np.isfinite(track.east_m[low:high])]
    sound = known[track.quality[known] != NONE]
    gaps = np.diff(np.sort(np.concatenate([[span.start_t], track.t[sound], [span.end_t]])))
    if len(sound) < 2 or gaps.max() > DROPOUT_S:
        return float("nan"), float("nan"), float("nan")
    t = np.concatenate([[span.start_t], track.t[span.i0 : span.i1], [span.end_t]])
    speed = np.hypot(track.velocity_east_mps[sound], track.velocity_north_mps[sound])
    length = _integrate(np.interp(t, track.t[sound], speed), t)
    # Beyond the last known place the way goes on as it was.
    placed = np.clip(t, track.t[known[0]], track.t[known[-1]])
    east, north = (np.interp(placed, track.t[known], v[known]) for v in (track.east_m, track.north_m))
    heading = np.interp(placed, track.t[known], np.unwrap(track.heading_deg[known], period=360.0))
    share = _integrate(np.interp(placed, track.t[sound], speed), placed) / length if length > 0 else 1.0
    usual = float(np.median(gaps))
    hidden = float((gaps - usual)[gaps > 1.6 * usual].sum())
    return length, swept_area(east, north, heading, swath_m=swath_m) / share, hidden


def _integrate(rate: Floats, t: Floats) -> float:
    """The area under a line of points."""
    return float(((rate[1:] + rate[:-1]) / 2 * np.diff(t)).sum())
