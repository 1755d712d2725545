"""The simulated operator: pace, stops, buttons, and trigger with its reaction."""

from dataclasses import replace
from itertools import groupby, pairwise

import numpy as np
import pytest

from firmware_sim.build import build_world
from firmware_sim.noise import make_generator
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.truth import find_passes
from firmware_sim.world.operator import lay_route, walk_route

NAMES = [name for name in SCENARIOS if name != "long_hour"]


@pytest.fixture(scope="module")
def worlds():
    """Every scenario but the hour, once."""
    return {name: build_world(SCENARIOS[name], 6) for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_the_pace_is_a_walker_s(worlds, name):
    """No faster than 1.3 times the planned pace, no harder than 2 m/s²; about the planned pace on the lines."""
    walk, plan = worlds[name].walk, SCENARIOS[name].plan
    speed = walk.distance.rate
    assert np.max(speed) < 1.3 * plan.pace_mps
    walked = np.abs(np.diff(speed)[speed[1:] > 0.05] / np.diff(walk.distance.t)[speed[1:] > 0.05])
    assert np.max(walked) <= 2.0 + 1e-6
    paces = [p.speed_mps for p in find_passes(worlds[name])]
    assert np.mean(paces) == pytest.approx(plan.pace_mps, rel=0.1)


@pytest.mark.parametrize("name", NAMES)
def test_velocity_is_the_derivative_of_place(worlds, name):
    """Central differences over 2 ms against the stated velocity (away from where a line meets an arc)."""
    walk = worlds[name].walk
    t = np.linspace(1.0, walk.duration_s - 1.0, 997)
    (x0, y0, _), (x1, y1, _) = walk.poses_at(t - 1e-3), walk.poses_at(t + 1e-3)
    east, north = walk.velocity_at(t)
    assert np.hypot((x1 - x0) / 2e-3 - east, (y1 - y0) / 2e-3 - north).max() < 0.01


@pytest.mark.parametrize("name", NAMES)
def test_buttons_are_pressed_in_order_and_standing(worlds, name):
    """Start first, finish last, refill and peg while standing."""
    walk = worlds[name].walk
    names, times = [p.name for p in walk.presses], [p.at_s for p in walk.presses]
    assert (names[0], names[-1]) == ("start", "finish")
    assert times == sorted(times)
    assert walk.distance.rate_at(np.array(times)).max() == 0.0


def test_the_operator_stands_at_the_peg_when_he_says_so(worlds):
    """Within 5 cm of the peg at every press of `peg`."""
    world = worlds["demo"]
    presses = np.array([p.at_s for p in world.walk.presses if p.name == "peg"])
    east, north, _ = world.walk.poses_at(presses)
    peg = world.scenario.plan.peg
    assert len(presses) == 3
    assert np.hypot(east - peg[0], north - peg[1]).max() < 0.05


def test_the_trigger_lags_by_a_human_reaction(worlds):
    """On and off 0 to 0.3 s after the place that was aimed at."""
    walk = worlds["paddock_morning"].walk
    for (a, b), (on, off) in zip(walk.route.sprays, walk.triggers, strict=True):
        aimed = walk.distance.time_of(np.array([a, b]))
        assert 0.0 <= on - aimed[0] <= 0.3
        assert 0.0 <= off - aimed[1] <= 0.3


def test_lines_scatter_round_their_spacing():
    """Over 20 seeds the offset of a line from its plan has the planned spread (20 lines in 9: 15 %)."""
    scenario, offsets = SCENARIOS["paddock_morning"], []
    for seed in range(20):
        route = lay_route(scenario.plan, scenario.lawn, make_generator(seed, "walk"))
        h = np.radians(scenario.plan.heading_deg)
        for segment in route.path.segments:
            if segment.line >= 0:
                x, y, _ = segment.pose_at(segment.length_m / 2.0)
                right = (x - scenario.plan.corner[0]) * np.cos(h) - (y - scenario.plan.corner[1]) * np.sin(h)
                offsets.append(right - scenario.plan.first_line_m - segment.line)
    assert len(offsets) == 180
    assert np.std(offsets) == pytest.approx(scenario.plan.scatter_m, rel=0.15)
    assert np.mean(offsets) == pytest.approx(0.0, abs=4 * scenario.plan.scatter_m / np.sqrt(180))


def test_a_lap_round_the_edge_is_four_sides_without_loops(worlds):
    """Four passes of a side each, rounded corners between them of a quarter circle: no detour."""
    world = worlds["perimeter_first"]
    sides = [p for p in find_passes(world) if p.line <= -2]
    assert [p.line for p in sides] == [-2, -3, -4, -5]
    for side, following in pairwise(sides):
        assert 0.5 < following.start_s - side.end_s < 3.0


def test_a_pause_is_as_long_as_planned(worlds):
    """Slips: 20 s of standing between two passes."""
    distance = worlds["slips"].walk.distance
    gaps = [b.start_s - a.end_s for a, b in pairwise(find_passes(worlds["slips"]))]
    assert 20.0 < max(gaps) < 30.0
    assert np.sum(distance.rate == 0.0) * 0.05 == pytest.approx(12.0 + 20.0 + 12.0, abs=1.0)


def test_the_demo_is_watched_in_under_a_hundred_seconds(worlds):
    """At its own pace."""
    world = worlds["demo"]
    assert world.walk.duration_s / world.scenario.pace < 100.0


def test_a_walk_with_the_same_generator_is_the_same_walk():
    """Seeds everywhere."""
    scenario = SCENARIOS["demo"]
    walks = []
    for _ in range(2):
        rng = make_generator(9, "walk")
        walks.append(walk_route(lay_route(scenario.plan, scenario.lawn, rng), scenario.plan.pace_mps, rng))
    assert walks[0].triggers == walks[1].triggers
    assert np.array_equal(walks[0].distance.rate, walks[1].distance.rate)


def test_a_woven_line_ends_where_the_straight_one_does_and_strays_as_planned():
    """Offsets at the stations between two S-bends have the planned spread; the path is smooth and one pass a line."""
    scenario = SCENARIOS["paddock_morning"]
    plan = replace(scenario.plan, scatter_m=0.0, weave_m=0.05)
    h, offsets = np.radians(plan.heading_deg), []
    for seed in range(20):
        route = lay_route(plan, scenario.lawn, make_generator(seed, "walk"))
        for line, pieces in groupby(route.path.segments, key=lambda segment: segment.line):
            if line < 0:
                continue
            walked = list(pieces)
            ends = [(segment.east_m, segment.north_m) for segment in walked][::2] + [walked[-1].end[:2]]
            right = [(x - plan.corner[0]) * np.cos(h) - (y - plan.corner[1]) * np.sin(h) for x, y in ends]
            aside = np.array(right) - plan.first_line_m - line * plan.spacing_m
            assert aside[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-9)
            offsets += aside[1:-1].tolist()
        for one, two in pairwise(route.path.segments):
            assert np.hypot(one.end[0] - two.east_m, one.end[1] - two.north_m) < 1e-6
            assert np.cos(one.end[2] - two.heading) > 1.0 - 1e-9
    assert len(offsets) > 1000
    assert np.std(offsets) == pytest.approx(0.05, rel=0.1)
    world = build_world(replace(scenario, plan=plan), 3)
    passes = find_passes(world)
    assert [p.line for p in passes] == list(range(9))
    for found in passes:
        turned = np.radians(found.heading_deg - (20.0 if found.line % 2 == 0 else 200.0))
        assert np.cos(turned) > 1.0 - 1e-6
