"""One time axis for a whole job, whatever the device's clocks did: job seconds `t`.

`mono` in seconds of one boot's monotonic clock, `utc` in seconds since 1970, `t` in seconds with t = mono + shift of
the boot and utc = t + offset of the job. The first boot has shift 0.
"""

from dataclasses import dataclass

import numpy as np

from server.core.log import ClimateSamples, Counts, Fixes, Floats, Integers, JobLog, WindSamples
from server.core.results import Bools, Missing

ENVELOPE = 0.98
"""Quantile of (utc - mono) taken as its upper envelope: late bytes only lower it, a torn one must not raise it."""
DATE_BAND_S = 2.0
"""Fix times further than this from their boot's median offset are wrong dates, not late bytes."""
Periodic = Fixes | Counts | WindSamples | ClimateSamples


@dataclass(frozen=True, slots=True)
class Timebase:
    """Each boot's `shift_s` onto the job's axis; `utc_offset_s` = utc - t, NaN when no date was ever received."""

    shift_s: Floats
    utc_offset_s: float


def align_boots(log: JobLog, *, latency_s: float) -> Timebase:
    """Join the boots of a job on one axis.

    The receiver's UTC gives offset = utc - mono + latency for each boot: the upper envelope of the fixes, since what
    comes late only lowers it. A boot without a date is placed by when its messages arrived, and never on top of its
    neighbours.

    Parameters
    ----------
    log
        The job's samples.
    latency_s
        How much later than the instant it describes a fix's first byte comes [s].

    Returns
    -------
    Timebase
        A shift a boot [boots] [s] and the job's UTC offset [s], NaN when no fix had a date.

    Notes
    -----
    With dates boots join to the receiver's jitter, a few hundredths of a second. By arrival alone a boot whose messages
    were all sent late is placed too late.

    References
    ----------
    Derivation: mono of a fix = its instant + latency + jitter, jitter never negative.

    Examples
    --------
    >>> from server.core.log import Boot, Receipt
    >>> none = np.zeros(0)
    >>> fixes = Fixes(*[np.array([0, 1])] * 2, np.array([10.1, 5.1]), np.array([1, 1]), np.array([1010.0, 1105.0]),
    ...     *[np.zeros(2)] * 9)
    >>> log = JobLog("rig", (Boot("a", 0.0, 1000.0), Boot("b", 0.0, 1100.0)), fixes, Counts(*[none] * 6),
    ...     WindSamples(*[none] * 8), ClimateSamples(*[none] * 5), (), Receipt(2, 0, 0), "")
    >>> timebase = align_boots(log, latency_s=0.1)
    >>> timebase.shift_s.round(3), round(timebase.utc_offset_s, 3)
    (array([  0., 100.]), 1000.0)
    """
    count = len(log.boots)
    dated = np.array([_envelope(log.fixes, k, latency_s) for k in range(count)])
    arrived = np.array([boot.arrival_offset_s for boot in log.boots], dtype=np.float64)
    both = np.isfinite(dated) & np.isfinite(arrived)
    skew = float(np.median(dated[both] - arrived[both])) if both.any() else 0.0
    offset = np.where(np.isfinite(dated), dated, arrived + skew)
    offset = _part_boots(log, np.nan_to_num(offset), np.isfinite(dated))
    if count == 0:
        return Timebase(np.zeros(0), float("nan"))
    return Timebase(offset - offset[0], float(offset[0]) if np.isfinite(dated).any() else float("nan"))


def fix_times(fixes: Fixes, timebase: Timebase, *, latency_s: float) -> Floats:
    """The instants that fixes describe, in job seconds.

    A fix's own UTC where it has one that fits its boot, else when its first byte came less the latency.

    Parameters
    ----------
    fixes
        Position messages [n].
    timebase
        The job's axis.
    latency_s
        How much later than the instant it describes a fix's first byte comes [s].

    Returns
    -------
    Floats
        Job seconds [n] [s], never falling.

    References
    ----------
    Derivation: t = utc - offset, and t = mono + shift - latency without a date.

    Examples
    --------
    >>> fixes = Fixes(*[np.zeros(2, dtype=np.int64)] * 2, np.array([10.15, 10.36]), np.array([1, 1]),
    ...     np.array([1010.0, np.nan]), *[np.zeros(2)] * 9)
    >>> fix_times(fixes, Timebase(np.zeros(1), 1000.0), latency_s=0.1).round(3)
    array([10.  , 10.26])
    """
    by_arrival = job_seconds(fixes.boot, fixes.mono, timebase) - latency_s
    by_date = fixes.utc - timebase.utc_offset_s
    is_sound = np.abs(by_date - by_arrival) < DATE_BAND_S
    t = np.where(is_sound, by_date, by_arrival)
    return np.maximum.accumulate(t) if len(t) else t


def job_seconds(boot: Integers, mono: Floats, timebase: Timebase) -> Floats:
    """Times of the device's clock in job seconds.

    Parameters
    ----------
    boot
        Index of the boot of each time [n].
    mono
        Device's clock [n] [s]; NaN gives NaN.
    timebase
        The job's axis.

    Returns
    -------
    Floats
        Job seconds [n] [s].

    References
    ----------
    Derivation: t = mono + shift of the boot.

    Examples
    --------
    >>> job_seconds(np.array([0, 1]), np.array([5.0, 1.0]), Timebase(np.array([0.0, 60.0]), 0.0))
    array([ 5., 61.])
    """
    if len(boot) == 0:
        return np.zeros(0)
    return np.asarray(mono, dtype=np.float64) + timebase.shift_s[boot]


