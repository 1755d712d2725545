"""A polygon cut in pieces along a straight line, holes and hollows and all.

Corners are longitude and latitude in degrees; what is near is judged in metres on the local plane.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.core.errors import EntryError
from server.core.geodesy import plane_from_degrees, ring_area
from server.core.outline import find_flaws, polygon_area, wind_rings
from server.core.polygons import point_in_rings
from server.core.results import Plane
from server.core.setup import Ring

ON_LINE_M = 0.002
"""A corner as near to the line as this lies on it, so that a cut from corner to corner leaves no sliver."""
LEAST_PIECE_M2 = 0.01
_Place = tuple[float, float]
_End = tuple[int, int]
"""Ring and place in it."""


@dataclass(frozen=True, slots=True)
class _Laid:
    """A ring's corner or crossing: place in degrees, how far along the line, what parts it from one that lies there."""

    place: _Place
    along_m: float
    tie: float
    is_crossing: bool


def cut_polygon(rings: Sequence[Ring], line: tuple[_Place, _Place]) -> tuple[tuple[Ring, ...], ...]:
    """The pieces of a polygon along a straight line between two places.

    The line is cut where it runs over the polygon: each stretch of it from edge to edge that the two places span or
    begin in is cut through to its ends. Each piece is then followed round, along the edge and the cuts in turn.

    Parameters
    ----------
    rings
        A valid polygon: outside and holes, corners as longitude and latitude [deg].
    line
        Two places, longitude and latitude [deg].

    Returns
    -------
    tuple[tuple[Ring, ...], ...]
        Two pieces or more, the largest first, each wound as RFC 7946 has it; together they have the polygon's area.

    Raises
    ------
    EntryError
        If the line has no length, leaves the polygon in one piece, or a piece that is too small.

    References
    ----------
    Derivation: a straight line enters and leaves a polygon in turn (Jordan), so its crossings in order are pairs; every
    pair is an edge of the piece on either side.

    Examples
    --------
    >>> square = ((0.0, 0.0), (0.0002, 0.0), (0.0002, 0.0002), (0.0, 0.0002), (0.0, 0.0))
    >>> pieces = cut_polygon([square], ((0.0001, -0.0001), (0.0001, 0.0003)))
    >>> [round(polygon_area(piece), 1) for piece in pieces]
    [246.2, 246.2]
    """
    wound = wind_rings(rings)
    laid, length = _lay_crossings(wound, line)
    chords = _pair_crossings(laid, length)
    faces = _follow(laid, chords)
    kept = [face for face in faces if ring_area(face) > LEAST_PIECE_M2]
    uncut = {k for k, ring in enumerate(laid) if not any((k, i) in chords for i in range(len(ring)))}
    pieces = _give_holes(kept, [wound[k] for k in sorted(uncut)])
    is_whole = abs(sum(map(polygon_area, pieces)) / polygon_area(rings) - 1.0) < 1e-3
    if len(pieces) < 2 or not is_whole:
        raise EntryError("line", "does not part the shape: draw it right across, over holes as well")
    flaw = next((flaw for piece in pieces for flaw in find_flaws(piece)), None)
    if flaw is not None:
        raise EntryError("line", f"leaves a piece of which this is wrong: {flaw}")
    return tuple(sorted(pieces, key=polygon_area, reverse=True))


def _lay_crossings(rings: tuple[Ring, ...], line: tuple[_Place, _Place]) -> tuple[list[list[_Laid]], float]:
    """The rings without their last corner, with a corner more wherever the line crosses; and the line's length."""
    plane = Plane((line[0][1] + line[1][1]) / 2.0, (line[0][0] + line[1][0]) / 2.0)
    (x0, y0), (x1, y1) = (_metres(place, plane) for place in line)
    length = float(np.hypot(x1 - x0, y1 - y0))
    if not length > ON_LINE_M:
        raise EntryError("line", "has no length: give two places")
    ahead = ((x1 - x0) / length, (y1 - y0) / length)
    laid = []
    for ring in rings:
        spots = [(place, *_measure(_metres(place, plane), (x0, y0), ahead)) for place in ring[:-1]]
        laid.append(_add_crossings(spots))
    return laid, length


def _metres(place: _Place, plane: Plane) -> _Place:
    east, north = plane_from_degrees(place[1], place[0], plane=plane)
    return float(east), float(north)


def _measure(at: _Place, start: _Place, ahead: _Place) -> _Place:
    """How far along the line and how far to its left; 0 to its left where it is near."""
    x, y = at[0] - start[0], at[1] - start[1]
    left = ahead[0] * y - ahead[1] * x
    return ahead[0] * x + ahead[1] * y, 0.0 if abs(left) <= ON_LINE_M else left


