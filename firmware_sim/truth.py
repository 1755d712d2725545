"""The ledger of what really happened in a scenario, by the simulator's own arithmetic, saved beside the log.

All times are scenario seconds; `utc = utc_start + t`. In a log of one boot the device's `mono` = t + `mono_start`.

truth.json
    scenario, seed, receiver_class, utc_start, mono_start, duration_s, lat0_deg, lon0_deg (plane of all metres below),
    swath_m, target_l_per_m2, wind_limit_mps,
    volume_l (metered), pulses (whole edges emitted), pulses_per_l,
    intervals: [{start_s, end_s, volume_l}] spraying, at the meter,
    passes: [{line, start_s, end_s, heading_deg, length_m, volume_l, speed_mps, from_m [east, north], to_m,
        wind_mean_mps, wind_60s_end_mps}] on the ground (`delay_s` later than the meter), numbered in time; `line` is
        the planned line, below -1 for the sides of a perimeter lap; a break under 2 s and 2 m does not split a pass,
    mistakes: [{kind "missed" | "doubled" | "overrun" | "sprayed_turn", line, from_m, to_m}] the centre lines of
        stretches one swath wide,
    buttons: [{at_s, name, note}], peg_m [east, north] or null, cell_m,
    areas: {covered_m2 (dose above a tenth of target), zone_m2, missed_m2, under_m2, on_target_m2, over_m2,
        off_target_l, keep_out_l, grid_l (sum over the grid)}; limits 0.1, 0.9, 1.1 of target,
    wind: {mean_mps, max_60s_mps, max_2min_mps, gust_3s_mps, from_deg (of the vector mean)} at the cup's height.
truth.npz
    t, antenna_east_m, antenna_north_m, nozzle_east_m, nozzle_north_m, heading_deg, speed_mps, volume_l (metered),
        flow_l_per_s, wind_east_mps, wind_north_mps (where the air goes), air_mps (relative to the rig): each 0.1 s,
    wind_t (whole seconds), wind_1s_mps, wind_60s_mps (NaN in the first minute), wind_from_60s_deg: means of what
        came before,
    dose [ny, nx] in L/m², zone, keep_out [ny, nx] (fractions of cells), x0_m, y0_m, cell_m: grid on the same plane,
    fix_t, fix_east_m, fix_north_m, fix_code: what the receiver said,
    flow_edges_s, cup_edges_s: the true pulse edges, without bounce.
"""

import json
import math
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from firmware_sim.build import World
from firmware_sim.curve import Floats
from firmware_sim.deposit import SUB, Frame, frame_round, lay_dose, trace_outlet
from firmware_sim.world.geodesy import LocalPlane
from firmware_sim.world.lawn import Polygon, is_inside

STEP_S = 0.1
_JOIN_S = 2.0
_JOIN_M = 2.0


@dataclass(frozen=True, slots=True)
class TruePass:
    """One pass as it was: line, times on the ground, size, volume and the wind in it."""

    line: int
    start_s: float
    end_s: float
    heading_deg: float
    length_m: float
    volume_l: float
    speed_mps: float
    from_m: tuple[float, float]
    to_m: tuple[float, float]
    wind_mean_mps: float
    wind_60s_end_mps: float


def volume_between(world: World, start_s: float, end_s: float) -> float:
    """The litres metered between two scenario times, exactly."""
    a, b = world.volume.total_at(np.array([start_s, end_s]))
    return float(b - a)


def nozzle_at(world: World, t: Floats) -> tuple[Floats, Floats]:
    """Where the nozzle is at times t."""
    east, north, h = world.walk.poses_at(t)
    forward, right = world.scenario.sprayer.nozzle_forward_m, world.scenario.sprayer.nozzle_right_m
    return (
        east + forward * np.sin(h) + right * np.cos(h),
        north + forward * np.cos(h) - right * np.sin(h),
    )


def mean_wind(world: World, start_s: float, end_s: float) -> float:
    """The mean of the wind's speed between two times."""
    t = np.linspace(start_s, end_s, max(2, round((end_s - start_s) / 0.02)))
    return float(np.mean(world.wind.speed_at(t)))


def spray_intervals(world: World) -> list[tuple[float, float]]:
    """When liquid flows through the meter, exactly to the knots of the flow."""
    is_on = world.volume.rate > 0.0
    changes = np.flatnonzero(np.diff(is_on.astype(int)))
    starts = [float(world.volume.t[i]) for i in changes if not is_on[i]]
    ends = [float(world.volume.t[i + 1]) for i in changes if is_on[i]]
    return list(zip(starts, ends, strict=False))


