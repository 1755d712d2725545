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
    """Whole seconds: apparent and true wind speed, velocity through the water along the course, all m/s."""
    seen: dict[str, list[tuple[float, ...]]] = {"apparent": [], "true": [], "speed": [], "course": []}
    for at, words in read_words():
        if np.isnan(at):
            continue
        if words[0].endswith("MWV") and words[3] and words[5] == "A":
            seen["apparent" if words[2] == "R" else "true"].append((at, float(words[3]) * KNOT_MPS))
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


@pytest.fixture(scope="module")
def told(log: dict[str, np.ndarray]) -> list[WindNow]:
    """What the estimator says from the apparent speed and the boat's velocity alone."""
    fold = WindFold(anemometer=Anemometer(distance_constant_m=2.5), treatment=Treatment(0.04, wind_limit_mps=4.5))
    course = np.radians(log["course"])
    east, north = log["speed"] * np.sin(course), log["speed"] * np.cos(course)
    rows = zip(log["t"].tolist(), log["apparent"].tolist(), east.tolist(), north.tolist(), strict=True)
    return [fold.step(Second(t, a, False, e, n, 0.1, False)) for t, a, e, n in rows]


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
