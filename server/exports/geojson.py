"""findings.geojson: what was missed, doubled, off target or in a keep-out, as RFC 7946 polygons."""

from typing import Any

import numpy as np

from server.core.geodesy import degrees_from_plane, signed_area
from server.core.results import JobResult
from server.exports.job_json import plain

DIGITS = 8
"""A millimetre on the ground."""


def findings_object(result: JobResult) -> dict[str, Any]:
    """The findings as a FeatureCollection, rings anticlockwise."""
    features = []
    for found in result.findings:
        ring = found.ring_m if signed_area(found.ring_m[:, 0], found.ring_m[:, 1]) >= 0 else found.ring_m[::-1]
        lat, lon = degrees_from_plane(ring[:, 0], ring[:, 1], plane=result.plane)
        corners = np.round(np.stack((lon, lat), axis=1), DIGITS).tolist()
        features.append(
            {
                "type": "Feature",
                "properties": plain(
                    {
                        "kind": found.kind,
                        "probability": found.probability,
                        "area_m2": found.area_m2,
                        "volume_l": found.volume_l,
                    }
                ),
                "geometry": {"type": "Polygon", "coordinates": [corners]},
            }
        )
    return {"type": "FeatureCollection", "features": features}
