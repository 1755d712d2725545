"""The ledger: mass, passes, slips, dose against closed forms, and the same world for the same seed."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from firmware_sim.build import build_world
from firmware_sim.curve import integrate_rate
from firmware_sim.deposit import Frame, cross_density, frame_round, lay_dose, trace_outlet
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.truth import (
    cell_shares,
    describe_truth,
    dose_on,
    dose_on_plane,
    find_passes,
    save_truth,
    spray_intervals,
    volume_between,
)
from firmware_sim.world.lawn import rectangle
from firmware_sim.world.operator import Route, Walk
from firmware_sim.world.path import Path, Segment
from firmware_sim.world.sprayer import Sprayer

SHORT = [name for name in SCENARIOS if name != "long_hour"]


def lay_along(segment, sprayer, frame, flow_l_per_s=0.02, speed_mps=1.0):
    """The dose of a steady flow along one segment, walked at a steady pace, a dry metre before and after it."""
    east, north, heading = segment.pose_at(0.0)
    before = Segment(east - math.sin(heading), north - math.cos(heading), heading, 0.0, 1.0)
    path = Path([before, segment, Segment(*segment.end, 0.0, 1.0)])
    on, off, end = (s / speed_mps for s in (1.0, 1.0 + segment.length_m, 2.0 + segment.length_m))
    distance = integrate_rate(np.array([0.0, end]), np.full(2, speed_mps))
    knots = np.array([0.0, on - 1e-9, on, off, off + 1e-9, end])
    volume = integrate_rate(knots, flow_l_per_s * np.array([0.0, 0.0, 1.0, 1.0, 0.0, 0.0]))
    walk = Walk(Route(path, (), (), ()), distance, (), ())
    return lay_dose(path, trace_outlet(walk, volume, 0.0), sprayer, frame)


def test_a_straight_pass_gives_flow_over_speed_and_width():
    """Closed form: dose = Q / (v w) = 0.02 / (1.25 · 1) L/m² inside, 0 outside, half on a cell that the edge halves."""
    frame = Frame(-2.0, -1.0, 0.1, 40, 120)
    dose = lay_along(Segment(0.05, 0.0, 0.0, 0.0, 10.0), Sprayer(swath_m=1.0), frame, speed_mps=1.25)
    inside, outside, edge = dose[30:90, 16:25], dose[30:90, :15], dose[30:90, 15]

    assert inside == pytest.approx(np.full(inside.shape, 0.016), rel=1e-9)
    assert not outside.any()
    assert edge == pytest.approx(np.full(60, 0.016 * 0.5), rel=1e-9)
    assert np.sum(dose) * 0.01 == pytest.approx(0.02 * 8.0, rel=1e-8)


@pytest.mark.parametrize("radius", [1.0, 3.0])
def test_a_turn_gives_more_inside_and_less_outside(radius):
    """Annulus, closed form: dose at distance ρ from the centre = Q / (w v) · R / ρ; a full circle holds the volume."""
    circle = Segment(-radius, 0.0, 0.0, 1.0 / radius, 2.0 * math.pi * radius)
    cell = 0.05
    n = round((2.0 * radius + 2.0) / cell)
    frame = Frame(-radius - 1.0, -radius - 1.0, cell, n, n)
    dose = lay_along(circle, Sprayer(swath_m=1.0), frame)
    centre = -radius - 1.0 + (np.arange(n) + 0.5) * cell
    rho = np.hypot(*np.meshgrid(centre, centre))
    seam = (np.abs(centre)[:, None] < 0.1) & (centre[None, :] < 0.0)
    well_inside = (rho > radius - 0.44) & (rho < radius + 0.44) & ~seam
    assert dose[well_inside] == pytest.approx(0.02 * radius / rho[well_inside], rel=0.005)
    assert np.sum(dose) * cell**2 == pytest.approx(0.02 * 2.0 * math.pi * radius, rel=2e-4)


def test_a_nozzle_ahead_and_aside_sprays_ahead_and_aside():
    """Going north, 0.6 m ahead and 0.3 m right: liquid from y = 0.6 to 10.6, x from -0.2 to 0.8."""
    frame = Frame(-2.0, 0.0, 0.1, 40, 120)
    sprayer = Sprayer(swath_m=1.0, nozzle_forward_m=0.6, nozzle_right_m=0.3)
    rows, columns = np.nonzero(lay_along(Segment(0.0, 0.0, 0.0, 0.0, 10.0), sprayer, frame) > 0.01)
    assert (rows.min(), rows.max()) == (6, 105)
    assert (columns.min(), columns.max()) == (18, 27)


def test_a_nozzle_ahead_sweeps_a_wider_ring_in_a_turn():
    """Pythagoras: 0.6 m ahead on a circle of 2 m, the ends of a 1 m swath sweep √(1.5² + 0.36) to √(2.5² + 0.36)."""
    circle = Segment(-2.0, 0.0, 0.0, 0.5, 4.0 * math.pi)
    frame = Frame(-4.0, -4.0, 0.05, 160, 160)
    dose = lay_along(circle, Sprayer(swath_m=1.0, nozzle_forward_m=0.6), frame)
    centre = -4.0 + (np.arange(160) + 0.5) * 0.05
    wet = np.hypot(*np.meshgrid(centre, centre))[dose > 1e-3]
    assert wet.min() == pytest.approx(math.sqrt(1.5**2 + 0.36), abs=0.05)
    assert wet.max() == pytest.approx(math.sqrt(2.5**2 + 0.36), abs=0.05)
    assert np.sum(dose) * 0.0025 == pytest.approx(0.02 * 4.0 * math.pi, rel=1e-3)


@pytest.mark.parametrize(("spacing", "cv"), [(0.8, 5.16), (1.0, 0.0), (1.2, 6.93), (1.4, 18.48), (1.8, 45.25)])
def test_overlapped_triangles_vary_as_the_handbook_says(spacing, cv):
    """Overlap CV of a triangle with base 2.0 (handbook section 5, population sd over one spacing period)."""
    y = np.arange(0.0, spacing, spacing / 4000.0)
    sprayer = Sprayer(swath_m=1.0, pattern="triangle")
    total = sum(cross_density(sprayer, y - k * spacing, 0.01) for k in range(-3, 4))
    assert 100.0 * np.std(total) / np.mean(total) == pytest.approx(cv, abs=0.05)


@pytest.mark.parametrize(("spacing", "cv"), [(1.0, 19.25), (1.4, 8.47), (1.5, 0.0), (1.8, 27.42)])
def test_overlapped_trapezoids_vary_as_the_handbook_says(spacing, cv):
    """Overlap CV of a trapezoid with base 2.0 and top 1.0 (handbook section 5)."""
    y = np.arange(0.0, spacing, spacing / 4000.0)
    sprayer = Sprayer(swath_m=1.5, pattern="trapezoid", pattern_top_m=1.0)
    total = sum(cross_density(sprayer, y - k * spacing, 0.01) for k in range(-4, 5))
    assert 100.0 * np.std(total) / np.mean(total) == pytest.approx(cv, abs=0.05)


@pytest.mark.parametrize("name", SHORT)
def test_the_grid_holds_what_was_metered(name):
    """Σ dose × area against the exact volume: to sampling, 1e-5, or 1e-3 where a swath turns about its own edge."""
    world = build_world(SCENARIOS[name], 4)
    frame = frame_round(world.walk.route.path, world.scenario.sprayer, 0.1)
    grid_l = float(np.sum(dose_on(world, frame))) * 0.01
    turns = name in ("spray_on_turns", "perimeter_first", "slips", "lever_arm")
    assert grid_l == pytest.approx(world.volume.total[-1], rel=1e-3 if turns else 1e-5)


@pytest.mark.parametrize("name", SHORT)
def test_emitted_pulses_over_k_are_the_volume(name):
    """To one pulse, and one more per opening and closing of the valve for the loss at low flow."""
    world = build_world(SCENARIOS[name], 2)
    k = world.scenario.meter.pulses_per_l
    lost = world.volume.total[-1] * k - len(world.true_flow_edges)
    assert 0.0 <= lost < 1.0 + 0.05 * len(world.walk.triggers)


@pytest.mark.parametrize("name", SHORT)
def test_edges_and_bytes_come_in_order_within_the_scenario(name):
    """What the device's inputs get is sorted in time."""
    feed = build_world(SCENARIOS[name], 3).feed
    for times in (feed.flow_edges, feed.cup_edges, np.array([at for at, _ in feed.bursts])):
        assert np.all(np.diff(times) >= 0.0)
        assert 0.0 <= times[0] <= times[-1] < feed.duration_s + 1.0


