"""Zones from GeoJSON and back (RFC 7946): strictly for settings, shape by shape with what is wrong for people."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from math import isfinite
from typing import Any

from server.core.entered import LONGEST_LINE
from server.core.errors import EntryError
from server.core.outline import Flaw, find_flaws, wind_rings
from server.core.setup import Ring, Zone
from server.core.sitecard import KINDS, SOURCES, SiteCard, ZoneCard
from server.core.tables import setup_from_mapping
from server.errors import RequestError

LARGEST_BYTES = 2_000_000
MOST_SHAPES = 200


@dataclass(frozen=True, slots=True)
class Proposal:
    """One shape of a file: the zone it would make, or why it makes none and where; `notes` say what was changed."""

    feature: int
    name: str
    zone: ZoneCard | None = None
    flaws: tuple[Flaw, ...] = ()
    rings: tuple[Ring, ...] = ()
    notes: tuple[str, ...] = ()


def zones_from_geojson(found: Any) -> tuple[Zone, ...]:
    """Polygons and multipolygons of a FeatureCollection or Feature; raises ValueError for anything else."""
    features = found.get("features", [found]) if isinstance(found, dict) else None
    if not isinstance(features, list):
        raise ValueError("not a GeoJSON FeatureCollection (RFC 7946)")
    zones: list[dict[str, Any]] = []
    for place, feature in enumerate(features, start=1):
        geometry = feature.get("geometry") if isinstance(feature, dict) else None
        kind = geometry.get("type") if isinstance(geometry, dict) else None
        if not isinstance(geometry, dict) or kind not in ("Polygon", "MultiPolygon"):
            raise ValueError(f"feature {place} is not a Polygon")
        known = _properties_of(feature)
        head = {"name": str(known.get("name") or f"zone {place}"), "kind": known.get("kind", "zone")}
        zones += [{**head, "rings": _flatten(place, part)} for part in _list_parts(place, geometry)]
    base = {"sprayer": {"swath_m": 1.0}, "flow_meter": {"pulses_per_l": 1.0}, "treatment": {"target_l_per_m2": 1.0}}
    return setup_from_mapping({**base, "zone": zones}).zones


def geojson_from_zones(zones: tuple[Zone, ...]) -> dict[str, Any]:
    """The zones as a FeatureCollection."""
    features = [_feature({"name": zone.name, "kind": zone.kind}, [zone.rings]) for zone in zones]
    return {"type": "FeatureCollection", "features": features}


def geojson_from_site(site: SiteCard) -> dict[str, Any]:
    """A site as a FeatureCollection, wound as RFC 7946 has it; parts of one shape are one MultiPolygon again."""
    features = []
    drawn = [zone for zone in site.zones if zone.rings]
    for (whole, kind), group in groupby(drawn, key=lambda zone: (_whole_of(zone), zone.kind)):
        zones = list(group)
        for together in [zones] if whole else [[zone] for zone in zones]:
            first = together[0]
            properties: dict[str, Any] = {"name": whole or first.name, "kind": kind, "source": first.source}
            if first.area_sd_m2 is not None:
                properties["area_sd_m2"] = first.area_sd_m2
            features.append(_feature(properties, [wind_rings(zone.rings) for zone in together]))
    return {"type": "FeatureCollection", "features": features}


def propose_zones(data: bytes) -> list[Proposal]:
    """What the shapes of a file would make, each refused by itself; raises RequestError where it is no GeoJSON."""
    if len(data) > LARGEST_BYTES:
        raise RequestError("file", f"is larger than {LARGEST_BYTES // 1_000_000} MB: send the shapes of one site")
    try:
        found = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise RequestError("file", f"is no JSON: {error}") from error
    rows: list[Proposal] = []
    for place, feature in enumerate(_list_features(found), start=1):
        rows += _propose(place, feature)
        if len(rows) > MOST_SHAPES:
            raise RequestError("file", f"has more than {MOST_SHAPES} shapes: send those of one site")
    return _tell_apart(rows)


def _list_features(found: Any) -> list[Any]:
    """The features of a file; a bare geometry is one."""
    kind = found.get("type") if isinstance(found, dict) else None
    if kind == "FeatureCollection" and isinstance(found.get("features"), list):
        features = list(found["features"])
    elif kind == "Feature":
        features = [found]
    elif kind in ("Polygon", "MultiPolygon", "GeometryCollection"):
        features = [{"type": "Feature", "geometry": found}]
    else:
        raise RequestError("file", "is no GeoJSON with areas (RFC 7946): a FeatureCollection is wanted")
    if not features:
        raise RequestError("file", "has no shape in it")
    return features


def _propose(place: int, feature: Any) -> Iterator[Proposal]:
    """The proposals of one feature: one for each of its polygons."""
    known = _properties_of(feature)
    name = _name_of(known, place)
    geometries = _list_geometries(feature.get("geometry") if isinstance(feature, dict) else None)
    try:
        parts = [part for geometry in geometries for part in _list_parts(place, geometry)]
        shapes = [(_read_rings(place, part), _has_altitudes(part)) for part in parts]
    except ValueError as error:
        yield Proposal(place, name, flaws=(Flaw(str(error)),))
        return
    if not shapes:
        yield Proposal(place, name, flaws=(Flaw(f"feature {place} has no polygon in it"),))
    for number, (rings, is_high) in enumerate(shapes, start=1):
        own = f"{name[: LONGEST_LINE - 6]} ({number})" if len(shapes) > 1 else name
        notes = (("heights were left out",) if is_high else ()) + _note_kind(known)
        flaws = find_flaws(rings)
        if flaws:
            yield Proposal(place, own, flaws=flaws, rings=rings)
            continue
        wound = wind_rings(rings)
        if wound != rings:
            notes = (*notes, "turned the way round that RFC 7946 has it")
        whole = name if len(shapes) > 1 else ""
        try:
            zone = ZoneCard(own, _kind_of(known) or "zone", wound, _source_of(known), _sd_of(known), whole)
        except EntryError as error:
            yield Proposal(place, own, flaws=(Flaw(error.problem),), rings=rings)
            continue
        yield Proposal(place, own, zone, rings=wound, notes=notes)


def _tell_apart(rows: list[Proposal]) -> list[Proposal]:
    """The same with names that are there once only."""
    seen: set[str] = set()
    told = []
    for row in rows:
        name, number = row.name, 1
        while row.zone is not None and name.strip().casefold() in seen:
            number += 1
            name = f"{row.name[: LONGEST_LINE - 5]} {number}"
        if row.zone is not None:
            seen.add(name.strip().casefold())
        if name != row.name and row.zone is not None:
            zone = row.zone
            made = ZoneCard(name, zone.kind, zone.rings, zone.source, zone.area_sd_m2)
            note = f"called so because there is another {row.name!r}"
            row = Proposal(row.feature, name, made, rings=row.rings, notes=(*row.notes, note))
        told.append(row)
    return told


def _properties_of(feature: Any) -> dict[str, Any]:
    properties = feature.get("properties") if isinstance(feature, dict) else None
    return properties if isinstance(properties, dict) else {}


def _name_of(known: dict[str, Any], place: int) -> str:
    """A feature's name, as it stands; a number where it has none."""
    found = next((known[key] for key in ("name", "title") if isinstance(known.get(key), str | int | float)), "")
    return str(found)[:LONGEST_LINE] if str(found).strip() else f"zone {place}"


