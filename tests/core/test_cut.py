"""Pieces of a polygon along a line: together the whole, apart from each other, valid; a geometry library as witness."""

import numpy as np
import pytest
import shapely
from shapely.ops import split
from squares import LAT_M, LON_M, SQUARE, ring

from server.core.cut import cut_polygon
from server.core.errors import EntryError
from server.core.outline import find_flaws, polygon_area


def line(*corners):
    """Two places from metres."""
    return tuple((-30.0 + x * LON_M, 45.0 + y * LAT_M) for x, y in corners)


def areas(rings, cut):
    """The pieces' areas, rounded, the largest first."""
    return [round(polygon_area(piece), 1) for piece in cut_polygon(rings, cut)]


HOLE = ring((8, 8), (12, 8), (12, 12), (8, 12))
COMB = ring((0, 0), (30, 0), (30, 10), (20, 10), (20, 4), (10, 4), (10, 10), (0, 10))


def test_a_square_falls_in_two_and_its_hole_goes_with_its_piece():
    assert areas([SQUARE], line((5, -1), (5, 21))) == [300.0, 100.0]
    assert areas([SQUARE, HOLE], line((5, -1), (5, 21))) == [284.0, 100.0]
    assert areas([SQUARE, HOLE], line((10, -1), (10, 21))) == [192.0, 192.0]


def test_a_line_from_corner_to_corner_leaves_the_corners_as_they_are():
    pieces = cut_polygon([SQUARE], (SQUARE[0], SQUARE[2]))
    assert [len(piece[0]) for piece in pieces] == [4, 4]
    assert {corner for piece in pieces for corner in piece[0]} == set(SQUARE)


def test_only_what_the_line_spans_is_cut():
    assert areas([COMB], line((-1, 7), (31, 7))) == [180.0, 30.0, 30.0]
    assert areas([COMB], line((-1, 7), (12, 7))) == [210.0, 30.0]
    assert areas([COMB], line((1, 7), (3, 7))) == [210.0, 30.0], "a stroke within is carried on to the edge"


@pytest.mark.parametrize(
    ("cut", "words"),
    [
        (line((5, 5), (5, 5)), "has no length"),
        (line((25, 0), (25, 20)), "does not part the shape"),
        (line((10, -1), (10, 9)), "over holes as well"),
        (line((0, -1), (0, 21)), "does not part the shape"),
    ],
)
def test_a_line_that_parts_nothing_is_refused(cut, words):
    with pytest.raises(EntryError, match=words):
        cut_polygon([SQUARE, HOLE], cut)


def test_pieces_are_those_of_a_geometry_library():
    # Reference: GEOS by shapely, the same lines through random shapes with a hole, drawn well beyond the edge.
    rng = np.random.default_rng(8)
    checked = 0
    for _ in range(400):
        spokes = rng.random((rng.integers(4, 10), 2)) * 40.0
        middle = spokes.mean(axis=0)
        outer = spokes[np.argsort(np.arctan2(*(spokes - middle).T))]
        hole = middle + rng.random((4, 2)) * 4.0
        hole = hole[np.argsort(np.arctan2(*(hole - hole.mean(axis=0)).T))]
        rings = [ring(*outer), ring(*hole)]
        if find_flaws(rings):
            continue
        a, b = rng.random((2, 2)) * 40.0
        cut = line(a - 5.0 * (b - a), b + 5.0 * (b - a))
        if np.hypot(*(b - a)) < 8.0:
            continue
        whole = shapely.Polygon(rings[0], rings[1:])
        witness = split(whole, shapely.LineString(cut)).geoms
        wanted = sorted((part.area / LON_M / LAT_M for part in witness), reverse=True)
        if min(wanted) < 0.1:
            continue
        if len(wanted) == 1:
            with pytest.raises(EntryError):
                cut_polygon(rings, cut)
            continue
        found = cut_polygon(rings, cut)
        assert [polygon_area(piece) for piece in found] == pytest.approx(wanted, rel=1e-3, abs=0.05)
        assert all(shapely.Polygon(piece[0], piece[1:]).is_valid for piece in found)
        checked += 1
    assert checked > 150
