"""SETUP.toml and the lawn's GeoJSON read from and written to files."""

import json
import tomllib
from pathlib import Path
from typing import Any

from server.core.errors import SetupError
from server.core.setup import Setup, Zone
from server.core.tables import mapping_from_setup, setup_from_mapping
from server.errors import SettingsError
from server.geojson import geojson_from_zones, zones_from_geojson

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
