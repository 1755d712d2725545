"""A moving boat's log: its apparent wind speed alone, with its own speed, against the true wind of its instrument.

The log (plaka_boat_wind of the recordings) has an apparent and a true wind in turn, one of them every 2 s, the speed
through the water and the course over ground, for two and a half hours. It was never used to choose a constant.
"""

import gzip
import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from server.core.setup import Anemometer, Treatment
from server.core.vane import face_air
from server.core.wind import Second, WindFold, WindNow

ROOT = Path(__file__).resolve().parents[2]
RECORDINGS = Path(os.environ.get("CALMPASS_RECORDINGS", ROOT.parent / "shared/recordings"))
KNOT_MPS = 1852.0 / 3600.0
LONGEST_S = 6.0
"""A figure is held for so long."""


def read_words() -> Iterator[tuple[float, list[str]]]:
    """The log's sentences, each with the second of the day of the block before it."""
    (file,) = (RECORDINGS / "plaka_boat_wind").glob("*.gz")
    at = float("nan")
    with gzip.open(file, "rt", encoding="ascii", errors="replace") as lines:
        for line in lines:
            words = line.split("*")[0].strip().split(",")
            if words[0].endswith("ZDA") and words[1]:
                clock = words[1]
                at = 3600.0 * int(clock[:2]) + 60.0 * int(clock[2:4]) + float(clock[4:])
            yield at, words


def gather() -> dict[str, np.ndarray]:
    """Whole seconds: apparent and true wind, m/s and degrees from the bow, velocity through the water on the course."""
    seen: dict[str, list[tuple[float, ...]]] = {
        name: [] for name in ("apparent", "true", "apparent_from", "true_from", "speed", "course")
    }
    for at, words in read_words():
        if np.isnan(at):
            continue
        if words[0].endswith("MWV") and words[3] and words[5] == "A":
            name = "apparent" if words[2] == "R" else "true"
            seen[name].append((at, float(words[3]) * KNOT_MPS))
            seen[f"{name}_from"].append((at, float(words[1])))
        elif words[0].endswith("VHW") and words[5]:
            seen["speed"].append((at, float(words[5]) * KNOT_MPS))
        elif words[0].endswith("VTG") and words[1]:
            seen["course"].append((at, float(words[1])))
    t = np.arange(seen["apparent"][0][0], seen["apparent"][-1][0])
    columns = {}
    for name, rows in seen.items():
        times, values = np.array(rows).T
        last = np.clip(np.searchsorted(times, t, side="right") - 1, 0, None)
        columns[name] = np.where((t - times[last] <= LONGEST_S) & (times[last] <= t), values[last], np.nan)
    return {"t": t, **columns}


def minute_means(values: np.ndarray) -> np.ndarray:
    """The mean of the latest 60 values, NaN where any is missing."""
    sums = np.cumsum(np.concatenate(([0.0], np.nan_to_num(values))))
    known = np.cumsum(np.concatenate(([0], np.isfinite(values))))
    means = np.full(len(values), np.nan)
    means[59:] = np.where(known[60:] - known[:-60] == 60, (sums[60:] - sums[:-60]) / 60.0, np.nan)
    return means


@pytest.fixture(scope="module")
def log() -> dict[str, np.ndarray]:
    return gather()


def follow(log: dict[str, np.ndarray], *, has_vane: bool) -> list[WindNow]:
    """What the estimator says from the apparent speed and the boat's velocity, with or without the bearing."""
    fold = WindFold(anemometer=Anemometer(distance_constant_m=2.5), treatment=Treatment(0.04, wind_limit_mps=4.5))
    course = np.radians(log["course"])
    east, north = log["speed"] * np.sin(course), log["speed"] * np.cos(course)
    rows = np.array([log["t"], log["apparent"], east, north, log["apparent_from"]]).T.tolist()
    found = []
    for t, air, e, n, bow in rows:
        aim = face_air(bow, east=e, north=n) if has_vane else float("nan")
        found.append(fold.step(Second(t, air, False, e, n, 0.1, False, aim)))
    return found


@pytest.fixture(scope="module")
def told(log: dict[str, np.ndarray]) -> list[WindNow]:
    return follow(log, has_vane=False)


def test_the_speed_of_the_wind_comes_out_of_a_boats_apparent_wind(
    log: dict[str, np.ndarray], told: list[WindNow]
) -> None:
    """60-s means against the instrument's own true wind, where the courses sailed have settled the speed.

    The log has no heading: the course stands in for it, and while the boat turns both differ.
    """
    true, apparent = minute_means(log["true"]), minute_means(log["apparent"])
    found = np.array([now.mean_60s_mps for now in told])
    settled = np.array([now.is_settled for now in told])
    both = np.isfinite(true) & np.isfinite(found) & np.isfinite(apparent)
    error, plain = (found - true)[both & settled], (apparent - true)[both & settled]
    rmse, plainly = (float(np.sqrt(np.mean(e**2))) for e in (error, plain))
    print(f"60-s mean: rmse {rmse:.3f} bias {error.mean():+.3f}, apparent {plainly:.3f}, n {len(error)}")
    assert rmse < 0.6
    assert plainly > 1.5 * rmse
    assert abs(float(error.mean())) < 0.1


def test_on_one_course_the_bounds_hold(log: dict[str, np.ndarray], told: list[WindNow]) -> None:
    """Before the courses have settled it only what the triangle proves is told, and that holds."""
    true = minute_means(log["true"])
    found, sd = (np.array([getattr(now, name) for now in told]) for name in ("mean_60s_mps", "mean_60s_sd_mps"))
    open_still = np.array([not now.is_settled for now in told]) & np.isfinite(true) & np.isfinite(found)
    assert open_still.sum() > 1000
    assert (np.abs(found - true) < 1.645 * sd)[open_still].mean() > 0.95


def test_with_its_vane_the_boats_own_true_wind_comes_out(log: dict[str, np.ndarray], told: list[WindNow]) -> None:
    """Speed and direction of the instrument's own triangle, 60-s means; the course stands in for the heading."""
    aimed = follow(log, has_vane=True)
    true = minute_means(log["true"])
    found = np.array([now.mean_60s_mps for now in aimed])
    both = np.isfinite(true) & np.isfinite(found) & np.array([now.is_settled for now in aimed])
    error = (found - true)[both]
    angle = np.radians(log["course"] + log["true_from"])
    east, north = minute_means(np.sin(angle)), minute_means(np.cos(angle))
    off = np.array([now.from_deg for now in aimed]) - np.degrees(np.arctan2(east, north))
    aside = np.abs((off + 180.0) % 360.0 - 180.0)[both & np.isfinite(off)]
    alone = (np.array([now.mean_60s_mps for now in told]) - true)[both]
    rmse, without = (float(np.sqrt(np.nanmean(e**2))) for e in (error, alone))
    print(f"with the vane: rmse {rmse:.3f} bias {error.mean():+.3f}, without {without:.3f}, n {len(error)}")
    print(f"direction median {np.median(aside):.1f} p90 {np.quantile(aside, 0.9):.1f}, n {len(aside)}")
    assert both.mean() > 0.9
    assert rmse < 0.30
    assert abs(float(error.mean())) < 0.15
    assert np.median(aside) < 5.0
    assert np.quantile(aside, 0.9) < 25.0
