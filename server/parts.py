"""The touch-up plan of one part of a job, told what the other parts have wetted: nothing is to be sprayed twice."""

import json
from typing import Any

import numpy as np

from server.core.band import read_cells, resample_line
from server.core.geodesy import degrees_from_plane, plane_from_degrees
from server.core.grid import GridFrame
from server.core.log import Floats
from server.core.polygons import point_in_rings
from server.core.results import Plane
from server.core.touchup import ALLOWANCE
from server.errors import UnknownError
from server.packed import unpack_steps
from server.reviews import Reviews
from server.store.jobs import Job

STEP_M = 0.25
ALL, HARDLY = 0.9, 0.1
"""Shares of a strip that other parts wetted: above the first it is done, below the second it is all to do."""
COVERED = 0.1
Wet = tuple[Plane, GridFrame, Floats]
"""Of a part the plane, the cells and whether each is covered."""


def read_wet(reviews: Reviews, job: Job) -> Wet | None:
    """Where a part has sprayed: its plane, its cells and whether each is covered; None while it has no review."""
    plane = reviews.plane_of(job)
    try:
        found = json.loads(reviews.read_view(job, "dose"))
    except UnknownError:
        return None
    if plane is None:
        return None
    frame = GridFrame(found["x0_m"], found["y0_m"], found["cell_m"], found["nx"], found["ny"])
    dose = unpack_steps(found["step_l_per_m2"], found["steps"]).reshape(frame.ny, frame.nx)
    return plane, frame, (dose > COVERED * found["target_l_per_m2"]).astype(np.float64)


def join_plan(plan: dict[str, Any], plane: Plane | None, others: list[Wet | None]) -> None:
    """Take out of a plan's view what other parts have done; what they may have reached is left to the eye."""
    repeats: list[dict[str, Any]] = []
    looks: list[dict[str, Any]] = []
    for strip in plan["repeats"] + plan["looks"]:
        share = _share_wet(strip, plane, others)
        if share > ALL:
            continue
        if strip["why_not"] or share > HARDLY:
            looks.append({**strip, "order": None, "why_not": strip["why_not"] or "crossed"})
        else:
            repeats.append({**strip, "order": len(repeats) + 1})
    volume = sum(strip["volume_l"] for strip in repeats)
    plan |= {
        "repeats": repeats, "looks": looks, "volume_l": volume, "allowance_l": ALLOWANCE * volume,
        "area_m2": sum(strip["area_m2"] for strip in repeats),
        "between_m": plan["between_m"] if len(repeats) == len(plan["repeats"]) else None,
    }  # fmt: skip


def _share_wet(strip: dict[str, Any], plane: Plane | None, others: list[Wet | None]) -> float:
    """The share of a strip on which another part's liquid lies; half where that cannot be told."""
    if plane is None or None in others:
        return 0.5
    places = _lay_places(strip)
    lat, lon = degrees_from_plane(places[:, 0], places[:, 1], plane=plane)
    wet = np.zeros(len(places))
    for own, frame, cells in (each for each in others if each is not None):
        east, north = plane_from_degrees(lat, lon, plane=own)
        wet = np.maximum(wet, read_cells(cells, np.stack((east, north), axis=1), frame))
    return float(np.mean(np.nan_to_num(wet) > 0.5)) if len(wet) else 0.0


def _lay_places(strip: dict[str, Any]) -> Floats:
    """Places on a strip: along its lines, of a whole part all over it."""
    lines = [np.array(line, dtype=np.float64).reshape(-1, 2) for line in strip["lines_m"]]
    if strip["kind"] != "patch":
        return np.concatenate([resample_line(line, step_m=STEP_M) for line in lines])
    low, high = lines[0].min(axis=0), lines[0].max(axis=0)
    east, north = np.meshgrid(np.arange(low[0], high[0], STEP_M), np.arange(low[1], high[1], STEP_M))
    inside = point_in_rings(east.ravel(), north.ravel(), [lines[0]])
    return np.stack((east.ravel()[inside], north.ravel()[inside]), axis=1)
