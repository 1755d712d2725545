"""Totals, cell probabilities, regions and findings against ground whose truth is laid out by hand."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.coverage import total_job
from server.core.dose import Deposit, integrate_dose
from server.core.ensemble import map_dose, thin_way
from server.core.findings import find_findings
from server.core.grid import GridFrame
from server.core.ground import Ground
from server.core.regions import label_regions, trace_outline
from server.core.results import DoseMap, Track
from server.core.setup import Treatment
from server.core.swath import Pattern

TREATMENT = Treatment(target_l_per_m2=0.04)
FRAME = GridFrame(-2.0, -1.0, 0.1, 140, 120)


def lawn(west=0.0, south=0.0, east=10.0, north=10.0, dry=None):
    """A rectangular zone on the frame's cells with an optional keep-out of cells."""
    x = FRAME.x0_m + (np.arange(FRAME.nx) + 0.5) * FRAME.cell_m
    y = FRAME.y0_m + (np.arange(FRAME.ny) + 0.5) * FRAME.cell_m
    inside = ((y[:, None] > south) & (y[:, None] < north) & (x > west) & (x < east)).astype(float)
    keep_out = np.zeros(inside.shape)
    if dry:
        keep_out = lawn(*dry).wanted
    return Ground(FRAME, inside * (1 - keep_out), keep_out, True, dry is not None)


def walk(columns, rate=0.04, noise=0.0, draws=0):
    """Passes north along the given columns, 1 m swath, 0.04 L/m2, one after the other with the spray off between."""
    north = np.linspace(0.0, 10.0, 51)
    n = len(columns) * 51
    zero = np.zeros(n)
    east = np.repeat(np.asarray(columns, float), 51)
    north = np.tile(north, len(columns))
    litres = np.cumsum(np.where(np.diff(north, prepend=0.0) > 0, 0.2 * rate, 0.0))
    t = 0.2 * np.arange(n)
    shift = np.random.default_rng(2).normal(0.0, 1.0, (draws, 1, 2)) * noise
    track = Track(zero, t, t, t, east, north, zero, zero, zero, zero, zero, zero, zero, shift + np.zeros((draws, n, 2)))
    deposit = integrate_dose(east, north, zero, litres, t=t, pattern=Pattern(1.0, 1.0), frame=FRAME)
    return track, litres, deposit


def totals(deposit, ground):
    return total_job(
        deposit,
        ground,
        treatment=TREATMENT,
        volume_l=4.0,
        volume_sd_l=0.1,
        sprayed_s=9,
        distance_m=9,
        outside_passes_l=0,
    )


def hard_map(deposit):
    nan = np.full(deposit.dose_l_per_m2.shape, np.nan)
    return DoseMap(deposit.dose_l_per_m2, nan, nan, nan, nan, FRAME.x0_m, FRAME.y0_m, FRAME.cell_m)


def test_a_lawn_done_evenly_is_all_on_target():
    _, litres, deposit = walk(np.arange(10) + 0.5)
    got = totals(deposit, lawn())
    assert math.isclose(got.zone_on_target_m2, 100.0, rel_tol=1e-12)
    assert got.zone_missed_m2 == got.zone_under_m2 == got.zone_over_m2 == 0.0
    assert math.isclose(got.mean_dose_l_per_m2, 0.04, rel_tol=1e-12)
    assert abs(got.off_target_l) < 1e-12
    assert math.isclose(deposit.placed_l, litres[-1], rel_tol=1e-12)


