"""The straightened lawn as values: each pass a strip at its true length, in walking order, as the dashboard lays it."""

import json
from collections.abc import Mapping
from math import cos, floor, hypot, inf, radians, sin
from typing import Any

import numpy as np

from server.core.beside import DOUBLED_FRACTION
from server.core.coverage import COVERED_FRACTION
from server.core.log import Floats
from server.packed import unpack_steps

VIEWS = ("passes", "pairs", "track", "flow", "dose", "wind")
BIN_M = 1.0
MOST_BINS = 120
ALONG = 0.7
"""Cosine from which a pass lies along the first one."""
ACROSS = (-0.3, 0.0, 0.3)
"""Places across the swath, as shares of it, that are asked whether the ground there got twice."""
TELLING = ("gap", "unsure")
Views = Mapping[str, Any]


def straighten(views: Views) -> dict[str, Any] | None:
    """Strips, what lies between them and their length; None for a review from before strips were drawn."""
    passes, dose = views["passes"], views["dose"]
    if not passes or passes[0].get("start_s") is None or dose.get("swath_m") is None:
        return None
    axis_deg = passes[0]["heading_deg"] or 0.0
    grid = np.array(dose["l_per_m2"], dtype=np.float64).reshape(dose["ny"], dose["nx"])
    # A pass whose length is not known has none on the sheet.
    known = [{**each, "length_m": each["length_m"] or 0.0} for each in passes if each.get("start_s") is not None]
    strips = [_lay_strip(each, views, grid, axis_deg) for each in known]
    _shift_starts(strips)
    ends = [max(each["start_m"], place_along(each, each["length_m"])) for each in strips]
    return {
        "strips": strips,
        "between": [each for each in views["pairs"] if each["verdict"] in TELLING],
        "long_m": max([1.0, *ends]),
        "limit_mps": views["wind"].get("limit_mps"),
        "swath_m": dose["swath_m"],
    }


def place_along(strip: Mapping[str, Any], at_m: float) -> float:
    """Where on the sheet a strip is after so many metres."""
    return float(strip["start_m"] + (at_m if strip["is_up"] else -at_m))


def read_views(read: Any) -> dict[str, Any]:
    """The views that a sheet is made of, the dose unpacked; `read` gives a view's bytes by its name."""
    views = {name: json.loads(read(name)) for name in VIEWS}
    dose = views["dose"]
    return {**views, "dose": {**dose, "l_per_m2": unpack_steps(dose["step_l_per_m2"], dose["steps"])}}


def _lay_strip(found: Mapping[str, Any], views: Views, grid: Floats, axis_deg: float) -> dict[str, Any]:
    way = _cut_way(found, views["track"], views["flow"])
    heading = axis_deg if found["heading_deg"] is None else found["heading_deg"]
    cosine = cos(radians(heading - axis_deg))
    is_along = abs(cosine) > ALONG and len(way) > 0
    east, north = sin(radians(axis_deg)), cos(radians(axis_deg))
    return {
        "pass": found["pass"],
        "length_m": found["length_m"],
        "is_up": cosine >= 0.0,
        "verdict": found["wind_verdict"],
        "start_m": float(way[0, 1] * east + way[0, 2] * north) if is_along else None,
        "bins": _fill_bins(found, way, views["dose"], grid),
        "thread": _thread_wind(way, views["wind"]),
    }


def _shift_starts(strips: list[dict[str, Any]]) -> None:
    """Count from the lowest end of any strip; a pass across begins at the foot."""
    lows = [s["start_m"] - (0.0 if s["is_up"] else s["length_m"]) for s in strips if s["start_m"] is not None]
    low = min(lows, default=0.0)
    for strip in strips:
        if strip["start_m"] is None:
            strip["start_m"] = 0.0 if strip["is_up"] else strip["length_m"]
        else:
            strip["start_m"] -= low


def _cut_way(found: Mapping[str, Any], track: Mapping[str, Any], flow: Mapping[str, Any]) -> Floats:
    """Rows t, east, north, flow, metres walked of a pass, known places only."""
    t = np.array(track["t_s"], dtype=np.float64)
    columns = [t, *(np.array(track[name], dtype=np.float64) for name in ("east_m", "north_m"))]
    columns.append(np.nan_to_num(np.array(flow["flow_l_per_min"], dtype=np.float64)))
    way = np.stack(columns, axis=1)
    way = way[(t >= found["start_s"]) & (t <= found["end_s"]) & np.isfinite(way[:, 1:3]).all(axis=1)]
    steps = np.hypot(np.diff(way[:, 1]), np.diff(way[:, 2]))
    return np.column_stack((way, np.concatenate((np.zeros(min(1, len(way))), np.cumsum(steps)))))


