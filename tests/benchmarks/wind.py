"""What is told of the wind while walking, and afterwards: many simulated jobs against the air that really blew.

Run: python tests/benchmarks/wind.py --jobs 160 (also --first-seed 20000, --fault NAME or all, and
--recorded 1.77 for the recorded wind of the sonic, scaled to that mean; --steps 60 for the alarm behind a step of the
mean, see steps.py). Each job lasts about
15 minutes in a wind of its own: mean 1 to 6 m/s, turbulence 15 to 40 % in one of three spectra, some with puffs or a
change of the mean. Beside the estimate stand two plain ones: the air past the rig taken for the wind, and the speed
that least squares over 60 s find from a² - v² = |w|² - 2 w·v. Alarms stand beside an oracle that knows the true 60-s
mean and follows the same rule. Shares come with 99 % bounds, of intervals by resampling jobs.
"""

import argparse
import os
import tempfile
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import steps
from tally import Tally

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import World, build_world
from firmware_sim.playback import read_wind
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.sensors.anemometer import Cup, SpeedMeter, Vane
from firmware_sim.sensors.gnss import Receiver
from firmware_sim.setup import save_setup
from firmware_sim.truth import running_mean
from firmware_sim.world.wind import Change, Wind, WindPlan
from server.core.alarm import AlarmState, step_alarm
from server.core.cup import apparent_by_second
from server.core.log import Floats
from server.core.passes import measure_passes
from server.core.results import Pass, WindSeries
from server.core.wind import Second, estimate_wind, gather_seconds, judge_pass_winds
from server.rawlog import gather_log, read_raw_log
from server.review import follow_job, pair_passes
from server.settings import read_setup

LIMIT_MPS = 4.5
RECEIVERS = ("ordinary", "clean", "differential", "float", "fixed")
SPECTRA = ("ar1", "von_karman", "kaimal")
EPISODE_S = 10
"""The true 60-s mean is above the limit for at least so long: an episode."""
NEAR_S = 60
WORDS = ("60-s means", "2-min means", "gusts", "pass means")
CLASSES = ((0.0, 2.0), (2.0, 4.0), (4.0, 9.0))
"""Winds by the job's true mean, m/s."""
FAULTS = {
    "none": ({}, {}),
    "calibration": ({}, {"scale_sd": 0.03}),
    "calibrated": ({}, {"scale_sd": 0.012, "told_percent": 1.2}),
    "scale+5": ({"wear": -0.05}, {}),
    "scale-5": ({"wear": 0.05}, {}),
    "inertia-0.6": ({"distance_constant_m": 1.5}, {}),
    "inertia-1.6": ({"distance_constant_m": 4.0}, {}),
    "threshold": ({"threshold_mps": 0.8}, {}),
    "dropouts": ({}, {"dropouts": True}),
    "one-heading": ({}, {"one_heading": True}),
    "turbulence": ({}, {"intensity": 0.5}),
    "stuck": ({"stuck": ((300.0, 420.0), (600.0, 640.0))}, {}),
    "shield-20": ({"shield": 0.2}, {}),
    "shield-40": ({"shield": 0.4}, {}),
    "vane": ({}, {"vane": ()}),
    "vane-stuck": ({}, {"vane": ((300.0, 2000.0),)}),
    "speed-meter": ({}, {"speed_meter": True}),
}
"""What is wrong with the cup, which its settings do not know, or with the job; `calibration` is a cup whose line is
known as well as is assumed of it, so that its intervals ought to hold. `vane` and `speed-meter` are what is fitted, the
vane askew by some degrees."""


@dataclass(frozen=True)
class Told:
    """What was told of one job, a row a second from the job's start, and the truth."""

    series: WindSeries
    passes: tuple[Pass, ...]
    speed: Floats
    east: Floats
    north: Floats
    seconds: tuple[Second, ...]


