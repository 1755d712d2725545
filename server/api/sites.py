"""Sites: lawns with their zones and keep-outs; shapes checked, cut, walked, brought along and given out."""

import asyncio
import json
from collections.abc import Sequence
from math import isfinite
from typing import Annotated, Any, Literal

from fastapi import Request
from fastapi.responses import Response
from pydantic import Field

from server.api.calibrations import Interval, Rig, span_of
from server.api.cards import Desk, Number, Version, make_router
from server.api.models import Strict
from server.cards import Card, record_from_mapping
from server.core.cut import cut_polygon
from server.core.layout import measure_layout
from server.core.outline import Flaw, find_flaws, polygon_area
from server.core.papers import Papers, Reference
from server.core.setup import Ring
from server.core.sitecard import SiteCard, ZoneCard, find_twin
from server.edgewalk import survey_edge
from server.errors import RequestError
from server.geojson import LARGEST_BYTES, Proposal, geojson_from_site, propose_zones
from server.kinds import SITE
from server.store.papers import list_papers

router = make_router("sites", SITE)
DIGITS = 3
GEOJSON = "application/geo+json"
Degrees = Annotated[float, Field(ge=-540.0, le=540.0, allow_inf_nan=False)]
Corner = Annotated[list[Degrees], Field(min_length=2, max_length=2)]
Corners = Annotated[list[Corner], Field(max_length=5000)]
Rings = Annotated[list[Corners], Field(max_length=200)]


class Shape(Strict):
    """A zone or a keep-out as it stands on the page, right or wrong."""

    name: Annotated[str, Field(max_length=120)]
    kind: Literal["zone", "keep_out"]
    rings: Rings


class Draft(Strict):
    """The shapes of a site as they stand on the page."""

    zones: Annotated[list[Shape], Field(max_length=100)]


class Cut(Strict):
    """A shape, and the line that is to part it."""

    rings: Rings
    line: Annotated[list[Corner], Field(min_length=2, max_length=2)]


class EdgeWalk(Strict):
    """A walk round an edge; `offset_m` is how far inside the edge the antenna was carried."""

    rig: Rig
    interval: Interval
    offset_m: Annotated[float, Field(ge=-5.0, le=5.0, allow_inf_nan=False)] = 0.0


@router.post("/check")
async def check_shapes(body: Draft) -> dict[str, Any]:
    """The area of each shape or what is wrong with it and where, and what they come to together; nothing is kept."""
    return await asyncio.to_thread(_check, body.zones)


@router.post("/cut")
async def cut_shape(body: Cut) -> list[dict[str, Any]]:
    """The pieces of a shape along a line, the largest first; nothing is kept."""
    rings, (start, end) = _rings(body.rings), body.line
    flaws = find_flaws(rings)
    if flaws:
        raise RequestError("rings", str(flaws[0]))
    pieces = await asyncio.to_thread(cut_polygon, rings, ((start[0], start[1]), (end[0], end[1])))
    return [{"rings": piece, "area_m2": _round(polygon_area(piece))} for piece in pieces]


@router.post("/walk")
async def look_at_walk(body: EdgeWalk, service: Desk) -> dict[str, Any]:
    """The shape whose edge was walked so far, with its area and how sure it is; nothing is kept."""
    span, setup = span_of(body.rig, body.interval, "interval"), service.jobs.setup
    return await service.office.calibrations.look(
        lambda connection: survey_edge(connection, span, setup, offset_m=body.offset_m)
    )


@router.post("/proposal")
async def propose_shapes(request: Request) -> list[dict[str, Any]]:
    """What the shapes of a GeoJSON file, sent as it is, would make, and which are refused and why."""
    data = bytearray()
    async for piece in request.stream():
        data += piece
        if len(data) > LARGEST_BYTES:
            break
    if not data:
        raise RequestError("file", "nothing was sent")
    return [_view_proposal(row) for row in await asyncio.to_thread(propose_zones, bytes(data))]


