"""Two reviewed jobs on one site beside each other, and where the site's other jobs missed."""

import json
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from server.core.beside import Laid, compare_doses, join_frames, overlap_frames, resample_cells, split_ninths
from server.core.coverage import COVERED_FRACTION
from server.core.geodesy import degrees_from_plane, plane_from_degrees
from server.core.grid import GridFrame
from server.core.ground import lay_ground
from server.core.log import Floats
from server.core.results import Plane
from server.errors import ConflictError, UnknownError
from server.exports.job_json import plain
from server.packed import unpack_steps
from server.reviews import Reviews
from server.store.jobs import Job

LATEST = 12
"""So many of the site's jobs are asked where they missed."""
MOST_CELLS = 4_000_000
FIGURES = ("start_utc", "volume_l", "volume_sd_l", "track_sd_m", "wind", "passes_above_limit", "zone_area_m2")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A job with what its review says: figures, plane, dose on the grid of its own."""

    job: Job
    totals: dict[str, Any]
    view: dict[str, Any]
    plane: Plane
    laid: Laid


def read_sheet(reviews: Reviews, job: Job) -> Sheet:
    """A job's sheet; raises UnknownError while it has no review."""
    totals = json.loads(reviews.read_file(job, "job.json"))
    view = json.loads(reviews.read_view(job, "dose"))
    frame = GridFrame(view["x0_m"], view["y0_m"], view["cell_m"], view["nx"], view["ny"])
    dose = unpack_steps(view["step_l_per_m2"], view["steps"]).reshape(frame.ny, frame.nx)
    plane = Plane(totals["lat0"], totals["lon0"])
    return Sheet(job, totals, view, plane, Laid(dose, frame, view["target_l_per_m2"]))


def view_beside(first: Sheet, second: Sheet, others: list[Sheet]) -> dict[str, Any]:
    """The comparison for API and page; raises ConflictError where they do not lie on the same ground."""
    shift = find_shift(second, first.plane)
    moved = _move(second.laid.frame, shift)
    if not overlap_frames(first.laid.frame, moved):
        raise ConflictError(f"jobs {first.job.number} and {second.job.number} do not lie on the same ground")
    frame = join_frames(first.laid.frame, moved)
    if frame.nx * frame.ny > MOST_CELLS:
        raise ConflictError("the two jobs are too large to be laid on one another")
    laid = [_lay(each, first.plane, frame) for each in (first, second)]
    wanted = _find_wanted(first, second, laid)
    bounds = {"under_share": first.view["under_fraction"], "over_share": first.view["over_fraction"]}
    found = compare_doses(laid[0], laid[1], wanted, **bounds)
    season = [_tell_missed(each, first.plane, frame, wanted) for each in (first, second, *others)]
    view: dict[str, Any] = plain(
        {
            "jobs": [_head(each) for each in (first, second)],
            "shift_m": list(shift),
            "place_sd_m": float(np.hypot(first.totals["track_sd_m"] or np.nan, second.totals["track_sd_m"] or np.nan)),
            **asdict(found),
            "wanted_ninths_m2": split_ninths(np.ones(wanted.shape), frame, wanted=wanted).ravel().tolist(),
            "season": sorted((each for each in season if each is not None), key=lambda each: each["start_utc"] or 0.0),
        }
    )
    return view


def find_shift(sheet: Sheet, plane: Plane) -> tuple[float, float]:
    """How far east and north a sheet's places are moved on another plane; taken at its middle: planes turn little."""
    frame = sheet.laid.frame
    middle = (
        np.array([frame.x0_m + frame.nx * frame.cell_m / 2.0]),
        np.array([frame.y0_m + frame.ny * frame.cell_m / 2.0]),
    )
    lat, lon = degrees_from_plane(*middle, plane=sheet.plane)
    east, north = plane_from_degrees(lat, lon, plane=plane)
    return float(east[0] - middle[0][0]), float(north[0] - middle[1][0])


def _move(frame: GridFrame, shift: tuple[float, float]) -> GridFrame:
    return GridFrame(frame.x0_m + shift[0], frame.y0_m + shift[1], frame.cell_m, frame.nx, frame.ny)


def _lay(sheet: Sheet, plane: Plane, frame: GridFrame) -> Laid:
    """A sheet's dose on the frame of both."""
    own = _move(sheet.laid.frame, find_shift(sheet, plane))
    return Laid(resample_cells(sheet.laid.dose_l_per_m2, own, onto=frame), frame, sheet.laid.target_l_per_m2)


def _find_wanted(first: Sheet, second: Sheet, laid: list[Laid]) -> Floats:
    """The share of each cell that both jobs wanted; without zones the ground that either reached."""
    found: Floats | None = None
    for sheet in (first, second):
        if any(zone.kind == "zone" for zone in sheet.job.setup.zones):
            wanted = lay_ground(sheet.job.setup.zones, plane=first.plane, frame=laid[0].frame).wanted
            found = wanted if found is None else np.minimum(found, wanted)
    if found is not None:
        return found
    reached = [each.dose_l_per_m2 >= COVERED_FRACTION * each.target_l_per_m2 for each in laid]
    return (reached[0] | reached[1]).astype(np.float64)


def _tell_missed(sheet: Sheet, plane: Plane, frame: GridFrame, wanted: Floats) -> dict[str, Any] | None:
    """Where a job of the site missed, by ninths of the ground; None where it was elsewhere."""
    if not overlap_frames(_move(sheet.laid.frame, find_shift(sheet, plane)), frame):
        return None
    laid = _lay(sheet, plane, frame)
    missed = (laid.dose_l_per_m2 < COVERED_FRACTION * laid.target_l_per_m2).astype(np.float64)
    ninths = split_ninths(missed, frame, wanted=wanted)
    return {**_head(sheet), "missed_ninths_m2": ninths.ravel().tolist()}


def _head(sheet: Sheet) -> dict[str, Any]:
    figures = {name: sheet.totals.get(name) for name in FIGURES}
    target = sheet.laid.target_l_per_m2
    return {"job": sheet.job.number, "name": sheet.job.name, "target_l_per_m2": target, **figures}


def read_sheets(reviews: Reviews, jobs: list[Job]) -> list[Sheet]:
    """Sheets of the latest of these jobs that have a review."""
    found: list[Sheet] = []
    for job in jobs:
        if len(found) == LATEST:
            break
        try:
            found.append(read_sheet(reviews, job))
        except UnknownError:
            continue
    return found
