"""From pulses of the flow meter to litres on the ground, and when liquid flowed.

Job seconds `t`, litres, pulses; rates in litres per second. Nothing here depends on which messages came: every count
carries all volume before it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.core.log import Counts, Floats
from server.core.results import Bools, Interval
from server.core.setup import FlowMeter
from server.core.timebase import Timebase, job_seconds

MIN_GAP_S = 0.5
"""Pulses closer than this are one flow."""
GAP_PULSES = 3.0
"""Pulses further apart than this many periods are two flows."""
TRICKLE = 0.2
"""Flow below this fraction of the job's ordinary rate is dripping."""
MIN_PULSES = 4
"""Fewer pulses than this in a row are drops."""
SMOOTH_S = 0.8


@dataclass(frozen=True, slots=True)
class VolumeCurve:
    """The running total at its knots, arrays [n]: flat where nothing flowed, straight between pulses."""

    t: Floats
    litres: Floats
    pulses: Floats


def gather_volume(flow: Counts, timebase: Timebase, *, meter: FlowMeter, delay_s: float) -> VolumeCurve:
    """The liquid metered since the job's start as a curve over time.

    Each message says how many pulses there had been at its last edge. Where pulses stay away longer than max(0.5 s,
    the sample's window, 3 periods) nothing flowed, but for half a period after the last and before the first pulse; at
    the edge of pulse j of a flow j - 1/2 pulses have passed (the rotor's phase at the start is anything from 0 to 1).
    Boots are chained: what was counted never falls.

    Parameters
    ----------
    flow
        Messages of the flow meter [n], in any number and with any lost.
    timebase
        The job's axis.
    meter
        Pulses per litre, one figure or a table over the flow.
    delay_s
        From the meter to the ground [s].

    Returns
    -------
    VolumeCurve
        Knots of the curve at ground time; no knots if nothing was ever counted.

    Notes
    -----
    The total is exact to a pulse; its scale is as good as the meter's factor. A start or stop is right to about half a
    pulse period. What flowed in a gap between two boots was never counted.

    References
    ----------
    Derivation: litres = pulses / K by reciprocal counting; K of a table at the local rate.

    Examples
    --------
    >>> edges = np.arange(1, 11) / 10
    >>> flow = Counts(np.zeros(10, dtype=np.int64), np.arange(10), edges + 0.05, np.arange(1, 11), edges, np.zeros(10))
    >>> curve = gather_volume(flow, Timebase(np.zeros(1), 0.0), meter=FlowMeter(450.0), delay_s=0.0)
    >>> round(float(curve.litres[-1]), 6)
    0.022222
    """
    spans = [_read_boot(flow, timebase, k) for k in np.unique(flow.boot)] if len(flow.boot) else []
    steps = np.concatenate([s for s in spans if len(s)] or [np.zeros((0, 4))])
    if not len(steps):
        return VolumeCurve(np.zeros(0), np.zeros(0), np.zeros(0))
    period = _ordinary_period(steps)
    t, pulses = _place_knots(steps, period)
    litres = np.concatenate([[0.0], np.cumsum(_litres_of_steps(np.diff(t), np.diff(pulses), meter))])
    return VolumeCurve(t + delay_s, litres, pulses)


def litres_at(curve: VolumeCurve, t: ArrayLike) -> Floats:
    """The liquid let out up to given times.

    Parameters
    ----------
    curve
        The job's volume.
    t
        Job seconds, any shape [s].

    Returns
    -------
    Floats
        Litres since the job's start [L]; NaN for NaN.

    References
    ----------
    Derivation: straight lines between the exact counts at pulse edges.

    Examples
    --------
    >>> litres_at(VolumeCurve(np.array([0.0, 10.0]), np.array([0.0, 1.0]), np.array([0.0, 450.0])), [-1.0, 5.0, 12.0])
    array([0. , 0.5, 1. ])
    """
    at = np.asarray(t, dtype=np.float64)
    if not len(curve.t):
        return np.where(np.isfinite(at), 0.0, np.nan)
    return np.interp(at, curve.t, curve.litres)