def _fill_bins(found: Mapping[str, Any], way: Floats, dose: Mapping[str, Any], grid: Floats) -> list[dict[str, Any]]:
    """Metre by metre what flowed as a share of the target, and whether the ground got twice."""
    percent = found["percent_of_target"]
    if len(way) < 2:
        share = None if percent is None else percent / 100.0
        return [{"from_m": 0.0, "to_m": found["length_m"], "share": share, "is_doubled": False, "is_bare": False}]
    wanted = 100.0 * found["dose_l_per_m2"] / percent if percent else dose["target_l_per_m2"]
    walked = float(way[-1, 4])
    count = min(MOST_BINS, max(1, floor(walked / BIN_M + 0.5)))
    bin_m = walked / count
    stretch = found["length_m"] / walked if walked > 0.0 else 1.0
    bins = []
    for number, litres in enumerate(_pour(way, count, bin_m)):
        share = litres / (bin_m * dose["swath_m"]) / wanted if bin_m > 0.0 else 0.0
        is_doubled = _is_doubled(way, (number + 0.5) * bin_m, dose, grid)
        ends = {"from_m": number * bin_m * stretch, "to_m": (number + 1) * bin_m * stretch}
        bins.append({**ends, "share": share, "is_doubled": is_doubled, "is_bare": share < COVERED_FRACTION})
    return bins


def _pour(way: Floats, count: int, bin_m: float) -> list[float]:
    """Litres of each bin: the running volume read at the bins' edges."""
    poured = np.concatenate(([0.0], np.cumsum((way[1:, 3] + way[:-1, 3]) / 120.0 * np.diff(way[:, 0]))))
    # A place where the rig stood has several volumes: the first edge takes none of them, the last all.
    places = way[:, 4] + 1e-12 * np.arange(len(way))
    edges = bin_m * np.arange(count + 1)
    read = np.interp(edges, places, poured)
    read[0], read[-1] = 0.0, poured[-1]
    found: list[float] = np.diff(read).tolist()
    return found


def _is_doubled(way: Floats, at_m: float, dose: Mapping[str, Any], grid: Floats) -> bool:
    """Whether most of the swath's breadth lies on ground that got at least 1.6 times the target."""
    k = min(len(way) - 1, max(1, int(np.searchsorted(way[:, 4], at_m, side="left"))))
    (_, east, north, _, before), (_, east_2, north_2, _, after) = way[k - 1].tolist(), way[k].tolist()
    long = hypot(east_2 - east, north_2 - north) or 1.0
    across = (north_2 - north) / long, -(east_2 - east) / long
    part = min(1.0, max(0.0, (at_m - before) / (after - before))) if after > before else 0.0
    shares = []
    for side in ACROSS:
        x = east + part * (east_2 - east) + side * dose["swath_m"] * across[0]
        y = north + part * (north_2 - north) + side * dose["swath_m"] * across[1]
        column, row = floor((x - dose["x0_m"]) / dose["cell_m"]), floor((y - dose["y0_m"]) / dose["cell_m"])
        is_on = 0 <= column < dose["nx"] and 0 <= row < dose["ny"]
        shares.append(float(grid[row, column]) / dose["target_l_per_m2"] if is_on else -inf)
    return sorted(shares)[1] >= DOUBLED_FRACTION


def _thread_wind(way: Floats, wind: Mapping[str, Any]) -> list[list[float]]:
    """The wind of each place that it is known at: metres walked, speed."""
    means = wind.get("known_60s_mps") or wind.get("mean_60s_mps") or []
    if not means or not len(way):
        return []
    speeds = np.array(means, dtype=np.float64)
    places = np.minimum(np.searchsorted(np.array(wind["t_s"]), way[:, 0], side="left"), len(speeds) - 1)
    found = np.column_stack((way[:, 4], speeds[places]))
    thinned = found[np.isfinite(found[:, 1])][:: max(1, len(found) // MOST_BINS)]
    return [[round(at, 3), round(speed, 3)] for at, speed in thinned.tolist()]
