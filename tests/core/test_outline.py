"""Which polygons ground can have, what is wrong with the others, and where; a geometry library as witness."""

import numpy as np
import pytest
import shapely
from squares import LAT_M, LON_M, SQUARE, ring

from server.core.geodesy import ring_area
from server.core.outline import MOST_CORNERS, find_flaws, polygon_area, wind_rings

WRONG = [
    ((), "no outline"),
    ([ring((0, 0), (5, 5))], "2 different corners, three are needed"),
    ([((-30.0, 45.0),) * 4], "1 different corners"),
    ([SQUARE[:-1]], "does not end where it began"),
    ([((700500.0, 4700100.0), (700600.0, 4700100.0), (700600.0, 4700200.0), (700500.0, 4700100.0))], "in degrees"),
    ([((45.0, -100.0), (45.1, -100.0), (45.1, -100.1), (45.0, -100.0))], "not longitude and latitude"),
    ([((float("nan"), 45.0), *SQUARE[1:])], "no number"),
    ([((0.0, 89.5), (1.0, 89.5), (1.0, 89.6), (0.0, 89.5))], "pole"),
    ([((179.9999, 10.0), (-179.9999, 10.0), (-179.9999, 10.001), (179.9999, 10.0))], "180th meridian"),
    ([ring((0, 0), (0.1, 0), (0.1, 0.1), (0, 0.101))], None),
    ([ring((0, 0), (0.09, 0), (0.09, 0.09), (0, 0.09))], "is outside 0.01 to 1,000,000 m²"),
    ([ring((0, 0), (1100, 0), (1100, 1000), (0, 1000))], "is outside 0.01 to 1,000,000 m²"),
    ([ring((0, 0), (20, 0), (10, 0), (10, 10))], "touches itself between corners 1 and 2 and between 2 and 3"),
    ([ring((0, 0), (20, 0), (20, 20), (10, 0), (0, 20))], "touches itself"),
    ([SQUARE, ring((5, 5), (25, 5), (25, 10), (5, 10))], "the hole crosses the outer edge"),
    ([SQUARE, ring((25, 5), (30, 5), (30, 10))], "the hole is not inside the outer edge"),
    ([SQUARE, ring((0, 5), (5, 5), (5, 10), (0, 10))], "the hole runs along the outer edge"),
    ([SQUARE, ring((2, 2), (8, 2), (8, 8), (2, 8)), ring((4, 4), (6, 4), (6, 6))], "hole 2 and the hole lie in each"),
    ([SQUARE, ring((2, 2), (8, 2), (8, 8), (2, 8)), ring((4, 4), (12, 4), (12, 6))], "hole 2 crosses the hole"),
    ([SQUARE, ring((-5, -5), (25, -5), (25, 25), (-5, 25))], "the hole is not inside the outer edge"),
]


@pytest.mark.parametrize(("rings", "words"), WRONG, ids=lambda each: str(each)[:40])
def test_what_ground_cannot_have_is_told_in_words(rings, words):
    flaws = find_flaws(rings)
    if words is None:
        assert flaws == ()
    else:
        assert words in str(flaws[0])


def test_a_crossing_is_told_with_its_place_and_its_corners():
    flaws = find_flaws([ring((0, 0), (20, 20), (20, 0), (0, 20))])
    assert len(flaws) == 1
    assert flaws[0].problem == "its edge crosses itself between corners 1 and 2 and between 3 and 4"
    assert flaws[0].lon == pytest.approx(-30.0 + 10 * LON_M, abs=2e-9)
    assert flaws[0].lat == pytest.approx(45.0 + 10 * LAT_M, abs=2e-9)


def test_every_crossing_is_told_up_to_a_dozen():
    zigzag = [(k, 10 * (k % 2)) for k in range(10)] + [(9, 5), (-1, 5)]
    flaws = find_flaws([ring(*zigzag)])
    assert len(flaws) == 9
    wide = [(k, 10 * (k % 2)) for k in range(40)] + [(39, 5), (-1, 5)]
    assert len(find_flaws([ring(*wide)])) == 12


def test_what_is_odd_but_harmless_is_no_flaw():
    twice = (*SQUARE[:2], SQUARE[1], *SQUARE[2:])
    assert find_flaws([twice]) == ()
    assert find_flaws([SQUARE[::-1]]) == (), "the wrong way round"
    assert find_flaws([SQUARE, ring((0, 10), (5, 5), (5, 15))]) == (), "a hole that touches the edge in a point"
    assert find_flaws([ring((0, 0), (10, 0), (20, 0), (20, 20), (0, 20))]) == (), "a corner on a straight side"


def test_many_corners_are_taken_and_too_many_refused():
    turn = np.linspace(0.0, 2.0 * np.pi, MOST_CORNERS - 1, endpoint=False)
    assert find_flaws([ring(*np.stack([30 * np.cos(turn), 30 * np.sin(turn)], axis=1))]) == ()
    more = np.linspace(0.0, 2.0 * np.pi, MOST_CORNERS + 50, endpoint=False)
    flaws = find_flaws([ring(*np.stack([30 * np.cos(more), 30 * np.sin(more)], axis=1))])
    assert "2,051 corners are too many" in str(flaws[0])


def test_judged_as_a_geometry_library_judges():
    # Reference: GEOS by shapely, which also refuses holes that touch the edge twice; ground does not mind those.
    rng = np.random.default_rng(20)
    counts = {True: 0, False: 0}
    for _ in range(1500):
        corners = rng.integers(0, 13, (rng.integers(3, 9), 2)) * 2.0
        if rng.random() < 0.6:
            spokes = corners - corners.mean(axis=0)
            corners = corners[np.argsort(np.arctan2(*spokes.T))]
        rings = [corners, *([rng.integers(2, 11, (3, 2)) * 2.0] if rng.random() < 0.5 else [])]
        if any(len({tuple(corner) for corner in each.tolist()}) < 3 for each in rings):
            continue
        witness = shapely.Polygon(rings[0], rings[1:])
        if "disconnected" in shapely.is_valid_reason(witness):
            continue
        is_good = not find_flaws([ring(*each) for each in rings])
        assert is_good == witness.is_valid, (rings, shapely.is_valid_reason(witness))
        counts[is_good] += 1
    assert min(counts.values()) > 300


def test_rings_are_wound_as_the_format_has_them_and_right_ones_are_left_alone():
    hole = ring((2, 2), (8, 2), (8, 8), (2, 8))
    assert wind_rings([SQUARE, hole[::-1]]) == (SQUARE, hole[::-1])
    assert wind_rings([SQUARE[::-1], hole]) == (SQUARE, hole[::-1])


def test_a_hole_is_taken_off_the_area():
    hole = ring((2, 2), (8, 2), (8, 8), (2, 8))
    assert polygon_area([SQUARE, hole]) == pytest.approx(ring_area(SQUARE) - ring_area(hole), rel=1e-12)
    assert polygon_area([SQUARE, hole]) == pytest.approx(364.0, rel=1e-5)
