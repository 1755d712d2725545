"""The simulated cup: what a walker feels, inertia in distance, threshold, calibration line."""

import math
from dataclasses import replace

import numpy as np
import pytest

from firmware_sim.build import build_world
from firmware_sim.scenarios import HEADING, SCENARIOS, Scenario, plan_strips, strip_lawn
from firmware_sim.sensors.anemometer import (
    Cup,
    SpeedMeter,
    Vane,
    cup_pulses,
    feel_air,
    feel_bearing,
    relative_speed,
    spin_cup,
    tell_bearing,
    tell_speed,
)
from firmware_sim.sensors.flow_meter import pulse_edges
from firmware_sim.world.wind import WindPlan


def wind_from(speed_mps, from_deg):
    """A wind vector (where the air goes) from a speed and the direction it comes from."""
    to = math.radians(from_deg + 180.0)
    return np.array([speed_mps * math.sin(to)]), np.array([speed_mps * math.cos(to)])


def walking(speed_mps, heading_deg):
    """A velocity."""
    h = math.radians(heading_deg)
    return np.array([speed_mps * math.sin(h)]), np.array([speed_mps * math.cos(h)])


@pytest.mark.parametrize(
    ("wind", "walk", "felt"),
    [
        ((3.0, 60.0), (1.2, 0.0), 3.7470),
        ((3.0, 60.0), (1.2, 180.0), 2.6153),
        ((3.0, 0.0), (1.2, 0.0), 4.2),
        ((3.0, 180.0), (1.2, 0.0), 1.8),
        ((3.0, 90.0), (1.2, 0.0), 3.231),
        ((4.47, 0.0), (1.3, 0.0), 5.77),
        ((4.47, 180.0), (1.3, 0.0), 3.17),
        ((4.47, 90.0), (1.3, 0.0), 4.655),
    ],
)
def test_a_walker_feels_the_air_relative_to_himself(wind, walk, felt):
    """Rows W44 and W46 of the physics handbook (computed there, from the wind triangle)."""
    assert relative_speed(wind_from(*wind), walking(*walk))[0] == pytest.approx(felt, abs=1e-3)


def test_the_wind_triangle_of_the_published_test_set():
    """W35 (Smith, Bourassa and Sharp 1999, the authors' test set): a platform at 3 m/s on 270° in a true wind of 5 m/s
    from 36.869898° feels 4 m/s."""
    assert relative_speed(wind_from(5.0, 36.869898), walking(3.0, 270.0))[0] == pytest.approx(4.0, abs=1e-6)


@pytest.mark.parametrize("air_mps", [1.5, 3.0, 6.0])
def test_after_one_distance_constant_of_air_63_percent_of_a_step_is_felt(air_mps):
    """First order in distance, τ = L / A (Kristensen 2000): 1 − 1/e after A t = L, whatever the speed."""
    cup = Cup(distance_constant_m=2.5, threshold_mps=0.0, offset_mps=0.0)
    t = np.arange(0.0, 6.0, 0.001)
    air = np.where(t < 1.0, 1.0, air_mps)
    cup_speed = spin_cup(cup, t, air)
    at = np.searchsorted(t, 1.0 + 2.5 / air_mps)
    assert (cup_speed[at] - 1.0) / (air_mps - 1.0) == pytest.approx(1.0 - math.exp(-1.0), abs=0.003)


def test_a_cup_over_speeds_in_gusty_air():
    """Inertia that lags less in strong air reads a little high (Busch and Kristensen 1976): here 0 to 10 %."""
    t = np.arange(0.0, 300.0, 0.02)
    air = 4.0 + 1.6 * np.sin(2.0 * math.pi * t / 2.0)
    mean = float(np.mean(spin_cup(Cup(), t, air)[1000:]))
    assert 4.02 < mean < 4.4


def test_below_the_threshold_the_cup_stands():
    """A cup that stands starts only above its threshold."""
    t = np.arange(0.0, 60.0, 0.04)
    standing = spin_cup(Cup(threshold_mps=0.5), t, np.full(len(t), 0.45))
    assert np.all(standing == 0.0)
    moving = spin_cup(Cup(threshold_mps=0.5), t, np.full(len(t), 0.55))
    assert moving[-1] == pytest.approx(0.55)


def test_the_calibration_line_gives_the_frequency():
    """V = slope · f + offset: 3.6 m/s with 0.34 m/s per Hz and 0.2 m/s is 10 Hz."""
    t = np.arange(0.0, 20.0, 0.04)
    edges = pulse_edges(cup_pulses(Cup(), t, np.full(len(t), 3.6)))
    assert 1.0 / np.diff(edges) == pytest.approx(np.full(len(edges) - 1, 10.0), rel=1e-9)


def test_a_worn_cup_turns_slower_than_its_line_says():
    """A tenth slower: 10 Hz at (0.34 × 10 + 0.2) / 0.9 m/s, by hand."""
    t = np.arange(0.0, 100.0, 0.04)
    edges = pulse_edges(cup_pulses(Cup(wear=0.1), t, np.full(len(t), 4.0)))
    assert len(edges) / t[-1] == pytest.approx(10.0, rel=0.002)


def test_a_cup_that_slows_down_late_reads_high_in_gusts():
    """Over-speeding: the mean of a cup that takes twice as long to slow down lies above the one that does not."""
    t = np.arange(0.0, 300.0, 0.02)
    air = 4.0 + 1.6 * np.sin(2.0 * math.pi * t / 2.0)
    even, late = (float(np.mean(spin_cup(Cup(slow_to_stop=ratio), t, air)[1000:])) for ratio in (1.0, 2.0))
    assert late > even + 0.1


