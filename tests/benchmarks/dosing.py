"""How fast an hour of dosing is, beside cell clipping by GEOS and burning by GDAL, and what a live fix costs.

Run: python tests/benchmarks/dosing.py
"""

import time

import numpy as np
import shapely
from rasterio.enums import MergeAlg
from rasterio.features import rasterize
from rasterio.transform import Affine

from server.core.dose import DoseGrid, integrate_dose
from server.core.ensemble import map_dose
from server.core.grid import fill_cells, frame_around
from server.core.results import Track
from server.core.setup import Treatment
from server.core.swath import Pattern, sweep_patches

FLAT = Pattern(1.0, 1.0)


def walk_hour():
    """An hour at 5 Hz: 40 m passes one metre apart at 1.3 m/s, half-circle turns, headings noisy by 0.3 degrees."""
    t = np.arange(0.0, 3600.0, 0.2)
    straight, turn = 40.0 / 1.3, np.pi * 0.5 / 1.3
    number, within = np.divmod(t, straight + turn)
    angle = np.where(within < straight, 0.0, (within - straight) / turn * np.pi)
    north = np.where(within < straight, within * 1.3, 40.0 + 0.5 * np.sin(angle))
    east = number + 0.5 - 0.5 * np.cos(angle)
    upward = number % 2 == 0
    heading = np.degrees(np.where(upward, angle, np.pi - angle)) + np.random.default_rng(1).normal(0.0, 0.3, len(t))
    return t, east, np.where(upward, north, 40.0 - north), heading, 0.03 * t


def best_of(work, times=3):
    """The shortest of a few runs in seconds."""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spans.append(time.perf_counter() - start)
    return min(spans)


def clip_by_geos(patches, frame):
    """Dose of the polygons by clipping them with the cells about them, in GEOS."""
    total = np.zeros((frame.ny, frame.nx))
    shapes = shapely.polygons(patches.corners)
    low = np.floor((patches.corners.min(axis=1) - [frame.x0_m, frame.y0_m]) / frame.cell_m).astype(int)
    high = np.ceil((patches.corners.max(axis=1) - [frame.x0_m, frame.y0_m]) / frame.cell_m).astype(int)
    density = patches.litres / np.abs(patches.area_m2) / frame.cell_area_m2
    for shape, (west, south), (east, north), weight in zip(shapes, low, high, density, strict=True):
        column, row = np.meshgrid(np.arange(west, east), np.arange(south, north))
        x, y = frame.x0_m + column * frame.cell_m, frame.y0_m + row * frame.cell_m
        cells = shapely.box(x, y, x + frame.cell_m, y + frame.cell_m)
        total[south:north, west:east] += weight * shapely.area(shapely.intersection(cells, shape))
    return total


def burn_by_gdal(patches, frame):
    """Dose of the polygons where a cell's middle lies in them: GDAL's rasteriser, quick and not exact."""
    density = patches.litres / np.abs(patches.area_m2)
    place = Affine(frame.cell_m, 0.0, frame.x0_m, 0.0, frame.cell_m, frame.y0_m)
    shapes = zip(shapely.polygons(patches.corners), density, strict=True)
    return rasterize(shapes, (frame.ny, frame.nx), transform=place, merge_alg=MergeAlg.add, dtype="float64")


def grow_union(patches):
    """The covered area as one shape that grows by each polygon, in GEOS: what a map of shapes would do live."""
    covered, spans = shapely.Polygon(), []
    for shape in shapely.polygons(patches.corners):
        start = time.perf_counter()
        covered = shapely.union(covered, shape)
        spans.append(time.perf_counter() - start)
    return np.array(spans)


def walk_live(t, east, north, heading, litres):
    """Microseconds of each fix through the live grid."""
    grid, spans = DoseGrid(pattern=FLAT, cell_m=0.1), []
    rows = zip(t.tolist(), east.tolist(), north.tolist(), heading.tolist(), litres.tolist(), strict=True)
    for at, x, y, angle, volume in rows:
        start = time.perf_counter()
        grid.add(t=at, east=x, north=y, heading=angle, litres=volume)
        spans.append(1e6 * (time.perf_counter() - start))
    return np.array(spans)


def main():
    """Print the figures."""
    t, east, north, heading, litres = walk_hour()
    frame = frame_around(east, north, margin_m=1.5, cell_m=0.1)
    hour = best_of(lambda: integrate_dose(east, north, heading, litres, t=t, pattern=FLAT, frame=frame))
    print(f"whole hour, 10 cm cells, 18,000 fixes: {1000 * hour:.0f} ms")
    chosen = slice(0, 1600)
    ends = [np.stack([a[:-1], a[1:]], axis=1)[chosen] for a in (east, north, heading)]
    patches = sweep_patches(*ends, np.diff(litres)[chosen], pattern=FLAT, cell_m=0.1)
    density = patches.litres / np.abs(patches.area_m2)
    ours = best_of(lambda: fill_cells(patches.corners, density * np.sign(patches.area_m2), frame))
    theirs = best_of(lambda: clip_by_geos(patches, frame), times=1)
    apart = np.abs(
        fill_cells(patches.corners, density * np.sign(patches.area_m2), frame) - clip_by_geos(patches, frame)
    )
    print(f"{len(density)} polygons: {1000 * ours:.1f} ms, GEOS clipping {1000 * theirs:.0f} ms: {theirs / ours:.0f} x")
    print(f"largest difference between the two: {apart.max() / density.max():.1e} of the densest")
    burning = best_of(lambda: burn_by_gdal(patches, frame))
    burnt, exact = burn_by_gdal(patches, frame), clip_by_geos(patches, frame)
    apart = np.abs(burnt - exact)[exact > 0.0]
    print(f"GDAL burning {1000 * burning:.0f} ms: {burning / ours:.1f} x; a dosed cell is off by", end=" ")
    print(f"{100.0 * apart.mean() / exact[exact > 0.0].mean():.0f} % on the mean")
    union = grow_union(patches)
    print(f"growing union by GEOS {1000 * union.sum():.0f} ms: {union.sum() / ours:.1f} x;", end=" ")
    print(f"a polygon costs {union[-200:].mean() / union[:200].mean():.1f} x at the end of what it does at the start")
    four = [np.concatenate([v + k * step for k in range(4)]) for v, step in ((t, 3600.0), (litres, litres[-1]))]
    places = [np.concatenate([east + 110.0 * k for k in range(4)]), *(np.tile(v, 4) for v in (north, heading))]
    spans = walk_live(four[0], *places, four[1])
    minute = 300
    print(f"live, 4 h: median {np.median(spans):.0f}, p95 {np.percentile(spans, 95):.0f} microseconds a fix,", end=" ")
    print(f"last minute {np.median(spans[-minute:]) / np.median(spans[minute : 2 * minute]):.2f} x the second")
    zero = np.zeros(len(t))
    deviations = np.random.default_rng(2).normal(0.0, 0.1, (64, 1, 2)) + np.zeros((64, len(t), 2))
    track = Track(zero, t, t, t, east, north, zero, zero, zero, zero, heading, zero, zero, deviations)
    deposit = integrate_dose(east, north, heading, litres, t=t, pattern=FLAT, frame=frame)
    options = {"pattern": FLAT, "treatment": Treatment(target_l_per_m2=0.023), "volume_sd_fraction": 0.02}
    draws = best_of(lambda: map_dose(track, litres, deposit, rng=np.random.default_rng(3), **options), times=1)
    print(f"cell probabilities of the hour from 64 draws: {draws:.1f} s")


if __name__ == "__main__":
    main()
