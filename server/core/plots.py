"""How much ground a treatment meets: zones less keep-outs, overlaps counted once, and how passes lie on each.

Square metres, metres; corners in degrees (WGS 84), reckoned on the local plane and brought to geodesic areas.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import fsum, hypot, sqrt

import numpy as np

from server.core.geodesy import plane_at, signed_area
from server.core.log import Floats
from server.core.polygons import rings_from_zone
from server.core.results import Plane
from server.core.setup import Zone
from server.core.sitecard import ZoneCard


@dataclass(frozen=True, slots=True)
class Plot:
    """One zone: its area without keep-outs and the sides of the smallest rectangle around it."""

    name: str
    area_m2: float
    long_m: float
    short_m: float


@dataclass(frozen=True, slots=True)
class Ground:
    """All zones of a treatment together; the uncertainty is that of the zones where it is known."""

    area_m2: float
    area_sd_m2: float
    plots: tuple[Plot, ...]


NO_GROUND = Ground(0.0, 0.0, ())


def measure_ground(zones: Sequence[ZoneCard], *, keep_outs: Sequence[ZoneCard] = ()) -> Ground:
    """The area of zones together, less what keep-outs take of them.

    The plane is cut into bands between all corners and crossings of edges; within a band every piece is a trapezoid, so
    that the sum of middle widths times heights is exact. The plane's area is scaled to the zones' geodesic one.

    Parameters
    ----------
    zones
        What is to be treated, rings in longitude and latitude [deg].
    keep_outs
        What is not.

    Returns
    -------
    Ground
        Area [m²] with its standard uncertainty [m²], and each zone by itself; nothing for no zones.

    References
    ----------
    Derivation: sum of trapezoids between all events of a sweep; even-odd rule within a polygon.

    Examples
    --------
    >>> def square(name, west, side):
    ...     ring = tuple((west + x * side, 45.0 + y * side) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1), (0, 0)))
    ...     return ZoneCard(name, rings=(ring,))
    >>> whole = measure_ground([square("A", 0.0, 0.0004)])
    >>> less = measure_ground([square("A", 0.0, 0.0004)], keep_outs=[square("bed", 0.0001, 0.0001)])
    >>> round(whole.area_m2), round(less.area_m2 / whole.area_m2, 6)
    (1402, 0.9375)
    """
    drawn = [zone for zone in zones if zone.rings and len(zone.rings[0]) > 2]
    if not drawn:
        return NO_GROUND
    lon, lat = drawn[0].rings[0][0]
    plane = plane_at(lat, lon)
    shapes = [_lay_out(zone, plane) for zone in drawn]
    dry = [_lay_out(zone, plane) for zone in keep_outs if zone.rings and len(zone.rings[0]) > 2]
    flat_m2 = fsum(_flat_area(shape) for shape in shapes)
    scale = fsum(zone.area_m2 for zone in drawn) / flat_m2 if flat_m2 > 0.0 else 1.0
    plots = [
        Plot(zone.name, scale * _cut_area([shape], dry), *_sides_of(shape[0]))
        for zone, shape in zip(drawn, shapes, strict=True)
    ]
    is_apart = not any(_may_meet(one, other) for one, other in combinations(shapes, 2))
    total = fsum(plot.area_m2 for plot in plots) if is_apart else _cut_area(shapes, dry) * scale
    sd = sqrt(fsum((zone.area_sd_m2 or 0.0) ** 2 for zone in drawn))
    return Ground(total, sd, tuple(plots))


def _lay_out(zone: ZoneCard, plane: Plane) -> list[Floats]:
    """A polygon's rings on the plane, open or closed."""
    return list(rings_from_zone(Zone(zone.name, zone.kind, zone.rings), plane=plane))


def _flat_area(shape: Sequence[Floats]) -> float:
    """The outside less the holes."""
    areas = [abs(signed_area(ring[:, 0], ring[:, 1])) for ring in shape]
    return areas[0] - fsum(areas[1:])


