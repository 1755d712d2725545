"""Dose against closed forms, a geometry library and conservation of mass."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.dose import DoseGrid, integrate_dose
from server.core.grid import GridFrame, fill_cells, frame_around
from server.core.setup import Sprayer
from server.core.swath import Pattern, pattern_from_sprayer, share_left_of, sweep_patches, swept_area

FLAT = Pattern(1.0, 1.0)


def lay(east, north, heading, litres, *, t=None, pattern=FLAT, cell=0.1, frame=None, **more):
    east, north, heading = (np.asarray(a, dtype=float) for a in (east, north, heading))
    frame = frame or frame_around(east, north, margin_m=pattern.base_m + 0.5, cell_m=cell)
    times = np.arange(len(east)) * 0.2 if t is None else t
    return integrate_dose(
        east, north, heading, np.asarray(litres, float), t=times, pattern=pattern, frame=frame, **more
    )


def test_a_straight_pass_has_the_closed_form_dose():
    # Closed form: q / (v w) inside the swath, 0 outside, half in cells cut in half.
    north = np.linspace(0.0, 10.0, 41)
    deposit = lay(np.zeros(41), north, np.zeros(41), 0.03 * north, frame=GridFrame(-1.05, -1.0, 0.1, 21, 120))
    dose = deposit.dose_l_per_m2
    assert np.abs(dose[10:110, 6:15] - 0.03).max() < 1e-14
    assert np.abs(dose[10:110, [5, 15]] - 0.015).max() < 1e-14
    assert not dose[10:110, :5].any()
    assert not dose[10:110, 16:].any()
    assert not dose[:10].any()
    assert not dose[110:].any()


TURNS = [(1.0, 10, 0.023), (3.0, 10, 0.007), (1.0, 5, 0.03), (12.0, 5, 0.005), (20.0, 5, 0.007), (30.0, 5, 0.01)]


@pytest.mark.parametrize(("radius", "rate", "limit"), TURNS)
def test_a_turn_has_the_closed_form_dose_of_an_annulus(radius, rate, limit):
    # Closed form: each strip dr of a full turn gets q T dr / w over 2 pi r dr.
    # Limits: what the method is stated to hold; in gentle bends, of few strips, half of what one may differ.
    t = np.linspace(0.0, 2 * np.pi * radius, round(2 * np.pi * radius * rate) + 1)
    angle = t / radius
    deposit = lay(radius - radius * np.cos(angle), radius * np.sin(angle), np.degrees(angle), 0.05 * t, t=t)
    frame = deposit.frame
    x = frame.x0_m + (np.arange(frame.nx) + 0.5) * frame.cell_m - radius
    y = frame.y0_m + (np.arange(frame.ny) + 0.5) * frame.cell_m
    from_centre = np.hypot(x[None, :], y[:, None])
    inside = np.abs(from_centre - radius) < 0.5 - frame.cell_m
    error = deposit.dose_l_per_m2[inside] / (0.05 * t[-1] / (2 * np.pi * from_centre[inside])) - 1
    assert np.sqrt(np.mean(error**2)) < limit


# Coefficient of variation over one spacing, base 2, peak 1 (computed for triangle and trapezoid; flat in closed form).
OVERLAP = [
    (0.8, 5.16, 4.68, 20.00),
    (1.0, 0.00, 19.25, 0.00),
    (1.2, 6.93, 19.18, 28.28),
    (1.4, 18.48, 8.47, 34.64),
    (1.5, 25.00, 0.00, 35.36),
    (1.6, 31.75, 9.40, 34.64),
    (1.8, 45.25, 27.42, 28.28),
    (2.0, 57.74, 43.03, 0.00),
]


@pytest.mark.parametrize(("spacing", "triangle", "trapezoid", "flat"), OVERLAP)
def test_overlapping_passes_vary_as_the_table_says(spacing, triangle, trapezoid, flat):
    cell = 0.005
    for pattern, expected in ((Pattern(2.0, 0.0), triangle), (Pattern(2.0, 1.0), trapezoid), (Pattern(2.0, 2.0), flat)):
        frame = GridFrame(0.0, 0.0, cell, round(spacing / cell), 1)
        total = np.zeros(frame.nx)
        for k in range(-4, 6):
            at = np.full(2, k * spacing)
            total += lay(at, [-1.0, 1.0], [0.0, 0.0], [0.0, 1.0], pattern=pattern, frame=frame).dose_l_per_m2[0]
        assert abs(100 * total.std() / total.mean() - expected) < 0.03


def test_flat_overlap_equals_its_closed_form():
    # p = (B - S) / S of the ground is done twice: CV = sqrt(p (1 - p)) / (1 + p).
    for spacing, *_, flat in OVERLAP[1:-1]:
        p = (2.0 - spacing) / spacing
        assert abs(100 * math.sqrt(p * (1 - p)) / (1 + p) - flat) < 0.006


@pytest.mark.parametrize("pattern", [FLAT, Pattern(2.0, 0.0), Pattern(1.6, 0.4)])
def test_a_pattern_shares_out_all_its_liquid(pattern):
    # Reference: the trapezoid's density, integrated numerically.
    x = np.linspace(-1.1, 1.1, 220001)
    half_base, half_top = pattern.base_m / 2, pattern.top_m / 2
    ramp = max(half_base - half_top, 1e-12)
    density = np.clip((half_base - np.abs(x)) / ramp, 0, 1) / (half_base + half_top)
    summed = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2 * np.diff(x))])
    assert np.abs(share_left_of(x, pattern=pattern) - summed).max() < 2e-5


def test_the_swath_lies_between_the_half_rate_points():
    # Ohio State University Extension, Bulletin 817: effective swath = twice the distance to the half-rate point.
    for sprayer in (Sprayer(1.2, "triangle"), Sprayer(1.2, "trapezoid", 0.4)):
        pattern = pattern_from_sprayer(sprayer)
        edge = np.array([-0.6001, -0.5999, -0.0001, 0.0001])
        share = share_left_of(edge, pattern=pattern)
        assert math.isclose((share[1] - share[0]) / (share[3] - share[2]), 0.5, rel_tol=1e-3)
    with pytest.raises(ValueError, match="not known"):
        pattern_from_sprayer(Sprayer(1.2, "fan"))
    with pytest.raises(ValueError, match="between 0 and the swath"):
        pattern_from_sprayer(Sprayer(1.2, "trapezoid", 1.3))


def clip_by_geos(corners, density, frame):
    """Dose by clipping every polygon with every cell, in GEOS."""
    x = frame.x0_m + np.arange(frame.nx) * frame.cell_m
    y = frame.y0_m + np.arange(frame.ny) * frame.cell_m
    cells = shapely.box(
        *(a.ravel() for a in (np.tile(x, (frame.ny, 1)), np.tile(y[:, None], (1, frame.nx)))),
        *(
            a.ravel()
            for a in (np.tile(x + frame.cell_m, (frame.ny, 1)), np.tile(y[:, None] + frame.cell_m, (1, frame.nx)))
        ),
    )
    total = np.zeros(frame.nx * frame.ny)
    for ring, weight in zip(corners, density, strict=True):
        total += weight * shapely.area(shapely.intersection(cells, shapely.Polygon(ring))) / frame.cell_area_m2
    return total.reshape(frame.ny, frame.nx)


def test_every_cell_equals_what_geos_clips():
    # Reference: polygon clipping by GEOS through shapely; the frame cuts off part of the way.
    rng = np.random.default_rng(7)
    angle = np.cumsum(rng.normal(0.0, 0.25, 40))
    east, north = np.cumsum(0.26 * np.sin(angle)), np.cumsum(0.26 * np.cos(angle))
    ends = np.stack([np.stack([a[:-1], a[1:]], axis=1) for a in (east, north, np.degrees(angle))])
    patches = sweep_patches(*ends, rng.uniform(0.0, 0.02, 39), pattern=FLAT, cell_m=0.25)
    frame = GridFrame(np.floor(east.min()), np.floor(north.min()) + 1.0, 0.25, 30, 30)
    density = patches.litres / np.abs(patches.area_m2)
    expected = clip_by_geos(patches.corners, density, frame)
    assert expected.max() > 0
    got = fill_cells(patches.corners, density * np.sign(patches.area_m2), frame)
    assert np.abs(got - expected).max() < 1e-10 * expected.max()


walks = st.integers(0, 2**32 - 1).map(np.random.default_rng)


def wander(rng, n=25):
    """A way with tight turns, turns on the spot, standstills, backward steps and unknown positions."""
    turn = rng.choice([0.0, 0.02, 0.5, 2.5], n) * rng.normal(size=n)
    pace = rng.choice([0.0, 0.001, 0.05, 0.26, -0.2], n)
    angle = np.cumsum(turn)
    east, north = np.cumsum(pace * np.sin(angle)), np.cumsum(pace * np.cos(angle))
    lost = rng.random(n) < 0.1
    east[lost] = np.nan
    litres = np.cumsum(rng.choice([0.0, 0.01, 0.3], n))
    t = np.cumsum(rng.choice([0.2, 1.0, 6.0], n, p=[0.8, 0.15, 0.05]))
    return t, east, north, np.degrees(angle), litres


@given(rng=walks, pattern=st.sampled_from([FLAT, Pattern(2.0, 0.0), Pattern(1.4, 0.6)]), tight=st.booleans())
@settings(deadline=None, max_examples=80)
def test_no_liquid_is_lost_whatever_the_way(rng, pattern, tight):
    t, east, north, heading, litres = wander(rng)
    frame = frame_around(east, north, margin_m=0.0 if tight else pattern.base_m, cell_m=0.1)
    deposit = lay(
        east, north, heading, litres, t=t, pattern=pattern, frame=frame, start_l=-0.5, end_l=litres[-1] + 0.25
    )
    metered = litres[-1] + 0.75
    assert abs(deposit.placed_l + deposit.off_grid_l + deposit.unplaced_l - metered) < 1e-12 * metered
    assert tight or deposit.off_grid_l == 0.0
    assert deposit.unplaced_l >= 0.75 - 1e-12
    assert deposit.dose_l_per_m2.min() > -1e-12


@given(rng=walks, pattern=st.sampled_from([FLAT, Pattern(2.0, 0.0)]))
@settings(deadline=None, max_examples=60)
def test_fix_by_fix_equals_the_whole_way_at_once(rng, pattern):
    t, east, north, heading, litres = wander(rng)
    grid = DoseGrid(pattern=pattern, cell_m=0.1, grow_m=1.0)
    for row in zip(t, east, north, heading, litres, strict=True):
        grid.add(**dict(zip(("t", "east", "north", "heading", "litres"), map(float, row), strict=True)))
    deposit = lay(east, north, heading, litres, t=t, pattern=pattern, frame=grid.frame)
    assert np.abs(deposit.dose_l_per_m2 - grid.dose).max() <= 1e-10
    assert abs(deposit.unplaced_l - grid.unplaced_l) < 1e-12
    assert deposit.off_grid_l == grid.off_grid_l == 0.0


def test_changed_cells_told_in_turn_make_the_whole_map():
    grid = DoseGrid(pattern=FLAT, cell_m=0.2, grow_m=2.0)
    shown, resets = np.zeros((1, 1)), 0
    for step in range(60):
        grid.add(t=0.2 * step, east=0.3 * step, north=1.0, heading=90.0, litres=0.01 * step)
        changes = grid.take_changes()
        if changes.is_reset:
            shown, resets = np.zeros((changes.frame.ny, changes.frame.nx)), resets + 1
        shown.ravel()[changes.cells] = changes.l_per_m2
    assert np.array_equal(shown, grid.dose)
    assert 3 < resets < 30
    assert len(grid.take_changes().cells) == 0


def test_a_grid_too_large_to_keep_counts_its_liquid_as_off_the_grid():
    grid = DoseGrid(pattern=FLAT, cell_m=0.1, max_cells=100_000)
    grid.add(t=0.0, east=0.0, north=0.0, heading=0.0, litres=0.0)
    grid.add(t=1.0, east=0.0, north=1.0, heading=0.0, litres=0.1)
    grid.add(t=2.0, east=500.0, north=900.0, heading=0.0, litres=0.3)
    assert math.isclose(grid.off_grid_l, 0.2)
    assert math.isclose(grid.dose.sum() * 0.01, 0.1)


def test_a_standing_rig_wets_its_footprint():
    # Definition: 0.10 m along the heading by the swath.
    deposit = lay([0.0, 0.0], [0.0, 0.005], [0.0, 0.0], [0.0, 0.02])
    assert math.isclose(np.count_nonzero(deposit.dose_l_per_m2) * 0.01, 0.2)
    assert math.isclose(deposit.dose_l_per_m2.max(), 0.02 / 0.10 * 0.525, rel_tol=1e-9)


def test_swept_area_is_width_times_way_and_counts_ground_twice():
    north = np.array([0.0, 5.0, np.nan, 9.0, 14.0])
    assert math.isclose(swept_area(np.zeros(5), north, np.zeros(5), swath_m=1.2), 12.0)
    angle = np.linspace(0.0, 2 * np.pi, 721)
    circle = swept_area(2 * np.cos(angle), -2 * np.sin(angle), np.degrees(angle) + 180.0, swath_m=1.0)
    assert math.isclose(circle, np.pi * (2.5**2 - 1.5**2), rel_tol=1e-4)
    spin = swept_area(np.zeros(721), np.zeros(721), np.degrees(angle), swath_m=1.0)
    assert math.isclose(spin, 2 * np.pi * 0.5**2, rel_tol=1e-4)


def test_falling_litres_and_uneven_columns_are_refused():
    with pytest.raises(ValueError, match="fall"):
        lay([0.0, 0.0], [0.0, 1.0], [0.0, 0.0], [1.0, 0.5])
    with pytest.raises(ValueError, match="as long"):
        lay([0.0, 0.0], [0.0, 1.0], [0.0, 0.0], [1.0])
    grid = DoseGrid(pattern=FLAT, cell_m=0.1)
    grid.add(t=0.0, east=0.0, north=0.0, heading=0.0, litres=1.0)
    with pytest.raises(ValueError, match="fall"):
        grid.add(t=1.0, east=0.0, north=1.0, heading=0.0, litres=0.5)


def test_an_epoch_without_litres_is_passed_over():
    litres = [0.0, math.nan, 0.04]
    deposit = lay([0.0, 0.0, 0.0], [0.0, 0.3, 0.6], [0.0, 0.0, 0.0], litres)
    straight = lay([0.0, 0.0], [0.0, 0.6], [0.0, 0.0], [0.0, 0.04], frame=deposit.frame)
    assert np.array_equal(deposit.dose_l_per_m2, straight.dose_l_per_m2)
