"""The review as the dashboard draws it: columns of rounded numbers, null where not known."""

import gzip
import json
from typing import Any

import numpy as np

from server.core.flow import VolumeCurve, flow_rate_at
from server.core.log import Floats
from server.core.results import Interval, JobResult
from server.core.setup import Setup
from server.exports import tables
from server.exports.job_json import plain
from server.exports.touchup import view_touchup
from server.packed import pack_steps

LONGEST_TRACE = 4000
LEVEL = 6


def view_files(
    result: JobResult, setup: Setup, curve: VolumeCurve, intervals: tuple[Interval, ...]
) -> dict[str, bytes]:
    """Every view's bytes, by name, packed with gzip as they are sent."""
    views: dict[str, Any] = {
        "passes": _passes(result),
        "pairs": tables.pair_rows(result),
        "findings": _findings(result),
        "touchup": view_touchup(result.touchup),
        "track": _track(result),
        "wind": _wind(result, setup),
        "flow": _flow(result, curve, intervals),
        "dose": _dose(result, setup),
    }
    return {name: gzip.compress(_write(view).encode(), LEVEL, mtime=0) for name, view in views.items()}


def _write(view: Any) -> str:
    return json.dumps(view, separators=(",", ":"))


def _passes(result: JobResult) -> list[dict[str, Any]]:
    """The table's columns, and the job seconds by which a pass is found on the way and in the traces."""
    return [
        {**row, "start_s": plain(found.start_t), "end_s": plain(found.end_t)}
        for row, found in zip(tables.pass_rows(result), result.passes, strict=True)
    ]


def _findings(result: JobResult) -> list[dict[str, Any]]:
    return [
        {
            "kind": found.kind,
            "probability": plain(found.probability),
            "area_m2": plain(found.area_m2),
            "volume_l": plain(found.volume_l),
            "ring_m": np.round(found.ring_m, 2).tolist(),
        }
        for found in result.findings
    ]


def _thin(count: int) -> slice:
    return slice(None, None, max(1, count // LONGEST_TRACE))


def _track(result: JobResult) -> dict[str, Any]:
    chosen = _thin(len(result.track.t))
    return {
        "t_s": _numbers(result.track.t[chosen], 2),
        "east_m": _numbers(result.track.east_m[chosen], 3),
        "north_m": _numbers(result.track.north_m[chosen], 3),
        "spraying": result.is_spraying[chosen].astype(int).tolist(),
        "sd_m": _numbers(np.hypot(result.track.sd_east_m[chosen], result.track.sd_north_m[chosen]) / np.sqrt(2.0), 3),
    }


def _wind(result: JobResult, setup: Setup) -> dict[str, Any]:
    chosen, story = _thin(len(result.wind.t)), result.wind_story
    names = ("apparent_mps", "true_mps", "mean_60s_mps", "mean_60s_sd_mps", "gust_3s_mps", "smooth_mps", "from_deg")
    return {
        "t_s": _numbers(result.wind.t[chosen], 2),
        **{name: _numbers(getattr(result.wind, name)[chosen], 3) for name in names},
        "known_60s_mps": None if story is None else _numbers(story.known_60s_mps[chosen], 3),
        "alarm": list(result.wind.alarm)[chosen],
        "limit_mps": setup.treatment.wind_limit_mps,
        "limit_stated": setup.treatment.wind_limit_stated,
    }


def _flow(result: JobResult, curve: VolumeCurve, intervals: tuple[Interval, ...]) -> dict[str, Any]:
    t = result.track.t[_thin(len(result.track.t))]
    speed = np.hypot(result.track.velocity_east_mps, result.track.velocity_north_mps)[_thin(len(result.track.t))]
    flow = flow_rate_at(curve, intervals, t)
    return {"t_s": _numbers(t, 2), "flow_l_per_min": _numbers(60.0 * flow, 4), "speed_mps": _numbers(speed, 3)}


def _dose(result: JobResult, setup: Setup) -> dict[str, Any]:
    """The cells row by row from the south, in steps of 2 bytes: as text a large lawn is four times as much to send."""
    dose = result.dose
    ny, nx = dose.dose_l_per_m2.shape
    treatment = setup.treatment
    step, steps = pack_steps(dose.dose_l_per_m2)
    return {
        "x0_m": dose.x0_m,
        "y0_m": dose.y0_m,
        "cell_m": dose.cell_m,
        "nx": nx,
        "ny": ny,
        "target_l_per_m2": treatment.target_l_per_m2,
        "pass_l_per_m2": treatment.pass_l_per_m2,
        "under_fraction": treatment.under_fraction,
        "over_fraction": treatment.over_fraction,
        "swath_m": setup.sprayer.swath_m,
        "sd_tenths": _doubts(dose.sd_l_per_m2 / treatment.target_l_per_m2),
        "step_l_per_m2": step,
        "steps": steps,
    }


def _doubts(shares: Floats) -> str:
    """Each cell's standard deviation in tenths of the target as one digit, 9 for more, "x" where not known."""
    tenths = np.nan_to_num(np.minimum(np.round(10.0 * shares.ravel()), 9.0), nan=10.0).astype(np.uint8)
    return np.frombuffer(b"0123456789x", "u1")[tenths].tobytes().decode()


def _numbers(values: Any, digits: int) -> list[float | None]:
    rounded = np.round(np.asarray(values, dtype=float), digits)
    return [None if value != value else value for value in rounded.tolist()]