@router.get("/{number}/geojson")
async def give_geojson(number: Number, service: Desk, version: Version | None = None) -> Response:
    """A site's shapes as GeoJSON (RFC 7946), as it stands or in the version asked for."""
    card = await service.office.cards.find(SITE, number, version)
    text = json.dumps(geojson_from_site(card.record), indent=1, ensure_ascii=False, allow_nan=False)
    name = f"site-{card.number}-version-{card.version}.geojson"
    return Response(text + "\n", media_type=GEOJSON, headers={"Content-Disposition": f'attachment; filename="{name}"'})


@router.get("/{number}/history")
async def tell_history(number: Number, service: Desk) -> list[dict[str, Any]]:
    """A site's versions, the newest first: when, which areas, and the jobs that keep that shape."""
    cards = await service.office.cards.list_versions(SITE, number)
    papers = await asyncio.to_thread(service.jobs.read, list_papers)
    return await asyncio.to_thread(lambda: [_view_version(card, _jobs_of(card, papers)) for card in reversed(cards)])


def _check(shapes: Sequence[Shape]) -> dict[str, Any]:
    rows, sound = [], []
    for shape in shapes:
        rings = _rings(shape.rings)
        flaws = find_flaws(rings) if rings else ()
        if rings and not flaws:
            sound.append(ZoneCard(shape.name.strip() or "shape", shape.kind, rings))
        rows.append({"area_m2": None if flaws else _round(polygon_area(rings)), "flaws": _view_flaws(flaws)})
    twin = find_twin([shape.name for shape in shapes])
    layout = measure_layout(sound)
    cautions = [*layout.cautions, *([f"two are called {twin}: give each a name of its own"] if twin else [])]
    return {"zones": rows, "treated_m2": _round(layout.treated_m2), "cautions": cautions}


def _rings(found: Sequence[Sequence[Sequence[float]]]) -> tuple[Ring, ...]:
    return tuple(tuple((corner[0], corner[1]) for corner in ring) for ring in found)


def _round(area: float) -> float:
    return round(area, DIGITS)


def _view_flaws(flaws: Sequence[Flaw]) -> list[dict[str, Any]]:
    return [{"problem": flaw.problem, "lon": flaw.lon, "lat": flaw.lat} for flaw in flaws]


def _view_proposal(row: Proposal) -> dict[str, Any]:
    """A proposal; the rings of a refused one only where they can be drawn."""
    is_finite = all(isfinite(value) for ring in row.rings for corner in ring for value in corner)
    head = {"feature": row.feature, "name": row.name, "notes": list(row.notes), "flaws": _view_flaws(row.flaws)}
    zone = row.zone
    if zone is None:
        return {**head, "zone": None, "area_m2": None, "rings": row.rings if is_finite else []}
    card = {
        "name": zone.name, "kind": zone.kind, "rings": zone.rings, "source": zone.source,
        "area_sd_m2": zone.area_sd_m2, "part_of": zone.part_of,
    }  # fmt: skip
    return {**head, "zone": card, "area_m2": _round(zone.area_m2), "rings": zone.rings}


def _view_version(card: Card[SiteCard], jobs: list[int]) -> dict[str, Any]:
    layout = measure_layout([zone for zone in card.record.zones if zone.rings])
    zones = [
        {"name": zone.name, "kind": zone.kind, "area_m2": _round(zone.area_m2), "area_sd_m2": zone.area_sd_m2}
        for zone in card.record.zones
    ]
    return {
        "version": card.version, "made_utc": round(card.made_utc, 3), "is_retired": card.is_retired,
        "name": card.record.name, "zones": zones, "treated_m2": _round(layout.treated_m2), "jobs": jobs,
    }  # fmt: skip


def _jobs_of(card: Card[SiteCard], papers: dict[int, dict[str, Any]]) -> list[int]:
    """The jobs that rest on this version of the site."""
    own = Reference(card.number, card.version)
    return [job for job, body in papers.items() if record_from_mapping(Papers, body).site == own]
