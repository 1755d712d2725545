"""What each class of receiver says of the strips of a recorded mower's way, whose place is known to 2 cm.

Run: CALMPASS_RECORDINGS=DIR python tests/benchmarks/mower.py (also --seeds 5, --json FILE). The way and the wind are
recorded, the receiver's errors and the steady flow are simulated. Beyond 1.75 swaths from one pass to the next most of
a strip is missing, under 1.25 hardly any of it, and between the two about a half.
"""

import argparse
import csv
import json
import os
import tempfile
from collections import Counter
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from firmware_sim.bench import write_log
from firmware_sim.playback import carry_along, read_way, read_wind
from firmware_sim.sensors.flow_meter import FlowMeter
from firmware_sim.sensors.gnss import CLASSES, Receiver
from server.core.pairs import judge_pairs
from server.core.passes import PassSpan, split_passes
from server.core.results import Pair
from server.rawlog import gather_log, read_raw_log
from server.review import follow_job
from server.settings import read_setup

UNTIL_S, SWATH_M = 900.0, 1.3
MONO_START_S = 100.0
SETUP = f"""
[sprayer]
swath_m = {SWATH_M}
[flow_meter]
pulses_per_l = {FlowMeter().pulses_per_l}
[anemometer]
mps_per_hz = 1.0
[treatment]
target_l_per_m2 = 0.012
wind_limit_mps = 3.0
"""
MISSED, BESIDE = 1.75, 1.25
"""Swaths from one pass to the next from which on ground was left out, and up to which hardly any was."""


def way_file(recordings: Path) -> Path:
    """The mower's surveyed way."""
    return recordings / "plaza_lawnmower" / "plaza1_first1160s.csv"


def judge_strips(recordings: Path, klass: str, seed: int) -> list[tuple[Pair, float]]:
    """Every judged stretch of a job along the recorded way, with the true distance in metres where there is one."""
    file, sonic = way_file(recordings), next((recordings / "csat3_20hz").glob("*.dat.gz"))
    feed = carry_along(read_way(file, UNTIL_S), read_wind(sonic), receiver=Receiver(klass=klass), seed=seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_log(feed, folder / "log.ndjson", rig="mower", boot="0123456789abcdef")
        (folder / "setup.toml").write_text(SETUP)
        setup = read_setup(folder / "setup.toml")
        log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    work = follow_job(log, setup, rng=np.random.default_rng(1))
    spans = split_passes(work.track, work.intervals)
    pairs = judge_pairs(work.track, spans, swath_m=setup.sprayer.swath_m)
    return [(pair, true) for pair in pairs if np.isfinite(true := spacing_on_the_way(file, pair, spans))]


def spacing_on_the_way(file: Path, pair: Pair, spans: tuple[PassSpan, ...]) -> float:
    """The mean distance of two passes on the recorded way, across the first one's chord, over the judged stretch."""
    with file.open(encoding="utf-8", newline="") as rows:
        t, x, y = np.array([[float(row[k]) for k in ("t_s", "x_m", "y_m")] for row in csv.DictReader(rows)]).T
    ways = []
    for number in (pair.pass_a, pair.pass_b):
        span = spans[number - 1]
        at = np.arange(span.start_t - MONO_START_S, span.end_t - MONO_START_S, 0.1)
        ways.append(np.interp(at, t, x) + 1j * np.interp(at, t, y))
    chord = ways[0][-1] - ways[0][0]
    one, two = ((way - ways[0][0]) * np.conj(chord) / abs(chord) for way in ways)
    order = np.argsort(two.real)
    inside = (one.real >= pair.from_m) & (one.real <= pair.to_m)
    inside &= (one.real >= two.real.min()) & (one.real <= two.real.max())
    if np.count_nonzero(inside) < 5:
        return float("nan")
    return float(np.abs(np.interp(one.real[inside], two.real[order], two.imag[order]) - one.imag[inside]).mean())


def count_verdicts(work: tuple[str, str, int]) -> tuple[str, Counter[str], list[float]]:
    """A job's verdicts by what lay between the passes, and how far the told distances are off."""
    recordings, klass, seed = work
    counts: Counter[str] = Counter()
    miss = []
    for pair, true in judge_strips(Path(recordings), klass, seed):
        share = true / SWATH_M
        kind = "missed" if share > MISSED else "beside" if share < BESIDE else "between"
        counts[f"{kind}: {pair.verdict}"] += 1
        miss.append(abs(pair.spacing_m - true))
    return klass, counts, miss


def main() -> None:
    """Read the words, run, print."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--seeds", type=int, default=5)
    words.add_argument("--first-seed", type=int, default=100)
    words.add_argument("--json", type=Path, help="write a line a class to this file")
    said = words.parse_args()
    seeds = range(said.first_seed, said.first_seed + said.seeds)
    work = [(os.environ["CALMPASS_RECORDINGS"], klass, seed) for klass in CLASSES for seed in seeds]
    sums: dict[str, Counter[str]] = {klass: Counter() for klass in CLASSES}
    misses: dict[str, list[float]] = {klass: [] for klass in CLASSES}
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        for klass, counts, miss in pool.imap(count_verdicts, work):
            sums[klass].update(counts)
            misses[klass] += miss
    rows = []
    for klass, counts in sums.items():
        off_m = round(float(np.median(misses[klass])), 3)
        print(f"{klass}: median error of a distance {off_m} m; {dict(sorted(counts.items()))}")
        rows.append({"class": klass, "seeds": [seeds.start, seeds.stop - 1], "median_error_m": off_m, "counts": counts})
    if said.json:
        said.json.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")


if __name__ == "__main__":
    main()
