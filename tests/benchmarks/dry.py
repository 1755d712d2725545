"""How far the place at which the tank was foretold to run dry was from where it did: told 2, 1 and half a strip before.

Run: python tests/benchmarks/dry.py --jobs 40 (also --first-seed 6000, --classes fixed,ordinary, --exact, --slips,
--outline no, --processes 2). The jobs are those of accuracy.py without their slips unless `--slips`; a tank is given to
each that lasts for 55 to 90 % of it. Where the litres let out reach what is in it, the simulator says by its own
arithmetic. The fill is entered 2 % wrong (one standard deviation) and the meter's pulses per litre are 2 % off;
`--exact` enters both truly, which leaves what the pace does. Way: the sprayed metres told less the true ones; place:
from the one told to the true one; within: the share of ways within one and two of the standard deviations told.
"""

import argparse
import tempfile
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from accuracy import Trial, make_scenario, miscalibrate

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import World, build_world
from firmware_sim.setup import save_setup
from firmware_sim.truth import nozzle_at, spray_intervals
from rig import wire
from server.core.geodesy import degrees_from_plane
from server.core.log import Floats
from server.core.setup import Setup
from server.liveway import LiveWay
from server.rawlog import read_raw_log
from server.settings import read_setup
from server.snapshot import ReachPart

BEFORE = (2.0, 1.0, 0.5)
FILL_SD = 0.02
Told = tuple[float, float, float, float, bool]
"""Strips before, error of the way, its sd told, error of the place (NaN: no place told), whether the strip is right."""


def play(work: tuple[int, str, bool, bool, bool]) -> tuple[str, list[Told]]:
    """One job: what was told at each of the distances before its tank ran dry."""
    seed, klass, is_exact, has_slips, has_outline = work
    scenario = make_scenario(seed, Trial(klass))
    if not has_slips:
        plan = replace(scenario.plan, missed=(), doubled=(), spray_in_turn=(), overrun={}, refill_after=())
        scenario = replace(scenario, plan=plan)
    world = build_world(scenario, seed)
    rng = np.random.default_rng([seed, 79])
    true_l = float(world.volume.total[-1]) * float(rng.uniform(0.55, 0.9))
    told_l = true_l * (1.0 if is_exact else 1.0 + FILL_SD * float(rng.standard_normal()))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_log(
            replace(world.feed, cup_edges=world.feed.cup_edges[:0]), folder / "log.ndjson", rig="sim", boot="0" * 16
        )
        save_setup(scenario if is_exact else miscalibrate(scenario, seed), world.receiver.latency_s, folder)
        setup = read_setup(folder / "setup.toml")
        if not has_outline:
            setup = replace(setup, zones=())
        told = tell_on_the_way(folder / "log.ndjson", setup, told_l)
    return klass, judge(world, true_l, told)


def tell_on_the_way(
    path: Path, setup: Setup, told_l: float
) -> list[tuple[float, ReachPart, tuple[float, float] | None]]:
    """What is told after each fix: scenario time, the part, its place in degrees."""
    way = LiveWay(setup)
    way.refill({"holds_l": told_l})
    found = []
    for received in read_raw_log(path):
        _, stream = wire.split_topic(received.topic)
        message = wire.decode(stream, received.payload) if stream in ("position", "flow") else None
        if isinstance(message, wire.Flow):
            way.take_flow(message.mono, message)
        elif isinstance(message, wire.Position):
            way.take_fix(message.mono - setup.receiver.latency_s, message)
            part = way.reach.tell(way.track, way.plane, way.tank_level)
            if part is None:
                continue
            place = None
            if part.east_m is not None and part.north_m is not None and way.plane is not None:
                lat, lon = degrees_from_plane(part.east_m, part.north_m, plane=way.plane)
                place = float(lat), float(lon)
            found.append((message.mono - MONO_START_S, part, place))
    return found