def _kind_of(known: dict[str, Any]) -> str | None:
    """A zone or a keep-out; None where the file says something else."""
    kind = str(known.get("kind") or "zone").strip().lower().replace("-", "_").replace(" ", "_")
    return kind if kind in KINDS else None


def _note_kind(known: dict[str, Any]) -> tuple[str, ...]:
    if _kind_of(known) is not None:
        return ()
    return (f"its kind {str(known['kind'])[:30]!r} is neither zone nor keep_out: taken as a zone",)


def _source_of(known: dict[str, Any]) -> str:
    source = known.get("source")
    return source if isinstance(source, str) and source in SOURCES else "imported"


def _sd_of(known: dict[str, Any]) -> float | None:
    sd = known.get("area_sd_m2")
    is_number = isinstance(sd, int | float) and not isinstance(sd, bool) and isfinite(sd) and sd >= 0.0
    return float(sd) if is_number and sd is not None else None


def _list_geometries(geometry: Any) -> list[Any]:
    """A geometry, or those of a collection."""
    if isinstance(geometry, dict) and geometry.get("type") == "GeometryCollection":
        inner = geometry.get("geometries")
        return inner if isinstance(inner, list) else []
    return [geometry]


def _list_parts(place: int, geometry: Any) -> list[Any]:
    """The polygons of a geometry as lists of rings; raises ValueError where it has none."""
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if kind not in ("Polygon", "MultiPolygon"):
        what = f"is a {kind}, which has no area" if isinstance(kind, str) else "has no shape"
        raise ValueError(f"feature {place} {what}: a Polygon is wanted")
    parts = geometry.get("coordinates")
    if not isinstance(parts, list):
        raise ValueError(f"feature {place} has no coordinates")
    return [parts] if kind == "Polygon" else parts


def _flatten(place: int, rings: Any) -> list[list[list[float]]]:
    """Rings without altitudes."""
    try:
        return [[[float(point[0]), float(point[1])] for point in ring] for ring in rings]
    except (TypeError, ValueError, IndexError, KeyError, OverflowError) as error:
        raise ValueError(f"feature {place} has coordinates that are not rings of [longitude, latitude]") from error


def _read_rings(place: int, rings: Any) -> tuple[Ring, ...]:
    return tuple(tuple((lon, lat) for lon, lat in ring) for ring in _flatten(place, rings))


def _has_altitudes(rings: Any) -> bool:
    return any(len(point) > 2 for ring in rings for point in ring)


def _whole_of(zone: ZoneCard) -> str:
    """The shape that a zone is a part of; empty where it has been given another name since."""
    return zone.part_of if zone.part_of and zone.name.startswith(f"{zone.part_of[: LONGEST_LINE - 6]} (") else ""


def _feature(properties: dict[str, Any], polygons: list[tuple[Ring, ...]]) -> dict[str, Any]:
    """A Feature of one polygon or several."""
    parts = [[[list(corner) for corner in ring] for ring in rings] for rings in polygons]
    kind = "Polygon" if len(parts) == 1 else "MultiPolygon"
    geometry = {"type": kind, "coordinates": parts[0] if len(parts) == 1 else parts}
    return {"type": "Feature", "properties": properties, "geometry": geometry}
