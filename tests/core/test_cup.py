"""From counts to apparent wind: exact with edges, never 0, never across a gap or a restart."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.cup import Apparent, apparent_by_second, speed_of_rate
from server.core.log import WindSamples
from server.core.setup import Anemometer
from server.core.timebase import Timebase

CUP = Anemometer(mps_per_hz=0.34, offset_mps=0.2, threshold_mps=0.5)
ONE_BOOT = Timebase(np.zeros(1), 0.0)


def count_pulses(rate_hz: float, mono: np.ndarray, *, boot: int = 0, phase: float = 0.3) -> WindSamples:
    """A cup that turns evenly: pulses counted and the last edge's time at each sample."""
    pulses = np.floor(mono * rate_hz + phase)
    edge = np.where(pulses > 0, (pulses - phase) / rate_hz if rate_hz else np.nan, np.nan)
    none = np.full(len(mono), np.nan)
    index = np.arange(len(mono))
    return WindSamples(np.full(len(mono), boot), index, mono, pulses, edge, 0 * mono, none, none)


def join(first: WindSamples, second: WindSamples) -> WindSamples:
    """Two stretches of messages one after the other."""
    names = ("boot", "seq", "mono", "pulses", "edge_mono", "edges_rejected", "speed_mps", "from_bow_deg")
    return WindSamples(*(np.concatenate((getattr(first, name), getattr(second, name))) for name in names))


def read(samples: WindSamples, timebase: Timebase = ONE_BOOT) -> Apparent:
    return apparent_by_second(samples, timebase, anemometer=CUP)


@settings(max_examples=60, deadline=None)
@given(st.floats(2.5, 60.0), st.floats(0.05, 0.95), st.sampled_from([0.1, 0.2, 0.5, 1.0]))
def test_an_even_rate_is_read_exactly_however_the_samples_fall(rate_hz: float, phase: float, every_s: float) -> None:
    """Reciprocal counting: no quantum of one pulse a second, as counting alone would have (0.34 m/s here)."""
    air = read(count_pulses(rate_hz, np.arange(0, 20, every_s), phase=phase))
    late = air.mps[2:]
    assert late == pytest.approx(0.2 + 0.34 * rate_hz, abs=1e-6)
    assert not air.is_bound[2:].any()


def test_the_line_is_offset_plus_slope_times_frequency() -> None:
    """V = A f + B, the linear calibration of cups (physics.md 1.4, MEASNET practice)."""
    assert speed_of_rate(10.0, anemometer=CUP) == pytest.approx(3.6)
    assert np.isnan(speed_of_rate(10.0, anemometer=Anemometer(mps_per_hz=None)))


def test_a_standing_cup_says_below_and_never_zero() -> None:
    """Below the starting threshold is flagged, not averaged as 0 (EPA-454/R-99-005, 6.2)."""
    air = read(count_pulses(0.0, np.arange(0, 30, 0.2)))
    assert air.is_bound.all()
    assert (air.mps >= CUP.threshold_mps).all()
    assert air.mps[-1] == pytest.approx(CUP.threshold_mps)


def test_a_cup_that_has_just_stopped_is_below_one_pulse_in_the_time_since() -> None:
    mono = np.arange(0, 20, 0.2)
    turning = count_pulses(10.0, mono)
    stopped = mono > 10.0
    pulses = np.where(stopped, turning.pulses[50], turning.pulses)
    edge = np.where(stopped, turning.edge_mono[50], turning.edge_mono)
    samples = WindSamples(*(turning.boot, turning.seq, mono, pulses, edge), *[turning.speed_mps] * 3)
    air = read(samples)
    at = np.flatnonzero(air.t == 12.0)[0]
    assert air.is_bound[at]
    assert air.mps[at] == pytest.approx(max(0.2 + 0.34 / (12.0 - turning.edge_mono[50]), 0.5), rel=1e-6)


def test_a_gap_in_the_messages_is_unknown_wind() -> None:
    mono = np.arange(0, 40, 0.2)
    air = read(count_pulses(10.0, mono[(mono < 10) | (mono > 20)]))
    assert np.isnan(air.mps[(air.t > 12) & (air.t < 20)]).all()
    assert air.mps[air.t > 22] == pytest.approx(3.6, abs=1e-6)


def test_lost_messages_inside_a_second_lose_nothing() -> None:
    mono = np.arange(0, 40, 0.2)
    kept = np.random.default_rng(4).random(len(mono)) > 0.5
    air = read(count_pulses(10.0, mono[kept]))
    assert air.mps[np.isfinite(air.mps)][3:] == pytest.approx(3.6, abs=1e-6)


def test_a_restart_begins_a_new_count() -> None:
    mono = np.arange(0, 10, 0.2)
    samples = join(count_pulses(10.0, mono), count_pulses(20.0, mono, boot=1))
    air = read(samples, Timebase(np.array([0.0, 60.0]), 0.0))
    assert np.nanmax(air.mps) == pytest.approx(7.0, abs=1e-6)
    assert air.mps[air.t > 62] == pytest.approx(7.0, abs=1e-6)
    assert set(air.boot[air.t > 60]) == {1}


def test_an_instrument_that_tells_speed_is_averaged() -> None:
    mono = np.arange(0, 10, 0.2)
    none = np.full(len(mono), np.nan)
    index = np.arange(len(mono))
    samples = WindSamples(np.zeros_like(index), index, mono, none, none, none, 3.0 + 0.5 * (-1.0) ** index, none)
    air = read(samples)
    assert air.mps == pytest.approx(3.0, abs=0.11)
    assert not air.is_bound.any()


def test_without_a_slope_no_speed_is_invented() -> None:
    air = apparent_by_second(
        count_pulses(10.0, np.arange(0, 10, 0.2)), ONE_BOOT, anemometer=Anemometer(mps_per_hz=None)
    )
    assert np.isnan(air.mps).all()


def test_no_messages_give_no_seconds() -> None:
    none, index = np.zeros(0), np.zeros(0, dtype=np.int64)
    assert len(read(WindSamples(index, index, *[none] * 6)).t) == 0


def test_a_log_of_less_than_a_second_gives_no_seconds() -> None:
    assert len(read(count_pulses(10.0, np.array([0.0, 0.2, 0.4]))).t) == 0