@pytest.mark.parametrize(("from_deg", "share"), [(0.0, 1.0), (90.0, 1.0), (180.0, 0.7), (225.0, 1.0 - 0.3 * 0.5)])
def test_the_body_takes_wind_from_behind(from_deg, share):
    """Walking north, 30 % taken from astern and cos² of it from the quarter; none from ahead and abeam."""
    felt = feel_air(Cup(shield=0.3), wind_from(4.0, from_deg), walking(0.0, 0.0), np.zeros(1))
    assert felt[0] == pytest.approx(4.0 * share)


def test_a_leaning_cup_sees_less_of_the_air_along_its_lean():
    """20 degrees ahead: cos 20° of air from ahead, all of it from the side."""
    ahead, aside = (feel_air(Cup(tilt_deg=20.0), wind_from(4.0, at), walking(0.0, 0.0), np.zeros(1)) for at in (0, 90))
    assert ahead[0] == pytest.approx(4.0 * math.cos(math.radians(20.0)))
    assert aside[0] == pytest.approx(4.0)


def test_a_stuck_cup_stands_and_an_iced_one_turns_late():
    """Steady 4 m/s: stuck from 20 to 40 s there is no turn; iced there is 30 % less, and none in 1.9 m/s."""
    t = np.arange(0.0, 80.0, 0.04)
    stuck = spin_cup(Cup(stuck=((20.0, 40.0),)), t, np.full(len(t), 4.0))
    assert stuck[(t > 20.1) & (t < 40.0)].max() == 0.0
    assert stuck[-1] == pytest.approx(4.0, abs=1e-6)
    iced = spin_cup(Cup(iced=((20.0, 100.0),)), t, np.full(len(t), 4.0))
    assert iced[-1] == pytest.approx(2.8, abs=1e-3)
    assert spin_cup(Cup(iced=((0.0, 100.0),), threshold_mps=3.0), t, np.full(len(t), 1.9))[-1] == 0.0


@pytest.mark.parametrize("turned", [0.0, 180.0])
def test_a_body_shields_the_cup_on_the_way_that_the_wind_follows_and_on_no_other(turned: float) -> None:
    """Out and back along the wind: whichever way it blows, one of the two ways lacks what the body takes."""
    plain = SCENARIOS["straight"]
    steady = WindPlan(4.5, HEADING + turned, 0.01, slow_sd=0.0, meander_deg=0.0)
    counts = [
        len(build_world(replace(plain, wind=steady, cup=replace(plain.cup, shield=shield)), 1).true_cup_edges)
        for shield in (0.0, 0.4)
    ]
    assert 0.8 < counts[1] / counts[0] < 0.9


def test_the_body_of_a_walker_in_a_world_is_behind_him():
    """Steady 4 m/s from 200°: on lines walked away from it half of it is taken, on the way back none."""
    wind = WindPlan(4.0, 200.0, 0.0, slow_sd=0.0, meander_deg=0.0)
    bare, shielded = (
        build_world(Scenario("w", "", strip_lawn(4, 40.0), plan_strips(4), wind=wind, cup=Cup(shield=share)), 3)
        for share in (0.0, 0.5)
    )
    north = bare.walk.velocity_at(bare.air_t)[1]
    ahead, back = north > 0.9 * north.max(), north < 0.9 * north.min()
    assert (shielded.air_mps / bare.air_mps)[ahead] == pytest.approx(0.5, abs=0.02)
    assert (shielded.air_mps / bare.air_mps)[back] == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(("from_deg", "heading", "bow"), [(90.0, 0.0, 90.0), (90.0, 90.0, 0.0), (10.0, 350.0, 20.0)])
def test_a_vane_points_from_the_bow(from_deg, heading, bow):
    """On a rig that stands: bearing less heading, the short way round."""
    found = feel_bearing(wind_from(3.0, from_deg), walking(0.0, 0.0), np.array([heading]))
    assert (found[0] - bow + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-9)


def test_a_vane_on_a_walk_feels_the_published_bearing():
    """Smith, Bourassa and Sharp (1999), row W34: wind of 7.07 from 225°, a platform at 5 on 90°: 90° from the bow."""
    found = feel_bearing(wind_from(7.0710678, 225.0), walking(5.0, 90.0), np.array([90.0]))
    assert found[0] == pytest.approx(90.0, abs=1e-4)


def test_instruments_say_what_they_feel_with_their_noise_and_freeze():
    t, rng = np.arange(0.0, 60.0, 0.04), np.random.default_rng(2)
    said = tell_speed(SpeedMeter(sd_mps=0.05, frozen=((20.0, 40.0),)), t, np.full(len(t), 3.0), rng)
    assert said[t < 20.0].mean() == pytest.approx(3.0, abs=0.01)
    assert said[t < 20.0].std() == pytest.approx(0.05, abs=0.01)
    assert len(set(said[(t >= 20.0) & (t < 40.0)].tolist())) == 1
    assert tell_speed(SpeedMeter(threshold_mps=0.3), t, np.full(len(t), 0.05), rng).max() == 0.0
    aimed = tell_bearing(Vane(sd_deg=4.0, askew_deg=7.0), t, np.full(len(t), 355.0), rng)
    off = (aimed - 355.0 + 180.0) % 360.0 - 180.0
    assert off.mean() == pytest.approx(7.0, abs=0.5)
    assert off.std() == pytest.approx(4.0, abs=0.4)
    assert (aimed < 360.0).all()