def count_missing(log: JobLog, timebase: Timebase) -> Missing:
    """How many messages of each stream never came.

    Gaps in a boot's sequence numbers, from 0 for every boot but the first (a job may begin in the middle of that);
    what an `overflow` declared lost beyond these; and for the periodic streams the samples that an outage between two
    boots would have held at the stream's own median period.

    Parameters
    ----------
    log
        The job's samples.
    timebase
        The job's axis, to measure outages by.

    Returns
    -------
    Missing
        Counts by stream.

    Notes
    -----
    What a boot lost at its very end is counted as part of the outage. A refused message leaves a gap here too.

    References
    ----------
    Derivation: sequence numbers count up by one a stream and boot; samples of an outage = its length / period - 1.

    Examples
    --------
    >>> from server.core.log import Boot, Receipt
    >>> none = np.zeros(0, dtype=np.int64)
    >>> flow = Counts(np.zeros(3, dtype=np.int64), np.array([4, 5, 8]), np.array([0.0, 0.2, 0.8]), *[np.zeros(3)] * 3)
    >>> log = JobLog("rig", (Boot("a", 0.0, 0.0),), Fixes(*[none] * 14), flow, WindSamples(*[none] * 8),
    ...     ClimateSamples(*[none] * 5), (), Receipt(3, 0, 0), "")
    >>> count_missing(log, Timebase(np.zeros(1), 0.0)).by_stream["flow"]
    2
    """
    streams: dict[str, Periodic] = {
        "position": log.fixes,
        "flow": log.flow,
        "wind": log.wind,
        "climate": log.climate,
    }
    counts = {
        name: sum(_count_gaps(log, name, k, series.seq[series.boot == k]) for k in range(len(log.boots)))
        + _count_outages(series, timebase)
        for name, series in streams.items()
    }
    for source, name in (("device", "event"), ("operator", "operator")):
        counts[name] = sum(
            _count_gaps(
                log,
                name,
                k,
                np.array([h.seq for h in log.happenings if h.source == source and h.boot == k], dtype=np.int64),
            )
            for k in range(len(log.boots))
        )
    return Missing(counts)


def _envelope(fixes: Fixes, boot: int, latency_s: float) -> float:
    """Upper envelope of (utc - mono + latency) of one boot, NaN without a date."""
    chosen = (fixes.boot == boot) & np.isfinite(fixes.utc)
    offset = fixes.utc[chosen] - fixes.mono[chosen] + latency_s
    if not len(offset):
        return float("nan")
    sound = offset[np.abs(offset - np.median(offset)) < DATE_BAND_S]
    return float(np.quantile(sound, ENVELOPE)) if len(sound) else float(np.median(offset))


def _part_boots(log: JobLog, offset: Floats, is_dated: Bools) -> Floats:
    """Move boots without a date apart where they would overlap a neighbour."""
    spans = [_boot_span(log, k) for k in range(len(log.boots))]
    parted = offset.copy()
    for k in range(1, len(spans)):
        before, this = spans[k - 1], spans[k]
        if not is_dated[k] and before is not None and this is not None:
            parted[k] = max(parted[k], parted[k - 1] + before[1] - this[0])
    for k in range(len(spans) - 2, -1, -1):
        this, after = spans[k], spans[k + 1]
        if not is_dated[k] and this is not None and after is not None:
            parted[k] = min(parted[k], parted[k + 1] + after[0] - this[1])
    return parted


def _boot_span(log: JobLog, boot: int) -> tuple[float, float] | None:
    """First and last mono of one boot over all streams, None if it said nothing."""
    monos = [s.mono[s.boot == boot] for s in (log.fixes, log.flow, log.wind, log.climate)]
    joined = np.concatenate([*monos, [h.mono for h in log.happenings if h.boot == boot and h.source == "device"]])
    return (float(joined.min()), float(joined.max())) if len(joined) else None


def _count_gaps(log: JobLog, stream: str, boot: int, seq: Integers) -> int:
    """Sequence numbers of one stream and boot that never came, declared ones included once."""
    came = np.unique(seq)
    ranges = [
        (int(event.detail["from_seq"]), int(event.detail["to_seq"]))
        for event in log.happenings
        if event.boot == boot and event.kind == "overflow" and event.detail.get("stream") == stream
    ]
    if len(came):
        ranges.append((0 if boot > 0 else int(came[0]), int(came[-1])))
    covered, reach = 0, -1
    for first, last in sorted(ranges):
        covered += max(0, last - max(first, reach + 1) + 1)
        reach = max(reach, last)
    return covered - len(came)


def _count_outages(series: Periodic, timebase: Timebase) -> int:
    """Samples that the outages between boots would have held at the stream's own period."""
    if len(series.boot) < 3:
        return 0
    t = job_seconds(series.boot, series.mono, timebase)
    is_same = np.diff(series.boot) == 0
    steps = np.diff(t)[is_same & (np.diff(series.seq) == 1)]
    if not len(steps) or np.median(steps) <= 0:
        return 0
    period = float(np.median(steps))
    count = 0
    for i in np.flatnonzero(~is_same):
        begins = t[i + 1] - int(series.seq[i + 1]) * period
        count += max(0, round((begins - t[i]) / period) - 1)
    return count