def make_scenario(seed: int, fault: str) -> Scenario:
    """One job of about a quarter of an hour in a wind of its own."""
    rng = np.random.default_rng([seed, 79])
    length, pace = float(rng.uniform(20.0, 40.0)), float(rng.uniform(0.9, 1.4))
    lines = round(860.0 / (length / pace + 4.0))
    mean = float(rng.uniform(1.0, 6.0))
    changes = ()
    if rng.random() < 0.3:
        after = max(mean + float(rng.uniform(-1.5, 1.5)), 0.5)
        changes = (Change(float(rng.uniform(200.0, 600.0)), after, float(rng.uniform(1.0, 120.0))),)
    wind = WindPlan(
        mean,
        float(rng.uniform(0.0, 360.0)),
        float(rng.uniform(0.15, 0.40)),
        SPECTRA[seed % len(SPECTRA)],
        float(rng.uniform(12.0, 40.0)),
        float(rng.uniform(0.05, 0.15)),
        float(rng.uniform(5.0, 15.0)),
        changes,
        gusts_per_h=float(rng.choice([0.0, 0.0, 20.0])),
        gust_gain=0.8,
    )
    of_cup, of_job = FAULTS[fault]
    plan = plan_strips(
        lines, 1.0, pace_mps=pace, scatter_m=0.05, weave_m=0.03, stand_first_s=float(rng.uniform(2.0, 15.0))
    )
    if "intensity" in of_job:
        wind = replace(wind, intensity=of_job["intensity"])
    lawn = strip_lawn(lines, length)
    if "one_heading" in of_job:
        lawn, plan = strip_lawn(1, 900.0 * pace), replace(plan, lines=1)
    spans = tuple((float(a), float(a) + 30.0) for a in (150.0, 420.0, 700.0)) if "dropouts" in of_job else ()
    receiver = Receiver(str(rng.choice(RECEIVERS)), 5.0, dropouts=spans)
    cup = replace(Cup(), **of_cup)
    if "scale_sd" in of_job:
        cup = replace(cup, wear=of_job["scale_sd"] * float(rng.standard_normal()))
    vane = Vane(askew_deg=5.0 * float(rng.standard_normal()), stuck=of_job["vane"]) if "vane" in of_job else None
    return Scenario(
        f"wind {seed}",
        "",
        lawn,
        plan,
        wind=wind,
        receiver=receiver,
        cup=cup,
        speed_meter=SpeedMeter() if "speed_meter" in of_job else None,
        vane=vane,
        wind_limit_mps=LIMIT_MPS,
    )


def read_record(mean_mps: float) -> Wind:
    """The recorded wind, scaled to a mean; beyond its quarter of an hour its last vector."""
    folder = Path(os.environ.get("CALMPASS_RECORDINGS", Path(__file__).resolve().parents[3] / "shared/recordings"))
    (file,) = (folder / "csat3_20hz").glob("*.dat.gz")
    t, east, north = read_wind(file)
    factor = mean_mps / float(np.hypot(east, north).mean())
    return Wind(t, factor * east, factor * north)


def tell(seed: int, fault: str, recorded_mps: float | None) -> Told:
    """Record a job, and estimate its wind."""
    wind = None if recorded_mps is None else read_record(recorded_mps)
    world = build_world(make_scenario(seed, fault), seed, wind=wind)
    return tell_world(world, told_percent=FAULTS[fault][1].get("told_percent"))


def tell_world(world: World, *, told_percent: float | None = None) -> Told:
    """What is told of one world, whose cup's line is said to be known so well."""
    seed = world.seed
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_log(world.feed, folder / "log.ndjson", rig="sim", boot=f"{seed:016x}")
        # The settings say what the cup was bought as.
        save_setup(replace(world.scenario, cup=Cup()), world.receiver.latency_s, folder)
        setup = read_setup(folder / "setup.toml")
        setup = replace(setup, anemometer=replace(setup.anemometer, scale_sd_percent=told_percent))
        log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    rng = np.random.default_rng([seed, 80])
    work = follow_job(log, setup, rng=rng, draws=0)
    series = estimate_wind(
        log.wind, work.track, work.timebase, anemometer=setup.anemometer, treatment=setup.treatment, rng=rng,
        intervals=work.intervals,
    )  # fmt: skip
    spans, _ = pair_passes(work, setup)
    passes = measure_passes(
        work.track, spans, work.curve, timebase=work.timebase, boots=log.boots, sprayer=setup.sprayer,
        meter=setup.flow_meter, treatment=setup.treatment,
    )  # fmt: skip
    passes = judge_pass_winds(passes, series, treatment=setup.treatment)
    air = apparent_by_second(log.wind, work.timebase, anemometer=setup.anemometer)
    seconds = tuple(gather_seconds(air, work.track, work.intervals))
    return Told(series, passes, *average_truth(world, series.t), seconds)