def test_the_same_seed_is_the_same_world_and_another_is_not():
    """Byte for byte, edge for edge."""
    first, again, other = (build_world(SCENARIOS["demo"], seed).feed for seed in (7, 7, 8))
    assert first.bursts == again.bursts
    assert np.array_equal(first.flow_edges, again.flow_edges)
    assert np.array_equal(first.cup_edges, again.cup_edges)
    assert first.bursts != other.bursts


def test_another_receiver_leaves_walk_flow_and_wind_alone():
    """The parts draw from generators of their own."""
    first = build_world(SCENARIOS["demo"], 7)
    other = build_world(SCENARIOS["demo"], 7, receiver_class="poor", rate_hz=1.0)
    assert np.array_equal(first.true_flow_edges, other.true_flow_edges)
    assert np.array_equal(first.true_cup_edges, other.true_cup_edges)
    assert first.walk.presses == other.walk.presses


@pytest.mark.parametrize("seed", range(20))
def test_the_plain_job_has_nine_whole_passes(seed):
    """Nine passes of about 40 m, alternately on 20° and 200°, each with its own spray interval and volume."""
    world = build_world(SCENARIOS["paddock_morning"], seed)
    passes, intervals = find_passes(world), spray_intervals(world)
    assert [p.line for p in passes] == list(range(9))
    assert np.array([(p.start_s, p.end_s) for p in passes]) == pytest.approx(np.array(intervals), abs=1e-9)
    for (a, b), (on, off) in zip(intervals, world.walk.triggers, strict=True):
        assert (a, b) == pytest.approx((on, off + 0.04), abs=1e-9)
    for p in passes:
        assert p.length_m == pytest.approx(40.0, abs=0.6)
        turned = math.remainder(math.radians(p.heading_deg - (20.0 if p.line % 2 == 0 else 200.0)), 2 * math.pi)
        assert abs(turned) < math.radians(1.0)
    assert sum(p.volume_l for p in passes) == pytest.approx(world.volume.total[-1], rel=1e-12)


