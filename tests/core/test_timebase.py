"""Boots join on one axis and what never came is counted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.log import Counts, Happening
from server.core.timebase import Timebase, align_boots, count_missing, fix_times, job_seconds


def _counts(boot, seq, mono):
    n = len(seq)
    return Counts(
        np.asarray(boot, dtype=np.int64),
        np.asarray(seq, dtype=np.int64),
        np.asarray(mono, dtype=np.float64),
        np.arange(n),
        np.full(n, np.nan),
        np.zeros(n, dtype=np.int64),
    )


def _overflow(stream, first, last, boot=0):
    detail = {"stream": stream, "from_seq": first, "to_seq": last}
    return Happening("device", boot, 0, 50.0, "overflow", detail)


def _two_boots(bench, late_s):
    """A receiver heard by two boots whose clocks start at 100 and 20, the second 300 s after the first."""
    rng = np.random.default_rng(3)
    utc = np.concatenate([np.arange(0, 60, 0.2), 300 + np.arange(0, 60, 0.2)])
    boot = np.repeat([0, 1], 300)
    mono = np.where(boot == 0, 100 + utc, 20 + utc - 300) + late_s + np.abs(0.02 * rng.standard_normal(600))
    fixes = bench.make_fixes(utc, np.zeros(600), np.zeros(600), None)
    return type(fixes)(
        boot, np.concatenate([np.arange(300)] * 2), mono, fixes.quality, utc + 1e9,
        *[getattr(fixes, name) for name in fixes.__slots__[5:]],
    )  # fmt: skip


def test_boots_join_by_the_receivers_date(bench):
    log = bench.make_log(fixes=_two_boots(bench, 0.08), boots=2, arrival_offsets_s=(0.0, 0.0))
    timebase = align_boots(log, latency_s=0.08)
    assert timebase.shift_s[0] == 0.0
    assert timebase.shift_s[1] == pytest.approx(380.0, abs=0.01)
    assert timebase.utc_offset_s == pytest.approx(1e9 - 100.0, abs=0.01)


def test_fix_times_are_the_receivers_whatever_the_bytes_jitter(bench):
    fixes = _two_boots(bench, 0.08)
    timebase = align_boots(bench.make_log(fixes=fixes, boots=2), latency_s=0.08)
    t = fix_times(fixes, timebase, latency_s=0.08)
    assert np.ptp(t + timebase.utc_offset_s - fixes.utc) < 1e-6


def test_wrong_dates_are_passed_over(bench):
    fixes = _two_boots(bench, 0.0)
    utc = fixes.utc.copy()
    utc[5] -= 1024 * 7 * 86400.0  # a week roll-over: 1024 weeks = 619,315,200 s (physics.md 3.4)
    utc[50] += 18.0
    odd = type(fixes)(*[utc if name == "utc" else getattr(fixes, name) for name in fixes.__slots__])
    timebase = align_boots(bench.make_log(fixes=odd, boots=2), latency_s=0.0)
    assert timebase.shift_s[1] == pytest.approx(380.0, abs=0.01)
    t = fix_times(odd, timebase, latency_s=0.0)
    assert np.diff(t).max() < 300.0 - 59.0


def test_a_boot_without_a_date_is_placed_by_arrival(bench):
    fixes = _two_boots(bench, 0.0)
    utc = np.where(fixes.boot == 0, fixes.utc, np.nan)
    undated = type(fixes)(*[utc if name == "utc" else getattr(fixes, name) for name in fixes.__slots__])
    # The service's clock is 5 s ahead of UTC: the boot with both tells.
    offsets = (1e9 - 100 + 5.0, 1e9 + 280 + 5.0)
    timebase = align_boots(bench.make_log(fixes=undated, boots=2, arrival_offsets_s=offsets), latency_s=0.0)
    assert timebase.shift_s[1] == pytest.approx(380.0, abs=0.05)


def test_no_date_at_all_leaves_utc_unknown(bench):
    fixes = _two_boots(bench, 0.0)
    undated = type(fixes)(
        *[np.full(600, np.nan) if name == "utc" else getattr(fixes, name) for name in fixes.__slots__]
    )
    timebase = align_boots(bench.make_log(fixes=undated, boots=2, arrival_offsets_s=(900.0, 1280.0)), latency_s=0.0)
    assert np.isnan(timebase.utc_offset_s)
    assert timebase.shift_s[1] == pytest.approx(380.0)
    assert np.isfinite(fix_times(undated, timebase, latency_s=0.1)).all()


def test_boots_never_overlap_when_arrival_misleads(bench):
    flow = _counts([0] * 3 + [1] * 3, [0, 1, 2] * 2, [10.0, 60.0, 110.0, 0.0, 50.0, 100.0])
    timebase = align_boots(bench.make_log(flow=flow, boots=2, arrival_offsets_s=(500.0, 520.0)), latency_s=0.0)
    t = job_seconds(flow.boot, flow.mono, timebase)
    assert (np.diff(t) >= 0).all()


def test_gaps_are_counted_once_even_where_declared(bench):
    flow = _counts([0] * 4, [10, 11, 15, 16], [2.0, 2.2, 3.0, 3.2])
    log = bench.make_log(flow=flow, happenings=(_overflow("flow", 12, 13), _overflow("flow", 13, 14)))
    assert count_missing(log, Timebase(np.zeros(1), 0.0)).by_stream["flow"] == 3


def test_a_declared_loss_beyond_what_came_is_counted(bench):
    flow = _counts([0] * 3, [10, 11, 12], [2.0, 2.2, 2.4])
    log = bench.make_log(flow=flow, happenings=(_overflow("flow", 4, 8), _overflow("wind", 0, 4)))
    missing = count_missing(log, Timebase(np.zeros(1), 0.0))
    assert (missing.by_stream["flow"], missing.by_stream["wind"], missing.total) == (5, 5, 10)


def test_an_outage_counts_the_samples_it_would_have_held(bench):
    first, second = np.arange(0, 10, 0.2), np.arange(0, 10, 0.2)
    flow = _counts([0] * 50 + [1] * 50, [*range(50)] * 2, [*first, *second])
    timebase = Timebase(np.array([0.0, 30.0]), 0.0)
    # From 9.8 s to 30 s at 5 a second: 20.2 / 0.2 - 1 samples never taken.
    assert count_missing(bench.make_log(flow=flow, boots=2), timebase).by_stream["flow"] == 100


def test_a_later_boots_lost_beginning_is_not_counted_twice(bench):
    flow = _counts([0] * 50 + [1] * 40, [*range(50), *range(10, 50)], [*np.arange(50) / 5, *np.arange(10, 50) / 5])
    timebase = Timebase(np.array([0.0, 30.0]), 0.0)
    assert count_missing(bench.make_log(flow=flow, boots=2), timebase).by_stream["flow"] == 110


@given(st.sets(st.integers(1, 198), max_size=60))
def test_missing_is_what_was_taken_away(lost):
    from server.core.log import Boot, ClimateSamples, Fixes, JobLog, Receipt, WindSamples

    kept = np.array([k for k in range(200) if k not in lost])
    none = np.zeros(0, dtype=np.int64)
    log = JobLog(
        "test", (Boot("a" * 8, 0.0, 0.0),), Fixes(*[none] * 14), _counts(np.zeros(len(kept)), kept, kept / 5),
        WindSamples(*[none] * 8), ClimateSamples(*[none] * 5), (), Receipt(0, 0, 0), "",
    )  # fmt: skip
    assert count_missing(log, Timebase(np.zeros(1), 0.0)).total == len(lost)