def judge(world: World, true_l: float, told: list[tuple[float, ReachPart, tuple[float, float] | None]]) -> list[Told]:
    """What was told when so many strips were still to be sprayed, against where the litres ran out."""
    delay_s = world.scenario.sprayer.delay_s
    dry_s = float(world.volume.time_of(np.array([true_l]))[0]) + delay_s
    strip_m = length_of(world)
    found = []
    for strips in BEFORE:
        wanted_m = strips * strip_m
        ways = [(sprayed_between(world, t, dry_s), t, part, place) for t, part, place in told if t < dry_s]
        reached = [each for each in ways if each[0] <= wanted_m]
        if not reached or reached[0][0] < wanted_m - 3.0:
            continue  # the job had not come so far when its tank was told
        left_m, _, part, place = reached[0]
        place_m = float("nan")
        if place is not None:
            east, north = world.scenario.lawn.plane.metres(np.array(place[0]), np.array(place[1]))
            true_east, true_north = nozzle_at(world, np.array([dry_s]))
            place_m = float(np.hypot(east - true_east[0], north - true_north[0]))
        found.append((strips, part.way_m - left_m, part.way_sd_m, place_m, place is not None))
    return found


def length_of(world: World) -> float:
    """How long the lawn's strips are."""
    ring = np.array(world.scenario.lawn.polygons[0].ring_m)
    heading = np.radians(world.scenario.plan.heading_deg)
    return float(np.ptp(ring @ np.array([np.sin(heading), np.cos(heading)])))


def sprayed_between(world: World, start_s: float, end_s: float) -> float:
    """The true way with the spray on between two times."""
    delay_s = world.scenario.sprayer.delay_s
    spans = [(max(a + delay_s, start_s), min(b + delay_s, end_s)) for a, b in spray_intervals(world)]
    walked = world.walk.distance
    return sum(float(np.diff(walked.total_at(np.array([a, b])))[0]) for a, b in spans if b > a)


def rms(values: Floats) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else float("nan")


def describe(klass: str, rows: list[Told]) -> str:
    """A class's figures in a line a distance."""
    lines = []
    for strips in BEFORE:
        some = np.array([row[1:] for row in rows if row[0] == strips], dtype=np.float64).reshape(-1, 4)
        way, sd, place = some[:, 0], some[:, 1], some[:, 2]
        placed = place[np.isfinite(place)]
        ranks = np.percentile(placed, (50, 90)) if len(placed) else (np.nan, np.nan)
        inside = [float(np.mean(np.abs(way) <= times * sd)) for times in (1.0, 2.0)]
        lines.append(
            f"{klass:12} {strips:3.1f} strips before, {len(some):3} jobs: "
            f"way {rms(way):5.2f} m rms, told {rms(sd):5.2f}; "
            f"within 1 sd {inside[0]:4.0%}, 2 sd {inside[1]:4.0%}; "
            f"place told in {len(placed):3}, off by {ranks[0]:5.2f} m median, {ranks[1]:5.2f} m in nine of ten"
        )
    return "\n".join(lines)


def main() -> None:
    """Read the words, run, print."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--jobs", type=int, default=40)
    words.add_argument("--first-seed", type=int, default=6000)
    words.add_argument("--classes", default="fixed,float,differential,ordinary")
    words.add_argument("--exact", action="store_true")
    words.add_argument("--slips", action="store_true")
    words.add_argument("--outline", choices=("yes", "no"), default="yes")
    words.add_argument("--processes", type=int, default=2)
    said = words.parse_args()
    seeds = range(said.first_seed, said.first_seed + said.jobs)
    classes = said.classes.split(",")
    work = [(seed, klass, said.exact, said.slips, said.outline == "yes") for klass in classes for seed in seeds]
    rows: dict[str, list[Told]] = {klass: [] for klass in classes}
    with get_context("spawn").Pool(said.processes) as pool:
        for klass, found in pool.imap(play, work):
            rows[klass] += found
    print(said)
    for klass in classes:
        print(describe(klass, rows[klass]), flush=True)


if __name__ == "__main__":
    main()