def test_planned_slips_are_in_the_ledger_and_on_the_ground():
    """Demo: line 3 got nothing in its middle, line 6 about twice the target, lines 1 and 2 the target."""
    world = build_world(SCENARIOS["demo"], 1)
    kinds = {(m.kind, m.line): m for m in world.walk.route.mistakes}
    assert set(kinds) == {("missed", 3), ("doubled", 6), ("overrun", 1)}
    lines = [p.line for p in find_passes(world)]
    assert 3 not in lines
    assert lines.count(6) == 2
    for kind, low, high in (("missed", 0.0, 0.1), ("doubled", 1.8, 2.3)):
        (mistake,) = (m for m in world.walk.route.mistakes if m.kind == kind)
        east, north = (0.5 * (mistake.start[i] + mistake.end[i]) for i in (0, 1))
        spot = dose_on(world, Frame(east - 0.1, north - 0.1, 0.1, 2, 2)) / world.scenario.target_l_per_m2
        assert low <= float(np.mean(spot)) <= high


def test_nothing_is_sprayed_standing():
    """In no scenario does the operator stand with the trigger pressed: the footprint rule decides nothing here."""
    for name in SHORT:
        world = build_world(SCENARIOS[name], 1)
        outlet = trace_outlet(world.walk, world.volume, 0.0)
        assert outlet.standing_l[-1] < 2e-3 * world.volume.total[-1], name


