"""Calibrations of the cup: the rig's clock for their ends, how one stands, the record, and putting one to use."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path
from pydantic import Field

from server.api.desk import desk
from server.api.models import Boot, Mono, Strict
from server.calibrations import Measure
from server.core.setup import Setup, Span
from server.core.units import speed_from
from server.cupwork import Reading, measure_references, measure_walk
from server.errors import RequestError
from server.service import Service
from server.store.calibrations import Calibration

router = APIRouter(prefix="/api/calibrations", tags=["calibrations"])
Desk = Annotated[Service, Depends(desk)]
LONGEST_S = 3600.0
Number = Annotated[int, Path(ge=1, le=2**53)]
Rig = Annotated[str, Field(pattern="^[a-z0-9-]{1,32}$")]
Speed = Annotated[float, Field(gt=0.0, le=1000.0, allow_inf_nan=False)]


class Interval(Strict):
    """From one instant of the device's clock to another of the same start of its program."""

    boot: Boot
    start: Mono
    end: Mono


class ReferenceReading(Strict):
    """What a reference instrument said over an interval: one value or several, in its own unit."""

    interval: Interval
    speeds: Annotated[list[Speed], Field(min_length=1, max_length=60)]
    unit: Literal["m/s", "km/h", "mph", "kn", "ft/min"]
    resolution: Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False)] = 0.1


class Beside(Strict):
    """A calibration beside a reference instrument, accurate to ± `accuracy_percent`."""

    way: Literal["references"]
    rig: Rig
    readings: Annotated[list[ReferenceReading], Field(min_length=1, max_length=40)]
    accuracy_percent: Annotated[float, Field(ge=0.0, le=30.0, allow_inf_nan=False)] = 3.0


class Walked(Strict):
    """A calibration from a walk, without any reference."""

    way: Literal["walk"]
    rig: Rig
    interval: Interval


Measurement = Annotated[Beside | Walked, Field(discriminator="way")]


def view(made: Calibration) -> dict[str, Any]:
    """A calibration as the API gives it."""
    head = {"id": made.number, "made_utc": round(made.made_utc, 3), "way": made.way, "rig": made.rig}
    applied = None if made.applied_utc is None else round(made.applied_utc, 3)
    return {**head, "applied_utc": applied, **made.found}


@router.get("")
async def list_calibrations(service: Desk) -> list[dict[str, Any]]:
    """The record of calibrations, the newest first."""
    return [view(made) for made in await service.office.calibrations.list_all()]


@router.get("/clock")
async def read_clock(service: Desk) -> dict[str, Any]:
    """The rig's clock now, for the ends of an interval."""
    now = await service.device()
    return {"rig": now.rig, "boot": now.boot, "mono": round(now.mono, 3)}


@router.post("/look")
async def look(body: Measurement, service: Desk) -> dict[str, Any]:
    """What a calibration comes to so far; nothing is kept."""
    return await service.office.calibrations.look(_measure(body, service.jobs.setup))


@router.post("", status_code=201)
async def keep_calibration(body: Measurement, service: Desk) -> dict[str, Any]:
    """Reckon a calibration and put it on record; a refused one too, with its reason."""
    measure = _measure(body, service.jobs.setup)
    return view(await service.office.calibrations.keep(measure, way=body.way, rig=body.rig))


@router.post("/{number}/apply")
async def apply_calibration(number: Number, service: Desk) -> dict[str, Any]:
    """Write a calibration's line into the saved settings; the open job keeps its own."""
    setup = await service.office.calibrations.fill_in(number, service.jobs.setup)
    await service.jobs.save_setup(setup)
    await service.follow_next()
    return view(await service.office.calibrations.note_applied(number))


def _measure(body: Beside | Walked, setup: Setup) -> Measure:
    """What is to be reckoned of a request."""
    if isinstance(body, Walked):
        span = span_of(body.rig, body.interval, "interval")
        return lambda connection: measure_walk(connection, span, setup)
    readings = [_read(body.rig, reading, place) for place, reading in enumerate(body.readings)]
    accuracy = body.accuracy_percent
    return lambda connection: measure_references(connection, readings, setup, accuracy_percent=accuracy)


def _read(rig: str, reading: ReferenceReading, place: int) -> Reading:
    """A reading in SI."""
    return Reading(
        span_of(rig, reading.interval, f"readings.{place}.interval"),
        tuple(speed_from(speed, unit=reading.unit) for speed in reading.speeds),
        speed_from(reading.resolution, unit=reading.unit),
    )


def span_of(rig: str, interval: Interval, key: str) -> Span:
    """The part of the raw log; raises RequestError where it has no length or too much."""
    if not 0.0 < interval.end - interval.start <= LONGEST_S:
        raise RequestError(key, f"must end after it starts, and within {LONGEST_S:.0f} s")
    return Span(rig, (interval.boot, interval.start), (interval.boot, interval.end))