def find_passes(world: World) -> list[TruePass]:
    """The passes: spraying on each walked line, interruptions under 2 s and 2 m bridged."""
    path, distance = world.walk.route.path, world.walk.distance
    delay = world.scenario.sprayer.delay_s
    intervals = [(a + delay, b + delay) for a, b in spray_intervals(world)]
    found = []
    walked = zip(path.segments, path.starts[:-1].tolist(), strict=True)
    for line, pieces in groupby(walked, key=lambda piece: piece[0].line):
        if line == -1:
            continue
        (first, start), *rest = pieces
        last, last_start = rest[-1] if rest else (first, start)
        heading = math.degrees(math.atan2(last.end[0] - first.east_m, last.end[1] - first.north_m)) % 360.0
        ends = np.array([max(start, 1e-9), last_start + last.length_m - 1e-9])
        low, high = (float(v) for v in distance.time_of(ends))
        spans: list[tuple[float, float]] = []
        for a, b in ((max(a, low), min(b, high)) for a, b in intervals if b > low and a < high):
            if spans and a - spans[-1][1] < _JOIN_S and _way(world, spans[-1][1], a) < _JOIN_M:
                spans[-1] = (spans[-1][0], b)
            else:
                spans.append((a, b))
        found += [_measure(world, line, heading, span) for span in spans]
    return sorted(found, key=lambda p: p.start_s)


def _way(world: World, start_s: float, end_s: float) -> float:
    """Metres walked between two times."""
    a, b = world.walk.distance.total_at(np.array([start_s, end_s]))
    return float(b - a)


def _measure(world: World, line: int, heading_deg: float, span: tuple[float, float]) -> TruePass:
    """Fill in one pass."""
    start, end = span
    delay = world.scenario.sprayer.delay_s
    length = _way(world, start, end)
    east, north = nozzle_at(world, np.array([start, end]))
    return TruePass(
        line,
        start,
        end,
        heading_deg,
        length,
        volume_between(world, start - delay, end - delay),
        length / (end - start),
        (float(east[0]), float(north[0])),
        (float(east[1]), float(north[1])),
        mean_wind(world, start, end),
        mean_wind(world, max(0.0, end - 60.0), end),
    )


def dose_on(world: World, frame: Frame) -> Floats:
    """The dose on any grid of the scenario's plane, litres per square metre."""
    outlet = trace_outlet(world.walk, world.volume, world.scenario.sprayer.delay_s)
    return lay_dose(world.walk.route.path, outlet, world.scenario.sprayer, frame)


def dose_on_plane(world: World, frame: Frame, *, lat0_deg: float, lon0_deg: float) -> Floats:
    """The dose on a grid of another plane near by (shifted; its scale differs by less than 1e-6 within 100 m)."""
    plane = world.scenario.lawn.plane
    east, north = plane.metres(np.array(lat0_deg), np.array(lon0_deg))
    moved = Frame(frame.x0_m + float(east), frame.y0_m + float(north), frame.cell_m, frame.nx, frame.ny)
    return dose_on(world, moved)


def cell_shares(polygons: list[Polygon], frame: Frame) -> Floats:
    """The fraction of each cell inside any of the polygons, by SUB × SUB points."""
    step = frame.cell_m / SUB
    east = frame.x0_m + (np.arange(frame.nx * SUB) + 0.5) * step
    north = frame.y0_m + (np.arange(frame.ny * SUB) + 0.5) * step
    points = np.meshgrid(east, north)
    inside = np.zeros(points[0].shape, dtype=bool)
    for polygon in polygons:
        inside |= is_inside(polygon, *points)
    return np.asarray(inside.reshape(frame.ny, SUB, frame.nx, SUB).mean(axis=(1, 3)))


def sum_areas(dose: Floats, zone: Floats, keep_out: Floats, cell_m: float, target: float) -> dict[str, float]:
    """Areas by what they got, and the litres that went astray."""
    area = cell_m * cell_m
    lawn = np.clip(zone - keep_out, 0.0, 1.0)
    ratio = dose / target
    bands = {
        "missed_m2": ratio < 0.1,
        "under_m2": (ratio >= 0.1) & (ratio < 0.9),
        "on_target_m2": (ratio >= 0.9) & (ratio <= 1.1),
        "over_m2": ratio > 1.1,
    }
    sums = {name: float(np.sum(lawn[band])) * area for name, band in bands.items()}
    return {
        "covered_m2": float(np.sum(ratio > 0.1)) * area,
        "zone_m2": float(np.sum(lawn)) * area,
        **sums,
        "off_target_l": float(np.sum(dose * (1.0 - lawn))) * area,
        "keep_out_l": float(np.sum(dose * keep_out)) * area,
        "grid_l": float(np.sum(dose)) * area,
    }


