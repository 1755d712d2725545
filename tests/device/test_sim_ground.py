"""The simulator's own plane, lawn and path: geodesy against published values, lines and arcs against closed form."""

import json
import math
from itertools import pairwise

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from firmware_sim.world.geodesy import LocalPlane
from firmware_sim.world.lawn import (
    Lawn,
    clear_chords,
    is_inside,
    lawn_geojson,
    polygon_area,
    rectangle,
    regular,
)
from firmware_sim.world.path import Path, Segment, join_poses

angles = st.floats(-math.pi, math.pi)
places = st.floats(-6.0, 6.0)


@pytest.mark.parametrize(
    ("lat", "north", "east"),
    [
        (40.0, 111034.633, 85393.857),
        (45.0, 111131.777, 78846.835),
        (30.0, 110852.442, 96486.280),
        (0.0, 110574.276, 111319.491),
    ],
)
def test_metres_in_a_degree(lat, north, east):
    """Row G26 of the physics handbook."""
    plane = LocalPlane(lat, -75.0)
    assert plane.north_m_per_deg == pytest.approx(north, abs=6e-4)
    assert plane.east_m_per_deg == pytest.approx(east, abs=6e-4)


def test_a_lawn_of_600_square_metres_on_the_ellipsoid():
    """Row G29: 30 × 20 m at 40° N, 75° W has geodesic perimeter 99.99992 m and area 599.99921 m²."""
    plane = LocalPlane(40.0, -75.0)
    polygon = Geodesic.WGS84.Polygon()
    for east, north in ((0.0, 0.0), (30.0, 0.0), (30.0, 20.0), (0.0, 20.0)):
        lat, lon = plane.degrees(np.array(east), np.array(north))
        polygon.AddPoint(float(lat), float(lon))
    _, perimeter, area = polygon.Compute()
    assert perimeter == pytest.approx(99.99992, abs=2e-5)
    assert area == pytest.approx(599.99921, abs=2e-4)


@pytest.mark.parametrize(("away_m", "limit_m"), [(100.0, 0.8e-3), (200.0, 3.1e-3), (500.0, 19e-3)])
def test_the_plane_is_off_by_no_more_than_the_handbook_says(away_m, limit_m):
    """Row G27 (at 40° N), by Karney's geodesics."""
    plane = LocalPlane(40.0, -75.0)
    for bearing in range(0, 360, 30):
        east, north = away_m * math.sin(math.radians(bearing)), away_m * math.cos(math.radians(bearing))
        lat, lon = plane.degrees(np.array(east), np.array(north))
        line = Geodesic.WGS84.Inverse(40.0, -75.0, float(lat), float(lon))
        found = (
            line["s12"] * math.sin(math.radians(line["azi1"])),
            line["s12"] * math.cos(math.radians(line["azi1"])),
        )
        assert math.hypot(found[0] - east, found[1] - north) <= limit_m


@given(st.floats(-500.0, 500.0), st.floats(-500.0, 500.0))
def test_degrees_and_back_are_the_same_place(east, north):
    """The plane's two directions invert each other."""
    plane = LocalPlane()
    back = plane.metres(*plane.degrees(np.array(east), np.array(north)))
    assert (float(back[0]), float(back[1])) == pytest.approx((east, north), abs=1e-7)


def test_a_line_stops_at_the_bed_and_goes_on_behind_it():
    """Chords by hand: a lawn of 20 m, a bed from 8 to 12 m."""
    lawn = Lawn(
        (
            rectangle("Lawn", "zone", corner=(0.0, 0.0), along_m=20.0, across_m=10.0),
            rectangle("Bed", "keep_out", corner=(3.0, 8.0), along_m=4.0, across_m=4.0),
        )
    )
    through = clear_chords(lawn, start=(5.0, 0.0), heading_rad=0.0)
    beside = clear_chords(lawn, start=(1.0, 0.0), heading_rad=0.0)
    assert np.array(through) == pytest.approx(np.array([(0.0, 8.0), (12.0, 20.0)]))
    assert np.array(beside) == pytest.approx(np.array([(0.0, 20.0)]))


def test_a_round_bed_has_a_round_area():
    """A regular polygon's area is n/2 · r² sin(2π/n); points tell the same to a percent."""
    bed = regular("Bed", "keep_out", centre=(1.0, 2.0), radius_m=1.7, corners=12)
    exact = 6.0 * 1.7**2 * math.sin(math.pi / 6.0)
    assert polygon_area(bed) == pytest.approx(exact, rel=1e-12)
    east, north = np.meshgrid(np.arange(-1.0, 3.0, 0.02) + 0.01, np.arange(0.0, 4.0, 0.02) + 0.01)
    assert np.sum(is_inside(bed, east, north)) * 4e-4 == pytest.approx(exact, rel=0.01)


def test_the_lawn_file_is_closed_and_turns_left():
    """RFC 7946, section 3.1.6: linear rings are closed, exteriors counterclockwise; positions are lon, lat."""
    lawn = Lawn((rectangle("Lawn", "zone", corner=(4.0, 4.0), along_m=20.0, across_m=9.0, heading_deg=20.0),))
    feature = json.loads(lawn_geojson(lawn))["features"][0]
    (ring,) = feature["geometry"]["coordinates"]
    assert ring[0] == ring[-1]
    assert feature["properties"] == {"name": "Lawn", "kind": "zone"}
    assert sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise(ring)) > 0.0
    assert all(-30.01 < lon < -29.99 and 44.99 < lat < 45.01 for lon, lat in ring)


def test_a_quarter_circle_to_the_right_ends_where_it_must():
    """Going north with radius 2 m to the right: after π m one is 2 m east, 2 m north, facing east."""
    east, north, heading = Segment(0.0, 0.0, 0.0, 0.5, math.pi).end
    assert (east, north, heading) == pytest.approx((2.0, 2.0, math.pi / 2.0))


@given(places, places, angles, places, places, angles, st.floats(0.3, 2.0))
def test_the_shortest_way_arrives_and_never_bends_tighter(x0, y0, h0, x1, y1, h1, radius):
    """Dubins (1957): the pieces join, end at the pose, keep the radius, are no shorter than the straight distance."""
    segments = join_poses((x0, y0, h0), (x1, y1, h1), radius_m=radius)
    pose = (x0, y0, h0)
    for segment in segments:
        assert (segment.east_m, segment.north_m) == pytest.approx(pose[:2], abs=1e-6)
        assert abs(segment.bend) <= 1.0 / radius + 1e-9
        pose = segment.end
    assert pose[:2] == pytest.approx((x1, y1), abs=1e-6)
    assert math.remainder(pose[2] - h1, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-6)
    assert sum(s.length_m for s in segments) >= math.hypot(x1 - x0, y1 - y0) - 1e-6


def test_where_one_stands_already_there_is_no_way_to_go():
    """A pose a rounding error away must not send the operator round a full circle."""
    assert join_poses((1.0, 2.0, 0.5), (1.0 + 1e-14, 2.0, 0.5 - 2.0 * math.pi), radius_m=0.5) == []


def test_a_path_is_walked_at_its_own_length():
    """Positions 1 cm apart along the path are 1 cm apart on the ground, on lines and arcs (chord error 1e-6)."""
    path = Path(join_poses((0.0, 0.0, 0.0), (3.0, 1.0, 2.0), radius_m=0.5))
    s = np.arange(0.0, path.starts[-1], 0.01)
    east, north, _ = path.poses_at(s)
    assert np.hypot(np.diff(east), np.diff(north)) == pytest.approx(np.full(len(s) - 1, 0.01), abs=1e-6)
