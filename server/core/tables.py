"""A job's settings as tables of plain values, as files, the store and the form have them: read strictly, and written.

SI, the unit in each key.
"""

import difflib
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np

from server.core.errors import SetupError
from server.core.limit import is_stated_so, read_limit
from server.core.setup import (
    CHOICES,
    RANGES,
    TEXTS,
    Anemometer,
    FlowMeter,
    Grid,
    Peg,
    Receiver,
    Setup,
    Span,
    Sprayer,
    Treatment,
    Zone,
)

_TABLES: dict[str, type] = {
    "sprayer": Sprayer,
    "flow_meter": FlowMeter,
    "anemometer": Anemometer,
    "receiver": Receiver,
    "treatment": Treatment,
    "grid": Grid,
}
_REQUIRED = {"sprayer": ("swath_m",), "flow_meter": ("pulses_per_l",), "treatment": ("target_l_per_m2",)}
_PATHS = {"site.boundary"}
_RIG = re.compile(r"[a-z0-9-]{1,32}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_BOOT = re.compile(r"[0-9a-f]{8,32}")
LATEST_MONO_S = 1e10
LONGEST_NAME = 120


def setup_from_mapping(found: Mapping[str, Any], zones: tuple[Zone, ...] = ()) -> Setup:
    """Check the tables of a settings file strictly and make the setup.

    Parameters
    ----------
    found
        Tables as in the settings file.
    zones
        The site's polygons, read from the file that `site.boundary` names.

    Returns
    -------
    Setup
        The setup, defaults filled in.

    Raises
    ------
    SetupError
        For an unknown, missing or wrong key, with its name, the value and what is allowed.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> tables = {"sprayer": {"swath_m": 1.0}, "flow_meter": {"pulses_per_l": 450.0}}
    >>> setup = setup_from_mapping({**tables, "treatment": {"target_l_per_m2": 0.04}})
    >>> setup.sprayer.swath_m, setup.grid.cell_m
    (1.0, 0.1)
    >>> setup_from_mapping(tables)
    Traceback (most recent call last):
    server.core.errors.SetupError: treatment.target_l_per_m2: is needed
    """
    known = [*_TABLES, "site", "job", "peg", "zone"]
    for table in found:
        if table not in known:
            raise SetupError(table, f"is not a table{_suggest(table, known)}")
    tables = {name: _read_table(name, cls, found.get(name, {})) for name, cls in _TABLES.items()}
    tables["treatment"] = _settle_limit(tables["treatment"])
    _check_site(found.get("site", {}))
    setup = Setup(
        **tables,
        job=_read_span(found.get("job", {})),
        pegs=tuple(_read_peg(place, peg) for place, peg in enumerate(_as_list("peg", found.get("peg", [])))),
        zones=zones or tuple(_read_zone(zone) for zone in _as_list("zone", found.get("zone", []))),
    )
    _check_whole(setup)
    return setup


def mapping_from_setup(setup: Setup) -> dict[str, Any]:
    """The tables of a setup, as its settings file has them; the polygons under `zone`.

    Parameters
    ----------
    setup
        The setup.

    Returns
    -------
    dict[str, Any]
        Tables of plain values, without what is not set; `setup_from_mapping` reads them back.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> setup = Setup(Sprayer(1.0), FlowMeter(450.0), Treatment(0.04))
    >>> setup_from_mapping(mapping_from_setup(setup)) == setup
    True
    """
    tables: dict[str, Any] = {name: _plain(getattr(setup, name)) for name in _TABLES}
    tables["job"] = _plain(setup.job)
    if setup.pegs:
        tables["peg"] = [_plain(peg) for peg in setup.pegs]
    if setup.zones:
        tables["zone"] = [
            {"name": z.name, "kind": z.kind, "rings": [[list(point) for point in ring] for ring in z.rings]}
            for z in setup.zones
        ]
    return tables


def digest_setup(setup: Setup) -> str:
    """The SHA-256 of a setup less the job's span, so that the same settings give the same figure.

    Parameters
    ----------
    setup
        The setup.

    Returns
    -------
    str
        64 hexadecimal digits.

    References
    ----------
    SHA-256: FIPS PUB 180-4.

    Examples
    --------
    >>> len(digest_setup(Setup(Sprayer(1.0), FlowMeter(450.0), Treatment(0.04))))
    64
    """
    tables = {name: table for name, table in mapping_from_setup(setup).items() if name != "job"}
    return hashlib.sha256(json.dumps(tables, sort_keys=True).encode()).hexdigest()


def key_of(table: str, name: str) -> str:
    """The name of a setting as files and messages have it.

    Parameters
    ----------
    table
        Table of the settings file.
    name
        Field of its record.

    Returns
    -------
    str
        "table.key".

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> key_of("receiver", "klass")
    'receiver.class'
    """
    return f"{table}.{'class' if name == 'klass' else name}"


def _read_table(table: str, cls: type[Any], found: Any) -> Any:
    """Check one table and make its record."""
    if not isinstance(found, Mapping):
        raise SetupError(table, "must be a table")
    names = {key_of(table, f.name).split(".")[1]: f for f in fields(cls)}
    for key in found:
        if key not in names:
            raise SetupError(f"{table}.{key}", f"is not a setting{_suggest(key, list(names))}")
    for name in _REQUIRED.get(table, ()):
        if found.get(name) is None:
            raise SetupError(f"{table}.{name}", "is needed")
    values = {names[key].name: _check(f"{table}.{key}", value) for key, value in found.items() if value is not None}
    return cls(**values)


def _check(key: str, value: Any) -> Any:
    """Check one value by the table of choices or of ranges."""
    if key in CHOICES:
        if value not in CHOICES[key]:
            raise SetupError(key, f"{value!r} is none of {', '.join(CHOICES[key])}")
        return value
    if key in TEXTS:
        return _check_text(key, value)
    if key in ("flow_meter.pulses_per_l", "flow_meter.flow_l_per_min") and isinstance(value, list | tuple):
        if not 1 <= len(value) <= 50:
            raise SetupError(key, f"a table of 1 to 50 values is wanted, not {len(value)}")
        return tuple(_check_number(key, each) for each in value)
    return _check_number(key, value)


def _check_text(key: str, value: Any) -> str:
    """A date or a speed with its unit, as it is written."""
    if not isinstance(value, str):
        raise SetupError(key, f"{value!r} must be a text")
    text = value.strip()
    if TEXTS[key] == "date":
        try:
            if _DAY.fullmatch(text):
                return str(np.datetime64(text, "D"))
        except ValueError:
            pass  # no such day: told below
        raise SetupError(key, f"{value!r} must be a date such as 2027-05-31")
    try:
        read_limit(text)
    except ValueError as error:
        raise SetupError(key, str(error)) from error
    return text


def _settle_limit(treatment: Treatment) -> Treatment:
    """The limit in SI from the label's words, where there are any; both together must agree."""
    stated, limit = treatment.wind_limit_stated, treatment.wind_limit_mps
    if stated is None:
        return treatment
    if limit is not None and not is_stated_so(limit, stated):
        told = f"{limit:g} is not the {stated} of wind_limit_stated: leave one of the two out"
        raise SetupError("treatment.wind_limit_mps", told)
    return replace(treatment, wind_limit_mps=_check_number("treatment.wind_limit_stated", read_limit(stated)))


def _check_number(key: str, value: Any) -> float:
    """Check type and range of a number."""
    low, high = RANGES["treatment.wind_limit_mps" if key in TEXTS else key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SetupError(key, f"{value!r} must be a number, {low:g} to {high:g}")
    if not low <= value <= high:
        raise SetupError(key, f"{value!r} is out of range: {low:g} to {high:g} is allowed")
    return float(value)


def _check_whole(setup: Setup) -> None:
    """Check what concerns several keys at once."""
    meter, sprayer, treatment = setup.flow_meter, setup.sprayer, setup.treatment
    flows = meter.flow_l_per_min
    if isinstance(meter.pulses_per_l, tuple) != (flows is not None):
        raise SetupError("flow_meter.flow_l_per_min", "goes with a table of pulses_per_l of the same length")
    if isinstance(meter.pulses_per_l, tuple) and flows is not None:
        if len(flows) != len(meter.pulses_per_l):
            raise SetupError("flow_meter.flow_l_per_min", "must be as long as pulses_per_l")
        if any(b <= a for a, b in pairwise(flows)):
            raise SetupError("flow_meter.flow_l_per_min", "must rise from value to value")
    top, swath = sprayer.pattern_top_m, sprayer.swath_m
    if top is not None and top > swath:
        raise SetupError("sprayer.pattern_top_m", f"{top:g} is out of range: 0 to the swath, {swath:g}, is allowed")
    if treatment.directions not in (None, 1.0, 2.0):
        raise SetupError("treatment.directions", f"{treatment.directions:g} is neither 1 nor 2")
    limit, notice = treatment.wind_limit_mps, treatment.wind_notice_mps
    if limit is not None and notice is not None and notice > limit:
        raise SetupError(
            "treatment.wind_notice_mps", f"{notice:g} is out of range: at most the limit, {limit:g}, is allowed"
        )


def _check_site(found: Any) -> None:
    """The site table holds only the name of the boundary's file."""
    if not isinstance(found, Mapping):
        raise SetupError("site", "must be a table")
    for key, value in found.items():
        if f"site.{key}" not in _PATHS:
            raise SetupError(f"site.{key}", f"is not a setting{_suggest(key, ['boundary'])}")
        if not isinstance(value, str):
            raise SetupError("site.boundary", f"{value!r} must be the name of a file")


def _read_span(found: Any) -> Span:
    """The job table: rig, start and end."""
    if not isinstance(found, Mapping):
        raise SetupError("job", "must be a table")
    for key in found:
        if key not in ("rig", "start", "end"):
            raise SetupError(f"job.{key}", f"is not a setting{_suggest(key, ['rig', 'start', 'end'])}")
    rig = found.get("rig")
    if rig is not None and not (isinstance(rig, str) and _RIG.fullmatch(rig)):
        raise SetupError("job.rig", f"{rig!r} must be 1 to 32 of a-z, 0-9 and '-'")
    return Span(rig, _read_end("job.start", found.get("start")), _read_end("job.end", found.get("end")))


def _read_end(key: str, found: Any) -> tuple[str, float] | None:
    """One end of a span: boot and mono."""
    if found is None:
        return None
    if not isinstance(found, list | tuple) or len(found) != 2:
        raise SetupError(key, f"{found!r} must be [boot, mono]")
    boot, mono = found
    if not (isinstance(boot, str) and _BOOT.fullmatch(boot)):
        raise SetupError(key, f"{boot!r} must be a boot's name, 8 to 32 of 0-9 and a-f")
    if isinstance(mono, bool) or not isinstance(mono, int | float) or not 0.0 <= mono <= LATEST_MONO_S:
        raise SetupError(key, f"{mono!r} must be seconds of the boot's clock, 0 to {LATEST_MONO_S:g}")
    return boot, float(mono)


def _read_peg(place: int, found: Any) -> Peg:
    """One peg."""
    if not isinstance(found, Mapping) or not isinstance(found.get("name"), str):
        raise SetupError(f"peg {place + 1}", "must be a table with a name")
    for key in found:
        if key not in ("name", "lat", "lon", "sd_m"):
            raise SetupError(f"peg.{key}", f"is not a setting{_suggest(key, ['name', 'lat', 'lon', 'sd_m'])}")
    numbers = {k: _check_number(f"peg.{k}", v) for k, v in found.items() if k != "name" and v is not None}
    if ("lat" in numbers) != ("lon" in numbers):
        raise SetupError("peg.lat" if "lon" in numbers else "peg.lon", "is needed: lat and lon go together")
    return Peg(_check_name("peg.name", found["name"]), **numbers)


def _read_zone(found: Any) -> Zone:
    """One polygon as the store keeps it."""
    try:
        rings = tuple(tuple((float(lon), float(lat)) for lon, lat in ring) for ring in found["rings"])
        name, kind = _check_name("zone.name", found["name"]), found["kind"]
    except SetupError:
        raise
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise SetupError("zone", "must have name, kind and rings of [longitude, latitude]") from error
    if kind not in ("zone", "keep_out"):
        raise SetupError("zone.kind", f"{kind!r} is none of zone, keep_out")
    for ring in rings:
        if len(ring) < 4 or ring[0] != ring[-1]:
            raise SetupError("zone.rings", f"a ring of {name!r} needs three corners and must end where it began")
        if any(not (abs(lon) <= 180.0 and abs(lat) <= 90.0) for lon, lat in ring):
            raise SetupError("zone.rings", f"a corner of {name!r} is not longitude, latitude in degrees")
    if not rings:
        raise SetupError("zone.rings", f"{name!r} has no ring")
    return Zone(name, kind, rings)


def _check_name(key: str, found: Any) -> str:
    """A name that every file can hold."""
    if not isinstance(found, str) or not 1 <= len(found) <= LONGEST_NAME or not found.isprintable():
        raise SetupError(key, f"{found!r} must be a text of 1 to {LONGEST_NAME} printable characters")
    return found


def _as_list(key: str, found: Any) -> list[Any]:
    """A list of tables."""
    if not isinstance(found, list):
        raise SetupError(key, f"must be written [[{key}]]")
    return found


def _plain(record: Any) -> dict[str, Any]:
    """A record's fields that are set, tuples as lists."""
    found = {}
    for each in fields(record):
        value = getattr(record, each.name)
        if value is not None:
            name = "class" if each.name == "klass" else each.name
            found[name] = list(value) if isinstance(value, tuple) else value
    return found


def _suggest(word: str, known: list[str]) -> str:
    """Offer the nearest known word, or all of them."""
    near = difflib.get_close_matches(word, known, n=1)
    return f"; did you mean {near[0]}?" if near else f"; known are {', '.join(known)}"