def running_mean(values: Floats, count: int) -> Floats:
    """The mean of the last `count` values at each, NaN before there are so many."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    means = np.full(len(values), np.nan)
    if len(values) >= count:
        means[count - 1 :] = (total[count:] - total[:-count]) / count
    return means


def trace_wind(world: World) -> dict[str, Floats]:
    """The wind second by second, each the mean of what came before."""
    seconds = int(world.walk.duration_s)
    fine = (np.arange(seconds * 50) + 0.5) / 50.0
    east, north = world.wind.vector_at(fine)
    by_second = [v.reshape(seconds, 50).mean(axis=1) for v in (np.hypot(east, north), east, north)]
    mean_east, mean_north = running_mean(by_second[1], 60), running_mean(by_second[2], 60)
    return {
        "wind_t": np.arange(1.0, seconds + 1.0),
        "wind_1s_mps": by_second[0],
        "wind_60s_mps": running_mean(by_second[0], 60),
        "wind_from_60s_deg": np.degrees(np.arctan2(-mean_east, -mean_north)) % 360.0,
    }


def _sum_wind(world: World, series: dict[str, Floats]) -> dict[str, float | None]:
    """The wind of the whole scenario in a few figures."""
    t = np.arange(0.0, world.walk.duration_s, 0.02)
    speed = world.wind.speed_at(t)
    east, north = (float(np.mean(v)) for v in world.wind.vector_at(t))

    def highest(values: Floats) -> float | None:
        return float(np.nanmax(values)) if np.any(np.isfinite(values)) else None

    return {
        "mean_mps": float(np.mean(speed)),
        "max_60s_mps": highest(series["wind_60s_mps"]),
        "max_2min_mps": highest(running_mean(series["wind_1s_mps"], 120)),
        "gust_3s_mps": highest(running_mean(speed, 150)),
        "from_deg": math.degrees(math.atan2(-east, -north)) % 360.0,
    }


def _trace(world: World) -> dict[str, Floats]:
    """Position, volume and wind every STEP_S."""
    t = STEP_S * np.arange(int(world.walk.duration_s / STEP_S) + 1)
    east, north, h = world.walk.poses_at(t)
    nozzle = nozzle_at(world, t)
    wind = world.wind.vector_at(t)
    return {
        "t": t,
        "antenna_east_m": east,
        "antenna_north_m": north,
        "nozzle_east_m": nozzle[0],
        "nozzle_north_m": nozzle[1],
        "heading_deg": np.degrees(h) % 360.0,
        "speed_mps": world.walk.distance.rate_at(t),
        "volume_l": world.volume.total_at(t),
        "flow_l_per_s": world.volume.rate_at(t),
        "wind_east_mps": wind[0],
        "wind_north_mps": wind[1],
        "air_mps": np.interp(t, world.air_t, world.air_mps),
    }


def describe_truth(
    world: World, *, mono_start: float = 0.0, cell_m: float = 0.1
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Everything of truth.json and truth.npz."""
    scenario = world.scenario
    frame = frame_round(world.walk.route.path, scenario.sprayer, cell_m)
    dose = dose_on(world, frame)
    zone, keep_out = (
        cell_shares([p for p in scenario.lawn.polygons if p.kind == kind], frame) for kind in ("zone", "keep_out")
    )
    wind = trace_wind(world)
    plane: LocalPlane = scenario.lawn.plane
    summary = {
        "scenario": scenario.name,
        "seed": world.seed,
        "receiver_class": world.receiver.klass,
        "utc_start": world.feed.utc_start,
        "mono_start": mono_start,
        "duration_s": world.walk.duration_s,
        "lat0_deg": plane.lat0_deg,
        "lon0_deg": plane.lon0_deg,
        "swath_m": scenario.sprayer.swath_m,
        "target_l_per_m2": scenario.target_l_per_m2,
        "wind_limit_mps": scenario.wind_limit_mps,
        "volume_l": float(world.volume.total[-1]),
        "pulses": len(world.true_flow_edges),
        "pulses_per_l": scenario.meter.pulses_per_l,
        "intervals": [
            {"start_s": a, "end_s": b, "volume_l": volume_between(world, a, b)} for a, b in spray_intervals(world)
        ],
        "passes": [asdict(found) for found in find_passes(world)],
        "mistakes": [
            {"kind": m.kind, "line": m.line, "from_m": m.start, "to_m": m.end} for m in world.walk.route.mistakes
        ],
        "buttons": [{"at_s": p.at_s, "name": p.name, "note": p.note} for p in world.walk.presses],
        "peg_m": scenario.plan.peg,
        "cell_m": cell_m,
        "areas": sum_areas(dose, zone, keep_out, cell_m, scenario.target_l_per_m2),
        "wind": _sum_wind(world, wind),
    }
    arrays = {
        **_trace(world),
        **wind,
        "dose": dose,
        "zone": zone,
        "keep_out": keep_out,
        "x0_m": frame.x0_m,
        "y0_m": frame.y0_m,
        "cell_m": cell_m,
        "fix_t": world.fixes.t,
        "fix_east_m": world.fixes.east_m,
        "fix_north_m": world.fixes.north_m,
        "fix_code": world.fixes.code,
        "flow_edges_s": world.true_flow_edges,
        "cup_edges_s": world.true_cup_edges,
    }
    return summary, arrays


def save_truth(world: World, folder: FilePath, *, mono_start: float = 0.0) -> None:
    """Write truth.json and truth.npz."""
    summary, arrays = describe_truth(world, mono_start=mono_start)
    (folder / "truth.json").write_text(json.dumps(summary, indent=1) + "\n", encoding="utf-8")
    np.savez_compressed(folder / "truth.npz", **arrays)
