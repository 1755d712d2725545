"""The lawn: its edge, the beds in it, in metres on the local plane and as degrees for the service."""

import json
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from firmware_sim.curve import Floats
from firmware_sim.world.geodesy import LocalPlane

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Polygon:
    """One closed shape; `ring_m` without the repeated last corner, `kind` "zone" or "keep_out"."""

    name: str
    kind: str
    ring_m: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Lawn:
    """Polygons on one plane."""

    polygons: tuple[Polygon, ...]
    plane: LocalPlane = field(default_factory=LocalPlane)


def rectangle(
    name: str, kind: str, *, corner: Point, along_m: float, across_m: float, heading_deg: float = 0.0
) -> Polygon:
    """Lay a rectangle: from `corner` so far along the heading, so far to the right of it."""
    h = math.radians(heading_deg)
    ahead, right = (math.sin(h), math.cos(h)), (math.cos(h), -math.sin(h))
    steps = ((0.0, 0.0), (0.0, across_m), (along_m, across_m), (along_m, 0.0))
    ring = tuple((corner[0] + a * ahead[0] + r * right[0], corner[1] + a * ahead[1] + r * right[1]) for a, r in steps)
    return Polygon(name, kind, ring)


def regular(name: str, kind: str, *, centre: Point, radius_m: float, corners: int = 12) -> Polygon:
    """Lay a regular polygon, for a round bed."""
    turns = [2.0 * math.pi * i / corners for i in range(corners)]
    return Polygon(
        name, kind, tuple((centre[0] + radius_m * math.sin(a), centre[1] + radius_m * math.cos(a)) for a in turns)
    )


def chords(polygon: Polygon, *, start: Point, heading_rad: float) -> list[tuple[float, float]]:
    """Find where an endless straight line runs inside a polygon, as spans of metres from `start` along the heading."""
    sin, cos = math.sin(heading_rad), math.cos(heading_rad)
    crossings = []
    frame = [
        ((x - start[0]) * sin + (y - start[1]) * cos, (x - start[0]) * cos - (y - start[1]) * sin)
        for x, y in polygon.ring_m
    ]
    for (a0, r0), (a1, r1) in zip(frame, frame[1:] + frame[:1], strict=True):
        if (r0 > 0.0) != (r1 > 0.0):
            crossings.append(a0 + (a1 - a0) * r0 / (r0 - r1))
    crossings.sort()
    return list(zip(crossings[::2], crossings[1::2], strict=True))


def clear_chords(lawn: Lawn, *, start: Point, heading_rad: float) -> list[tuple[float, float]]:
    """Find the spans of a line that lie on grass: inside a zone and in no bed."""
    spans = [
        span for p in lawn.polygons if p.kind == "zone" for span in chords(p, start=start, heading_rad=heading_rad)
    ]
    for bed in (p for p in lawn.polygons if p.kind == "keep_out"):
        for a, b in chords(bed, start=start, heading_rad=heading_rad):
            spans = [piece for lo, hi in spans for piece in ((lo, min(hi, a)), (max(lo, b), hi)) if piece[1] > piece[0]]
    return sorted(spans)


def is_inside(polygon: Polygon, east_m: Floats, north_m: Floats) -> Any:
    """Tell for each point whether it lies in the polygon (even-odd rule)."""
    ring = polygon.ring_m
    inside = np.zeros(np.shape(east_m), dtype=bool)
    for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True):
        if y0 != y1:
            crosses = (np.asarray(north_m) < y0) != (np.asarray(north_m) < y1)
            inside ^= crosses & (np.asarray(east_m) < x0 + (np.asarray(north_m) - y0) * (x1 - x0) / (y1 - y0))
    return inside


def polygon_area(polygon: Polygon) -> float:
    """The area of a polygon on the plane, square metres."""
    ring = polygon.ring_m
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True))) / 2.0


def lawn_geojson(lawn: Lawn) -> str:
    """Write the lawn as RFC 7946 text: counterclockwise closed rings of longitude, latitude."""
    features = []
    for polygon in lawn.polygons:
        ring = np.array(polygon.ring_m)
        x, y = ring[:, 0], ring[:, 1]
        if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0:
            ring = ring[::-1]
        lat, lon = lawn.plane.degrees(ring[:, 0], ring[:, 1])
        corners = [[round(float(a), 9), round(float(b), 9)] for a, b in zip(lon, lat, strict=True)]
        features.append(
            {
                "type": "Feature",
                "properties": {"name": polygon.name, "kind": polygon.kind},
                "geometry": {"type": "Polygon", "coordinates": [[*corners, corners[0]]]},
            }
        )
    return json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n"