def average_truth(world: World, t: Floats) -> tuple[Floats, Floats, Floats]:
    """The mean speed, east and north of the wind in each second up to t."""
    fine = (t - MONO_START_S)[:, None] - (np.arange(50) + 0.5) / 50.0
    east, north = (part.reshape(fine.shape) for part in world.wind.vector_at(fine.ravel()))
    return np.hypot(east, north).mean(axis=1), east.mean(axis=1), north.mean(axis=1)


def play(work: tuple[int, str, float | None]) -> Tally:
    """One job, judged."""
    told, tally = tell(*work), Tally()
    judge_means(told, tally)
    judge_gusts(told, tally)
    judge_direction(told, tally)
    judge_passes(told, tally)
    judge_alarm(told, tally)
    tally.counts["jobs"] += 1
    tally.figures["job mean"].append(float(told.speed.mean()))
    return tally


def judge_means(told: Told, tally: Tally) -> None:
    """The 60-s and 2-min means, every 5 s from when there is a minute of them, and the plain estimates."""
    series, rows = told.series, np.arange(len(told.speed)) % 5 == 0
    for name, found, sd, span in (
        ("60-s means", series.mean_60s_mps, series.mean_60s_sd_mps, 60),
        ("2-min means", series.mean_2min_mps, series.mean_2min_sd_mps, 120),
    ):
        true = running_mean(told.speed, span)
        chosen = rows & np.isfinite(true) & np.isfinite(found)
        tally.counts[f"{name} not told"] += int((rows & np.isfinite(true) & ~np.isfinite(found)).sum())
        for miss, spread in zip((found - true)[chosen].tolist(), sd[chosen].tolist(), strict=True):
            tally.note_interval(name, miss, spread)
        tally.figures[name] += (found - true)[chosen].tolist()
    true = running_mean(told.speed, 60)
    for name, found in (("apparent", running_mean(series.apparent_mps, 60)), ("least squares", fit_squares(told))):
        chosen = rows & np.isfinite(true) & np.isfinite(found)
        tally.figures[name] += (found - true)[chosen].tolist()


def fit_squares(told: Told) -> Floats:
    """The root of |w|² by least squares of a² - v² = |w|² - 2 w·v over the latest 60 s."""
    rows = np.array([(1.0, -2.0 * s.velocity_east_mps, -2.0 * s.velocity_north_mps) for s in told.seconds])
    size = np.array([s.apparent_mps**2 - s.velocity_east_mps**2 - s.velocity_north_mps**2 for s in told.seconds])
    found = np.full(len(size), np.nan)
    for row in range(60, len(size), 5):
        chosen = np.flatnonzero(np.isfinite(size[row - 59 : row + 1])) + row - 59
        if len(chosen) >= 30:
            found[row] = max(np.linalg.lstsq(rows[chosen], size[chosen])[0][0], 0.0) ** 0.5
    return found


def judge_gusts(told: Told, tally: Tally) -> None:
    """The highest 3-s mean of the latest 10 minutes, once a minute, against the true one since the job's start."""
    true = running_mean(told.speed, 3)
    for row in range(89, len(true), 60):
        found, sd = told.series.gust_3s_mps[row], told.series.gust_3s_sd_mps[row]
        if np.isfinite(found):
            miss = float(found - np.nanmax(true[max(row - 597, 0) : row + 1]))
            tally.note_interval("gusts", miss, float(sd))
            tally.figures["gusts"].append(miss)


