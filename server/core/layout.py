"""What the zones and keep-outs of a site come to together, and what is odd about them.

Rings are longitude and latitude in degrees; metres on the local plane through the middle of the site.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from server.core.geodesy import plane_from_degrees
from server.core.log import Floats
from server.core.plots import measure_ground
from server.core.polygons import point_in_rings, rings_from_zone
from server.core.results import Plane
from server.core.setup import Zone
from server.core.sitecard import ZoneCard

FAR_M = 5000.0
"""Zones of one site lie nearer to each other than this (common practice, no source)."""
_TICKS = 160
LEAST_OVERLAP_M2, LEAST_OVERLAP = 0.5, 0.005
"""Less than this, as an area and as a share of the smaller zone, is how shapes drawn side by side meet."""


@dataclass(frozen=True, slots=True)
class Layout:
    """The area to treat, ground in two zones counted once and keep-outs left out, and what should be looked at."""

    treated_m2: float
    cautions: tuple[str, ...] = ()


def measure_layout(zones: Sequence[ZoneCard]) -> Layout:
    """The area to treat on a site, and cautions where its shapes do not go together.

    Parameters
    ----------
    zones
        Zones and keep-outs, each with a shape.

    Returns
    -------
    Layout
        Zones less keep-outs; 0 without zones; the plain sum of the zones where they lie too far apart for one plane.

    References
    ----------
    Derivation: `server.core.plots.measure_ground`, so that a mix sheet says the same area; what shapes share is counted
    on 160 x 160 places where their boxes meet.

    Examples
    --------
    >>> ring = ((0.0, 0.0), (0.0001, 0.0), (0.0001, 0.0001), (0.0, 0.0001), (0.0, 0.0))
    >>> found = measure_layout([ZoneCard("Front", rings=(ring,)), ZoneCard("Side", rings=(ring,))])
    >>> round(found.treated_m2, 1), found.cautions
    (123.1, ('Front and Side lie on each other on about 123 m²: that ground is counted once for the site',))
    """
    if not zones:
        return Layout(0.0)
    far = _find_far(zones)
    if far:
        return Layout(sum(zone.area_m2 for zone in zones if zone.kind == "zone"), far)
    wet = [zone for zone in zones if zone.kind == "zone"]
    treated = measure_ground(wet, keep_outs=[zone for zone in zones if zone.kind != "zone"]).area_m2
    plane = _plane_of(zones)
    shapes = [rings_from_zone(Zone(zone.name, zone.kind, zone.rings), plane=plane) for zone in zones]
    return Layout(treated, (*_find_overlaps(zones, shapes), *_find_strays(zones, shapes)))


def _plane_of(zones: Sequence[ZoneCard]) -> Plane:
    corners = np.concatenate([np.array(zone.rings[0]) for zone in zones])
    lon, lat = (corners.min(axis=0) + corners.max(axis=0)) / 2.0
    return Plane(float(lat), float(lon))


def _find_far(zones: Sequence[ZoneCard]) -> tuple[str, ...]:
    """Shapes that can hardly be of the same site as the first."""
    lon0, lat0 = zones[0].rings[0][0]
    found = []
    for zone in zones[1:]:
        lon, lat = zone.rings[0][0]
        east, north = plane_from_degrees(lat, lon, plane=Plane(max(-89.0, min(lat0, 89.0)), lon0))
        apart = float(np.hypot(east, north))
        if apart > FAR_M:
            line = f"{zone.name} lies {apart / 1000.0:,.0f} km from {zones[0].name}: is that the same site, and is "
            found.append(line + "longitude given before latitude?")
    return tuple(found)


def _find_overlaps(zones: Sequence[ZoneCard], shapes: Sequence[tuple[Floats, ...]]) -> list[str]:
    """Zones that lie on each other."""
    found = []
    wet = [place for place, zone in enumerate(zones) if zone.kind == "zone"]
    for i, j in combinations(wet, 2):
        shared = _measure_shared(shapes[i], shapes[j])
        smaller = min(zones[i].area_m2, zones[j].area_m2)
        if shared > max(LEAST_OVERLAP_M2, LEAST_OVERLAP * smaller):
            line = f"{zones[i].name} and {zones[j].name} lie on each other on about {shared:,.3g} m²: "
            found.append(line + "that ground is counted once for the site")
    return found


def _find_strays(zones: Sequence[ZoneCard], shapes: Sequence[tuple[Floats, ...]]) -> list[str]:
    """Keep-outs that lie in no zone."""
    wet = [rings for zone, rings in zip(zones, shapes, strict=True) if zone.kind == "zone"]
    return [
        f"{zone.name} is a keep-out that lies in no zone"
        for zone, rings in zip(zones, shapes, strict=True)
        if zone.kind != "zone" and wet and not any(_measure_shared(rings, other) > 0.0 for other in wet)
    ]


def _measure_shared(rings: tuple[Floats, ...], others: tuple[Floats, ...]) -> float:
    """About how much ground two polygons share, from 160 x 160 places where their boxes meet."""
    low = np.maximum(rings[0].min(axis=0), others[0].min(axis=0))
    high = np.minimum(rings[0].max(axis=0), others[0].max(axis=0))
    if not (high > low).all():
        return 0.0
    ticks = (np.arange(_TICKS) + 0.5) / _TICKS
    east, north = np.meshgrid(*(low + np.outer(ticks, high - low)).T)
    inside = point_in_rings(east, north, rings) & point_in_rings(east, north, others)
    return float(np.prod(high - low)) * float(inside.mean())
