"""The local plane against geodesics, a projection library and recorded polygons."""

import json
import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from server.core.geodesy import degrees_from_plane, metres_per_degree, plane_at, plane_from_degrees, ring_area
from server.core.results import Plane

WGS84 = Geodesic.WGS84


@pytest.mark.parametrize(
    ("lat", "north", "east"),
    [
        (40, 111034.633, 85393.857),
        (45, 111131.777, 78846.835),
        (30, 110852.442, 96486.280),
        (0, 110574.276, 111319.491),
    ],
)
def test_a_degree_is_as_long_as_the_ellipsoid_says(lat, north, east):
    # Radii of curvature from an independent computation with geographiclib below; figures computed, not published.
    got = metres_per_degree(lat)
    assert abs(got[0] - north) < 6e-4
    assert abs(got[1] - east) < 6e-4
    step = 1e-3
    meridian = WGS84.Inverse(lat - step / 2, 0, lat + step / 2, 0)["s12"] / step
    assert math.isclose(got[0], meridian, rel_tol=1e-8)


@pytest.mark.parametrize(
    ("radius", "limit"), [(100, 0.75e-3), (200, 3.0e-3), (500, 18.8e-3), (1000, 75e-3), (2000, 0.30)]
)
def test_the_plane_is_as_wrong_as_its_notes_say_and_no_more(radius, limit):
    # Reference: C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87, 2013, through geographiclib.
    plane, worst = Plane(40.0, -75.0), 0.0
    for azimuth in np.arange(0, 360, 5.0):
        place = WGS84.Direct(40.0, -75.0, azimuth, radius)
        east, north = plane_from_degrees(place["lat2"], place["lon2"], plane=plane)
        true_east, true_north = radius * math.sin(math.radians(azimuth)), radius * math.cos(math.radians(azimuth))
        worst = max(worst, math.hypot(float(east) - true_east, float(north) - true_north))
    assert 0.9 * limit < worst < 1.02 * limit


def test_a_thirty_by_twenty_metre_lawn_has_600_square_metres():
    # Geodesic polygon of the same corners by geographiclib (599.999 m2).
    corners = [(0.0, 0.0), (30.0, 0.0), (30.0, 20.0), (0.0, 20.0)]
    lat, lon = degrees_from_plane([e for e, _ in corners], [n for _, n in corners], plane=Plane(40.0, -75.0))
    polygon = WGS84.Polygon()
    for corner in zip(lat, lon, strict=True):
        polygon.AddPoint(*corner)
    _, perimeter, area = polygon.Compute()
    assert abs(area - 599.999) < 0.002
    assert abs(perimeter - 100.0) < 0.001
    assert abs(ring_area(np.stack([lon, lat], axis=1)) - area) < 0.002


def test_recorded_polygons_have_their_geodesic_area(recordings):
    # Shapes: beanumber/macleish (CC0). Reference: pyproj's geodesic area; the recorded UTM area as a second opinion.
    shapes = json.loads((recordings / "macleish_polygons" / "polygons.geojson").read_text())["features"]
    geod = Geod(ellps="WGS84")
    checked = 0
    for shape in shapes:
        geometry = shape["geometry"]
        polygons = [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]
        total = 0.0
        for rings in polygons:
            for number, ring in enumerate(rings):
                true = abs(geod.polygon_area_perimeter(*np.array(ring).T)[0])
                assert math.isclose(ring_area(ring), true, rel_tol=1e-4)
                total += ring_area(ring) if number == 0 else -ring_area(ring)
                checked += 1
        if shape["properties"]["valid"]:
            # UTM's scale factor there is within 0.04 % of one, so areas within 0.1 % and the rounding of 0.1 m2.
            assert abs(total - shape["properties"]["area_m2_utm18n"]) < 0.001 * total + 0.06
    assert checked >= 25


def test_short_lines_equal_the_geodesic_test_set():
    # GeographicLib test set GeodSolve4: a line of 0.072 m.
    plane = Plane(36.493349428792, 0.0)
    east, north = plane_from_degrees(36.49334942879201, 0.0000008, plane=plane)
    assert abs(math.hypot(float(east), float(north)) - 0.072) < 0.0005


def test_the_plane_agrees_with_a_transverse_mercator_about_its_origin():
    # Reference: PROJ's transverse Mercator with unit scale at the same origin; both are flat to millimetres at 150 m.
    mercator = Transformer.from_crs(
        "EPSG:4326", "+proj=tmerc +lat_0=50.77535 +lon_0=6.08389 +ellps=WGS84 +k=1", always_xy=True
    )
    plane = plane_at(50.77535, 6.08389)
    lat, lon = degrees_from_plane([150.0, -80.0, 3.0], [-60.0, 120.0, 149.0], plane=plane)
    east, north = mercator.transform(lon, lat)
    assert np.abs(np.array(east) - [150.0, -80.0, 3.0]).max() < 3e-3
    assert np.abs(np.array(north) - [-60.0, 120.0, 149.0]).max() < 3e-3


@given(
    lat=st.floats(-85, 85),
    lon=st.floats(-180, 180),
    east=st.floats(-2000, 2000),
    north=st.floats(-2000, 2000),
)
def test_the_plane_goes_there_and_back_even_across_the_180th_meridian(lat, lon, east, north):
    plane = plane_at(lat, lon)
    back = plane_from_degrees(*degrees_from_plane(east, north, plane=plane), plane=plane)
    assert abs(float(back[0]) - east) < 1e-6
    assert abs(float(back[1]) - north) < 1e-6


def test_unknown_places_stay_unknown():
    east, north = plane_from_degrees([math.nan, 45.0], [-30.0, -30.0], plane=Plane(45.0, -30.0))
    assert np.isnan(north[0])
    assert (east[1], north[1]) == (0.0, 0.0)


@pytest.mark.parametrize("place", [(90.0, 0.0), (math.nan, 0.0), (0.0, math.inf)])
def test_a_place_off_the_globe_is_refused(place):
    with pytest.raises(ValueError, match="no local plane"):
        plane_at(*place)


def test_a_ring_across_the_180th_meridian_keeps_its_area():
    here = [(-0.001, 10.0), (0.001, 10.0), (0.001, 10.001), (-0.001, 10.001)]
    there = [((lon + 360) % 360 - 180, lat) for lon, lat in here]
    assert {round(lon) for lon, _ in there} == {-180, 180}
    assert math.isclose(ring_area(here), ring_area(there), rel_tol=1e-9)


def test_a_ring_needs_three_finite_corners():
    assert ring_area([(0.0, 0.0), (1.0, 1.0)]) == 0.0
    with pytest.raises(ValueError, match="finite"):
        ring_area([(0.0, 0.0), (1.0, math.nan), (1.0, 1.0)])
