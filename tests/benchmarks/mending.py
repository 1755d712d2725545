"""What following a touch-up plan comes to: simulated jobs with strips missed between passes and beside the edge.

Run: python tests/benchmarks/mending.py --jobs 40 (also --first-seed 5000, --swath 1.0, --classes fixed,float,
--dropouts). The jobs are those of accuracy.py, and in every second one the first or the last line is left out too, so
that a strip is missed beside the edge. Against the simulator's own dose: how often a strip to walk again was truly
missed (more than half of the ground that the plan calls missed), how much of the truly missed ground (in pieces of
1 m² or more) the plan covers, what walking it doubles, and whether the probabilities told come true. Shares with 99 %
bounds (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927).
"""

import argparse
import os
import tempfile
from dataclasses import replace
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from accuracy import Trial, make_scenario, match_passes, miscalibrate
from tally import Tally

from firmware_sim.bench import write_log
from firmware_sim.build import World, build_world
from firmware_sim.scenarios import Scenario, plan_strips
from firmware_sim.sensors.gnss import CLASSES
from firmware_sim.setup import save_setup
from firmware_sim.truth import Frame, TruePass, cell_shares, dose_on_plane, find_passes
from server.core.band import paint_band, spread_band
from server.core.grid import GridFrame
from server.core.log import Floats
from server.core.polygons import point_in_rings
from server.core.regions import label_regions
from server.core.results import Bools, JobResult, Stretch, TouchupPlan
from server.rawlog import gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup

LEAST_M2 = 1.0
LANE = 0.9
"""Share of a swath within which a walked lane must wet the ground, so that the rim of cells does not decide."""
STEPS = (0.0, 0.8, 0.9, 0.95, 0.99, 1.0 + 1e-9)


def leave_out_edge(scenario: Scenario, seed: int) -> Scenario:
    """In every second job the first or the last line is not walked."""
    if seed % 2:
        return scenario
    plan = scenario.plan
    missed = (*plan.missed, 0 if seed % 4 else plan.lines - 1)
    kept = {name: getattr(plan, name) for name in plan.__slots__ if name not in ("lines", "spacing_m", "missed")}
    return replace(scenario, plan=plan_strips(plan.lines, plan.spacing_m, **{**kept, "missed": missed}))


