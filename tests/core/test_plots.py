"""The ground of a treatment: zones less keep-outs, against areas known beforehand and an independent count."""

from math import cos, pi, sin

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.geodesy import degrees_from_plane, plane_from_degrees
from server.core.plots import measure_ground
from server.core.results import Plane
from server.core.sitecard import ZoneCard

PLANE = Plane(45.0, -30.0)


def ring(corners):
    """Corners in metres as a closed ring in degrees."""
    lat, lon = degrees_from_plane(
        np.array([x for x, _ in corners], float), np.array([y for _, y in corners], float), plane=PLANE
    )
    found = [(float(a), float(b)) for a, b in zip(lon, lat, strict=True)]
    return (*found, found[0])


def box(name, west, south, width, height, *holes, kind="zone"):
    """A rectangle in metres, with rectangular holes."""
    rings = [(west, south, width, height), *holes]
    return ZoneCard(name, kind, tuple(ring([(w, s), (w + a, s), (w + a, s + b), (w, s + b)]) for w, s, a, b in rings))


def test_a_rectangle_has_its_area_and_its_sides() -> None:
    ground = measure_ground([box("front", 0, 0, 30, 15)])
    assert ground.area_m2 == pytest.approx(450.0, rel=1e-4)
    assert ground.plots[0].long_m == pytest.approx(30.0, rel=1e-4)
    assert ground.plots[0].short_m == pytest.approx(15.0, rel=1e-4)


def test_holes_and_keep_outs_are_taken_off_once_and_only_where_they_lie_inside() -> None:
    lawn = box("lawn", 0, 0, 20, 20, (1, 1, 2, 2))
    outs = [box("bed", 10, 10, 4, 4, kind="keep_out"), box("pond", 12, 12, 4, 4, kind="keep_out")]
    outs.append(box("road", 18, -5, 10, 40, kind="keep_out"))
    ground = measure_ground([lawn], keep_outs=outs)
    assert ground.area_m2 == pytest.approx(400 - 4 - (16 + 16 - 4) - 40, rel=1e-4)


def test_a_keep_out_elsewhere_takes_nothing() -> None:
    lawn = box("lawn", 0, 0, 20, 20, (1, 1, 2, 2))
    ground = measure_ground([lawn, box("strip", 30, 0, 5, 5)], keep_outs=[box("bed", 50, 0, 9, 9, kind="keep_out")])
    assert ground.area_m2 == pytest.approx(396.0 + 25.0, rel=1e-4)


def test_zones_that_overlap_count_once_together() -> None:
    ground = measure_ground([box("a", 0, 0, 10, 10), box("b", 5, 0, 10, 10)])
    assert ground.area_m2 == pytest.approx(150.0, rel=1e-4)
    assert [round(plot.area_m2) for plot in ground.plots] == [100, 100]


def test_a_turned_lawn_has_the_sides_of_its_own_rectangle() -> None:
    turn = [(x * cos(0.5) - y * sin(0.5), x * sin(0.5) + y * cos(0.5)) for x, y in ((0, 0), (40, 0), (40, 8), (0, 8))]
    plot = measure_ground([ZoneCard("side", rings=(ring(turn),))]).plots[0]
    assert (plot.long_m, plot.short_m) == (pytest.approx(40.0, rel=1e-3), pytest.approx(8.0, rel=1e-3))


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_any_shapes_have_the_area_that_geos_finds(seed: int) -> None:
    draw = np.random.default_rng(seed)

    def blob(name, kind="zone"):
        count, (east, north) = int(draw.integers(5, 12)), draw.uniform(-8, 8, 2)
        radii = draw.uniform(2.0, 15.0, count)
        at = 2 * pi * np.arange(count) / count
        return ZoneCard(
            name, kind, (ring(list(zip(east + radii * np.cos(at), north + radii * np.sin(at), strict=True))),)
        )

    zones, outs = [blob("a"), blob("b")], [blob("x", "keep_out")]
    found = measure_ground(zones, keep_outs=outs).area_m2

    def flat(zone):
        lon, lat = np.array(zone.rings[0]).T
        return shapely.Polygon(np.stack(plane_from_degrees(lat, lon, plane=PLANE), axis=1))

    wanted = flat(zones[0]).union(flat(zones[1])).difference(flat(outs[0])).area
    assert found == pytest.approx(wanted, rel=1e-4, abs=1e-3)