def find_spraying(curve: VolumeCurve) -> tuple[Interval, ...]:
    """When the sprayer was on.

    The stretches in which the curve rises without a break, less drops: a stretch of fewer than 4 pulses or slower than
    a fifth of the job's ordinary rate is dripping, and so are slow ends of a stretch.

    Parameters
    ----------
    curve
        The job's volume.

    Returns
    -------
    tuple[Interval, ...]
        Spans in order of time with the litres metered in each.

    References
    ----------
    Derivation: see `gather_volume` for where the curve is flat. The fractions are this project's own.

    Examples
    --------
    >>> t = np.array([0.0, 5.0, 9.0, 14.0])
    >>> curve = VolumeCurve(t, np.array([0.0, 0.1, 0.1, 0.2]), np.array([0.0, 45.0, 45.0, 90.0]))
    >>> [(span.start_t, span.end_t) for span in find_spraying(curve)]
    [(0.0, 5.0), (9.0, 14.0)]
    """
    if len(curve.t) < 2:
        return ()
    step, count = np.diff(curve.t), np.diff(curve.pulses)
    rises = count > 0
    rate = np.where(rises, count / np.maximum(step, 1e-9), 0.0)
    floor = TRICKLE * _weighted_median(rate[rises], count[rises])
    found = []
    for first, last in _runs(rises):
        strong = np.flatnonzero(rate[first:last] >= floor)
        if len(strong) and count[first + strong[0] : first + strong[-1] + 1].sum() >= MIN_PULSES:
            a, b = first + strong[0], first + strong[-1] + 1
            found.append(Interval(float(curve.t[a]), float(curve.t[b]), float(curve.litres[b] - curve.litres[a])))
    return tuple(found)


def flow_rate_at(curve: VolumeCurve, intervals: tuple[Interval, ...], t: ArrayLike) -> Floats:
    """The flow at given times, smoothed over 0.8 s inside each spraying interval.

    A moving mean that is cut off at the interval's ends, so that a start stays sharp, scaled to give the interval's
    exact volume.

    Parameters
    ----------
    curve
        The job's volume.
    intervals
        When the sprayer was on.
    t
        Job seconds, any shape [s].

    Returns
    -------
    Floats
        Litres per second [L/s], 0 outside the intervals.

    Notes
    -----
    For showing. Dose is computed from the counts.

    References
    ----------
    Derivation: (V(t + 0.4 s) - V(t - 0.4 s)) / width within the interval.

    Examples
    --------
    >>> curve = VolumeCurve(np.array([0.0, 10.0]), np.array([0.0, 1.0]), np.array([0.0, 450.0]))
    >>> flow_rate_at(curve, find_spraying(curve), [-1.0, 0.0, 5.0])
    array([0. , 0.1, 0.1])
    """
    at = np.asarray(t, dtype=np.float64)
    rate = np.zeros(at.shape)
    for span in intervals:
        inside = (at >= span.start_t) & (at <= span.end_t)
        if not inside.any():
            continue
        grid = np.linspace(span.start_t, span.end_t, max(3, round((span.end_t - span.start_t) / 0.05) + 1))
        whole = _mean_rate(curve, span, grid)
        volume = float(((whole[1:] + whole[:-1]) / 2 * np.diff(grid)).sum())
        rate[inside] = _mean_rate(curve, span, at[inside]) * (span.volume_l / volume if volume > 0 else 0.0)
    return rate


def litres_from_pulses(pulses: ArrayLike, pulse_hz: ArrayLike, *, meter: FlowMeter) -> Floats:
    """The volume of pulses that came at a rate.

    V = N / K, with K of the table at the flow that gives this rate: f = q K(q) / 60.

    Parameters
    ----------
    pulses
        Number of pulses, any shape [1].
    pulse_hz
        Their rate, same shape [Hz]; only used with a table.
    meter
        Pulses per litre, one figure or a table over the flow.

    Returns
    -------
    Floats
        Litres [L].

    Notes
    -----
    Beyond the table's ends its end values hold.

    References
    ----------
    Q [L/min] = 60 f / K (definition of the factor).

    Examples
    --------
    >>> litres_from_pulses(450.0, 9.0, meter=FlowMeter(450.0))
    array(1.)
    >>> litres_from_pulses(400.0, 1.0, meter=FlowMeter((400.0, 450.0), (0.1, 1.0)))
    array(0.99393939)
    """
    count = np.asarray(pulses, dtype=np.float64)
    if isinstance(meter.pulses_per_l, tuple) and meter.flow_l_per_min is not None:
        factor = np.array(meter.pulses_per_l, dtype=np.float64)
        hertz = np.array(meter.flow_l_per_min, dtype=np.float64) * factor / 60.0
        return np.asarray(count / np.interp(np.asarray(pulse_hz, dtype=np.float64), hertz, factor))
    return np.asarray(count / np.asarray(meter.pulses_per_l, dtype=np.float64))


