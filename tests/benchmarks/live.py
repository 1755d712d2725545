"""What a fix costs on the live path over four hours: tracker, counts, dose and areas, and the memory it takes.

Run: python tests/benchmarks/live.py [CELL_M]
"""

import resource
import sys
import time
from dataclasses import replace

import numpy as np
from dosing import walk_hour

from rig import wire
from server.core.geodesy import degrees_from_plane, plane_at
from server.core.setup import FlowMeter, Setup, Sprayer, Treatment
from server.liveway import LiveWay

HOURS = 4
MINUTE = 300
PULSES_A_L = 2000.0
L_PER_S = 0.03
EAST_AN_HOUR_M = 110.0
BOOT = "0" * 16


def make_setup(cell_m: float | None) -> Setup:
    """A rig with a metre of swath and no zones."""
    setup = Setup(Sprayer(1.0), FlowMeter(PULSES_A_L), Treatment(L_PER_S / 1.3))
    return setup if cell_m is None else replace(setup, grid=replace(setup.grid, cell_m=cell_m))


def walk_hours() -> tuple[np.ndarray, ...]:
    """Times, places, speeds and courses of several hours beside each other, velocity as the places give it."""
    t, east, north, *_ = walk_hour()
    times = np.concatenate([t + 3600.0 * k for k in range(HOURS)])
    east = np.concatenate([east + EAST_AN_HOUR_M * k for k in range(HOURS)])
    north = np.tile(north, HOURS)
    ve, vn = np.gradient(east, 0.2), np.gradient(north, 0.2)
    return times, east, north, np.hypot(ve, vn).clip(0.0, 2.0), np.degrees(np.arctan2(ve, vn)) % 360.0


def walk_live(way: LiveWay, *, has_areas: bool) -> np.ndarray:
    """Microseconds of each fix with its count (and the areas, as a screen asks for them)."""
    times, east, north, speed, course = walk_hours()
    lat, lon = degrees_from_plane(east, north, plane=plane_at(45.0, -30.0))
    spans = np.empty(len(times))
    rows = zip(*(a.tolist() for a in (times, lat, lon, speed, course)), strict=True)
    for k, (t, y, x, v, c) in enumerate(rows):
        fix = wire.Position(BOOT, k, t, "fixed", t, y, x, 0.0, v, c, 20, 0.6, 0.01, 0.01)
        pulses = int(L_PER_S * PULSES_A_L * t)
        flow = wire.Flow(BOOT, k, t, pulses, pulses / (L_PER_S * PULSES_A_L), 0)
        start = time.perf_counter()
        way.take_fix(t, fix)
        way.take_flow(t, flow)
        if has_areas:
            way.areas()
        spans[k] = 1e6 * (time.perf_counter() - start)
    return spans


def main() -> None:
    """Print the figures."""
    cell = float(sys.argv[1]) if len(sys.argv) > 1 else None
    for has_areas in (False, True):
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        way = LiveWay(make_setup(cell))
        spans = walk_live(way, has_areas=has_areas)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        describe(way, spans, "with areas" if has_areas else "without areas")
        print(f"  peak memory {before:.0f} -> {peak:.0f} MiB, of the whole process")


def describe(way: LiveWay, spans: np.ndarray, what: str) -> None:
    """Print one run's figures."""
    first, last, frame = spans[MINUTE : 2 * MINUTE], spans[-MINUTE:], way.grid.frame
    p95, p999 = np.percentile(spans, (95, 99.9))
    print(f"live path {what}: {len(spans)} fixes, {frame.nx} x {frame.ny} cells of {frame.cell_m} m")
    print(
        f"  microseconds a fix: median {np.median(spans):.0f}, mean {spans.mean():.0f}, p95 {p95:.0f}, p99.9 {p999:.0f}"
    )
    print(f"  last minute over the second: mean {last.mean() / first.mean():.2f} x,", end=" ")
    print(f"median {np.median(last) / np.median(first):.2f} x")


if __name__ == "__main__":
    main()
