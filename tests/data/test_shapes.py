"""Digitised shapes of others, brought along: areas by the geodesic library and the record, and out as they came in."""

import json
import math
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from server.core.sitecard import SiteCard
from server.geojson import geojson_from_site, propose_zones


@pytest.fixture
def file(recordings: Path) -> Path:
    """25 shapes, WGS 84 (beanumber/macleish, CC0)."""
    return recordings / "macleish_polygons" / "polygons.geojson"


def geodesic_area(ring) -> float:
    """By GeographicLib: C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87, 2013."""
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in ring[:-1]:
        polygon.AddPoint(lat, lon)
    return abs(polygon.Compute()[2])


def test_every_recorded_shape_is_taken_with_its_area_to_a_thousandth(file: Path) -> None:
    features = json.loads(file.read_text())["features"]
    rows = propose_zones(file.read_bytes())
    assert len(rows) == len(features) == 25
    for row, feature in zip(rows, features, strict=True):
        assert row.flaws == ()
        assert row.zone is not None
        true = geodesic_area(row.zone.rings[0])
        assert math.isclose(row.zone.area_m2, true, rel_tol=1e-4)
        # The record's own area is planar (UTM 18N, its scale within 0.04 % of one there), rounded to 0.1 m².
        assert abs(row.zone.area_m2 - feature["properties"]["area_m2_utm18n"]) < 0.001 * true + 0.06


def test_recorded_shapes_come_out_with_the_corners_that_went_in(file: Path) -> None:
    zones = tuple(row.zone for row in propose_zones(file.read_bytes()) if row.zone is not None)
    out = geojson_from_site(SiteCard("Station", zones=zones))
    again = propose_zones(json.dumps(out).encode())
    assert [row.zone for row in again] == list(zones)
    for feature, made in zip(json.loads(file.read_text())["features"], out["features"], strict=True):
        went_in, came_out = (each["geometry"]["coordinates"][0] for each in (feature, made))
        assert came_out in (went_in, went_in[::-1])
        if feature["properties"]["name"]:
            assert made["properties"]["name"] == feature["properties"]["name"]
