"""Degrees on WGS 84 to metres on a local plane, and back.

East, north in metres, degrees WGS 84 (latitude north positive, longitude east positive).
"""

from math import cos, radians, sin, sqrt

import numpy as np
from numpy.typing import ArrayLike

from server.core.log import Floats
from server.core.results import Plane

SEMI_MAJOR_M = 6378137.0
"""Equatorial radius of WGS 84 [m] (NIMA TR8350.2, table 3.1)."""
FLATTENING = 1 / 298.257223563
"""Flattening of WGS 84 (NIMA TR8350.2, table 3.1)."""
_E2 = FLATTENING * (2 - FLATTENING)


def metres_per_degree(lat_deg: float) -> tuple[float, float]:
    """How long a degree of latitude and a degree of longitude are at one latitude.

    The meridian's radius of curvature M = a (1 - e²) / (1 - e² sin² φ)^1.5 and the prime vertical's
    N = a / sqrt(1 - e² sin² φ), shortened to N cos φ along the parallel.

    Parameters
    ----------
    lat_deg
        Latitude [deg].

    Returns
    -------
    tuple[float, float]
        Metres per degree northward and eastward [m/deg].

    References
    ----------
    NIMA TR8350.2, Department of Defense World Geodetic System 1984, 3rd ed., 2000, section 4.

    Examples
    --------
    >>> north, east = metres_per_degree(45.0)
    >>> round(north, 3), round(east, 3)
    (111131.777, 78846.835)
    """
    phi = radians(lat_deg)
    w2 = 1 - _E2 * sin(phi) ** 2
    meridian = SEMI_MAJOR_M * (1 - _E2) / (w2 * sqrt(w2))
    prime_vertical = SEMI_MAJOR_M / sqrt(w2)
    return radians(meridian), radians(prime_vertical * cos(phi))


def plane_at(lat_deg: float, lon_deg: float) -> Plane:
    """The local plane through a place, its origin rounded to 1e-5 degrees so that a job's map keeps one origin.

    Parameters
    ----------
    lat_deg
        Latitude of the first usable fix [deg].
    lon_deg
        Longitude of the first usable fix [deg].

    Returns
    -------
    Plane
        The plane whose origin is the rounded place.

    Raises
    ------
    ValueError
        If the place is not on the globe, or so near a pole that east has no meaning.

    References
    ----------
    Derivation: 1e-5 degrees is about a metre, far below what the plane's curvature error grows by.

    Examples
    --------
    >>> plane_at(45.0000049, -30.0000051)
    Plane(lat0_deg=45.0, lon0_deg=-30.00001)
    """
    if not (abs(lat_deg) <= 89.0 and abs(lon_deg) <= 360.0):
        raise ValueError(f"no local plane at latitude {lat_deg}, longitude {lon_deg}: give latitude within 89 degrees")
    return Plane(lat0_deg=round(lat_deg, 5), lon0_deg=round(lon_deg, 5))


def plane_from_degrees(lat_deg: ArrayLike, lon_deg: ArrayLike, *, plane: Plane) -> tuple[Floats, Floats]:
    """East and north of places given in degrees.

    East = N(φ0) cos φ0 Δλ, north = M(φ0) Δφ with the ellipsoid's radii at the plane's origin. The short way round is
    taken across the 180th meridian.

    Parameters
    ----------
    lat_deg
        Latitudes, any shape [deg]; NaN gives NaN.
    lon_deg
        Longitudes, same shape [deg]; NaN gives NaN.
    plane
        The local plane.

    Returns
    -------
    tuple[Floats, Floats]
        East and north [m], NaN where a coordinate is not known.

    Notes
    -----
    At latitude 40 wrong by 0.75 mm at 100 m, 3 mm at 200 m, 75 mm at 1 km: right for lawns, not for journeys.
    A sphere would be out by a quarter of a per cent.

    References
    ----------
    NIMA TR8350.2, World Geodetic System 1984, 3rd ed., 2000, section 4 (radii of curvature).

    Examples
    --------
    >>> east, north = plane_from_degrees([45.001], [-30.0], plane=Plane(45.0, -30.0))
    >>> float(east[0]), round(float(north[0]), 2)
    (0.0, 111.13)
    """
    per_lat, per_lon = metres_per_degree(plane.lat0_deg)
    turn = _wrap(np.asarray(lon_deg, dtype=np.float64) - plane.lon0_deg)
    return turn * per_lon, (np.asarray(lat_deg, dtype=np.float64) - plane.lat0_deg) * per_lat


