"""What an open page has not seen yet: figures, new points of the way, changed cells; and the site as it is drawn."""

from collections.abc import Callable
from typing import Any

import numpy as np

from server.broadcast import DosePatch, Page
from server.core.geodesy import plane_at
from server.core.polygons import rings_from_zone
from server.core.results import Plane
from server.core.setup import Setup
from server.live import Live
from server.packed import pack_steps, pack_whole
from server.snapshot import Snapshot

DIGITS = 6


def fresh_events(
    live: Live,
    pages: set[Page],
    page: Page,
    snapshot: Callable[[], Snapshot],
    strips: dict[str, Any] | None,
    outlook: dict[str, Any] | None = None,
) -> list[tuple[str, Any]]:
    """The events that bring one page up to date."""
    spread_changes(live, pages)
    events: list[tuple[str, Any]] = [("snapshot", snapshot().as_object())]
    track = _track_event(live, page)
    dose = _dose_event(live, page)
    if page.strips is not strips:
        events.append(("strips", strips))
        page.strips = strips
    if page.outlook is not outlook:
        events.append(("outlook", outlook))
        page.outlook = outlook
    return events + [event for event in (track, dose) if event is not None]


def spread_changes(live: Live, pages: set[Page]) -> None:
    """Hand the cells that changed since last time to every page."""
    if not live.way.grid.has_changes:
        return
    changes = live.way.grid.take_changes()
    values = changes.l_per_m2.tolist()
    cells = changes.cells.tolist()
    for page in pages:
        if changes.is_reset:
            page.dose = DosePatch(is_reset=True)
        page.dose.add(zip(cells, values, strict=True))


def _track_event(live: Live, page: Page) -> tuple[str, Any] | None:
    """The points of the way that the page lacks; all of them as millimetres in 4 bytes each, for there may be many."""
    way = live.way
    count = len(way.east_m)
    is_reset = page.track_sent < 0 or page.track_sent > count or page.way is not way
    first = 0 if is_reset else page.track_sent
    if first == count and not is_reset:
        return None
    page.track_sent, page.way = count, way
    if is_reset:
        places = {name: pack_whole(1000.0 * np.asarray(getattr(way, f"{name}_m")), "<i4") for name in ("east", "north")}
        spraying = pack_whole(np.asarray(way.spraying), "u1")
        return "track", {"reset": True, "east_mm": places["east"], "north_mm": places["north"], "spraying": spraying}
    parts = {name: getattr(way, name)[first:] for name in ("east_m", "north_m", "spraying")}
    return "track", {"reset": False, **parts}


def _dose_event(live: Live, page: Page) -> tuple[str, Any] | None:
    """The cells that the page lacks, or the whole map, rows from the south, in 2 bytes a cell."""
    patch, grid = page.dose, live.way.grid
    if not patch.is_reset and not patch.cells:
        return None
    found: dict[str, Any] = {
        "reset": patch.is_reset,
        **{name: getattr(grid.frame, name) for name in ("x0_m", "y0_m", "cell_m", "nx", "ny")},
    }
    if patch.is_reset:
        found["step_l_per_m2"], found["steps"] = pack_steps(grid.dose)
    else:
        found["cells"] = list(patch.cells)
        found["l_per_m2"] = [round(value, DIGITS) for value in patch.cells.values()]
    page.dose = DosePatch(is_reset=False)
    return "dose", found


def draw_zones(setup: Setup, plane: Plane | None) -> dict[str, Any]:
    """The site on the local plane, or on one of its own where none is known."""
    if plane is None and setup.zones:
        lon, lat = setup.zones[0].rings[0][0]
        plane = plane_at(lat, lon)
    if plane is None:
        return {"plane": None, "zones": []}
    zones = [
        {
            "name": zone.name,
            "kind": zone.kind,
            "rings_m": [ring.round(3).tolist() for ring in rings_from_zone(zone, plane=plane)],
        }
        for zone in setup.zones
    ]
    return {"plane": {"lat0_deg": plane.lat0_deg, "lon0_deg": plane.lon0_deg}, "zones": zones}
