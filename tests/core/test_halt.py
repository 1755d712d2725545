"""A cup that halts at once is stuck: never said of a sound cup in any air, always of one held fast in a breeze."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_sim.sensors.anemometer import STEP_S, Cup, cup_pulses, spin_cup
from firmware_sim.sensors.flow_meter import pulse_edges
from server.core.cup import Apparent, apparent_by_second
from server.core.halt import Turning, note_turning, slowest_cup
from server.core.log import WindSamples
from server.core.results import Interval, Track, WindSeries
from server.core.setup import Anemometer, Treatment
from server.core.timebase import Timebase
from server.core.wind import Second, WindFold, estimate_wind

CUP = Anemometer(mps_per_hz=0.34, offset_mps=0.2, threshold_mps=0.5, distance_constant_m=2.5)
ONE_BOOT = Timebase(np.zeros(1), 0.0)


def count_edges(edges: np.ndarray, seconds: float) -> WindSamples:
    """What a rig says five times a second of a cup whose edges come at given times."""
    mono = np.arange(0.0, seconds + 1e-9, 0.2)
    pulses = np.searchsorted(edges, mono, "right").astype(float)
    edge = np.where(pulses > 0, np.concatenate(([np.nan], edges))[pulses.astype(int)], np.nan)
    index, none = np.arange(len(mono)), np.full(len(mono), np.nan)
    return WindSamples(np.zeros_like(index), index, mono, pulses, edge, 0.0 * mono, none, none)


def read_cup(cup: Cup, air: np.ndarray) -> Apparent:
    """The readings of the simulator's cup in air given every STEP_S seconds."""
    t = STEP_S * np.arange(len(air))
    edges = pulse_edges(cup_pulses(cup, t, spin_cup(cup, t, air)))
    return apparent_by_second(count_edges(edges, float(t[-1])), ONE_BOOT, anemometer=CUP)


def watch(air: Apparent, anemometer: Anemometer = CUP) -> list[bool]:
    """Whether the cup is held to have halted, second by second."""
    turning, found = Turning(), []
    for t, mps, is_bound in zip(air.t.tolist(), air.mps.tolist(), air.is_bound.tolist(), strict=True):
        turning = note_turning(turning, t=t, mps=mps, is_bound=is_bound, anemometer=anemometer)
        found.append(turning.is_halted)
    return found


BREATHS = st.lists(st.tuples(st.floats(0.0, 12.0), st.floats(0.5, 30.0)), min_size=2, max_size=8)


@settings(max_examples=60)
@given(BREATHS, st.sampled_from([1.3, 1.5, 2.5, 4.0]), st.sampled_from([1.0, 1.6]), st.sampled_from([0.3, 0.5, 0.8]))
def test_no_air_that_drops_at_once_makes_a_sound_cup_seem_stuck(
    breaths: list[tuple[float, float]], length_m: float, slow: float, threshold: float
) -> None:
    """The simulator's cup, lighter and heavier than its settings say, in air that jumps from speed to speed."""
    air = np.concatenate([np.full(max(round(seconds / STEP_S), 1), mps) for mps, seconds in breaths])
    cup = Cup(distance_constant_m=length_m, slow_to_stop=slow, threshold_mps=threshold)
    assert not any(watch(read_cup(cup, air)))


@given(st.floats(0.5, 15.0), st.floats(0.0, 1.0), st.floats(0.3, 0.8))
def test_no_air_and_friction_slow_a_cup_further_than_the_bound(start: float, factor: float, friction: float) -> None:
    """The filter in distance with bearings that take u²/L, stepped finely in air that follows the cup by a factor."""
    cup, speed = Anemometer(threshold_mps=friction, distance_constant_m=2.5), start

    def change(c: float) -> float:
        return (factor * c / 1.25) * (factor * c - c) - friction**2 / 1.25

    for step in range(1, 2001):
        speed = max(speed + 0.005 * change(speed + 0.0025 * change(speed)), 0.0)
        assert speed >= slowest_cup(start, 0.005 * step, anemometer=cup) - 0.02


def test_the_slowest_fall_is_in_air_of_half_the_cups_speed() -> None:
    """Without friction 1/c grows by t / 4 L: 1/3 + 2/5 after 2 s at L = 1.25 m (the settings' 2.5, halved)."""
    cup = Anemometer(threshold_mps=0.3, distance_constant_m=2.5)
    assert slowest_cup(3.0, 2.0, anemometer=cup) == pytest.approx(1.0 / (1.0 / 3.0 + 2.0 / 5.0), abs=0.25)
    assert slowest_cup(3.0, 2.0, anemometer=cup) < 1.0 / (1.0 / 3.0 + 2.0 / 5.0)