def degrees_from_plane(east_m: ArrayLike, north_m: ArrayLike, *, plane: Plane) -> tuple[Floats, Floats]:
    """Latitude and longitude of places on the plane: the inverse of `plane_from_degrees`.

    Parameters
    ----------
    east_m
        East of the origin, any shape [m]; NaN gives NaN.
    north_m
        North of the origin, same shape [m]; NaN gives NaN.
    plane
        The local plane.

    Returns
    -------
    tuple[Floats, Floats]
        Latitude and longitude [deg], longitude from -180 up to 180; NaN where a coordinate is not known.

    References
    ----------
    NIMA TR8350.2, World Geodetic System 1984, 3rd ed., 2000, section 4 (radii of curvature).

    Examples
    --------
    >>> lat, lon = degrees_from_plane([0.0], [111.131778], plane=Plane(45.0, -30.0))
    >>> round(float(lat[0]), 6), float(lon[0])
    (45.001, -30.0)
    """
    per_lat, per_lon = metres_per_degree(plane.lat0_deg)
    lat = plane.lat0_deg + np.asarray(north_m, dtype=np.float64) / per_lat
    lon = plane.lon0_deg + np.asarray(east_m, dtype=np.float64) / per_lon
    return lat, _wrap(lon)


def _wrap(lon_deg: Floats) -> Floats:
    """The same longitudes or turns between -180 and 180; nothing is rounded that lies there already."""
    if isinstance(lon_deg, float) and abs(lon_deg) <= 180.0:
        return lon_deg
    return np.where(np.abs(lon_deg) > 180.0, (lon_deg + 180.0) % 360.0 - 180.0, lon_deg)


def ring_area(ring: ArrayLike) -> float:
    """The area inside one ring of places on the ellipsoid.

    Shoelace formula on the local plane through the middle of the ring, where the plane's first-order errors cancel.

    Parameters
    ----------
    ring
        Longitude and latitude of the corners in order [k, 2] [deg], closed or not, either way round.

    Returns
    -------
    float
        Area [m²], never negative; 0 for fewer than three corners.

    Raises
    ------
    ValueError
        If a corner is not a finite number.

    Notes
    -----
    Better than 0.01 % of the geodesic area for rings up to about 2 km across away from the poles.

    References
    ----------
    Derivation: Green's theorem on the tangent plane of `plane_from_degrees`. Reference values: C. F. F. Karney,
    Algorithms for geodesics, J. Geodesy 87, 2013, section 6.

    Examples
    --------
    >>> round(ring_area([(0.0, 0.0), (0.001, 0.0), (0.001, 0.001), (0.0, 0.001)]), 1)
    12309.1
    """
    corners = np.asarray(ring, dtype=np.float64).reshape(-1, 2)
    if len(corners) < 3:
        return 0.0
    if not np.isfinite(corners).all():
        raise ValueError("a ring's corners must be finite numbers, longitude then latitude in degrees")
    lon = corners[0, 0] + (corners[:, 0] - corners[0, 0] + 180.0) % 360.0 - 180.0
    middle = Plane((corners[:, 1].min() + corners[:, 1].max()) / 2, (lon.min() + lon.max()) / 2)
    east, north = plane_from_degrees(corners[:, 1], lon, plane=middle)
    return abs(signed_area(east, north))


def signed_area(east: Floats, north: Floats) -> float:
    """The signed area of one ring on the plane, positive where the corners run anticlockwise.

    Parameters
    ----------
    east
        East of the corners [k] [m], closed or not.
    north
        North of the corners [k] [m].

    Returns
    -------
    float
        Area [m²], negative for a clockwise ring, NaN where a corner is NaN.

    References
    ----------
    Derivation: Green's theorem, half the sum of x_i y_{i+1} - x_{i+1} y_i, taken from the first corner for accuracy.

    Examples
    --------
    >>> signed_area(np.array([0.0, 2.0, 2.0, 0.0]), np.array([0.0, 0.0, 3.0, 3.0]))
    6.0
    """
    x, y = east - east[0], north - north[0]
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)
