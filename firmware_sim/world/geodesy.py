"""The simulator's own local plane on WGS 84: east, north in metres from an origin, by the two radii of curvature.

Derivation: on the ellipsoid (a = 6378137 m, f = 1/298.257223563) one radian of latitude is M = a(1 − e²)/(1 − e²
sin²φ)^1.5 along the meridian and one of longitude N cos φ with N = a/√(1 − e² sin²φ). Written apart from the
service's, on purpose.
"""

import math
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats

_A_M = 6378137.0
_F = 1.0 / 298.257223563
_E2 = _F * (2.0 - _F)


@dataclass(frozen=True, slots=True)
class LocalPlane:
    """A plane that touches the ellipsoid at its origin, in degrees."""

    lat0_deg: float = 45.0
    lon0_deg: float = -30.0

    @property
    def north_m_per_deg(self) -> float:
        """Metres in a degree of latitude."""
        curvature = 1.0 - _E2 * math.sin(math.radians(self.lat0_deg)) ** 2
        return math.radians(_A_M * (1.0 - _E2) / curvature**1.5)

    @property
    def east_m_per_deg(self) -> float:
        """Metres in a degree of longitude."""
        phi = math.radians(self.lat0_deg)
        return math.radians(_A_M * math.cos(phi) / math.sqrt(1.0 - _E2 * math.sin(phi) ** 2))

    def degrees(self, east_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
        """Latitude and longitude of points on the plane."""
        lat = self.lat0_deg + np.asarray(north_m, dtype=float) / self.north_m_per_deg
        lon = self.lon0_deg + np.asarray(east_m, dtype=float) / self.east_m_per_deg
        return lat, lon

    def metres(self, lat_deg: Floats, lon_deg: Floats) -> tuple[Floats, Floats]:
        """East and north of points on the globe near the origin."""
        east = (np.asarray(lon_deg, dtype=float) - self.lon0_deg) * self.east_m_per_deg
        north = (np.asarray(lat_deg, dtype=float) - self.lat0_deg) * self.north_m_per_deg
        return east, north
