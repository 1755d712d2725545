"""What each class of receiver can tell: many simulated jobs reviewed, held against the simulator's truth.

Run: python tests/benchmarks/accuracy.py --jobs 120 (also --swath 1.0, --first-seed 5000, --dropouts, --spray-on,
--rate-hz 5, --cell 0.25 or mixed, --errors multipath, --classes fixed, --json FILE). Shares come with 99 % bounds: of
verdicts by Wilson's interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927), of intervals that hold by resampling jobs,
since the values of a job share errors (B. Efron, Ann. Statist. 7, 1979). Each job has two or three lines left out and
one walked twice, at a pace, a length, with a scatter and a weave of its own; K is known to 2 %.
"""

import argparse
import json
import os
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from math import hypot, sqrt
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from tally import Z90, Tally

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import World, build_world
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.sensors.gnss import CLASSES, Receiver
from firmware_sim.setup import save_setup
from firmware_sim.truth import Frame, TruePass, cell_shares, dose_on_plane, find_passes, nozzle_at, sum_areas
from firmware_sim.world.sprayer import Sprayer
from server.core.results import JobResult, Pair, Pass
from server.core.setup import Setup
from server.rawlog import gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup

MIXED_CELLS_M = (0.25, 0.5, 1.0)
VERDICTS = ("gap", "doubled", "even", "unsure")
INTERVALS = ("spacings", "doses", "cells", "covered areas", "off-target volumes")
BOUNDARY_S = 1.0
CELLS_A_JOB = 40


@dataclass(frozen=True)
class Trial:
    """What jobs are to be like: class of receiver, swath, and what is unusual about them."""

    klass: str
    swath_m: float = 1.0
    rate_hz: float = 5.0
    cell: str = "shipped"
    has_dropouts: bool = False
    is_on_in_turns: bool = False
    errors: str = "wander"


def make_scenario(seed: int, trial: Trial) -> Scenario:
    """One job with slips planned in."""
    swath_m = trial.swath_m
    rng = np.random.default_rng([seed, 77])
    lines, length = int(rng.integers(11, 15)), float(rng.uniform(20.0, 40.0))
    chosen = rng.permutation(np.arange(1, lines - 1, 2))
    missed = tuple(int(line) for line in chosen[: int(rng.integers(2, 4))])
    doubled = tuple(int(line) for line in chosen[3:4])
    plan = replace(
        plan_strips(lines, swath_m, missed=missed, doubled=doubled),
        pace_mps=float(rng.uniform(0.9, 1.4)),
        scatter_m=float(rng.uniform(0.03, 0.07)),
        weave_m=float(rng.uniform(0.0, 0.06)),
    )
    spans = tuple((float(a), float(a + rng.uniform(3.0, 12.0))) for a in rng.uniform(30.0, 300.0, 2))
    dropouts = spans if trial.has_dropouts else ()
    receiver = Receiver(trial.klass, trial.rate_hz, dropouts=dropouts, errors=trial.errors)
    if trial.is_on_in_turns:
        plan = replace(plan, spray_on_turns=True, inset_m=0.7, turn_radius_m=0.5)
    sprayer = replace(Sprayer(), swath_m=swath_m)
    return Scenario(f"job {seed}", "", strip_lawn(lines, length, swath_m), plan, sprayer=sprayer, receiver=receiver)


