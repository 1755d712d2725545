"""Polygons on the local plane: how much of each cell they cover, and what lies inside.

East, north in metres; the first ring of a polygon is its outside, the others are holes; rings closed or not.
"""

from collections.abc import Sequence

import numpy as np

from server.core.geodesy import plane_from_degrees, signed_area
from server.core.grid import GridFrame, fill_cells
from server.core.log import Floats
from server.core.results import Bools, Plane
from server.core.setup import Zone


def rings_from_zone(zone: Zone, *, plane: Plane) -> tuple[Floats, ...]:
    """A zone's rings on the local plane.

    Parameters
    ----------
    zone
        The zone, its rings in longitude and latitude [deg].
    plane
        The local plane.

    Returns
    -------
    tuple[Floats, ...]
        Rings [k, 2], east and north [m], in the zone's order.

    References
    ----------
    Derivation: `plane_from_degrees` corner by corner.

    Examples
    --------
    >>> zone = Zone("bed", "keep_out", (((-30.0, 45.0), (-29.999, 45.0), (-30.0, 45.001), (-30.0, 45.0)),))
    >>> rings_from_zone(zone, plane=Plane(45.0, -30.0))[0].round(1).tolist()
    [[0.0, 0.0], [78.8, 0.0], [0.0, 111.1], [0.0, 0.0]]
    """
    corners = [np.asarray(ring, dtype=np.float64).reshape(-1, 2) for ring in zone.rings]
    return tuple(np.stack(plane_from_degrees(ring[:, 1], ring[:, 0], plane=plane), axis=1) for ring in corners)


def cell_fractions(rings: Sequence[Floats], frame: GridFrame) -> Floats:
    """What fraction of each cell a polygon covers.

    The kernel that lays the dose, fed with density 1 for the outside ring and -1 for each hole, whichever way round
    they were drawn.

    Parameters
    ----------
    rings
        Outside ring, then holes, each [k, 2], east and north [m].
    frame
        The cells.

    Returns
    -------
    Floats
        Fractions [ny, nx] from 0 to 1.

    Raises
    ------
    ValueError
        If a corner is not a finite number.

    Notes
    -----
    Exact but for rounding (below 1e-12) for simple rings with holes inside the outside ring and apart from each other.

    References
    ----------
    Derivation: Green's theorem cell by cell; see `fill_cells`.

    Examples
    --------
    >>> triangle = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0]])
    >>> cell_fractions([triangle], GridFrame(0.0, 0.0, 1.0, 2, 2))
    array([[0.5, 1. ],
           [0. , 0.5]])
    """
    fractions = np.zeros((frame.ny, frame.nx))
    for number, ring in enumerate(rings):
        if not np.isfinite(ring).all():
            raise ValueError("a ring's corners must be finite numbers of metres")
        if len(ring) < 3:
            continue
        area = signed_area(ring[:, 0], ring[:, 1])
        sign = np.sign(area) if number == 0 else -np.sign(area)
        fractions += fill_cells(ring[None], np.array([sign]), frame)
    fractions[(fractions < 1e-12) & (fractions > -1e-12)] = 0.0
    return np.clip(fractions, 0.0, 1.0, out=fractions)


def point_in_rings(east: Floats, north: Floats, rings: Sequence[Floats]) -> Bools:
    """Whether places lie inside a polygon.

    A ray eastward crosses the rings an odd number of times from inside, holes included.

    Parameters
    ----------
    east
        East of the places, any shape [m]; NaN is outside.
    north
        North of the places, same shape [m]; NaN is outside.
    rings
        Outside ring and holes, each [k, 2], east and north [m].

    Returns
    -------
    Bools
        True inside; on the edge itself either.

    References
    ----------
    Derivation: Jordan curve theorem, even-odd rule.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> point_in_rings(np.array([0.5, 1.5]), np.array([0.5, 0.5]), [square])
    array([ True, False])
    """
    x, y = np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)
    inside = np.zeros(np.broadcast_shapes(x.shape, y.shape), dtype=np.bool_)
    for ring in rings:
        for (xa, ya), (xb, yb) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            if ya != yb:
                spans = (ya > y) != (yb > y)
                inside ^= spans & (x < xa + (y - ya) * (xb - xa) / (yb - ya))
    return inside


def edge_distance(east: Floats, north: Floats, rings: Sequence[Floats]) -> Floats:
    """How far places are from the nearest edge of a polygon, inside or outside.

    Parameters
    ----------
    east
        East of the places [n] [m].
    north
        North of the places [n] [m].
    rings
        Outside ring and holes, each [k, 2], east and north [m].

    Returns
    -------
    Floats
        Distances [n] [m]; NaN where the place is not known, infinite where there is no edge.

    References
    ----------
    Derivation: distance to each side's nearest point, its foot clipped to the side.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])
    >>> edge_distance(np.array([1.0, 5.0]), np.array([2.0, 4.0]), [square])
    array([1., 1.])
    """
    x, y = np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)
    nearest = np.where(np.isfinite(x + y), np.inf, np.nan)
    for ring in rings:
        for (xa, ya), (xb, yb) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            length2 = (xb - xa) ** 2 + (yb - ya) ** 2
            along = ((x - xa) * (xb - xa) + (y - ya) * (yb - ya)) / length2 if length2 > 0 else np.zeros_like(x)
            foot = np.clip(along, 0.0, 1.0)
            nearest = np.minimum(nearest, np.hypot(x - xa - foot * (xb - xa), y - ya - foot * (yb - ya)))
    return nearest