def _add_crossings(spots: list[tuple[_Place, float, float]]) -> list[_Laid]:
    """A ring's corners and its crossings in order; a corner on the line counts as left of it."""
    found = []
    for (here, along, left), (there, further, beyond) in zip(spots, spots[1:] + spots[:1], strict=True):
        found.append(_Laid(here, along, 0.0, False))
        if (left >= 0.0) == (beyond >= 0.0):
            continue
        share = left / (left - beyond)
        on = here if left == 0.0 else there if beyond == 0.0 else _between(here, there, share)
        # Where corners lie on the line, what parts them is where they would be on one a little to the right.
        tie = (along - further) / (beyond - left) if left == 0.0 or beyond == 0.0 else 0.0
        found.append(_Laid(on, along + share * (further - along), tie, True))
    return found


def _between(a: _Place, b: _Place, share: float) -> _Place:
    """A place on the side from one corner to another, to nine decimals of a degree."""
    return round(a[0] + share * (b[0] - a[0]), 9), round(a[1] + share * (b[1] - a[1]), 9)


def _pair_crossings(laid: list[list[_Laid]], length: float) -> dict[_End, _End]:
    """Which crossing each leads to across the polygon, for the stretches that the line spans."""
    ends = [(k, i) for k, ring in enumerate(laid) for i, spot in enumerate(ring) if spot.is_crossing]
    ends.sort(key=lambda end: (round(laid[end[0]][end[1]].along_m, 6), laid[end[0]][end[1]].tie))
    chords: dict[_End, _End] = {}
    for a, b in zip(ends[::2], ends[1::2], strict=True):
        if laid[a[0]][a[1]].along_m < length - ON_LINE_M and laid[b[0]][b[1]].along_m > ON_LINE_M:
            chords |= {a: b, b: a}
    return chords


def _follow(laid: list[list[_Laid]], chords: dict[_End, _End]) -> list[Ring]:
    """The faces that cuts and edges bound, each followed with its ground to the left."""
    left_over = {k for k, _ in chords}
    steps = [(k, i) for k in sorted(left_over) for i in range(len(laid[k]))]
    done: set[_End] = set()
    faces = []
    for first in steps:
        if first in done:
            continue
        face: list[_Place] = []
        at = first
        while at not in done:
            done.add(at)
            k, i = at
            after = (k, (i + 1) % len(laid[k]))
            _walk(face, laid[k][i].place)
            _walk(face, laid[after[0]][after[1]].place)
            at = chords.get(after, after)
            # Across the cut, and on from its far end.
            _walk(face, laid[at[0]][at[1]].place)
        faces.append(_close(face))
    return faces


def _walk(face: list[_Place], place: _Place) -> None:
    if not face or face[-1] != place:
        face.append(place)


def _close(face: list[_Place]) -> Ring:
    """A ring from a face, its first corner once more at its end, without sides walked there and back again."""
    if len(face) < 3:
        return (*face, face[0])
    plane = Plane(face[0][1], face[0][0])
    spots = [_metres(place, plane) for place in face]
    spike: int | None = 0
    while spike is not None and len(face) > 3:
        count = len(face)
        spike = next((i for i in range(count) if _is_fold(spots[i - 1], spots[i], spots[(i + 1) % count])), None)
        if spike is not None:
            face.pop(spike)
            spots.pop(spike)
    return (*face, face[0])


def _is_fold(a: _Place, corner: _Place, b: _Place) -> bool:
    """Whether the way from a to a corner and on to b goes back where it came from."""
    (ux, uy), (vx, vy) = ((p[0] - corner[0], p[1] - corner[1]) for p in (a, b))
    shorter = min(np.hypot(ux, uy), np.hypot(vx, vy))
    longer = max(np.hypot(ux, uy), np.hypot(vx, vy))
    return bool(shorter == 0.0 or (ux * vx + uy * vy > 0.0 and abs(ux * vy - uy * vx) <= 2.0 * ON_LINE_M * longer))


def _give_holes(faces: list[Ring], holes: list[Ring]) -> list[tuple[Ring, ...]]:
    """The faces, each with the holes in it that no cut went through."""
    pieces = []
    for face in faces:
        edge = np.array(face)
        mine = [hole for hole in holes if _is_inside(hole, edge)]
        pieces.append((face, *mine))
    return pieces


def _is_inside(hole: Ring, edge: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> bool:
    lon, lat = np.array(hole[:-1]).T
    return bool(np.count_nonzero(point_in_rings(lon, lat, [edge])) * 2 > len(lon))
