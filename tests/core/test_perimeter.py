"""Walks round known lawns: area within what is told, shape near the edge, and what may not be kept is refused."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import edges

from server.core.geodesy import plane_from_degrees
from server.core.results import Plane

LAWN = np.array([[0.0, 0.0], [24.0, 2.0], [22.0, 16.0], [12.0, 12.0], [1.0, 17.0]])
CLASSES = {"ordinary": (0.06, 0.15), "differential": (0.03, 0.06), "float": (0.012, 0.03), "fixed": (0.002, 0.005)}
"""Largest rms error of the area and largest told standard uncertainty, as shares."""


def laid(found):
    """The ring on the simulator's plane, metres."""
    corners = np.array(found.ring)
    return np.stack(plane_from_degrees(corners[:, 1], corners[:, 0], plane=Plane(45.0, -30.0)), axis=1)


@pytest.mark.parametrize("klass", CLASSES)
def test_the_area_is_right_to_what_is_told(klass):
    errors, ratios, told = [], [], []
    for seed in range(24):
        ring = edges.draw_lawn(np.random.default_rng([seed, 7]))
        found = edges.survey(edges.hear_walk(ring, klass, [seed, 8]))
        assert found.refusal == ""
        true = edges.area_of(ring)
        errors.append(found.area_m2 / true - 1.0)
        told.append(found.area_sd_m2 / true)
        ratios.append((found.area_m2 - true) / found.area_sd_m2)
    # Of 24 intervals of 95 % fewer than 19 hold once in 1,300 times (binomial).
    assert np.count_nonzero(np.abs(ratios) < 1.96) >= 19
    assert abs(np.mean(ratios)) < 0.8
    rms_limit, sd_limit = CLASSES[klass]
    assert np.sqrt(np.mean(np.square(errors))) < rms_limit
    assert max(told) < sd_limit


def test_the_shape_lies_along_the_edge_with_few_corners():
    found = edges.survey(edges.hear_walk(LAWN, "fixed", 3))
    walked, true = shapely.Polygon(laid(found)), shapely.Polygon(LAWN)
    assert walked.symmetric_difference(true).area < 0.06 * true.length
    assert 5 <= len(found.ring) - 1 <= 16
    assert found.ring[0] == found.ring[-1]
    assert found.length_m == pytest.approx(true.length, rel=0.02)
    assert found.beside_m2 == pytest.approx(0.1 * true.length, rel=0.02)


@pytest.mark.parametrize("way_round", [1, -1])
def test_an_antenna_carried_inside_the_edge_is_put_right(way_round):
    inner = np.array(shapely.Polygon(LAWN).buffer(-0.4, join_style="mitre").exterior.coords)[:-1][::way_round]
    found = edges.survey(edges.hear_walk(inner, "fixed", 3), offset_m=0.4)
    assert found.area_m2 == pytest.approx(edges.area_of(LAWN), abs=3.0 * found.area_sd_m2 + 0.5)


@pytest.mark.parametrize("past_m", [3.0, 8.0])
def test_who_walks_past_the_start_has_walked_it_once(past_m):
    found = edges.survey(edges.hear_walk(LAWN, "float", 5, edges.Pace(past_m=past_m)))
    assert found.refusal == ""
    assert found.area_m2 == pytest.approx(edges.area_of(LAWN), rel=0.03)


def test_an_open_walk_is_refused_and_its_area_so_far_told_closed_straight():
    found = edges.survey(edges.hear_walk(LAWN, "fixed", 5, edges.Pace(past_m=-12.0)))
    assert found.refusal.startswith("the walk is open by")
    reached = LAWN[4] + (LAWN[0] - LAWN[4]) * (1.0 - 12.0 / np.hypot(*LAWN[4]))
    assert found.gap_m == pytest.approx(np.hypot(*reached), abs=0.3)
    assert found.area_m2 == pytest.approx(edges.area_of(np.vstack([LAWN, reached])), rel=0.02)


@pytest.mark.parametrize(
    ("ring", "words"),
    [
        (np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]), "all the way round"),
        (np.array([[0.0, 0.0], [20.0, 15.0], [20.0, 0.0], [0.0, 15.0]]), "its edge crosses itself"),
    ],
)
def test_a_walk_that_is_too_short_or_crosses_itself_is_refused(ring, words):
    found = edges.survey(edges.hear_walk(ring, "fixed", 5))
    assert words in found.refusal
    assert not found.is_usable
    if "crosses" in words:
        assert found.place is not None
        east, north = plane_from_degrees(found.place[1], found.place[0], plane=Plane(45.0, -30.0))
        assert np.hypot(east - 10.0, north - 7.5) < 0.5


def test_a_long_time_without_the_sky_is_refused():
    fixes = edges.hear_walk(LAWN, "fixed", 5)
    quality = np.where((fixes.mono > 20.0) & (fixes.mono < 40.0), 0, fixes.quality)
    blind = replace(fixes, quality=quality, lat_deg=np.where(quality == 0, np.nan, fixes.lat_deg))
    assert "lost its position for" in edges.survey(blind).refusal


def test_a_receiver_without_velocity_tells_an_area_too():
    fixes = edges.hear_walk(LAWN, "fixed", 6)
    none = np.full(len(fixes.mono), np.nan)
    found = edges.survey(replace(fixes, speed_mps=none, course_deg=none))
    assert found.refusal == ""
    assert found.area_m2 == pytest.approx(edges.area_of(LAWN), abs=4.0 * found.area_sd_m2)