@pytest.mark.parametrize("air_mps", [2.2, 3.0, 5.0, 9.0])
def test_a_cup_held_fast_in_a_breeze_is_found_at_once_and_believed_when_it_has_spun_up(air_mps: float) -> None:
    air = read_cup(Cup(stuck=((20.0, 50.0),)), np.full(round(90.0 / STEP_S), air_mps))
    halted = dict(zip(air.t.tolist(), watch(air), strict=True))
    assert not any(is_halted for t, is_halted in halted.items() if t <= 20.0)
    assert all(is_halted for t, is_halted in halted.items() if 22.0 < t <= 50.0)
    believed = np.array([not is_halted for is_halted in halted.values()]) & (air.t > 50.0)
    assert believed[air.t > 60.0].all()
    assert air.mps[believed].min() > 0.97 * air_mps


def test_a_cup_that_slows_with_the_wind_is_believed() -> None:
    """From 3 m/s to nothing in 20 s, the wind of an evening that falls asleep."""
    air = read_cup(Cup(), np.interp(STEP_S * np.arange(2000), [0.0, 30.0, 50.0], [3.0, 3.0, 0.0]))
    assert not any(watch(air))
    assert air.mps[-1] < 0.8


def walk(seconds: int, stuck: tuple[tuple[float, float], ...], wind: float = 4.0) -> tuple[WindSeries, np.ndarray]:
    """A walk up and down the wind, every 30 s another way, with a cup that sticks; the series and the true speed."""
    t = STEP_S * np.arange(round(seconds / STEP_S) + 1)
    north = np.where(t // 30.0 % 2 == 0, 1.2, -1.2)
    samples = count_edges(
        pulse_edges(cup_pulses(Cup(), t, spin_cup(Cup(stuck=stuck), t, np.abs(wind - north)))), float(seconds)
    )
    at = np.arange(0.1, seconds, 0.2)
    zero, index = np.zeros(len(at)), np.zeros(len(at), dtype=np.int64)
    track = Track(
        index, at, at, at, zero, zero, zero, zero, zero, np.interp(at, t, north), zero, zero, index,
        np.zeros((0, len(at), 2)),
    )  # fmt: skip
    series = estimate_wind(
        samples, track, ONE_BOOT, anemometer=CUP, treatment=Treatment(0.04, wind_limit_mps=8.0),
        rng=np.random.default_rng(1), intervals=(Interval(0.0, float(seconds), 1.0),),
    )  # fmt: skip
    return series, np.full(len(series.t), wind)


def test_a_cup_that_sticks_on_a_walk_bends_nothing_of_what_is_told() -> None:
    series, true = walk(420, ((240.0, 300.0),))
    late = series.t > 120.0
    told = late & np.isfinite(series.mean_60s_mps)
    assert np.abs(series.mean_60s_mps - true)[told].max() < 0.3
    assert (np.abs(series.mean_60s_mps - true) < 1.645 * series.mean_60s_sd_mps)[told].mean() > 0.95
    blind = (series.t > 255.0) & (series.t < 300.0)
    assert np.isnan(series.mean_60s_mps[blind]).all()
    assert "notice" in {series.alarm[row] for row in np.flatnonzero(blind)}
    assert told[series.t > 320.0].all()


def test_what_was_said_of_a_standing_cup_is_taken_back_when_it_is_found_stuck() -> None:
    """It sticks in 1.3 m/s from ahead, where it may stand for all one knows; only the turn disproves it."""
    series, _ = walk(300, ((150.0, 230.0),), wind=2.5)
    stuck = np.array([np.isnan(mps) for mps in series.apparent_mps])
    first = series.t[stuck][0]
    standing = (series.t > 152.0) & (series.t < min(first, 230.0))
    assert np.isnan(series.smooth_mps[standing]).all()
    assert np.isnan(series.smooth_mps[(series.t > 190.0) & (series.t < 230.0)]).all()


def test_more_than_any_wind_is_a_loose_contact() -> None:
    fold = WindFold(anemometer=CUP, treatment=Treatment(0.04, wind_limit_mps=4.5))
    for t in range(90):
        now = fold.step(Second(float(t), 70.0 if t == 60 else 3.0, False, 0.0, 0.0, 0.05, True))
    assert now.alarm.level == "none"
    assert now.gust_3s_mps < 4.0
