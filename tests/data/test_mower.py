"""A real way over real grass in a real wind: a mower's surveyed path, a sonic's 20 Hz record, encoded here.

The path is encoded as sentences of an RTK receiver, the wind is felt by a simulated cup;
the flow is steady, on in turns.
"""

import csv
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from firmware_sim.bench import write_log
from firmware_sim.playback import carry_along, read_way, read_wind
from firmware_sim.sensors.flow_meter import FlowMeter
from firmware_sim.sensors.gnss import Receiver
from server.rawlog import gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import mower

STRAIGHT_RATE_DEG_S = 10.0
STRAIGHT_S = 8.0
STRAIGHT_M = 8.0
SAME_HEADING_DEG = 30.0
AGREEMENT_DEG = 20.0
"""Where the recorded heading and the recorded way differ by more (as at t 695-697 s), the record contradicts itself."""
JUMPS_S = (706.0, 730.0)
"""Jumps of the reference itself by 0.7 m, as the recordings' notes state."""
MARGIN_S = 5.0
"""The steady flow ends so long before the record."""


def runs_by_heading(file: Path) -> list[tuple[float, float]]:
    """The test's own reading of the recorded heading: times in which it turns slowly, for 8 s and 8 m or more."""
    with file.open(encoding="utf-8", newline="") as rows:
        values = np.array(
            [[float(row[k]) for k in ("t_s", "x_m", "y_m", "heading_rad")] for row in csv.DictReader(rows)]
        )
    t = np.arange(0.0, mower.UNTIL_S - MARGIN_S, 0.5)
    x, y = (np.interp(t, values[:, 0], values[:, k]) for k in (1, 2))
    heading = np.interp(t, values[:, 0], np.unwrap(values[:, 3]))
    turning = np.abs(np.degrees(np.gradient(heading, t)))
    is_straight = np.convolve(turning, np.ones(5) / 5.0, "same") < STRAIGHT_RATE_DEG_S
    course = np.arctan2(y[2:] - y[:-2], x[2:] - x[:-2])
    astray = np.abs(np.angle(np.exp(1j * (course - heading[1:-1]))))
    is_straight[1:-1] &= np.degrees(astray) < AGREEMENT_DEG
    for jump in JUMPS_S:
        is_straight &= np.abs(t - jump) > 2.0
    found = []
    start: int | None = None
    for i in range(len(t)):
        is_on = bool(is_straight[i])
        if start is not None and is_on:
            is_on = abs(float(np.degrees(heading[i] - np.mean(heading[start : i + 1])))) < SAME_HEADING_DEG
        if start is not None and (not is_on or i == len(t) - 1):
            length = float(np.hypot(x[i - 1] - x[start], y[i - 1] - y[start]))
            if t[i - 1] - t[start] >= STRAIGHT_S and length >= STRAIGHT_M:
                found.append((float(t[start]), float(t[i - 1])))
            start = None
        elif start is None and is_on:
            start = i
    return found


def test_passes_are_the_runs_of_the_recorded_heading(recordings: Path, tmp_path: Path) -> None:
    file = mower.way_file(recordings)
    sonic = next((recordings / "csat3_20hz").glob("*.dat.gz"))
    feed = carry_along(read_way(file, mower.UNTIL_S), read_wind(sonic), receiver=Receiver(klass="fixed"), seed=1)
    count = write_log(feed, tmp_path / "log.ndjson", rig="mower", boot="0123456789abcdef")
    k = FlowMeter().pulses_per_l
    (tmp_path / "setup.toml").write_text(mower.SETUP)
    setup = read_setup(tmp_path / "setup.toml")
    log = gather_log(read_raw_log(tmp_path / "log.ndjson"), setup.job)
    result = review_job(log, setup)

    assert (log.receipt.read, log.receipt.refused, log.receipt.duplicate) == (count, 0, 0)
    assert result.missing.total == 0
    metered = len(feed.flow_edges) / k
    dose = result.dose
    laid = float(dose.dose_l_per_m2.sum()) * dose.cell_m**2 + result.totals.unplaced_l
    assert laid == pytest.approx(metered, rel=1e-9)

    runs = runs_by_heading(file)
    spans = [(p.start_t - mower.MONO_START_S, p.end_t - mower.MONO_START_S) for p in result.passes]
    overlap = np.array([[max(0.0, min(b, d) - max(a, c)) / (b - a) for c, d in spans] for a, b in runs])
    print(f"{len(runs)} runs, {len(spans)} passes, overlap {np.round(overlap.max(axis=1), 2).tolist()}")
    assert len(runs) >= 14
    assert (overlap.max(axis=1) >= 0.8).all(), "every run of the recorded heading lies in one pass"
    assert len(set(overlap.argmax(axis=1).tolist())) == len(runs), "no pass joins two runs"


@pytest.mark.parametrize("klass", ["fixed", "float", "differential", "clean", "ordinary", "poor"])
def test_no_strip_left_out_on_the_real_way_is_called_even(recordings: Path, klass: str) -> None:
    """The way is real and good to 2 cm, the receiver's errors are simulated: neighbours from 0.2 to 3 swaths apart."""
    found = mower.judge_strips(recordings, klass, 7)
    told = [(pair.verdict, true / mower.SWATH_M) for pair, true in found]
    print(klass, Counter(verdict for verdict, _ in told), sorted(told))
    assert len(told) > 20
    assert not [share for verdict, share in told if verdict == "even" and share > mower.MISSED]
    assert not [share for verdict, share in told if verdict == "gap" and share < mower.BESIDE]
    if klass in ("fixed", "float"):
        assert not [share for verdict, share in told if verdict != "gap" and share > mower.MISSED]
    miss = [abs(pair.spacing_m - true) for pair, true in found]
    assert np.median(miss) < {"fixed": 0.05, "float": 0.15, "differential": 0.35, "clean": 0.45}.get(klass, np.inf)
