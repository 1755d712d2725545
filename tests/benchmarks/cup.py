"""How well a cup is calibrated in the field, and how often a body beside it is noticed, on simulated walks and jobs.

Run: python tests/benchmarks/cup.py (also --walks 100, --jobs 60, --first-seed 5000, --only references,walks,shield).
Worlds are those of `cupworld`, apart from core. About a quarter of an hour as it stands.
"""

import argparse
import time

import numpy as np
from cupworld import SET, plan_square, simulate_job, simulate_walks

from server.core.cupfit import References, fit_references
from server.core.cupwalk import fit_walk
from server.core.shield import SIDES, find_shield

TRUE_SLOPE, TRUE_OFFSET = 1.05, 0.2
AIRS = ((0.0, 0.05), (0.3, 0.05), (0.3, 0.1), (0.3, 0.15), (0.7, 0.1), (0.7, 0.15), (1.5, 0.15), (1.5, 0.3), (3.0, 0.6))
SIX = (0.0, 180.0, 60.0, 240.0, 120.0, 300.0)
WALKS = (
    ("1.0 and 1.9 m/s", {"paces": (1.0, 1.9), "leg_s": 20.0}),
    ("1.0, 1.4 and 1.9 m/s, six headings", {"paces": (1.0, 1.4, 1.9), "leg_s": 20.0, "headings": SIX}),
    ("1.3 m/s", {"paces": (1.3,), "leg_s": 20.0}),
)
BARE = (
    ("scale off by 3 % (sd)", {}),
    ("scale off by 5 % (sd)", {"scale_sd": 0.05}),
    ("gusts of 60 and 10 s", {"scales_s": (60.0, 10.0)}),
    ("gusts of 15 and 2 s", {"scales_s": (15.0, 2.0)}),
    ("distance constant 4.0 m, set 2.5", {"distance_m": 4.0}),
    ("distance constant 1.5 m, set 2.5", {"distance_m": 1.5}),
)
"""Kinds of air and cup without a shield that the search for one must not trip over."""


def bound_share(hits, count, z=2.576):
    """The 99 % interval of a share (Wilson's score)."""
    share, spread = hits / count, z * z / count
    middle = (share + spread / 2.0) / (1.0 + spread)
    half = z * np.sqrt(share * (1.0 - share) / count + spread / 4.0 / count) / (1.0 + spread)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def print_references(count, first_seed):
    """Coverage and width against the number of readings beside a reference good to 2 %."""
    print("\nAgainst a reference good to 2 % + 0.05 m/s, means of a minute, cup and reference 1 m apart")
    print("readings   up to   scale at 4.5 m/s: sd / rms error / 90 % holds   refused")
    for readings, top in ((5, 3.0), (8, 4.0), (12, 6.0)):
        rows, refused = [], 0
        for seed in range(count):
            rng = np.random.default_rng((first_seed, seed, readings))
            mps, one = np.linspace(0.8, top, readings), np.ones(readings)
            sd, turbulence = 0.02 * mps + 0.05, 0.05 * mps
            slope = SET.mps_per_hz * TRUE_SLOPE
            hz = (mps + turbulence * rng.standard_normal(readings) - TRUE_OFFSET) / slope
            seen = mps + sd * rng.standard_normal(readings)
            found = fit_references(References(seen, sd, hz, 0.02 * one, turbulence), anemometer=SET)
            refused += not found.is_usable
            rows.append((found.scale_sd, found.offset_mps + found.mps_per_hz * (4.5 - TRUE_OFFSET) / slope))
        sds, told = np.array(rows).T
        error = told / 4.5 - 1.0
        held = np.mean(np.abs(error) < 1.645 * sds)
        print(
            f"{readings:8d} {top:7.1f}   {100 * np.median(sds):5.1f} / {100 * np.sqrt(np.mean(error**2)):.1f} %"
            f" / {held:.2f}   {refused / count:.2f}"
        )