def test_a_missed_and_a_doubled_strip_have_their_areas():
    _, _, deposit = walk([0.5, 1.5, 2.5, 2.5, 4.5, 5.5, 6.5, 7.5, 8.5, 9.5])
    got = totals(deposit, lawn())
    assert math.isclose(got.zone_missed_m2, 10.0, rel_tol=1e-12)
    assert math.isclose(got.zone_over_m2, 10.0, rel_tol=1e-12)
    assert math.isclose(got.zone_on_target_m2, 80.0, rel_tol=1e-12)
    assert math.isclose(got.covered_area_m2, 90.0, rel_tol=1e-12)
    found = find_findings(hard_map(deposit), lawn(), treatment=TREATMENT)
    assert [finding.kind for finding in found] == ["missed", "doubled"]
    for finding, west in zip(found, (3.0, 2.0), strict=True):
        assert math.isclose(finding.area_m2, 10.0, rel_tol=1e-12)
        assert shapely.Polygon(finding.ring_m).symmetric_difference(shapely.box(west, 0, west + 1, 10)).area < 1e-9
        assert math.isnan(finding.probability)
    assert found[0].volume_l == 0.0
    assert math.isclose(found[1].volume_l, 0.8, rel_tol=1e-12)


def test_liquid_outside_and_in_a_keep_out_is_counted_where_it_fell():
    _, _, deposit = walk([-0.5, 0.5, 1.5])
    ground = lawn(dry=(1.0, 4.0, 2.0, 5.0))
    got = totals(deposit, ground)
    assert math.isclose(got.keep_out_l, 0.04, rel_tol=1e-12)
    assert math.isclose(got.off_target_l, 0.4 + 0.04, rel_tol=1e-12)
    assert math.isclose(got.zone_area_m2, 99.0, rel_tol=1e-12)
    parts = (got.zone_missed_m2, got.zone_under_m2, got.zone_on_target_m2, got.zone_over_m2)
    assert math.isclose(sum(parts), got.zone_area_m2, rel_tol=1e-12)
    kinds = {f.kind: f for f in find_findings(hard_map(deposit), ground, treatment=TREATMENT)}
    assert set(kinds) == {"missed", "keep_out", "off_target"}
    assert math.isclose(kinds["off_target"].volume_l, 0.4, rel_tol=1e-12)
    assert math.isclose(kinds["keep_out"].volume_l, 0.04, rel_tol=1e-12)


def test_without_a_boundary_the_zone_figures_are_not_known():
    _, _, deposit = walk([0.5, 1.5])
    got = totals(deposit, Ground(FRAME, np.zeros((120, 140)), np.zeros((120, 140)), False, False))
    for name in (
        "zone_area_m2",
        "zone_missed_m2",
        "zone_under_m2",
        "zone_on_target_m2",
        "zone_over_m2",
        "off_target_l",
    ):
        assert math.isnan(getattr(got, name))
    assert math.isclose(got.covered_area_m2, 20.0, rel_tol=1e-12)
    assert math.isclose(got.mean_dose_l_per_m2, 0.04, rel_tol=1e-12)


@given(seed=st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=40)
def test_the_verdict_areas_sum_to_the_ground_wanted_and_liquid_is_either_on_or_off_target(seed):
    rng = np.random.default_rng(seed)
    shape = (FRAME.ny, FRAME.nx)
    dose = rng.choice([0.0, 0.003, 0.004, 0.02, 0.04, 0.1], shape)
    wanted = rng.choice([0.0, 0.3, 1.0], shape)
    ground = Ground(FRAME, wanted, (1 - wanted) / 2, True, True)
    got = totals(Deposit(dose, FRAME, 0.7, 0.2), ground)
    parts = (got.zone_missed_m2, got.zone_under_m2, got.zone_on_target_m2, got.zone_over_m2)
    assert math.isclose(sum(parts), ground.wanted_m2, rel_tol=1e-12)
    on_target = float((dose * wanted).sum()) * 0.01
    assert math.isclose(on_target + got.off_target_l, dose.sum() * 0.01 + 0.7, rel_tol=1e-12)
    assert got.keep_out_l <= got.off_target_l