def _read_boot(flow: Counts, timebase: Timebase, boot: int) -> Floats:
    """Steps of one boot's count [m, 4]: last time known at the old count, time of the new, pulses, window."""
    rows = np.flatnonzero(flow.boot == boot)
    rows = rows[np.lexsort((flow.seq[rows], flow.mono[rows]))]
    t = job_seconds(flow.boot[rows], flow.mono[rows], timebase)
    edge = job_seconds(flow.boot[rows], flow.edge_mono[rows], timebase)
    pulses = np.maximum.accumulate(flow.pulses[rows].astype(np.float64))
    usual = float(np.median(np.diff(t))) if len(t) > 1 else 0.2
    if flow.seq[rows[0]] == 0 and pulses[0] > 0:
        t, edge = np.concatenate([[t[0] - usual], t]), np.concatenate([[np.nan], edge])
        pulses = np.concatenate([[0.0], pulses])
    rises = np.flatnonzero(np.diff(pulses) > 0)
    when = np.where(np.isfinite(edge), np.minimum(edge, t), t)[rises + 1]
    quiet = np.minimum(t[rises], when)
    return np.stack([quiet, when, np.diff(pulses)[rises], t[rises + 1] - t[rises]], axis=1)


def _ordinary_period(steps: Floats) -> float:
    """The period of most pulses, seconds."""
    span = np.diff(steps[:, 1])
    forward = span > 0
    if not forward.any():
        return 0.2
    return _weighted_median((span / steps[1:, 2])[forward], steps[1:, 2][forward])


def _weighted_median(values: Floats, weights: Floats) -> float:
    """The value below which half of the weight lies; 0 for none."""
    if not len(values):
        return 0.0
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def _place_knots(steps: Floats, period: float) -> tuple[Floats, Floats]:
    """Times and counts of the curve's knots, with flat stretches where nothing flowed."""
    quiet, when, count, window = steps.T
    when = np.maximum.accumulate(when)
    previous = np.concatenate([[-np.inf], when[:-1]])
    first = np.maximum(when - (count - 1.0) * period, np.maximum(quiet, previous))
    first = np.minimum(first, when)
    gap = first - previous
    is_break = gap > np.maximum(np.maximum(MIN_GAP_S, GAP_PULSES * period), window)
    local = _local_periods(when, count, is_break, period)
    first = np.minimum(np.maximum(when - (count - 1.0) * local[1], np.maximum(quiet, previous)), when)
    room = np.where(np.isfinite(gap), gap / 3, np.inf)
    total = np.cumsum(count)
    knots: list[tuple[float, float]] = []
    for i in np.flatnonzero(is_break).tolist():
        before = float(total[i - 1]) if i > 0 else 0.0
        if i > 0:
            knots.append((float(when[i - 1] + min(local[0, i - 1] / 2, room[i])), before))
        knots.append((float(first[i] - min(local[1, i] / 2, room[i])), before))
    knots.append((float(when[-1] + local[0, -1] / 2), float(total[-1])))
    ends = np.array(knots)
    t = np.concatenate([when, ends[:, 0]])
    pulses = np.concatenate([total - 0.5, ends[:, 1]])
    order = np.lexsort((pulses, t))
    return np.maximum.accumulate(t[order]), np.maximum.accumulate(pulses[order])


def _local_periods(when: Floats, count: Floats, is_break: Bools, period: float) -> Floats:
    """The period of the pulses up to each step's end and after it [2, n], no longer than a break."""
    own = np.where(is_break, np.nan, np.diff(when, prepend=when[0]) / count)
    after = np.append(own[1:], np.nan)
    up_to = np.where(np.isfinite(own), own, after)
    onward = np.where(np.isfinite(after), after, own)
    local = np.nan_to_num(np.stack([up_to, onward]), nan=period)
    bounded: Floats = np.clip(local, 0.0, max(MIN_GAP_S, GAP_PULSES * period))
    return bounded


def _litres_of_steps(step: Floats, count: Floats, meter: FlowMeter) -> Floats:
    """Litres of each step of the curve."""
    return litres_from_pulses(count, count / np.maximum(step, 1e-9), meter=meter)


def _runs(claims: Bools) -> list[tuple[int, int]]:
    """First and last-but-one index of each run of true values."""
    edges = np.diff(np.concatenate([[0], claims.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True))


def _mean_rate(curve: VolumeCurve, span: Interval, t: Floats) -> Floats:
    """The moving mean of the flow inside one interval."""
    low = np.maximum(t - SMOOTH_S / 2, span.start_t)
    high = np.minimum(t + SMOOTH_S / 2, span.end_t)
    mean: Floats = (litres_at(curve, high) - litres_at(curve, low)) / np.maximum(high - low, 1e-9)
    return mean
