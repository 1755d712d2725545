"""Whether rings of corners are a shape that ground can have, and where they are not.

Corners are longitude and latitude in degrees (WGS 84), rings closed, the first the outside, the others holes, as in
RFC 7946; metres on the local plane through the middle of the shape.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, isfinite

import numpy as np

from server.core.entries import LIMITS
from server.core.geodesy import degrees_from_plane, plane_from_degrees, ring_area, signed_area
from server.core.log import Floats
from server.core.polygons import edge_distance, point_in_rings
from server.core.results import Plane
from server.core.setup import Ring

TOUCH_M = 1e-4
"""Edges and corners as near as this are the same: a tenth of a millimetre, what nine decimals of a degree resolve."""
MOST_CORNERS = 2000
FARTHEST_LAT_DEG = 89.0
MOST_FLAWS = 12
"""So many are told; one that crosses itself everywhere is not told place by place."""
_BLOCK = 128
_XY = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Flaw:
    """What is wrong with a shape, in words, and where: longitude and latitude, None where it is no one place."""

    problem: str
    lon: float | None = None
    lat: float | None = None

    def __str__(self) -> str:
        """The words with the place."""
        if self.lon is None or self.lat is None:
            return self.problem
        return f"{self.problem}, at longitude {self.lon:.7f}, latitude {self.lat:.7f}"


def find_flaws(rings: Sequence[Ring]) -> tuple[Flaw, ...]:
    """What is wrong with a polygon; nothing where it is a shape that ground can have.

    A ring must close, have three different corners and meet itself nowhere; holes lie inside the outside and apart
    from each other, though they may touch in a point. A side that crosses another is told with the place.

    Parameters
    ----------
    rings
        The outside and then the holes, corners as longitude and latitude [deg].

    Returns
    -------
    tuple[Flaw, ...]
        At most `MOST_FLAWS`; those of the rings first.

    Notes
    -----
    Sides are straight in longitude and latitude (RFC 7946, 3.1.1). Winding is not a flaw: see `wind_rings`. A shape
    over the 180th meridian is one, for RFC 7946, 3.1.9 has it cut there.

    References
    ----------
    RFC 7946, The GeoJSON Format, 2016, sections 3.1.6 and 3.1.9. OGC 06-103r4, Simple feature access, 2011, 6.1.11.1
    (what makes a polygon valid).

    Examples
    --------
    >>> bow = ((-30.0, 45.0), (-29.999, 45.001), (-29.999, 45.0), (-30.0, 45.001), (-30.0, 45.0))
    >>> print(find_flaws([bow])[0])
    its edge crosses itself between corners 1 and 2 and between 3 and 4, at longitude -29.9995000, latitude 45.0005000
    """
    plain = [flaw for place, ring in enumerate(rings) for flaw in _check_ring(ring, _name_ring(place))]
    if not rings:
        plain = [Flaw("it has no outline")]
    if sum(map(len, rings)) > MOST_CORNERS:
        plain = [Flaw(f"{sum(map(len, rings)):,} corners are too many: {MOST_CORNERS:,} go in")]
    if plain:
        return tuple(plain[:MOST_FLAWS])
    plane = _plane_of(rings)
    laid = [np.stack(plane_from_degrees(*np.array(ring).T[::-1], plane=plane), axis=1) for ring in rings]
    found = [flaw for place, ring in enumerate(laid) for flaw in _cross_itself(ring, _name_ring(place), plane)]
    found = found or _check_size(rings)
    found = found or [flaw for place in range(1, len(laid)) for flaw in _check_hole(laid, place, plane)]
    return tuple(found[:MOST_FLAWS])


def wind_rings(rings: Sequence[Ring]) -> tuple[Ring, ...]:
    """The same rings the way round that RFC 7946 has them: the outside anticlockwise, holes clockwise.

    Parameters
    ----------
    rings
        The outside and then the holes, corners as longitude and latitude [deg].

    Returns
    -------
    tuple[Ring, ...]
        Rings that lay right are the same to the digit, the others are turned round from their first corner.

    References
    ----------
    RFC 7946, The GeoJSON Format, 2016, section 3.1.6.

    Examples
    --------
    >>> wind_rings([((0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (0.0, 0.0))])
    (((0.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0)),)
    """
    wound = []
    for place, ring in enumerate(rings):
        corners = np.array(ring, dtype=np.float64).reshape(-1, 2)
        is_left = len(corners) < 3 or signed_area(corners[:, 0], corners[:, 1]) >= 0.0
        wound.append(tuple(ring) if is_left == (place == 0) else tuple(ring[::-1]))
    return tuple(wound)


def polygon_area(rings: Sequence[Ring]) -> float:
    """The area of the outside less the holes.

    Parameters
    ----------
    rings
        The outside and then the holes, corners as longitude and latitude [deg].

    Returns
    -------
    float
        Area [m²]; 0 without rings.

    References
    ----------
    Derivation: `server.core.geodesy.ring_area` ring by ring.

    Examples
    --------
    >>> outer = ((0.0, 0.0), (0.001, 0.0), (0.001, 0.001), (0.0, 0.001), (0.0, 0.0))
    >>> round(polygon_area([outer]), 1)
    12309.1
    """
    return sum(ring_area(ring) * (1.0 if place == 0 else -1.0) for place, ring in enumerate(rings))


def find_crossing(p: Floats, q: Floats, r: Floats, s: Floats) -> tuple[float, float] | None:
    """Where two sides cross, their ends clear of each other.

    Parameters
    ----------
    p, q
        The ends of one side, east and north [2] [m].
    r, s
        The ends of the other [2] [m].

    Returns
    -------
    tuple[float, float] | None
        East and north [m]; None where they are apart, only touch, or run along each other.

    References
    ----------
    Derivation: either side's ends lie on different sides of the other, each farther than `TOUCH_M`.

    Examples
    --------
    >>> find_crossing(np.array([0.0, 0.0]), np.array([2.0, 2.0]), np.array([0.0, 2.0]), np.array([2.0, 0.0]))
    (1.0, 1.0)
    """
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = p.tolist(), q.tolist(), r.tolist(), s.tolist()
    first, second = hypot(bx - ax, by - ay), hypot(dx - cx, dy - cy)
    if min(first, second) <= TOUCH_M:
        return None
    sides = [((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / first for x, y in ((cx, cy), (dx, dy))]
    others = [((dx - cx) * (y - cy) - (dy - cy) * (x - cx)) / second for x, y in ((ax, ay), (bx, by))]
    is_clear = min(map(abs, (*sides, *others))) > TOUCH_M
    if not is_clear or sides[0] * sides[1] >= 0.0 or others[0] * others[1] >= 0.0:
        return None
    share = sides[0] / (sides[0] - sides[1])
    return cx + share * (dx - cx), cy + share * (dy - cy)


def _name_ring(place: int) -> str:
    return "its edge" if place == 0 else f"hole {place}" if place > 1 else "the hole"


def _plane_of(rings: Sequence[Ring]) -> Plane:
    """The local plane through the middle of the outside."""
    corners = np.array(rings[0], dtype=np.float64)
    lon, lat = (corners.min(axis=0) + corners.max(axis=0)) / 2.0
    return Plane(float(lat), float(lon))


def _at(problem: str, point: _XY, plane: Plane) -> Flaw:
    lat, lon = degrees_from_plane(point[0], point[1], plane=plane)
    return Flaw(problem, round(float(lon), 9), round(float(lat), 9))


def _check_ring(ring: Ring, name: str) -> Iterator[Flaw]:
    """What is wrong with a ring by itself, before anything is laid on a plane."""
    numbers = [value for corner in ring for value in corner]
    if not all(isfinite(value) for value in numbers):
        yield Flaw(f"a corner of {name} is no number")
        return
    wrong = next(((lon, lat) for lon, lat in ring if abs(lon) > 180.0 or abs(lat) > 90.0), None)
    if wrong is not None:
        line = f"a corner of {name}, {wrong[0]:g} and {wrong[1]:g}, is not longitude and latitude in degrees (WGS 84)"
        yield Flaw(line)
        return
    if any(abs(lat) > FARTHEST_LAT_DEG for _, lat in ring):
        yield Flaw(f"{name} lies within a degree of a pole, where east has no meaning")
        return
    jump = next((a for a, b in pairwise(ring) if abs(a[0] - b[0]) > 180.0), None)
    if jump is not None:
        yield Flaw(f"{name} reaches over the 180th meridian: cut it there in two (RFC 7946, 3.1.9)", *jump)
        return
    if len(set(ring)) < 3:
        yield Flaw(f"{name} has {len(set(ring))} different corners, three are needed")
    elif ring[0] != ring[-1]:
        yield Flaw(f"{name} does not end where it began", *ring[-1])


def _check_size(rings: Sequence[Ring]) -> list[Flaw]:
    least, most, unit = LIMITS["shape"]
    area = ring_area(rings[0])
    if least <= area <= most:
        return []
    return [Flaw(f"its area, {area:,.4g} {unit}, is outside {least:g} to {most:,.0f} {unit}")]


def _sides(ring: Floats) -> tuple[Floats, Floats, list[int]]:
    """Both ends of a ring's sides [k, 2], without those of no length, and the number of each one's first corner."""
    starts, ends, numbers = [], [], []
    at = 0
    corners = ring[:-1]
    for i in range(len(corners)):
        after = corners[(i + 1) % len(corners)]
        if hypot(*(after - corners[at])) > TOUCH_M:
            starts.append(corners[at])
            ends.append(after)
            numbers.append(at + 1)
            at = (i + 1) % len(corners)
    return np.array(starts).reshape(-1, 2), np.array(ends).reshape(-1, 2), numbers


def _cross_itself(ring: Floats, name: str, plane: Plane) -> Iterator[Flaw]:
    """Where a ring meets itself elsewhere than from corner to corner."""
    starts, ends, numbers = _sides(ring)
    count, corners = len(starts), len(ring) - 1
    for i, j in _near_pairs(starts, ends, starts, ends):
        if j <= i:
            continue
        if j == i + 1:
            meeting = _fold(starts[i], ends[i], ends[j])
        elif (j + 1) % count == i:
            meeting = _fold(starts[j], ends[j], ends[i])
        else:
            meeting = _meet(starts[i], ends[i], starts[j], ends[j])
        if meeting is None:
            continue
        where, is_crossing = meeting
        at = [f"{numbers[k]} and {numbers[k] % corners + 1}" for k in (i, j)]
        word = "crosses" if is_crossing else "touches"
        yield _at(f"{name} {word} itself between corners {at[0]} and between {at[1]}", where, plane)


def _near_pairs(a: Floats, b: Floats, c: Floats, d: Floats) -> Iterator[tuple[int, int]]:
    """Sides a-b and sides c-d whose boxes meet."""
    first, last = np.minimum(a, b)[:, None], np.maximum(a, b)[:, None]
    low, high = np.minimum(c, d)[None] - TOUCH_M, np.maximum(c, d)[None] + TOUCH_M
    for begin in range(0, len(a), _BLOCK):
        rows = slice(begin, begin + _BLOCK)
        is_near = ((low <= last[rows]) & (high >= first[rows])).all(axis=2)
        yield from ((begin + int(i), int(j)) for i, j in zip(*np.nonzero(is_near), strict=True))


def _meet(p: Floats, q: Floats, r: Floats, s: Floats) -> tuple[_XY, bool] | None:
    """Where two sides meet, and whether they cross rather than touch; None where they are apart."""
    crossing = find_crossing(p, q, r, s)
    if crossing is not None:
        return crossing, True
    for point, (a, b) in ((p, (r, s)), (q, (r, s)), (r, (p, q)), (s, (p, q))):
        if _distance(point, a, b) <= TOUCH_M:
            return (float(point[0]), float(point[1])), False
    return None


def _fold(a: Floats, corner: Floats, b: Floats) -> tuple[_XY, bool] | None:
    """Where two neighbouring sides, a to the corner and on to b, lie on each other."""
    for end, other in ((a, b), (b, a)):
        if _distance(end, corner, other) <= TOUCH_M:
            return (float(end[0]), float(end[1])), False
    return None


def _distance(point: Floats, a: Floats, b: Floats) -> float:
    """How far a point is from a side."""
    (x, y), (ax, ay), (bx, by) = point.tolist(), a.tolist(), b.tolist()
    length2 = (bx - ax) ** 2 + (by - ay) ** 2
    along = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length2 if length2 > 0.0 else 0.0
    foot = min(max(along, 0.0), 1.0)
    return hypot(x - ax - foot * (bx - ax), y - ay - foot * (by - ay))


def _check_hole(laid: list[Floats], place: int, plane: Plane) -> Iterator[Flaw]:
    """A hole against the outside and against the holes before it."""
    hole, name = laid[place], _name_ring(place)
    for other in range(place):
        against = "the outer edge" if other == 0 else _name_ring(other)
        found = list(_cross_rings(hole, laid[other]))
        if found:
            yield from (_at(f"{name} {word} {against}", where, plane) for where, word in found)
            continue
        stray = _stray(hole, laid[other])
        if other == 0 and len(stray):
            yield _at(f"{name} is not inside the outer edge", _point(stray[0]), plane)
        elif other > 0 and not (len(stray) and len(_stray(laid[other], hole))):
            yield _at(f"{name} and {against} lie in each other", _point(hole[0]), plane)


def _cross_rings(ring: Floats, other: Floats) -> Iterator[tuple[_XY, str]]:
    """Where the sides of two rings cross or run along each other; that they touch in a point is no matter."""
    starts, ends, _ = _sides(ring)
    others, after, _ = _sides(other)
    for i, j in _near_pairs(starts, ends, others, after):
        where = find_crossing(starts[i], ends[i], others[j], after[j])
        if where is not None:
            yield where, "crosses"
            continue
        near = [p for p in (starts[i], ends[i]) if _distance(p, others[j], after[j]) <= TOUCH_M]
        near += [p for p in (others[j], after[j]) if _distance(p, starts[i], ends[i]) <= TOUCH_M]
        if any(hypot(*(p - near[0])) > 2.0 * TOUCH_M for p in near):
            yield _point(sum(near) / len(near)), "runs along"


def _stray(ring: Floats, other: Floats) -> Floats:
    """The corners of a ring, and the middles of its sides, that lie outside another ring [k, 2]."""
    starts, ends, _ = _sides(ring)
    points = np.concatenate([starts, (starts + ends) / 2.0])
    inside = point_in_rings(points[:, 0], points[:, 1], [other])
    inside |= edge_distance(points[:, 0], points[:, 1], [other]) <= TOUCH_M
    return points[~inside]


def _point(found: Floats) -> _XY:
    return float(found[0]), float(found[1])
