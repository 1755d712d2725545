"""Where the ground of neighbouring passes meets, as lines to draw.

East and north in metres on the local plane, stations in metres along a pass.
"""

from dataclasses import dataclass

import numpy as np

from server.core.band import thin_line
from server.core.log import Floats
from server.core.passes import PassSpan
from server.core.results import Pair, Track

STEP_M = 1.0
TOLERANCE_M = 0.05
"""How far a line may be from the places that it stands for."""


@dataclass(frozen=True, slots=True)
class Seam:
    """A judged stretch on the ground: `line_m` [k, 2] midway between the passes, `width_m` what is doubtful about it.

    The width is that of the ground missed by a `gap`, of the ground sprayed twice by a `doubled` one, twice the
    spacing's sd of an `unsure` one, and 0 of an `even` one.
    """

    pair: Pair
    line_m: Floats
    width_m: float


def lay_seams(
    track: Track, spans: tuple[PassSpan, ...], pairs: tuple[Pair, ...], *, swath_m: float
) -> tuple[Seam, ...]:
    """Lay every judged stretch midway between its two passes.

    Points a metre apart along the first pass, each halfway to where the other pass crosses the same station, as few of
    them as keep the line's shape to 5 cm.

    Parameters
    ----------
    track
        The nozzle's way.
    spans
        The passes that were judged, in order of time.
    pairs
        The stretches, as `judge_pairs` gave them for this track and these passes.
    swath_m
        Effective width [m].

    Returns
    -------
    tuple[Seam, ...]
        A seam a stretch, in the same order. Beyond a pass's end its last place counts.

    References
    ----------
    Derivation: the frame of a pass, along and across its mean heading.

    Examples
    --------
    >>> t = np.arange(0, 100, 0.2)
    >>> turned = t >= 50
    >>> north = np.where(turned, 60 - 1.2 * (t - 50), 1.2 * t)
    >>> i, x = np.full(500, 4), np.zeros(500)
    >>> track = Track(i, t, t, t, np.where(turned, 2.0, 0.0), north, x, x, x, x + 1.2, x, x, i, np.zeros((0, 500, 2)))
    >>> spans = (PassSpan(1.0, 49.0, 0.0, 5, 245), PassSpan(51.0, 99.0, 180.0, 255, 495))
    >>> found = lay_seams(track, spans, (Pair(1, 2, 2.0, 0.01, 10.0, 12.0, "gap", 1.0),), swath_m=1.0)
    >>> found[0].line_m.round(2).tolist(), found[0].width_m
    ([[1.0, 11.2], [1.0, 13.2]], 1.0)
    """
    return tuple(Seam(pair, _lay_midway(track, spans, pair), _width_of(pair, swath_m)) for pair in pairs)


def trace_pass(track: Track, span: PassSpan, *, tolerance_m: float = TOLERANCE_M) -> Floats:
    """A pass's way with as few points as keep its shape.

    Of every stretch the point that lies furthest from the straight line between its ends is kept, and the two parts are
    looked at again, until none lies further than the tolerance.

    Parameters
    ----------
    track
        The nozzle's way.
    span
        The pass.
    tolerance_m
        How far the line may be from the way [m].

    Returns
    -------
    Floats
        Points east, north [k, 2] [m], the first and the last one of the way; none where it has no position.

    References
    ----------
    D. H. Douglas and T. K. Peucker, Algorithms for the reduction of the number of points required to represent a
    digitized line or its caricature, Cartographica 10 (2), 1973, 112-122.

    Examples
    --------
    >>> t = np.arange(0.0, 10.0)
    >>> i, x = np.full(10, 4), np.zeros(10)
    >>> track = Track(i, t, t, t, np.maximum(t - 5.0, 0.0), t, x, x, x, x, x, x, i, np.zeros((0, 10, 2)))
    >>> trace_pass(track, PassSpan(0.0, 9.0, 0.0, 0, 10)).tolist()
    [[0.0, 0.0], [0.0, 5.0], [4.0, 9.0]]
    """
    return thin_line(_points_of(track, span), tolerance_m=tolerance_m)


def _points_of(track: Track, span: PassSpan) -> Floats:
    """The places of a pass, as far as they are known."""
    points = np.stack([track.east_m[span.i0 : span.i1], track.north_m[span.i0 : span.i1]], axis=1)
    known: Floats = points[np.isfinite(points).all(axis=1)]
    return known


def _lay_midway(track: Track, spans: tuple[PassSpan, ...], pair: Pair) -> Floats:
    """The line between two passes from one station of the first to another."""
    a, b = (_points_of(track, spans[number - 1]) for number in (pair.pass_a, pair.pass_b))
    angle = np.radians(spans[pair.pass_a - 1].heading_deg)
    # To the rows (along, across): a turn of the plane, undone by its transpose.
    turn = np.array([[np.sin(angle), np.cos(angle)], [np.cos(angle), -np.sin(angle)]])
    own, other = a @ turn.T, b @ turn.T
    count = max(2, round((pair.to_m - pair.from_m) / STEP_M) + 1)
    along = own[0, 0] + np.linspace(pair.from_m, pair.to_m, count)
    middle = (_across_at(own, along) + _across_at(other, along)) / 2.0
    return thin_line(np.stack([along, middle], axis=1) @ turn, tolerance_m=TOLERANCE_M)


def _across_at(places: Floats, along: Floats) -> Floats:
    """Where a pass crosses given stations."""
    order = np.argsort(places[:, 0], kind="stable")
    return np.asarray(np.interp(along, places[order, 0], places[order, 1]))


def _width_of(pair: Pair, swath_m: float) -> float:
    """How much ground a stretch is about."""
    widths = {"gap": pair.spacing_m - swath_m, "doubled": swath_m - pair.spacing_m, "unsure": 2.0 * pair.spacing_sd_m}
    return float(np.clip(widths.get(pair.verdict, 0.0), 0.0, max(swath_m, pair.spacing_m)))
