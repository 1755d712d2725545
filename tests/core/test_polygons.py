"""Cell fractions and what cells are for, against a geometry library."""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.geodesy import degrees_from_plane
from server.core.grid import GridFrame, frame_around
from server.core.ground import lay_ground
from server.core.polygons import cell_fractions, edge_distance, point_in_rings, rings_from_zone
from server.core.results import Plane
from server.core.setup import Zone

PLANE = Plane(45.0, -30.0)
FRAME = GridFrame(-3.0, -3.0, 0.25, 24, 24)


def zone(name, kind, *rings):
    def lonlat(ring):
        lat, lon = degrees_from_plane(*np.array(ring, float).T, plane=PLANE)
        return tuple(zip(lon.tolist(), lat.tolist(), strict=True))

    return Zone(name, kind, tuple(lonlat(ring) for ring in rings))


def box(west, south, east, north):
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


def clip_cells(shape, frame):
    x = frame.x0_m + np.arange(frame.nx)[None, :] * frame.cell_m + np.zeros((frame.ny, 1))
    y = frame.y0_m + np.arange(frame.ny)[:, None] * frame.cell_m + np.zeros((1, frame.nx))
    cells = shapely.box(x, y, x + frame.cell_m, y + frame.cell_m)
    return shapely.area(shapely.intersection(cells, shape)) / frame.cell_area_m2


def star(rng, centre, low, high, corners):
    """A simple ring about a centre."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = rng.uniform(low, high, corners)
    return np.stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)], axis=1)


@given(rng=st.integers(0, 2**32 - 1).map(np.random.default_rng), backward=st.booleans(), corners=st.integers(5, 30))
@settings(deadline=None, max_examples=40)
def test_fractions_equal_what_geos_clips_holes_and_all(rng, backward, corners):
    angle = 2 * np.pi * (np.arange(corners) + rng.uniform(0.1, 0.9, corners)) / corners
    radius = rng.uniform(1.5, 3.6, corners)
    outside = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    hole = star(rng, (0.05, -0.03), 0.2, 0.3, 7)
    rings = [outside, hole[::-1] if backward else hole]
    shape = shapely.Polygon(outside, [hole])
    if not shape.is_valid:
        return
    assert np.abs(cell_fractions(rings, FRAME) - clip_cells(shape, FRAME)).max() < 1e-10
    rings = [outside[::-1], hole]
    assert np.abs(cell_fractions(rings, FRAME) - clip_cells(shape, FRAME)).max() < 1e-10


def test_recorded_shapes_have_their_area_on_the_grid(recordings):
    # Shapes: beanumber/macleish (CC0). Reference: planar area by GEOS on the same plane, cell by cell in sum.
    shapes = json.loads((recordings / "macleish_polygons" / "polygons.geojson").read_text())["features"]
    checked = 0
    for feature in shapes:
        if feature["geometry"]["type"] != "Polygon" or not feature["properties"]["valid"]:
            continue
        rings = feature["geometry"]["coordinates"]
        plane = Plane(rings[0][0][1], rings[0][0][0])
        placed = rings_from_zone(Zone("", "zone", tuple(tuple(map(tuple, ring)) for ring in rings)), plane=plane)
        shape = shapely.Polygon(placed[0], placed[1:])
        if shape.area > 20_000:
            continue
        frame = frame_around(*placed[0].T, margin_m=1.0, cell_m=0.25)
        total = cell_fractions(placed, frame).sum() * frame.cell_area_m2
        assert math.isclose(total, shape.area, rel_tol=1e-10)
        checked += 1
    assert checked >= 15


def test_points_lie_inside_where_geos_says_so():
    rng = np.random.default_rng(3)
    rings = [star(rng, (0, 0), 1.0, 3.0, 20), star(rng, (0, 0), 0.2, 0.5, 8)]
    shape = shapely.Polygon(rings[0], [rings[1]])
    east, north = rng.uniform(-3, 3, (2, 500))
    assert np.array_equal(point_in_rings(east, north, rings), shapely.contains_xy(shape, east, north))
    lines = shapely.boundary(shape)
    expected = shapely.distance(lines, shapely.points(east, north))
    assert np.abs(edge_distance(east, north, rings) - expected).max() < 1e-12
    assert not point_in_rings(np.array([np.nan]), np.array([0.0]), rings).any()


def test_ground_under_two_zones_counts_once_and_touching_zones_leave_no_seam():
    one, two = zone("a", "zone", box(-2, -2, 0.1, 2)), zone("b", "zone", box(0.1, -2, 2, 2))
    ground = lay_ground([one, two], plane=PLANE, frame=FRAME)
    assert math.isclose(ground.wanted_m2, 16.0, rel_tol=1e-9)
    over = lay_ground([one, zone("c", "zone", box(-1, -2, 2, 2))], plane=PLANE, frame=FRAME)
    assert math.isclose(over.wanted_m2, 16.0, rel_tol=1e-9)
    same = lay_ground([one, one], plane=PLANE, frame=FRAME)
    assert math.isclose(same.wanted_m2, 8.4, rel_tol=1e-9)


def test_crossing_zones_and_keep_outs_are_near_what_geos_makes_of_them():
    # Reference: union and difference by GEOS. Only cells where two borders cross are sampled.
    rng = np.random.default_rng(11)
    rings = [star(rng, centre, 0.8, 1.8, 9) for centre in ((-0.7, 0.0), (0.8, 0.3), (0.2, -0.6), (0.9, 0.9))]
    kinds = ("zone", "zone", "keep_out", "keep_out")
    zones = [zone(str(i), kind, ring) for i, (kind, ring) in enumerate(zip(kinds, rings, strict=True))]
    shapes = [shapely.Polygon(rings_from_zone(z, plane=PLANE)[0]) for z in zones]
    dry = shapely.union_all(shapes[2:])
    wanted = shapely.difference(shapely.union_all(shapes[:2]), dry)
    ground = lay_ground(zones, plane=PLANE, frame=FRAME)
    for got, shape in ((ground.wanted, wanted), (ground.keep_out, dry)):
        error = np.abs(got - clip_cells(shape, FRAME))
        assert error.max() < 1 / 8
        assert (error > 1e-9).mean() < 0.05
        assert abs(got.sum() * FRAME.cell_area_m2 - shape.area) < 0.002 * shape.area


def test_a_site_without_polygons_wants_nothing():
    ground = lay_ground([], plane=PLANE, frame=FRAME)
    assert (ground.has_zones, ground.has_keep_outs, ground.wanted_m2) == (False, False, 0.0)


def test_a_ring_with_an_unknown_corner_is_refused():
    with pytest.raises(ValueError, match="finite"):
        cell_fractions([np.array([[0.0, 0.0], [1.0, np.nan], [1.0, 1.0]])], FRAME)


def test_frames_share_their_cell_borders():
    rng = np.random.default_rng(5)
    for _ in range(50):
        east, north = rng.uniform(-100, 100, (2, 3))
        frame = frame_around(east, north, margin_m=1.0, cell_m=0.1)
        assert abs(frame.x0_m / 0.1 - round(frame.x0_m / 0.1)) < 1e-9
        assert frame.x0_m <= east.min() - 0.999
        assert frame.x0_m + frame.nx * 0.1 >= east.max() + 0.999
    with pytest.raises(ValueError, match="must be positive"):
        frame_around([0.0], [0.0], margin_m=1.0, cell_m=0.0)