def judge_direction(told: Told, tally: Tally) -> None:
    """Where the wind of the latest minute came from, every 5 s where it is above 1 m/s."""
    east, north = running_mean(told.east, 60), running_mean(told.north, 60)
    off = np.abs((told.series.from_deg - np.degrees(np.arctan2(-east, -north)) + 180.0) % 360.0 - 180.0)
    rows = (np.arange(len(off)) % 5 == 0) & (np.hypot(east, north) > 1.0)
    tally.counts["directions"] += int(rows.sum())
    tally.figures["direction"] += off[rows & np.isfinite(off)].tolist()


def judge_passes(told: Told, tally: Tally) -> None:
    """Each pass's mean with its interval, and its verdict; beside it what the apparent wind alone would say."""
    for one in told.passes:
        inside = (told.series.t > one.start_t) & (told.series.t - 1.0 < one.end_t)
        if not inside.any():
            continue
        true = float(told.speed[inside].mean())
        is_above = true > LIMIT_MPS
        tally.counts["passes"] += 1
        tally.counts["passes above"] += is_above
        tally.counts["wrong"] += one.wind_verdict == ("within" if is_above else "above")
        tally.counts["above called within"] += is_above and one.wind_verdict == "within"
        tally.counts["unsure"] += one.wind_verdict == "unsure"
        tally.counts["plainly wrong"] += bool(np.nanmean(told.series.apparent_mps[inside]) > LIMIT_MPS) != is_above
        if np.isfinite(one.wind_mean_mps):
            tally.note_interval("pass means", one.wind_mean_mps - true, one.wind_sd_mps)
            tally.figures["pass means"].append(one.wind_mean_mps - true)


def judge_alarm(told: Told, tally: Tally) -> None:
    """Episodes, alarms and their delays; the same of an oracle that knows the true 60-s mean and gust."""
    true = running_mean(told.speed, 60)
    true[:60] = np.nan
    gust = running_mean(told.speed, 3)
    for name, on in (
        ("alarm", np.array([level == "stop" for level in told.series.alarm])),
        ("oracle", ask_oracle(told)),
    ):
        is_due = np.nan_to_num(true) > LIMIT_MPS
        is_due |= gust > 1.5 * LIMIT_MPS
        for start, stop in list_spans(on, least=1):
            tally.counts[f"{name}s"] += 1
            tally.counts[f"{name}s false"] += not is_due[max(start - NEAR_S, 0) : stop].any()
        for start, stop in list_spans(np.nan_to_num(true) > LIMIT_MPS, least=EPISODE_S):
            tally.counts[f"{name} episodes"] += 1
            seen = np.flatnonzero(on[start:stop])
            over = float(np.nanmax(true[start:stop])) - LIMIT_MPS
            tally.counts[f"{name} missed"] += not len(seen)
            tally.counts[f"{name} missed by half"] += not len(seen) and over > 0.5
            onset = start - int(np.argmin(on[start::-1])) + 1 if on[start] else start + int(seen[0]) if len(seen) else 0
            # One that is still on from the episode before, or from the first minute, tells no delay.
            if len(seen) and onset > 60 and not is_due[max(onset - NEAR_S, 0) : start].any():
                tally.figures[f"{name} delay"].append(float(onset - start))
    tally.figures["hours"].append(len(true) / 3600.0)


def ask_oracle(told: Told) -> np.ndarray:
    """The alarm of someone who knows the true 60-s mean and 3-s gust, by the same rule."""
    mean, gust, state, on = running_mean(told.speed, 60), running_mean(told.speed, 3), AlarmState(), []
    for row, second in enumerate(told.seconds):
        state = step_alarm(
            state,
            t=second.t,
            p_above_limit=float(mean[row] > LIMIT_MPS) if np.isfinite(mean[row]) else np.nan,
            p_above_notice=np.nan,
            mean_60s_mps=float(mean[row]),
            apparent_60s_mps=np.nan,
            gust_3s_mps=float(gust[row]),
            limit_mps=LIMIT_MPS,
            notice_mps=np.nan,
            is_spraying=second.is_spraying,
            is_wind_known=True,
        )
        on.append(state.level == "stop")
    return np.array(on)


