"""Layers as a GeoPackage (OGC 12-128r18, version 1.3): a SQLite file with the tables that the standard asks for."""

import sqlite3
import struct
from contextlib import closing
from datetime import UTC, datetime
from math import isfinite

import numpy as np

from server.core.log import Floats
from server.exports.layers import Feature, Layer

APPLICATION_ID = 0x47504B47
"""The letters GPKG."""
VERSION = 10300
WGS84 = 4326
_WGS84_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,'
    'AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],AUTHORITY["EPSG","4326"]]'
)
_TABLES = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY,
 organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
 description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
 min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
 CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
 geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
 CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
 CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
 CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
"""
_SYSTEMS = (
    ("Undefined cartesian SRS", -1, "NONE", -1, "undefined", "undefined cartesian coordinate reference system"),
    ("Undefined geographic SRS", 0, "NONE", 0, "undefined", "undefined geographic coordinate reference system"),
    ("WGS 84 geodetic", WGS84, "EPSG", WGS84, _WGS84_WKT, "longitude/latitude coordinates in decimal degrees"),
)
_TYPES = {str: "TEXT", int: "INTEGER", float: "REAL"}
_SHAPES = {"polygon": "POLYGON", "line": "LINESTRING"}


def write_geopackage(layers: tuple[Layer, ...], *, utc: float) -> bytes:
    """The file's bytes; `utc` is the time that the contents are of, so that the same job gives the same bytes."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.executescript(_TABLES)
        connection.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", _SYSTEMS)
        for layer in layers:
            _write_layer(connection, layer, utc if isfinite(utc) else 0.0)
        return connection.serialize()


def _write_layer(connection: sqlite3.Connection, layer: Layer, utc: float) -> None:
    columns = ", ".join(f'"{name}" {_TYPES[kind]}' for name, kind in layer.columns.items())
    connection.execute(
        f'CREATE TABLE "{layer.name}" (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, '
        f"geom {_SHAPES[layer.kind]}, {columns})"
    )
    places = [place for feature in layer.features for place in _places_of(feature)]
    bounds = _bound(np.concatenate(places)) if places else (None,) * 4
    stamp = datetime.fromtimestamp(utc, UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    connection.execute(
        "INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
        (layer.name, layer.name, layer.says, stamp, *bounds, WGS84),
    )
    connection.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)", (layer.name, _SHAPES[layer.kind], WGS84)
    )
    marks = ", ".join("?" for _ in layer.columns)
    names = ", ".join(f'"{name}"' for name in layer.columns)
    rows = ((_pack(feature), *(feature.figures.get(name) for name in layer.columns)) for feature in layer.features)
    connection.execute("BEGIN")
    connection.executemany(f'INSERT INTO "{layer.name}" (geom, {names}) VALUES (?, {marks})', rows)
    connection.execute("COMMIT")


def _places_of(feature: Feature) -> tuple[Floats, ...]:
    return feature.rings if feature.line is None else (feature.line,)


def _bound(places: Floats) -> tuple[float, float, float, float]:
    """Least x and y, most x and y."""
    low, high = places.min(axis=0).tolist(), places.max(axis=0).tolist()
    return low[0], low[1], high[0], high[1]


def _pack(feature: Feature) -> bytes | None:
    """A geometry in the standard's binary form: header with envelope, then well-known binary, little-endian."""
    parts = _places_of(feature)
    if not parts:
        return None
    x0, y0, x1, y1 = _bound(np.concatenate(parts))
    head = b"GP" + struct.pack("<BBi4d", 0, 0b011, WGS84, x0, x1, y0, y1)
    if feature.line is not None:
        return head + struct.pack("<BII", 1, 2, len(feature.line)) + feature.line.astype("<f8").tobytes()
    rings = b"".join(struct.pack("<I", len(ring)) + ring.astype("<f8").tobytes() for ring in parts)
    return head + struct.pack("<BII", 1, 3, len(parts)) + rings
