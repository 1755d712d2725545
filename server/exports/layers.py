"""A job as layers of a map: zones, passes, way, findings and dose, each feature with its figures.

Places are longitude and latitude in degrees (WGS 84), outsides anticlockwise and holes clockwise as in RFC 7946.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, sqrt
from typing import Any

import numpy as np

from server.core.geodesy import degrees_from_plane, signed_area
from server.core.log import Floats
from server.core.outline import polygon_area
from server.core.results import JobResult
from server.core.setup import Setup
from server.exports.job_json import plain
from server.exports.tables import PASS_COLUMNS, pass_rows

DIGITS = 8
"""A millimetre on the ground."""
MOST_SQUARES = 20_000
LEAST_SQUARE_M = 0.5


@dataclass(frozen=True, slots=True)
class Feature:
    """Figures by name, None where not known, with a line of places [n, 2] or a polygon's rings; none: not placed."""

    figures: dict[str, Any]
    line: Floats | None = None
    rings: tuple[Floats, ...] = ()


@dataclass(frozen=True, slots=True)
class Layer:
    """Features of one kind, "polygon" or "line", with the columns of their figures and the type of each."""

    name: str
    says: str
    kind: str
    columns: dict[str, type]
    features: tuple[Feature, ...]


def map_layers(result: JobResult, setup: Setup) -> tuple[Layer, ...]:
    """The layers of a reviewed job."""
    return (_zones(setup), _passes(result), _way(result), _findings(result), _dose(result, setup))


def _zones(setup: Setup) -> Layer:
    columns: dict[str, type] = {"name": str, "kind": str, "area_m2": float}
    features = []
    for zone in setup.zones:
        area = polygon_area(zone.rings)
        rings = tuple(_turn(np.asarray(ring, dtype=np.float64), place == 0) for place, ring in enumerate(zone.rings))
        features.append(Feature({"name": zone.name, "kind": zone.kind, "area_m2": plain(area)}, rings=rings))
    return Layer("zones", "Zones and keep-outs of the job's day", "polygon", columns, tuple(features))


def _passes(result: JobResult) -> Layer:
    texts = ("boot", "wind_verdict", "receiver")
    columns: dict[str, type] = {name: str if name in texts else float for name in PASS_COLUMNS} | {"pass": int}
    track = result.track
    features = []
    for row, found in zip(pass_rows(result), result.passes, strict=True):
        inside = (track.t >= found.start_t) & (track.t <= found.end_t)
        features.append(Feature(row, line=_line(result, inside)))
    return Layer("passes", "Passes, the nozzle's way in each", "line", columns, tuple(features))


def _way(result: JobResult) -> Layer:
    """The nozzle's way, cut where the spray went on or off."""
    columns: dict[str, type] = {"spraying": int, "start_utc": float, "end_utc": float, "sd_m": float}
    track, on = result.track, result.is_spraying
    cuts = [0, *(np.flatnonzero(np.diff(on.astype(int))) + 1).tolist(), len(on)]
    features = []
    for first, stop in pairwise(cuts):
        # One more place, so that the pieces join.
        inside = np.zeros(len(on), dtype=np.bool_)
        inside[first : stop + 1] = True
        if stop > first:
            last = min(stop, len(on) - 1)
            figures = {
                "spraying": int(on[first]), "start_utc": float(track.utc[first]), "end_utc": float(track.utc[last]),
                "sd_m": float(np.median(np.hypot(track.sd_east_m[inside], track.sd_north_m[inside]))),
            }  # fmt: skip
            features.append(Feature(plain(figures), line=_line(result, inside)))
    return Layer("track", "Way of the nozzle, with the spray on and off", "line", columns, tuple(features))


def _findings(result: JobResult) -> Layer:
    columns: dict[str, type] = {"kind": str, "probability": float, "area_m2": float, "volume_l": float}
    features = [
        Feature(
            plain({name: getattr(found, name) for name in columns}),
            rings=(_turn(_degrees(result, found.ring_m[:, 0], found.ring_m[:, 1]), True),),
        )
        for found in result.findings
    ]
    return Layer("findings", "Places missed, doubled, off target or in a keep-out", "polygon", columns, tuple(features))