def play(work: tuple[int, Trial]) -> tuple[str, Tally]:
    """One job: recorded, reviewed, its plan held against the truth."""
    seed, trial = work
    world = build_world(leave_out_edge(make_scenario(seed, trial), seed), seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_log(
            replace(world.feed, cup_edges=world.feed.cup_edges[:0]), folder / "log.ndjson", rig="sim", boot="0" * 8
        )
        save_setup(miscalibrate(world.scenario, seed), world.receiver.latency_s, folder)
        setup = read_setup(folder / "setup.toml")
        log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    silent = replace(log.wind, **{name: getattr(log.wind, name)[:0] for name in log.wind.__slots__})
    result = review_job(replace(log, wind=silent), setup)
    tally = Tally()
    judge_plan(result, world, tally)
    tally.counts["jobs"] += 1
    return trial.klass, tally


def lay_truth(result: JobResult, world: World) -> tuple[GridFrame, Floats, Floats]:
    """The review's grid, the true dose on it over the target, and the lawn's share of each cell."""
    dose, plane = result.dose, result.plane
    ny, nx = dose.dose_l_per_m2.shape
    frame = Frame(dose.x0_m, dose.y0_m, dose.cell_m, nx, ny)
    true = dose_on_plane(world, frame, lat0_deg=plane.lat0_deg, lon0_deg=plane.lon0_deg)
    east, north = world.scenario.lawn.plane.metres(np.array(plane.lat0_deg), np.array(plane.lon0_deg))
    moved = Frame(frame.x0_m + float(east), frame.y0_m + float(north), frame.cell_m, nx, ny)
    lawn = cell_shares([p for p in world.scenario.lawn.polygons if p.kind == "zone"], moved)
    return GridFrame(dose.x0_m, dose.y0_m, dose.cell_m, nx, ny), true / world.scenario.target_l_per_m2, lawn


def judge_plan(result: JobResult, world: World, tally: Tally) -> None:
    """Strip by strip, and the ground as a whole."""
    plan = result.touchup
    assert plan is not None
    frame, share, lawn = lay_truth(result, world)
    is_missed = (share < 0.1) & (lawn > 0.5)
    walked = np.zeros(is_missed.shape, dtype=np.bool_)
    lines = match_passes(result, find_passes(world), Tally())
    name_lines(plan, lines, world, tally)
    for strip in (*plan.repeats, *plan.looks):
        if strip.kind == "gap" and strip.doubt != "unsure" and set(strip.passes) <= set(lines):
            a, b = (lines[number].line for number in strip.passes)
            step = next(k for k in range(len(STEPS) - 1) if STEPS[k] <= strip.probability < STEPS[k + 1])
            tally.counts[f"step {step}"] += 1
            tally.counts[f"step {step} real"] += abs(a - b) > 1
            tally.counts["placing"] += strip.doubt == "placing"
            tally.counts["placing real"] += strip.doubt == "placing" and abs(a - b) > 1
    for strip in plan.repeats:
        band = paint_strip(strip, frame, plan.swath_m)
        truly = share_missed(strip, is_missed, frame)
        tally.counts["repeats"] += 1
        tally.counts["repeats real"] += truly > 0.5
        tally.counts[f"repeats {strip.kind}"] += 1
        tally.counts[f"repeats {strip.kind} real"] += truly > 0.5
        walked |= band
    cell = frame.cell_area_m2
    for kind, region in list_missed(is_missed, world, frame, result):
        tally.figures[f"{kind} m2"].append(float(region.sum()) * cell)
        tally.figures[f"{kind} covered m2"].append(float((region & walked).sum()) * cell)
    tally.figures["doubled by walking m2"].append(float((walked & (share > 0.5) & (lawn > 0.5)).sum()) * cell)
    tally.figures["walked m2"].append(float(walked.sum()) * cell)
    tally.figures["untold share"].append(plan.untold_m / plan.seams_m if plan.seams_m else 0.0)


def name_lines(plan: TouchupPlan, lines: dict[int, TruePass], world: World, tally: Tally) -> None:
    """Of the lines left out between others: how many the plan walks, and how many it leaves to the eye."""
    walked = sorted({true.line for true in find_passes(world)})
    length = max(true.length_m for true in find_passes(world))
    for low, high in pairwise(walked):
        if high - low > 1:
            found = {"walk": 0.0, "eye": 0.0}
            for strip in (*plan.repeats, *plan.looks):
                ends = sorted(lines[number].line for number in strip.passes if number in lines)
                if ends == [low, high] and strip.doubt in ("", "placing"):
                    found["eye" if strip.doubt else "walk"] += strip.length_m
            tally.counts["lines left out"] += 1
            tally.counts["lines in the walk"] += found["walk"] > 0.5 * length
            tally.counts["lines by eye"] += found["walk"] <= 0.5 * length < sum(found.values())


def paint_strip(strip: Stretch, frame: GridFrame, swath_m: float) -> Bools:
    """The cells that walking a strip wets."""
    band = np.zeros((frame.ny, frame.nx), dtype=np.bool_)
    for line in strip.lines_m:
        paint_band(band, line, width_m=LANE * swath_m, frame=frame)
    return band


def share_missed(strip: Stretch, is_missed: Bools, frame: GridFrame) -> float:
    """How much of the ground that the plan calls missed was truly missed."""
    if strip.kind == "patch":
        rows, columns = np.indices(is_missed.shape)
        east, north = (frame.x0_m + (columns + 0.5) * frame.cell_m, frame.y0_m + (rows + 0.5) * frame.cell_m)
        return float(is_missed[point_in_rings(east, north, strip.lines_m)].mean())
    width = strip.width_m / len(strip.lines_m)
    places = np.concatenate([spread_band(line, width_m=LANE * width, step_m=frame.cell_m) for line in strip.lines_m])
    column = np.floor((places[:, 0] - frame.x0_m) / frame.cell_m).astype(int)
    row = np.floor((places[:, 1] - frame.y0_m) / frame.cell_m).astype(int)
    return float(is_missed[row, column].mean())


def list_missed(is_missed: Bools, world: World, frame: GridFrame, result: JobResult) -> list[tuple[str, Bools]]:
    """Truly missed ground in pieces of 1 m² or more: `edge` where the outermost lines lie, else `gap`."""
    labels, count = label_regions(is_missed)
    areas = np.bincount(labels.ravel(), minlength=count + 1) * frame.cell_area_m2
    is_large = is_missed & (areas >= LEAST_M2)[labels]
    plan = world.scenario.plan
    angle = np.radians(plan.heading_deg)
    east, north = world.scenario.lawn.plane.metres(np.array(result.plane.lat0_deg), np.array(result.plane.lon0_deg))
    x = frame.x0_m + (np.arange(frame.nx) + 0.5) * frame.cell_m + float(east) - plan.corner[0]
    y = frame.y0_m + (np.arange(frame.ny) + 0.5) * frame.cell_m + float(north) - plan.corner[1]
    across = x[None, :] * np.cos(angle) - y[:, None] * np.sin(angle)
    is_outer = (across < plan.spacing_m) | (across > (plan.lines - 1) * plan.spacing_m)
    return [("edge", is_large & is_outer), ("gap", is_large & ~is_outer)]


def describe(klass: str, tally: Tally) -> str:
    """A class's rows."""
    figure = {name: float(np.sum(values)) for name, values in tally.figures.items()}
    jobs = tally.counts["jobs"]
    rows = [f"{klass}: {jobs} jobs, {tally.counts['repeats']} strips to walk again"]
    rows.append(
        f"  truly missed {tally.share('repeats real', 'repeats')} %; between passes "
        f"{tally.share('repeats gap real', 'repeats gap')}, beside the edge "
        f"{tally.share('repeats edge real', 'repeats edge')}, whole parts "
        f"{tally.share('repeats patch real', 'repeats patch')}"
    )
    for kind, words in (("gap", "between passes"), ("edge", "beside the edge")):
        whole = figure.get(f"{kind} m2", 0.0)
        share = 100 * figure.get(f"{kind} covered m2", 0.0) / max(whole, 1e-9)
        rows.append(f"  missed {words}: {whole / jobs:.1f} m² a job, the plan covers {share:.1f} %")
    doubled, walked = figure.get("doubled by walking m2", 0.0), figure.get("walked m2", 0.0)
    rows.append(f"  of {walked / jobs:.1f} m² walked a job {doubled / jobs:.2f} m² had their dose already")
    told = [
        f"{STEPS[k]:.2f}-{min(STEPS[k + 1], 1.0):.2f}: {tally.counts[f'step {k} real']} of {tally.counts[f'step {k}']}"
        for k in range(len(STEPS) - 1)
        if tally.counts[f"step {k}"]
    ]
    rows.append(
        f"  between passes, to be found by eye, for its place is not known: {tally.counts['placing']}, "
        f"real {tally.share('placing real', 'placing')} %"
    )
    rows.append(
        f"  lines left out between others: {tally.counts['lines left out']}, in the walk "
        f"{tally.share('lines in the walk', 'lines left out')} %, left to the eye "
        f"{tally.share('lines by eye', 'lines left out')} %"
    )
    rows.append("  a line is missing there, by the probability told: " + ", ".join(told))
    rows.append(f"  cannot be told: {100 * figure.get('untold share', 0.0) / jobs:.0f} % of the length between passes")
    return "\n".join(rows)


def main() -> None:
    """Read the words, run, print."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--jobs", type=int, default=40)
    words.add_argument("--first-seed", type=int, default=5000)
    words.add_argument("--swath", type=float, default=1.0)
    words.add_argument("--classes", default=",".join(CLASSES))
    words.add_argument("--dropouts", action="store_true")
    words.add_argument("--processes", type=int, default=os.cpu_count())
    said = words.parse_args()
    seeds = range(said.first_seed, said.first_seed + said.jobs)
    print(f"{said}, seeds {seeds.start} to {seeds.stop - 1}")
    with get_context("spawn").Pool(said.processes) as pool:
        for klass in said.classes.split(","):
            tally = Tally()
            trial = Trial(klass, said.swath, has_dropouts=said.dropouts)
            for _, one in pool.imap(play, [(seed, trial) for seed in seeds]):
                tally.add(one)
            print(describe(klass, tally), flush=True)


if __name__ == "__main__":
    main()
