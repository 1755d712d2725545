"""Seams lie midway between their passes, and thinned ways keep to the places they stand for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.passes import PassSpan
from server.core.results import Pair, Track
from server.core.seams import lay_seams, trace_pass

PACE_MPS, RATE_HZ, LENGTH_M = 1.2, 5.0, 30.0


def track_of(*ways: np.ndarray) -> tuple[Track, tuple[PassSpan, ...]]:
    """Ways [k, 2] one after another as one track, each of them a pass."""
    places = np.concatenate(ways)
    n = len(places)
    t, x, i = np.arange(n) / RATE_HZ, np.zeros(n), np.full(n, 4)
    spans, first = [], 0
    for way in ways:
        ahead = way[-1] - way[0]
        heading = float(np.degrees(np.arctan2(*ahead)) % 360.0)
        spans.append(PassSpan(t[first], t[first + len(way) - 1], heading, first, first + len(way)))
        first += len(way)
    track = Track(i, t, t, t, places[:, 0], places[:, 1], x, x, x, x, x, x, i, np.zeros((0, n, 2)))
    return track, tuple(spans)


def straight(start: tuple[float, float], heading_deg: float) -> np.ndarray:
    """A straight way [k, 2]."""
    s = np.arange(0.0, LENGTH_M + 1e-9, PACE_MPS / RATE_HZ)[:, None]
    angle = np.radians(heading_deg)
    return np.array(start) + s * np.array([np.sin(angle), np.cos(angle)])


def pair_of(verdict: str, spacing_m: float = 2.0, sd_m: float = 0.1) -> Pair:
    """A stretch from 4 to 20 m."""
    return Pair(1, 2, spacing_m, sd_m, 4.0, 20.0, verdict, 0.99)


@given(st.floats(0.0, 360.0), st.floats(0.3, 3.0), st.booleans(), st.sampled_from(["gap", "doubled", "unsure", "even"]))
def test_a_seam_lies_midway_and_where_along_the_first_pass_it_was_judged(
    heading_deg, spacing_m, is_back, verdict
) -> None:
    angle = np.radians(heading_deg)
    ahead, right = np.array([np.sin(angle), np.cos(angle)]), np.array([np.cos(angle), -np.sin(angle)])
    start = spacing_m * right + (LENGTH_M * ahead if is_back else 0.0)
    track, spans = track_of(straight((0.0, 0.0), heading_deg), straight(start, heading_deg + 180.0 * is_back))
    (seam,) = lay_seams(track, spans, (pair_of(verdict, spacing_m),), swath_m=1.0)
    np.testing.assert_allclose(seam.line_m[0], 4.0 * ahead + spacing_m / 2 * right, atol=1e-6)
    np.testing.assert_allclose(seam.line_m[-1], 20.0 * ahead + spacing_m / 2 * right, atol=1e-6)
    assert len(seam.line_m) == 2, "a straight seam needs no more"


@pytest.mark.parametrize(
    ("verdict", "spacing_m", "sd_m", "width_m"),
    [("gap", 2.1, 0.1, 1.1), ("doubled", 0.2, 0.1, 0.8), ("unsure", 1.0, 0.3, 0.6), ("unsure", 1.0, 9.0, 1.0),
     ("even", 1.1, 0.1, 0.0), ("gap", 0.9, 0.1, 0.0)],
)  # fmt: skip
def test_its_width_is_the_ground_that_is_in_doubt(verdict, spacing_m, sd_m, width_m) -> None:
    track, spans = track_of(straight((0.0, 0.0), 0.0), straight((spacing_m, 0.0), 0.0))
    (seam,) = lay_seams(track, spans, (pair_of(verdict, spacing_m, sd_m),), swath_m=1.0)
    assert seam.width_m == pytest.approx(width_m)


def test_a_seam_follows_passes_that_bend() -> None:
    s = np.arange(0.0, LENGTH_M, 0.24)
    bend = 0.5 * np.sin(s / 5.0)
    track, spans = track_of(np.stack([bend, s], axis=1), np.stack([bend + 2.0, s], axis=1)[::-1])
    (seam,) = lay_seams(track, spans, (pair_of("gap"),), swath_m=1.0)
    assert len(seam.line_m) > 4
    np.testing.assert_allclose(seam.line_m[:, 0], 0.5 * np.sin(seam.line_m[:, 1] / 5.0) + 1.0, atol=0.05)


@given(st.lists(st.floats(-0.4, 0.4), min_size=3, max_size=120), st.floats(0.01, 0.3))
def test_no_place_is_further_from_the_thinned_way_than_the_tolerance(sideways, tolerance_m) -> None:
    way = np.stack([np.array(sideways), 0.24 * np.arange(len(sideways))], axis=1)
    track, spans = track_of(way)
    line = trace_pass(track, spans[0], tolerance_m=tolerance_m)
    assert (line[[0, -1]] == way[[0, -1]]).all()
    assert len(line) <= len(way)
    # As complex numbers: turned so that a piece of the line lies along the real axis, a place's distance is imaginary.
    pieces = np.clip(np.searchsorted(line[:, 1], way[:, 1], "right") - 1, 0, len(line) - 2)
    start, end, place = (points @ [1.0, 1.0j] for points in (line[pieces], line[pieces + 1], way))
    off = np.abs(((place - start) * np.conj(end - start) / np.abs(end - start)).imag)
    assert (off <= tolerance_m + 1e-9).all()


def test_places_that_are_not_known_are_left_out() -> None:
    way = straight((0.0, 0.0), 90.0)
    way[10:20] = np.nan
    track, spans = track_of(way)
    line = trace_pass(track, spans[0])
    assert np.isfinite(line).all()
    assert line.round(6).tolist() == [[0.0, 0.0], [pytest.approx(LENGTH_M), 0.0]]
    way[:] = np.nan
    assert len(trace_pass(track_of(way)[0], spans[0])) == 0