def test_a_bed_splits_a_line_into_two_passes():
    """Demo, line 4 crosses the bed: two passes, and next to nothing in the bed."""
    world = build_world(SCENARIOS["demo"], 1)
    assert [p.line for p in find_passes(world)].count(4) == 2
    summary, _ = describe_truth(world)
    assert summary["areas"]["keep_out_l"] < 0.02 * summary["volume_l"]


def test_the_areas_add_up():
    """The four bands are disjoint and fill the lawn; a sampled rectangle has its area to 1 %."""
    summary, arrays = describe_truth(build_world(SCENARIOS["demo"], 1))
    areas = summary["areas"]
    bands = sum(areas[name] for name in ("missed_m2", "under_m2", "on_target_m2", "over_m2"))
    assert bands == pytest.approx(areas["zone_m2"], rel=1e-12)
    assert areas["zone_m2"] == pytest.approx(26.0 * 9.0 - 6.0 * 1.7**2 * 0.5, rel=0.01)
    assert float(np.sum(arrays["zone"])) * 0.01 == pytest.approx(26.0 * 9.0, rel=0.002)


def test_volume_and_place_do_not_depend_on_how_they_are_sampled():
    """Volume between two times is the sum over the parts; the place is on the path."""
    world = build_world(SCENARIOS["hand_pump"], 1)
    parts = [volume_between(world, a, a + 1.0) for a in np.arange(20.0, 60.0)]
    assert sum(parts) == pytest.approx(volume_between(world, 20.0, 60.0), rel=1e-12)


def test_the_dose_on_a_shifted_plane_is_the_same_dose():
    """The origin moved 30 m east and north, the frame moved back: equal to sampling."""
    world = build_world(SCENARIOS["straight"], 1)
    plane = world.scenario.lawn.plane
    lat, lon = plane.degrees(np.array(30.0), np.array(30.0))
    here = dose_on(world, Frame(0.0, 0.0, 0.1, 200, 400))
    there = dose_on_plane(world, Frame(-30.0, -30.0, 0.1, 200, 400), lat0_deg=float(lat), lon0_deg=float(lon))
    assert there == pytest.approx(here, abs=1e-7)


def test_cells_half_in_a_polygon_count_half():
    """By hand: a rectangle whose edge runs through the middle of cells."""
    box = rectangle("Lawn", "zone", corner=(0.05, 0.0), along_m=1.0, across_m=0.2)
    shares = cell_shares([box], Frame(0.0, 0.0, 0.1, 4, 3))
    assert shares[0].tolist() == [0.5, 1.0, 0.5, 0.0]


def test_the_wind_in_the_ledger_is_the_wind_that_blew():
    """The step: 60-s means before and after it; the 3-s gust and the lone 1-s gust in the summary."""
    step, _ = describe_truth(build_world(SCENARIOS["wind_step"], 1))
    three, _ = describe_truth(build_world(SCENARIOS["gust_three_seconds"], 1))
    one, _ = describe_truth(build_world(SCENARIOS["gust_one_second"], 1))
    limit = step["wind_limit_mps"]
    assert step["passes"][2]["wind_60s_end_mps"] < limit < step["passes"][-1]["wind_60s_end_mps"]
    assert three["wind"]["gust_3s_mps"] > 1.5 * limit > one["wind"]["gust_3s_mps"]
    assert max(three["wind"]["max_60s_mps"], one["wind"]["max_60s_mps"]) < limit


def test_saved_truth_can_be_read_without_pickle(tmp_path):
    """Plain JSON and plain arrays, every documented key there."""
    world = build_world(replace(SCENARIOS["straight"]), 1)
    save_truth(world, tmp_path, mono_start=100.0)
    summary = json.loads((tmp_path / "truth.json").read_text())
    with np.load(tmp_path / "truth.npz", allow_pickle=False) as arrays:
        assert arrays["volume_l"][-1] == pytest.approx(summary["volume_l"])
        assert arrays["dose"].shape == arrays["zone"].shape
        assert len(arrays["flow_edges_s"]) == summary["pulses"]
    assert summary["mono_start"] == 100.0
    assert len(summary["passes"]) == 1
