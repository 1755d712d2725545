"""The settings that the next job starts from, and what the form needs to know of each."""

from dataclasses import fields
from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends

from server.api.desk import desk
from server.core.setup import CHOICES, RANGES, TEXTS, Setup
from server.core.tables import key_of, mapping_from_setup, setup_from_mapping
from server.service import Service

router = APIRouter(prefix="/api", tags=["setup"])
Desk = Annotated[Service, Depends(desk)]
UNITS = {
    "_l_per_m2": "L/m2", "_l_per_min": "L/min", "_pulses_per_l": "pulses/L", "pulses_per_l": "pulses/L",
    "_mps_per_hz": "m/s per Hz", "mps_per_hz": "m/s per Hz", "_mps": "m/s", "_percent": "%", "_m": "m", "_s": "s",
    "_l": "L", "_fraction": "",
}  # fmt: skip


@router.get("/setup")
async def read_setup(service: Desk) -> dict[str, Any]:
    """The tables of the settings file."""
    return mapping_from_setup(service.jobs.setup)


@router.put("/setup")
async def write_setup(body: Annotated[dict[str, Any], Body()], service: Desk) -> dict[str, Any]:
    """Save settings for the next job; a wrong one is refused by name."""
    zones = service.jobs.setup.zones if "zone" not in body else ()
    setup = setup_from_mapping(body, zones)
    await service.jobs.save_setup(setup)
    await service.follow_next()
    return mapping_from_setup(setup)


@router.get("/setup/keys")
async def list_keys() -> list[dict[str, Any]]:
    """Every key with unit, range, default and choices."""
    found = []
    for table in fields(Setup):
        record = _RECORDS.get(table.name)
        for each in fields(record) if record is not None else ():
            key = key_of(table.name, each.name)
            if key not in RANGES and key not in CHOICES and key not in TEXTS:
                continue
            default = each.default if isinstance(each.default, int | float | str) else None
            limits = RANGES.get(key)
            found.append(
                {
                    "key": key,
                    "unit": _unit_of(key),
                    "range": list(limits) if limits else None,
                    "default": default,
                    "choices": list(CHOICES[key]) if key in CHOICES else None,
                    **({"text": TEXTS[key]} if key in TEXTS else {}),
                }
            )
    return found


def _unit_of(key: str) -> str:
    """The unit in a key's name."""
    return next((unit for suffix, unit in UNITS.items() if key.endswith(suffix)), "")


def _records() -> dict[str, Any]:
    from server.core import setup as records

    return {
        "sprayer": records.Sprayer,
        "flow_meter": records.FlowMeter,
        "anemometer": records.Anemometer,
        "receiver": records.Receiver,
        "treatment": records.Treatment,
        "grid": records.Grid,
    }


_RECORDS = _records()
