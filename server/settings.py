"""SETUP.toml and the lawn's GeoJSON read from and written to files."""

import json
import tomllib
from pathlib import Path
from typing import Any

from server.core.errors import SetupError
from server.core.setup import Setup, Zone
from server.core.tables import mapping_from_setup, setup_from_mapping
from server.errors import SettingsError

LAWN_FILE = "lawn.geojson"


def read_setup(path: Path) -> Setup:
    """Read a settings file and the boundary that it names; raises SettingsError with one line for people."""
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError as error:
        raise SettingsError(f"{path}: no such settings file; deploy/setup.toml is one to start from") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read: {error}") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: not TOML: {error}") from error
    try:
        site = found.get("site", {})
        boundary = site.get("boundary") if isinstance(site, dict) else None
        zones = read_lawn(path.parent / boundary) if isinstance(boundary, str) else ()
        return setup_from_mapping(found, zones)
    except SetupError as error:
        raise SettingsError(f"{path}: {error}") from error


def read_lawn(path: Path) -> tuple[Zone, ...]:
    """Read the polygons of a GeoJSON file; raises SettingsError where it is none."""
    try:
        return zones_from_geojson(json.loads(path.read_text(encoding="utf-8-sig")))
    except FileNotFoundError as error:
        raise SettingsError(f"site.boundary: {path}: no such file") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"site.boundary: {path}: cannot be read: {error}") from error
    except RecursionError as error:
        raise SettingsError(f"site.boundary: {path}: nested too deeply") from error
    except ValueError as error:
        raise SettingsError(f"site.boundary: {path}: {error}") from error


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
        properties = feature.get("properties")
        known = properties if isinstance(properties, dict) else {}
        head = {"name": str(known.get("name") or f"zone {place}"), "kind": known.get("kind", "zone")}
        parts = geometry.get("coordinates")
        if not isinstance(parts, list):
            raise ValueError(f"feature {place} has no coordinates")
        zones += [{**head, "rings": _flatten(place, part)} for part in ([parts] if kind == "Polygon" else parts)]
    base = {"sprayer": {"swath_m": 1.0}, "flow_meter": {"pulses_per_l": 1.0}, "treatment": {"target_l_per_m2": 1.0}}
    return setup_from_mapping({**base, "zone": zones}).zones


def _flatten(place: int, rings: Any) -> list[list[list[float]]]:
    """Rings without altitudes."""
    try:
        return [[[float(point[0]), float(point[1])] for point in ring] for ring in rings]
    except (TypeError, ValueError, IndexError, KeyError, OverflowError) as error:
        raise ValueError(f"feature {place} has coordinates that are not rings of [longitude, latitude]") from error


def geojson_from_zones(zones: tuple[Zone, ...]) -> dict[str, Any]:
    """The site as a FeatureCollection."""
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"name": zone.name, "kind": zone.kind},
                "geometry": {"type": "Polygon", "coordinates": [[list(p) for p in ring] for ring in zone.rings]},
            }
            for zone in zones
        ],
    }


def write_setup(setup: Setup, folder: Path) -> None:
    """Write setup.toml, and lawn.geojson where there is a site."""
    tables = mapping_from_setup(setup)
    tables.pop("zone", None)
    if setup.zones:
        lawn = json.dumps(geojson_from_zones(setup.zones), indent=1)
        (folder / LAWN_FILE).write_text(lawn + "\n", encoding="utf-8")
        tables = {"site": {"boundary": LAWN_FILE}, **tables}
    (folder / "setup.toml").write_text(toml_from_tables(tables), encoding="utf-8")


def toml_from_tables(tables: dict[str, Any]) -> str:
    """Plain tables as TOML: numbers, texts, lists of them, and lists of tables."""
    lines: list[str] = []
    for name, table in tables.items():
        for entry in table if isinstance(table, list) else [table]:
            if entry:
                head = f"[[{name}]]" if isinstance(table, list) else f"[{name}]"
                lines += [head, *(f"{key} = {_toml_value(value)}" for key, value in entry.items()), ""]
    return "\n".join(lines)


def _toml_value(value: Any) -> str:
    """One value; JSON's texts, numbers and lists of those are TOML's too."""
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml_value(each) for each in value) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