def play(work: tuple[int, Trial]) -> tuple[str, Tally]:
    """One job: recorded, reviewed, judged."""
    seed, trial = work
    world = build_world(make_scenario(seed, trial), seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        feed = replace(world.feed, cup_edges=world.feed.cup_edges[:0])
        write_log(feed, folder / "log.ndjson", rig="sim", boot=f"{seed:016x}")
        save_setup(miscalibrate(world.scenario, seed), world.receiver.latency_s, folder)
        setup = choose_cell(read_setup(folder / "setup.toml"), trial, seed)
        log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    silent = replace(log.wind, **{name: getattr(log.wind, name)[:0] for name in log.wind.__slots__})
    result = review_job(replace(log, wind=silent), setup)
    tally = Tally()
    truth = find_passes(world)
    lines = match_passes(result, truth, tally)
    judge_strips(result, truth, lines, world, tally)
    judge_doses(result, truth, lines, world, tally)
    judge_areas(result, world, tally)
    tally.counts["jobs"] += 1
    return trial.klass, tally


def choose_cell(setup: Setup, trial: Trial, seed: int) -> Setup:
    """The settings with the trial's cell."""
    if trial.cell == "shipped":
        return setup
    cell = MIXED_CELLS_M[seed % len(MIXED_CELLS_M)] if trial.cell == "mixed" else float(trial.cell)
    return replace(setup, grid=replace(setup.grid, cell_m=cell))


def miscalibrate(scenario: Scenario, seed: int) -> Scenario:
    """The same with K known as well as the settings say of it: a catch test's 2 per cent."""
    error = 0.02 * float(np.random.default_rng([seed, 78]).standard_normal())
    return replace(scenario, meter=replace(scenario.meter, pulses_per_l=scenario.meter.pulses_per_l * (1.0 + error)))


def match_passes(result: JobResult, truth: list[TruePass], tally: Tally) -> dict[int, TruePass]:
    """Found pass to the true one it overlaps most; counts those with both ends within a second."""
    found: dict[int, TruePass] = {}
    for one in result.passes:
        start, end = one.start_t - MONO_START_S, one.end_t - MONO_START_S
        best = max(truth, key=lambda true: min(end, true.end_s) - max(start, true.start_s))
        if min(end, best.end_s) > max(start, best.start_s):
            found[one.number] = best
        if abs(start - best.start_s) <= BOUNDARY_S and abs(end - best.end_s) <= BOUNDARY_S:
            tally.counts["passes right"] += 1
    tally.counts["passes found"] += len(result.passes)
    tally.counts["passes true"] += len(truth)
    return found


def judge_strips(
    result: JobResult, truth: list[TruePass], lines: dict[int, TruePass], world: World, tally: Tally
) -> None:
    """What was said of each pair of neighbouring lines, by the stretch."""
    said: dict[tuple[int, int], Counter[str]] = defaultdict(Counter)
    for pair in result.pairs:
        if pair.pass_a not in lines or pair.pass_b not in lines:
            continue
        one, two = lines[pair.pass_a], lines[pair.pass_b]
        low, high = sorted((one.line, two.line))
        length = pair.to_m - pair.from_m
        said[low, high][pair.verdict] += length
        apart = high - low
        if pair.verdict == "even":
            tally.counts["said even"] += 1
            tally.counts["said even rightly"] += apart == 1
        tally.counts["false gaps"] += pair.verdict == "gap" and apart <= 1
        spacing = true_spacing(pair, one, two, world)
        if np.isfinite(spacing) and np.isfinite(pair.spacing_m):
            tally.note_interval("spacings", pair.spacing_m - spacing, pair.spacing_sd_m)
            tally.figures["spacing error"].append(pair.spacing_m - spacing)
    walked = Counter(true.line for true in truth)
    for low, high, kind in list_pairs(walked):
        spoken = said[low, high]
        whole = sum(spoken.values())
        verdict = next((word for word, length in spoken.items() if length >= 0.5 * whole and whole > 0), "unsure")
        tally.counts[kind] += 1
        tally.counts[f"{kind}: {verdict}"] += 1


def list_pairs(walked: Counter[int]) -> Iterator[tuple[int, int, str]]:
    """Neighbouring lines: with one left out between them, side by side, and one walked twice."""
    numbers = sorted(walked)
    for low, high in pairwise(numbers):
        yield low, high, "ordinary" if high - low == 1 else "planned gap"
    for line, times in walked.items():
        if times > 1:
            yield line, line, "planned double"


def true_spacing(pair: Pair, one: TruePass, two: TruePass, world: World) -> float:
    """The mean distance of the two passes' true ways across the first one's heading, over the stretch."""
    t_one, t_two = np.linspace(one.start_s, one.end_s, 200), np.linspace(two.start_s, two.end_s, 400)
    (east, north), (other_east, other_north) = nozzle_at(world, t_one), nozzle_at(world, t_two)
    length = hypot(east[-1] - east[0], north[-1] - north[0])
    ahead = np.array([east[-1] - east[0], north[-1] - north[0]]) / length
    along = (east - east[0]) * ahead[0] + (north - north[0]) * ahead[1]
    other = (other_east - east[0]) * ahead[0] + (other_north - north[0]) * ahead[1]
    inside = (along >= pair.from_m) & (along <= pair.to_m) & (along >= other.min()) & (along <= other.max())
    if not inside.any():
        return float("nan")
    order = np.argsort(other)
    across = (other_east - east[0]) * ahead[1] - (other_north - north[0]) * ahead[0]
    own = (east - east[0]) * ahead[1] - (north - north[0]) * ahead[0]
    return float(np.abs(np.interp(along[inside], other[order], across[order]) - own[inside]).mean())


def judge_doses(
    result: JobResult, truth: list[TruePass], lines: dict[int, TruePass], world: World, tally: Tally
) -> None:
    """Dose of each pass against volume over length and swath; those with a dropout in them apart."""
    swath_m, dropouts = world.scenario.sprayer.swath_m, world.scenario.receiver.dropouts
    tally.counts["cut passes"] += sum(any(a < t.end_s and b > t.start_s for a, b in dropouts) for t in truth)
    for found in result.passes:
        if found.number not in lines or not is_whole(found, lines[found.number]):
            continue
        true = lines[found.number]
        dose = true.volume_l / (true.length_m * swath_m)
        is_cut = any(a < true.end_s and b > true.start_s for a, b in dropouts)
        if not np.isfinite(found.dose_l_per_m2):
            tally.counts["doses unknown"] += 1
            tally.counts["cut doses unknown"] += is_cut
            continue
        miss = found.dose_l_per_m2 - dose
        tally.note_interval("doses", miss, found.dose_sd_l_per_m2)
        if is_cut:
            tally.counts["cut doses held" if abs(miss) <= Z90 * found.dose_sd_l_per_m2 else "cut doses off"] += 1
        tally.figures["dose error"].append(abs(miss / dose))


def is_whole(found: Pass, true: TruePass) -> bool:
    """Whether a found pass is the true one from end to end."""
    return (
        abs(found.start_t - MONO_START_S - true.start_s) <= BOUNDARY_S
        and abs(found.end_t - MONO_START_S - true.end_s) <= BOUNDARY_S
    )


def judge_areas(result: JobResult, world: World, tally: Tally) -> None:
    """Covered share of the lawn, and single cells, against the true dose on the same grid."""
    dose = result.dose
    ny, nx = dose.dose_l_per_m2.shape
    frame = Frame(dose.x0_m, dose.y0_m, dose.cell_m, nx, ny)
    plane = result.plane
    true = dose_on_plane(world, frame, lat0_deg=plane.lat0_deg, lon0_deg=plane.lon0_deg)
    origin_east, origin_north = world.scenario.lawn.plane.metres(np.array(plane.lat0_deg), np.array(plane.lon0_deg))
    moved = Frame(frame.x0_m + float(origin_east), frame.y0_m + float(origin_north), frame.cell_m, nx, ny)
    zone = cell_shares([p for p in world.scenario.lawn.polygons if p.kind == "zone"], moved)
    sums = sum_areas(true, zone, np.zeros_like(zone), dose.cell_m, world.scenario.target_l_per_m2)
    covered = result.totals.zone_area_m2 - result.totals.zone_missed_m2
    wanted = sums["zone_m2"] - sums["missed_m2"]
    tally.figures["covered error"].append((covered - wanted) / sums["zone_m2"])
    totals = result.totals
    tally.note_interval("covered areas", totals.covered_area_m2 - sums["covered_m2"], totals.covered_area_sd_m2)
    tally.note_interval("off-target volumes", totals.off_target_l - sums["off_target_l"], totals.off_target_sd_l)
    places = np.argwhere((zone > 0.999) & np.isfinite(dose.sd_l_per_m2))
    rng = np.random.default_rng(world.seed)
    for row, column in rng.choice(places, min(CELLS_A_JOB, len(places)), replace=False):
        miss = dose.dose_l_per_m2[row, column] - true[row, column]
        tally.note_interval("cells", float(miss), float(dose.sd_l_per_m2[row, column]))


def describe(klass: str, tally: Tally) -> str:
    """A class's rows."""
    jobs = tally.counts["jobs"]
    rows = [f"{klass}: {jobs} jobs, {tally.counts['planned gap']} gaps, {tally.counts['planned double']} doubled"]
    for kind in ("planned gap", "planned double", "ordinary"):
        rows.append(f"  {kind:15s} " + ", ".join(f"{word} {tally.share(f'{kind}: {word}', kind)}" for word in VERDICTS))
    rows.append(f"  right when it says even {tally.share('said even rightly', 'said even')}")
    rows.append(f"  false gaps a job {tally.counts['false gaps'] / jobs:.3f}")
    rows.append(
        f"  passes: recall {tally.share('passes right', 'passes true')}, "
        f"precision {tally.share('passes right', 'passes found')}"
    )
    dose, spacing = np.array(tally.figures["dose error"]), np.array(tally.figures["spacing error"])
    if len(dose) and len(spacing):
        rows.append(
            f"  pass dose: rms {100 * sqrt((dose**2).mean()):.1f} %, p95 {100 * np.quantile(dose, 0.95):.1f} %, "
            f"unknown {tally.counts['doses unknown']}; spacing rms {sqrt((spacing**2).mean()):.3f} m"
        )
    if tally.counts["cut passes"]:
        cut = {word: tally.counts[f"cut doses {word}"] for word in ("unknown", "held", "off")}
        apart = tally.counts["cut passes"] - sum(cut.values())
        said = ", ".join(f"{word} {count}" for word, count in cut.items())
        rows.append(f"  doses of {tally.counts['cut passes']} passes with a dropout: {said}, not found whole {apart}")
    rows.append("  90 % intervals hold: " + "; ".join(tally.held(name) for name in INTERVALS))
    error = np.array(tally.figures["covered error"])
    rows.append(f"  covered share of the lawn: bias {error.mean():+.3f}, sd {error.std():.3f}")
    return "\n".join(rows)


def summarise(trial: Trial, tally: Tally) -> dict[str, object]:
    """A class's row for the tables: what it was told to be, what came of it."""
    spacing = np.array(tally.figures["spacing error"])
    kinds = ("planned gap", "planned double", "ordinary")
    return {
        **{key: value for key, value in asdict(trial).items() if key != "klass"},
        "class": trial.klass,
        "jobs": tally.counts["jobs"],
        "counts": {
            **{kind: tally.counts[kind] for kind in kinds},
            **{f"{kind}: {word}": tally.counts[f"{kind}: {word}"] for kind in kinds for word in VERDICTS},
            "false gaps": tally.counts["false gaps"],
        },
        "spacing_rms_m": round(sqrt((spacing**2).mean()), 4) if len(spacing) else None,
        "covered_bias": round(float(np.mean(tally.figures["covered error"])), 4),
    }


def run(trials: list[Trial], seeds: range) -> dict[str, Tally]:
    """All jobs of the classes, on every core."""
    work = [(seed, trial) for trial in trials for seed in seeds]
    tallies: dict[str, Tally] = {trial.klass: Tally() for trial in trials}
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        for klass, tally in pool.imap(play, work):
            tallies[klass].add(tally)
    return tallies


def main() -> None:
    """Read the words, run, print."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--jobs", type=int, default=120)
    words.add_argument("--first-seed", type=int, default=5000)
    words.add_argument("--swath", type=float, default=1.0)
    words.add_argument("--rate-hz", type=float, default=5.0)
    words.add_argument("--cell", default="shipped")
    words.add_argument("--dropouts", action="store_true")
    words.add_argument("--spray-on", action="store_true")
    words.add_argument("--errors", choices=("wander", "multipath"), default="wander")
    words.add_argument("--classes", default=",".join(CLASSES))
    words.add_argument("--json", type=Path, help="append a line a class to this file")
    said = words.parse_args()
    seeds = range(said.first_seed, said.first_seed + said.jobs)
    trials = [
        Trial(klass, said.swath, said.rate_hz, said.cell, said.dropouts, said.spray_on, said.errors)
        for klass in said.classes.split(",")
    ]
    print(f"{said}, seeds {seeds.start} to {seeds.stop - 1}")
    for trial, (klass, tally) in zip(trials, run(trials, seeds).items(), strict=True):
        print(describe(klass, tally), flush=True)
        if said.json:
            with said.json.open("a") as file:
                file.write(json.dumps({**summarise(trial, tally), "first_seed": seeds.start}) + "\n")


if __name__ == "__main__":
    main()
