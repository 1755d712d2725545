"""How well a walk round a lawn's edge tells its shape: known lawns, walked with each class of receiver.

`python tests/benchmarks/edges.py --walks 60` prints bias, error and how often the intervals hold.
"""

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from firmware_sim.sensors.gnss import CLASSES, take_fixes
from firmware_sim.sensors.gnss import Receiver as SimulatedReceiver
from firmware_sim.world.geodesy import LocalPlane
from server.core.log import DIFFERENTIAL, FIXED, FLOAT, SINGLE, Fixes
from server.core.perimeter import Perimeter, survey_walk
from server.core.setup import Receiver
from server.core.timebase import Timebase
from server.core.track import plane_of

ORIGIN = LocalPlane(45.0, -30.0)
SAID = {1: SINGLE, 2: DIFFERENTIAL, 5: FLOAT, 4: FIXED}


@dataclass(frozen=True)
class Pace:
    """How the edge is walked: pace, rests at corners and at both ends, how far past the start (or short of it)."""

    mps: float = 1.1
    rest_s: float = 1.0
    stand_s: float = 4.0
    past_m: float = 0.0
    rate_hz: float = 5.0


def draw_lawn(rng):
    """Corners of a lawn of four to eight sides, 8 to 20 m from its middle [k, 2]."""
    count = rng.integers(4, 9)
    angle = np.sort((np.arange(count) + rng.uniform(-0.3, 0.3, count)) * 2.0 * np.pi / count)
    reach = rng.uniform(0.6, 1.2, count) * rng.uniform(8.0, 20.0)
    return np.stack([reach * np.cos(angle) * rng.uniform(0.6, 1.4), reach * np.sin(angle)], axis=1)


def area_of(ring):
    """The area by the shoelace formula, written here anew."""
    x, y = ring.T
    return abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))) / 2.0


def walk_edge(ring, pace=Pace()):
    """Times, true places and true velocities of a walk round a ring, corner by corner and back."""
    corners = np.concatenate([ring, ring[:2]])
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    until = gone[len(ring)] + pace.past_m
    stops = [g for g in gone[1:] if g < until] + [until]
    at_s, at_m = [0.0, pace.stand_s], [0.0, 0.0]
    for before, stop in zip([0.0, *stops], stops, strict=False):
        at_s.append(at_s[-1] + (stop - before) / pace.mps)
        at_s.append(at_s[-1] + pace.rest_s)
        at_m += [stop, stop]
    at_s.append(at_s[-1] + pace.stand_s)
    at_m.append(until)
    t = np.arange(0.0, at_s[-1], 1.0 / pace.rate_hz)

    def place(when):
        along = np.interp(when, at_s, at_m)
        return np.stack([np.interp(along, gone, corners[:, axis]) for axis in (0, 1)])

    half = 0.15
    return t, place(t), (place(t + half) - place(t - half)) / (2.0 * half)


def hear_walk(ring, klass, seed, pace=Pace(), errors="wander"):
    """What a receiver of a class says on that walk, as position messages."""
    t, place, velocity = walk_edge(ring, pace)
    receiver = SimulatedReceiver(klass=klass, rate_hz=pace.rate_hz, errors=errors)
    said = take_fixes(receiver, t, tuple(place), tuple(velocity), np.random.default_rng(seed))
    lat, lon = ORIGIN.degrees(said.east_m, said.north_m)
    none = np.full(len(t), np.nan)
    speed = np.hypot(said.velocity_east_mps, said.velocity_north_mps)
    course = np.degrees(np.arctan2(said.velocity_east_mps, said.velocity_north_mps)) % 360.0
    quality = np.array([SAID[code] for code in said.code.tolist()])
    return Fixes(
        np.zeros(len(t), dtype=np.int64), np.arange(len(t)), t, quality, t + 1e9, lat, lon, none, speed, course,
        none, none, none, none,
    )  # fmt: skip


def survey(fixes, **more) -> Perimeter:
    """The shape that those messages tell."""
    plane = plane_of(fixes)
    rng = np.random.default_rng(1)
    return survey_walk(fixes, Timebase(np.zeros(1), 1e9), plane, receiver=Receiver(), rng=rng, **more)


def score_class(klass, walks, first_seed, errors):
    """Relative errors and standard deviations, errors in those, seconds a walk, and refusals."""
    rows, refusals, began = [], [], time.process_time()
    for seed in range(first_seed, first_seed + walks):
        ring = draw_lawn(np.random.default_rng([seed, 1]))
        found = survey(hear_walk(ring, klass, [seed, 2], errors=errors))
        if found.refusal:
            refusals.append(found.refusal)
            continue
        true = area_of(ring)
        error = found.area_m2 - true
        rows.append((error / true, found.area_sd_m2 / true, error / found.area_sd_m2, len(found.ring) - 1))
    return np.array(rows).reshape(-1, 4), (time.process_time() - began) / walks, refusals


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walks", type=int, default=60)
    parser.add_argument("--first-seed", type=int, default=52000)
    parser.add_argument("--errors", choices=("wander", "multipath"), default="wander")
    given = parser.parse_args()
    print("class         walks refused  bias %  rms %  told sd %  in 90 %  in 95 %  corners  cpu s")
    for klass in CLASSES:
        rows, cost, refusals = score_class(klass, given.walks, given.first_seed, given.errors)
        error, sd, ratio, corners = rows.T
        held = [100.0 * np.mean(np.abs(ratio) < z) for z in (1.645, 1.960)]
        print(
            f"{klass:13s} {len(rows):5d} {len(refusals):7d} {100 * error.mean():7.2f} "
            f"{100 * np.sqrt(np.mean(error**2)):6.2f} {100 * sd.mean():10.2f} {held[0]:8.1f} {held[1]:8.1f} "
            f"{corners.mean():8.1f} {cost:6.2f}"
        )


if __name__ == "__main__":
    main()