def test_a_sure_track_has_sure_cells_and_a_wandering_one_says_how_unsure():
    columns = [0.5, 1.5, 3.5, 4.5]
    track, litres, deposit = walk(columns, draws=64)
    options = {"pattern": Pattern(1.0, 1.0), "treatment": TREATMENT, "volume_sd_fraction": 0.0}
    sure = map_dose(track, litres, deposit, rng=np.random.default_rng(1), **options)
    assert sure.sd_l_per_m2.max() < 1e-9
    assert set(np.unique(sure.p_missed)) == {0.0, 1.0}
    track, litres, deposit = walk(columns, noise=0.3, draws=64)
    wander = map_dose(track, litres, deposit, rng=np.random.default_rng(1), **options)
    # Middle of the gap (0.5 m from both edges): missed unless the draw moved 0.45 m; normal law at 0.45 / 0.3 sd.
    share = np.mean(np.abs(track.deviations_m[:, 0, 0]) < 0.46)
    assert abs(wander.p_missed[60, 45] - share) < 0.05
    assert 0.02 < np.mean(wander.sd_l_per_m2[30:80, 40]) / 0.04 < 0.6


def test_the_meters_uncertainty_reaches_each_cell():
    # Propagation in closed form: a common factor of sd 5 % makes each cell's sd 5 % of its dose.
    track, litres, deposit = walk([0.5], draws=64)
    found = map_dose(
        track,
        litres,
        deposit,
        pattern=Pattern(1.0, 1.0),
        treatment=TREATMENT,
        volume_sd_fraction=0.05,
        rng=np.random.default_rng(3),
    )
    assert math.isclose(found.sd_l_per_m2[50, 25] / 0.04, 0.05, rel_tol=1e-6)


def test_a_thinned_way_lays_the_same_dose():
    t = np.arange(0.0, 60.0, 0.2)
    turn = np.where((t > 20) & (t < 23), 60.0, 0.0)
    heading = np.cumsum(turn * 0.2)
    step = 0.26 * np.exp(1j * np.radians(90 - heading))
    way, litres = np.cumsum(step), np.clip(0.05 * (t - 3.0), 0.0, 2.0)
    kept = thin_way(t, way.real, heading, litres)
    assert len(kept) < 0.4 * len(t)
    frame = GridFrame(-5.0, -5.0, 0.25, 120, 80)
    whole, thin = (
        integrate_dose(
            way.real[i], way.imag[i], heading[i], litres[i], t=t[i], pattern=Pattern(1.0, 1.0), frame=frame
        ).dose_l_per_m2
        for i in (np.arange(len(t)), kept)
    )
    assert np.abs(whole - thin).sum() < 0.02 * whole.sum()


@given(seed=st.integers(0, 2**32 - 1), share=st.floats(0.1, 0.9))
@settings(deadline=None, max_examples=60)
def test_regions_and_outlines_equal_the_union_of_their_cells(seed, share):
    # Reference: union of cell squares by GEOS.
    mask = np.random.default_rng(seed).random((9, 11)) < share
    frame = GridFrame(-1.0, 2.0, 0.5, 11, 9)
    labels, count = label_regions(mask)
    assert np.array_equal(labels > 0, mask)
    row, column = np.nonzero(mask)
    x, y = frame.x0_m + 0.5 * column, frame.y0_m + 0.5 * row
    squares = shapely.box(x, y, x + 0.5, y + 0.5)
    for label in range(1, count + 1):
        mine = shapely.union_all(squares[labels[row, column] == label])
        outline = shapely.Polygon(trace_outline(labels == label, frame))
        assert outline.is_valid
        assert shapely.Polygon(shapely.get_exterior_ring(mine)).symmetric_difference(outline).area < 1e-9
        others = squares[(labels[row, column] != label)]
        assert shapely.length(shapely.intersection(shapely.union_all(others), mine)) < 1e-9


def test_dose_and_ground_on_different_grids_are_refused():
    _, _, deposit = walk([0.5])
    other = GridFrame(0.0, 0.0, 0.1, 140, 120)
    ground = Ground(other, np.zeros((120, 140)), np.zeros((120, 140)), True, False)
    with pytest.raises(ValueError, match="different grids"):
        totals(deposit, ground)
    with pytest.raises(ValueError, match="different grids"):
        find_findings(hard_map(deposit), ground, treatment=TREATMENT)
