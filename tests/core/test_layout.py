"""What the shapes of a site come to together; a geometry library as witness."""

import pytest
import shapely
from squares import ring

from server.core.layout import measure_layout
from server.core.sitecard import ZoneCard

FRONT = ZoneCard("Front", "zone", (ring((0, 0), (20, 0), (20, 20), (0, 20)),))
SIDE = ZoneCard("Side", "zone", (ring((20, 0), (30, 0), (30, 20), (20, 20)),))
OVER = ZoneCard("Over", "zone", (ring((15, 3), (33, 8), (30, 25)),))
POND = ZoneCard("Pond", "keep_out", (ring((5, 5), (9, 5), (9, 8), (5, 8)),))
AWAY = ZoneCard("Away", "keep_out", (ring((50, 5), (59, 5), (59, 8), (50, 8)),))


def test_zones_less_keep_outs_are_treated():
    found = measure_layout([FRONT, SIDE, POND])
    assert found.treated_m2 == pytest.approx(600.0 - 12.0, rel=1e-5)
    assert found.cautions == (), "shapes side by side are no overlap"


def test_ground_in_two_zones_is_counted_once_and_told():
    shapes = [shapely.Polygon([(0, 0), (20, 0), (20, 20), (0, 20)]), shapely.Polygon([(15, 3), (33, 8), (30, 25)])]
    found = measure_layout([FRONT, OVER])
    assert found.treated_m2 == pytest.approx(shapely.union_all(shapes).area, rel=1e-3)
    shared = shapes[0].intersection(shapes[1]).area
    assert len(found.cautions) == 1
    assert f"lie on each other on about {shared:.3g}" in found.cautions[0]


def test_a_keep_out_in_no_zone_and_a_shape_far_away_are_cautions():
    assert measure_layout([FRONT, AWAY]).cautions == ("Away is a keep-out that lies in no zone",)
    swapped = ZoneCard("Back", "zone", (tuple((lat, lon) for lon, lat in FRONT.rings[0]),))
    found = measure_layout([FRONT, swapped])
    assert "is longitude given before latitude?" in found.cautions[0]
    assert measure_layout([]).treated_m2 == 0.0