def list_spans(on: np.ndarray, *, least: int) -> list[tuple[int, int]]:
    """First row and the one behind the last of each stretch of at least so many rows."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
    return [(a, b) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True) if b - a >= least]


def describe(tally: Tally) -> str:
    """The table's rows."""
    hours, rows = sum(tally.figures["hours"]), []
    for name in ("60-s means", "2-min means", "gusts", "pass means", "apparent", "least squares"):
        values = np.array(tally.figures[name])
        if len(values):
            size = np.abs(values)
            rows.append(
                f"  {name:13s} rmse {np.sqrt((values**2).mean()):.3f} bias {values.mean():+.3f} "
                f"p95 {np.quantile(size, 0.95):.3f} n {len(values)}"
            )
    off = np.array(tally.figures["direction"])
    if len(off):
        told = 100 * len(off) / tally.counts["directions"]
        rows.append(
            f"  direction     median {np.median(off):.1f}° p90 {np.quantile(off, 0.9):.1f}° over 90° "
            f"{100 * (off > 90).mean():.1f} %, told {told:.0f} %"
        )
    rows.append("  90 % intervals hold: " + "; ".join(tally.held(name) for name in WORDS))
    rows.append(
        f"  passes {tally.counts['passes']}: wrong {tally.share('wrong', 'passes')}, "
        f"unsure {tally.share('unsure', 'passes')}; "
        f"of {tally.counts['passes above']} above called within {tally.share('above called within', 'passes above')}; "
        f"by the apparent wind wrong {tally.share('plainly wrong', 'passes')}"
    )
    for name in ("alarm", "oracle"):
        delay = np.array(tally.figures[f"{name} delay"])
        late = f"delay median {np.median(delay):.0f} p90 {np.quantile(delay, 0.9):.0f} s" if len(delay) else ""
        rows.append(
            f"  {name}: {tally.counts[f'{name}s']}, false an hour {tally.counts[f'{name}s false'] / hours:.2f}; of "
            f"{tally.counts[f'{name} episodes']} episodes missed {tally.counts[f'{name} missed']} "
            f"({tally.counts[f'{name} missed by half']} more than 0.5 m/s over); {late}"
        )
    return "\n".join(rows)


def run(seeds: range, fault: str, recorded_mps: float | None = None) -> list[Tally]:
    """All jobs, on every core."""
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        return pool.map(play, [(seed, fault, recorded_mps) for seed in seeds], chunksize=2)


def main() -> None:
    """Read the words, run, print."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--jobs", type=int, default=160)
    words.add_argument("--first-seed", type=int, default=20000)
    words.add_argument("--fault", choices=(*FAULTS, "all"), default="none")
    words.add_argument("--recorded", type=float, metavar="MEAN_MPS")
    words.add_argument("--steps", type=int, metavar="JOBS")
    said = words.parse_args()
    seeds = range(said.first_seed, said.first_seed + said.jobs)
    if said.steps is not None:
        steps.print_steps(range(said.first_seed, said.first_seed + said.steps))
        return
    print(f"{said}, seeds {seeds.start} to {seeds.stop - 1}")
    for fault in FAULTS if said.fault == "all" else (said.fault,):
        jobs, whole = run(seeds, fault, said.recorded), Tally()
        for job in jobs:
            whole.add(job)
        print(f"{fault}: {len(jobs)} jobs\n{describe(whole)}", flush=True)
        if fault in ("none", "calibration") and said.recorded is None:
            for low, high in CLASSES:
                part = Tally()
                for job in jobs:
                    if low <= job.figures["job mean"][0] < high:
                        part.add(job)
                held = "; ".join(part.held(name) for name in WORDS)
                print(f"  mean {low:.0f} to {high:.0f} m/s, {part.counts['jobs']} jobs: {held}", flush=True)


if __name__ == "__main__":
    main()