def _dose(result: JobResult, setup: Setup) -> Layer:
    """The dose as squares large enough to be not too many; those that got nothing are left out."""
    columns: dict[str, type] = {"l_per_m2": float, "sd_l_per_m2": float, "percent_of_target": float, "side_m": float}
    dose, target = result.dose, setup.treatment.target_l_per_m2
    wet = int(np.count_nonzero(dose.dose_l_per_m2 > 0.0))
    count = max(ceil(LEAST_SQUARE_M / dose.cell_m), ceil(sqrt(wet / MOST_SQUARES)))
    mean, sd = (_average(values, count) for values in (dose.dose_l_per_m2, dose.sd_l_per_m2))
    side = count * dose.cell_m
    row, column = np.nonzero(mean > 0.0)
    east = dose.x0_m + side * (column[:, None] + np.array([0.0, 1.0, 1.0, 0.0, 0.0]))
    north = dose.y0_m + side * (row[:, None] + np.array([0.0, 0.0, 1.0, 1.0, 0.0]))
    rings = _degrees(result, east.ravel(), north.ravel()).reshape(-1, 5, 2)
    wet_mean, wet_sd = mean[row, column].tolist(), sd[row, column].tolist()
    features = [
        Feature(dict(zip(columns, plain([dosed, spread, 100.0 * dosed / target, side]), strict=True)), rings=(ring,))
        for ring, dosed, spread in zip(rings, wet_mean, wet_sd, strict=True)
    ]
    return Layer("dose", "Mean dose of each square", "polygon", columns, tuple(features))


def _average(cells: Floats, count: int) -> Floats:
    """Means of blocks of cells; beyond the edge nothing lies, and the sd is the cells' own mean one."""
    ny, nx = cells.shape
    padded = np.zeros((-(-ny // count) * count, -(-nx // count) * count))
    padded[:ny, :nx] = np.nan_to_num(cells)
    found: Floats = padded.reshape(padded.shape[0] // count, count, -1, count).mean(axis=(1, 3))
    return found


def _line(result: JobResult, inside: Any) -> Floats | None:
    """Places of the track; none where there are fewer than two."""
    line = _degrees(result, result.track.east_m[inside], result.track.north_m[inside])
    line = line[np.isfinite(line).all(axis=1)]
    return line if len(line) > 1 else None


def _degrees(result: JobResult, east: Floats, north: Floats) -> Floats:
    lat, lon = degrees_from_plane(east, north, plane=result.plane)
    return np.round(np.stack((lon, lat), axis=1), DIGITS)


def _turn(ring: Floats, is_outside: bool) -> Floats:
    """A closed ring, anticlockwise where it is the outside."""
    closed = ring if np.array_equal(ring[0], ring[-1]) else np.concatenate((ring, ring[:1]))
    return closed if (signed_area(closed[:, 0], closed[:, 1]) >= 0) == is_outside else closed[::-1]


def geojson_object(layers: tuple[Layer, ...]) -> dict[str, Any]:
    """Zones, passes and findings as one RFC 7946 FeatureCollection; `layer` says which is what."""
    chosen = [layer for layer in layers if layer.name in ("zones", "passes", "findings")]
    return {"type": "FeatureCollection", "features": [each for layer in chosen for each in _geojson(layer)]}


def _geojson(layer: Layer) -> Iterator[dict[str, Any]]:
    for feature in layer.features:
        geometry: dict[str, Any] | None = None
        if feature.line is not None:
            geometry = {"type": "LineString", "coordinates": feature.line.tolist()}
        elif feature.rings:
            geometry = {"type": "Polygon", "coordinates": [ring.tolist() for ring in feature.rings]}
        yield {"type": "Feature", "properties": {"layer": layer.name, **feature.figures}, "geometry": geometry}
