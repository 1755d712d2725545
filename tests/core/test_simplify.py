"""Rings with fewer corners that stay near, and rings moved by so much."""

import numpy as np
import pytest
import shapely

from server.core.geodesy import signed_area
from server.core.simplify import move_ring, scale_area, simplify_ring

CIRCLE = np.array([(10 * np.cos(a), 10 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 400, endpoint=False)])


@pytest.mark.parametrize("tolerance", [0.05, 0.1, 0.4])
def test_no_place_left_out_lies_farther_from_the_new_sides_than_said(tolerance):
    rng = np.random.default_rng(4)
    ring = CIRCLE + rng.normal(0.0, 0.02, CIRCLE.shape)
    corners = simplify_ring(ring, tolerance_m=tolerance)
    edge = shapely.LinearRing(corners)
    assert max(edge.distance(shapely.Point(*place)) for place in ring) <= tolerance
    assert len(corners) < 150


def test_corners_keep_their_order_and_are_places_of_the_ring():
    corners = simplify_ring(CIRCLE, tolerance_m=0.1)
    assert signed_area(*corners.T) > 0.0
    assert set(map(tuple, corners)) <= set(map(tuple, CIRCLE))


def test_a_moved_square_has_sides_so_much_farther_out():
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 4.0], [0.0, 4.0]])
    assert signed_area(*move_ring(square, outward_m=0.3).T) == pytest.approx(10.6 * 4.6)
    assert signed_area(*move_ring(square, outward_m=-0.3).T) == pytest.approx(9.4 * 3.4)


def test_a_circle_cut_to_few_corners_gets_its_area_back():
    corners = simplify_ring(CIRCLE, tolerance_m=0.4)
    assert signed_area(*corners.T) < 0.975 * np.pi * 100.0
    assert signed_area(*scale_area(corners, area_m2=np.pi * 100.0).T) == pytest.approx(np.pi * 100.0, rel=1e-9)
