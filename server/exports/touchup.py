"""The touch-up plan as files and for the dashboard: strips to walk again, ground to leave alone, places to look at."""

from typing import Any

import numpy as np

from server.core.geodesy import degrees_from_plane
from server.core.log import Floats
from server.core.results import JobResult, Plane, Stretch, Surplus, ThinPass, TouchupPlan
from server.exports.geojson import DIGITS
from server.exports.job_json import plain

TOUCHUP_COLUMNS = (
    "what", "order", "kind", "passes", "why_not", "start_lat", "start_lon", "end_lat", "end_lon", "length_m", "width_m",
    "area_m2", "volume_l", "probability", "place_sd_m", "doubled_if_wrong_m2", "dose_l_per_m2", "times_target",
    "surplus_l",
)  # fmt: skip
SUMS = (
    "target_l_per_m2", "pass_l_per_m2", "swath_m", "area_m2", "volume_l", "allowance_l", "between_m", "small_count",
    "small_m2", "small_surplus_l", "seams_m", "untold_m",
)  # fmt: skip


def view_touchup(plan: TouchupPlan | None) -> dict[str, Any] | None:
    """The plan as the dashboard draws it, places in metres."""
    if plan is None:
        return None
    found = {
        **{name: getattr(plan, name) for name in SUMS},
        "repeats": [{**_strip(each, order), "lines_m": _lines(each)} for order, each in enumerate(plan.repeats, 1)],
        "looks": [{**_strip(each, 0), "lines_m": _lines(each)} for each in plan.looks],
        "alone": [{**_surplus(each), "line_m": np.round(each.line_m, 2).tolist()} for each in plan.alone],
        "thin": [_thin(each) for each in plan.thin],
    }
    cleaned: dict[str, Any] = plain(found)
    return cleaned


def touchup_object(result: JobResult) -> dict[str, Any]:
    """The plan as a FeatureCollection in degrees: lines to walk and to leave alone, outlines of parts and spots."""
    features = []
    for what, about, lines, is_ring in _list_places(result.touchup):
        geometry = _ring_geometry(lines[0], result.plane) if is_ring else _line_geometry(lines, result.plane)
        features.append({"type": "Feature", "properties": plain({"what": what, **about}), "geometry": geometry})
    return {"type": "FeatureCollection", "features": features}


def touchup_rows(result: JobResult) -> list[dict[str, Any]]:
    """The plan as rows, those to walk first and in their order; then looks, what to leave alone, what is thin."""
    rows = []
    for what, about, lines, is_ring in _list_places(result.touchup):
        ends = {} if is_ring else _ends(lines, result.plane)
        rows.append({"what": what, **about, **ends})
    for each in result.touchup.thin if result.touchup is not None else ():
        rows.append({"what": "thin", **_thin(each), "passes": (each.number,)})
    empty = dict.fromkeys(TOUCHUP_COLUMNS)
    flat = [{**empty, **row, "passes": " ".join(map(str, row["passes"])) or None} for row in rows]
    return [{name: plain(row[name]) for name in TOUCHUP_COLUMNS} for row in flat]


def _list_places(plan: TouchupPlan | None) -> list[tuple[str, dict[str, Any], list[Floats], bool]]:
    """What, figures, lines and whether these are an outline, of all that has a place."""
    if plan is None:
        return []
    return [
        *(("repeat", _strip(s, order), list(s.lines_m), s.kind == "patch") for order, s in enumerate(plan.repeats, 1)),
        *(("look", _strip(s, 0), list(s.lines_m), s.kind == "patch") for s in plan.looks),
        *(("alone", _surplus(s), [s.line_m], s.kind == "spot") for s in plan.alone if len(s.line_m)),
    ]


def _strip(strip: Stretch, order: int) -> dict[str, Any]:
    return {
        "order": order or None,
        "kind": strip.kind,
        "passes": strip.passes,
        "why_not": strip.doubt or None,
        "length_m": strip.length_m,
        "width_m": strip.width_m,
        "area_m2": strip.area_m2,
        "volume_l": strip.volume_l,
        "probability": strip.probability,
        "place_sd_m": strip.place_sd_m,
        "gain_m2": strip.gain_m2,
        "doubled_if_wrong_m2": strip.swept_m2,
    }


def _surplus(surplus: Surplus) -> dict[str, Any]:
    return {
        "kind": surplus.kind,
        "passes": surplus.passes,
        "area_m2": surplus.area_m2,
        "dose_l_per_m2": surplus.dose_l_per_m2,
        "times_target": surplus.times_target,
        "surplus_l": surplus.surplus_l,
        "probability": surplus.probability,
    }


def _thin(thin: ThinPass) -> dict[str, Any]:
    return {
        "pass": thin.number,
        "area_m2": thin.area_m2,
        "dose_l_per_m2": thin.dose_l_per_m2,
        "lacking_l_per_m2": thin.lacking_l_per_m2,
        "speed_mps": thin.speed_mps,
        "probability": thin.probability,
    }


def _lines(strip: Stretch) -> list[Any]:
    return [np.round(line, 2).tolist() for line in strip.lines_m]


def _degrees(line: Floats, plane: Plane) -> list[list[float]]:
    lat, lon = degrees_from_plane(line[:, 0], line[:, 1], plane=plane)
    found: list[list[float]] = np.round(np.stack((lon, lat), axis=1), DIGITS).tolist()
    return found


def _line_geometry(lines: list[Floats], plane: Plane) -> dict[str, Any]:
    laid = [_degrees(line, plane) for line in lines]
    if len(laid) == 1:
        return {"type": "LineString", "coordinates": laid[0]}
    return {"type": "MultiLineString", "coordinates": laid}


def _ring_geometry(ring: Floats, plane: Plane) -> dict[str, Any]:
    """An outline, anticlockwise as RFC 7946 wants it."""
    east, north = ring[:, 0], ring[:, 1]
    is_right = float(np.sum(east[:-1] * north[1:] - east[1:] * north[:-1])) >= 0.0
    return {"type": "Polygon", "coordinates": [_degrees(ring if is_right else ring[::-1], plane)]}


def _ends(lines: list[Floats], plane: Plane) -> dict[str, float]:
    (start_lon, start_lat), (end_lon, end_lat) = _degrees(np.stack([lines[0][0], lines[-1][-1]]), plane)
    return {"start_lat": start_lat, "start_lon": start_lon, "end_lat": end_lat, "end_lon": end_lon}