def print_walks(count, first_seed):
    """What a walk without reference tells, against its length and the air."""
    slope = SET.mps_per_hz * TRUE_SLOPE
    pooled = []
    for name, plan in WALKS:
        print(
            f"\nWalk: {name}, legs of 20 s out and back; scale at 4.5 m/s: median sd / rms error, share usable (< 3 %)"
        )
        print("wind, turbulence m/s   5 min               10 min              20 min              40 min")
        for row, (wind, turbulence) in enumerate(AIRS):
            cells = []
            for minutes in (5, 10, 20, 40):
                walks = simulate_walks(
                    plan_square(minutes, **plan),
                    walks=count,
                    seed=first_seed + 10 * row + minutes,
                    wind_mps=wind,
                    turbulence_mps=turbulence,
                    slope=TRUE_SLOPE,
                    offset_mps=TRUE_OFFSET,
                )
                found = [fit_walk(walk, anemometer=SET) for walk in walks]
                usable = np.mean([each.is_usable for each in found])
                found = [each for each in found if np.isfinite(each.scale_sd)]
                error = np.array([(e.offset_mps + e.mps_per_hz * (4.5 - TRUE_OFFSET) / slope) / 4.5 - 1 for e in found])
                sds = np.array([each.scale_sd for each in found])
                if not len(sds):
                    cells.append("-" * 18)
                    continue
                pooled += [(*pair, each.is_usable) for *pair, each in zip(error, sds, found, strict=True)]
                cells.append(
                    f"{100 * np.median(sds):5.1f} / {min(100 * np.sqrt(np.mean(error**2)), 999):5.1f} {usable:.2f}"
                )
            print(f"{wind:6.1f} {turbulence:6.2f}         " + "  ".join(cells), flush=True)
    error, sds, usable = np.array(pooled).T
    for label, chosen in (("all", sds > 0.0), ("usable", usable > 0.0)):
        held = np.abs(error[chosen]) < 1.645 * sds[chosen]
        low, high = bound_share(held.sum(), len(held))
        print(f"90 % intervals of {label} ({len(held)}): hold {held.mean():.3f} (99 %: {low:.3f} to {high:.3f})")


def look_for_shields(jobs, first_seed, *, scale_sd=0.03, **changes):
    """What is said of many jobs: the sides found, losses there, and whether there was wind enough."""
    found = []
    for seed in range(first_seed, first_seed + jobs):
        slope = 1.0 + scale_sd * np.random.default_rng((7, seed)).standard_normal()
        found.append(find_shield(simulate_job(seed, slope=slope, **changes), anemometer=SET))
    return found


def print_shields(jobs, first_seed):
    """False and true findings."""
    print("\nNo shield, jobs of 15 min, wind 1 to 6 m/s, turbulence 15 to 40 %: a shield is found in")
    total, false = 0, 0
    for place, (name, changes) in enumerate(BARE):
        found = look_for_shields(2 * jobs, first_seed + 10_000 * place, **changes)
        hits, light = sum(each.side_deg is not None for each in found), sum(bool(each.reason) for each in found)
        total, false = total + len(found), false + hits
        print(f"  {name:34s} {hits:3d} of {len(found)} ({light} too light to tell)", flush=True)
    low, high = bound_share(false, total)
    print(f"  together {100 * false / total:.2f} % (99 %: {100 * low:.2f} to {100 * high:.2f} %)")
    print("\nShielded on one side; of the jobs with wind enough: found, of these within 45 degrees, loss told (median)")
    for loss in (0.2, 0.4):
        for side in (0.0, 90.0, 180.0, 270.0):
            found = look_for_shields(jobs, first_seed + 100_000, side_deg=side, loss=loss)
            told = [each for each in found if not each.reason]
            hits = [each for each in told if each.side_deg is not None]
            near = [abs((each.side_deg - side + 180.0) % 360.0 - 180.0) <= 45.0 for each in hits]
            losses = [float(each.losses[round(each.side_deg / 45.0)]) for each in hits]
            print(
                f"  {100 * loss:.0f} % from {SIDES[round(side / 45.0)]:10s} {len(hits):3d} of {len(told)}"
                f" ({100 * len(hits) / len(told):.0f} %), near {np.mean(near):.2f}, loss {np.median(losses):.2f};"
                f" of all jobs {100 * len(hits) / jobs:.0f} %",
                flush=True,
            )


def main():
    """Print the tables asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walks", type=int, default=30)
    parser.add_argument("--jobs", type=int, default=60)
    parser.add_argument("--first-seed", type=int, default=5000)
    parser.add_argument("--only", default="references,walks,shield")
    chosen = parser.parse_args()
    start = time.perf_counter()
    if "references" in chosen.only:
        print_references(20 * chosen.walks, chosen.first_seed)
    if "walks" in chosen.only:
        print_walks(chosen.walks, chosen.first_seed)
    if "shield" in chosen.only:
        print_shields(chosen.jobs, chosen.first_seed)
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