def _may_meet(one: Sequence[Floats], other: Sequence[Floats]) -> bool:
    """Whether the boxes around two polygons overlap."""
    lows, highs = (np.maximum(one[0].min(0), other[0].min(0)), np.minimum(one[0].max(0), other[0].max(0)))
    return bool((lows < highs).all())


def _cut_area(wet: Sequence[Sequence[Floats]], dry: Sequence[Sequence[Floats]]) -> float:
    """The area inside any of the first and none of the second polygons."""
    dry = [other for other in dry if any(_may_meet(one, other) for one in wet)]
    if len(wet) == 1 and not dry:
        return _flat_area(wet[0])
    shapes = [*wet, *dry]
    edges, owner = _edges_of(shapes)
    levels = _levels_of(edges)
    parts = []
    for low, high in pairwise(levels):
        middle = (low + high) / 2.0
        is_met = (edges[:, 1] < middle) & (edges[:, 3] > middle)
        x1, y1, x2, y2 = edges[is_met].T
        at = x1 + (middle - y1) * (x2 - x1) / (y2 - y1)
        order = np.argsort(at)
        met = np.eye(len(shapes), dtype=np.int64)[owner[is_met][order]]
        is_inside = np.cumsum(met, axis=0)[:-1] % 2 == 1
        is_wanted = is_inside[:, : len(wet)].any(axis=1) & ~is_inside[:, len(wet) :].any(axis=1)
        parts.append(float(np.diff(at[order])[is_wanted].sum()) * (high - low))
    return fsum(parts)


def _edges_of(shapes: Sequence[Sequence[Floats]]) -> tuple[Floats, Floats]:
    """Edges that are not level, each from below to above, and whose they are."""
    rows, owners = [], []
    for number, shape in enumerate(shapes):
        for ring in shape:
            ends = np.roll(ring, -1, axis=0)
            edge = np.concatenate([ring, ends], axis=1)
            edge = np.where((edge[:, 1] > edge[:, 3])[:, None], edge[:, [2, 3, 0, 1]], edge)
            edge = edge[edge[:, 1] < edge[:, 3]]
            rows.append(edge)
            owners.append(np.full(len(edge), number))
    return np.concatenate(rows), np.concatenate(owners)


def _levels_of(edges: Floats) -> list[float]:
    """All heights at which a corner lies or two edges cross."""
    found = [edges[:, 1], edges[:, 3]]
    run, rise = edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1]
    for k in range(len(edges) - 1):
        east, north = edges[k + 1 :, 0] - edges[k, 0], edges[k + 1 :, 1] - edges[k, 1]
        turn = run[k] * rise[k + 1 :] - rise[k] * run[k + 1 :]
        with np.errstate(divide="ignore", invalid="ignore"):
            here = (east * rise[k + 1 :] - north * run[k + 1 :]) / turn
            there = (east * rise[k] - north * run[k]) / turn
        is_met = (here > 0.0) & (here < 1.0) & (there > 0.0) & (there < 1.0)
        found.append(edges[k, 1] + here[is_met] * rise[k])
    return [float(level) for level in np.unique(np.concatenate(found))]


def _sides_of(ring: Floats) -> tuple[float, float]:
    """Long and short side of the smallest rectangle around a ring that lies along one of its edges."""
    best = (0.0, 0.0)
    least = float("inf")
    for (x1, y1), (x2, y2) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        length = hypot(x2 - x1, y2 - y1)
        if length == 0.0:
            continue
        along = ring @ np.array([x2 - x1, y2 - y1]) / length
        across = ring @ np.array([y1 - y2, x2 - x1]) / length
        sides = float(np.ptp(along)), float(np.ptp(across))
        if sides[0] * sides[1] < least:
            least, best = sides[0] * sides[1], (max(sides), min(sides))
    return best
