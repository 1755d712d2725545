"""A recorded 20 Hz wind felt by a cup carried along a recorded mower's way: both real, the encoding synthetic.

The way (plaza_lawnmower) is surveyed to 2 cm: parallel passes with loop turns, stops, and a lap round the edge. The
wind (csat3_20hz) is a sonic's above an orchard canopy, turned by some angle against the way, as it is and scaled to a
mean near the limit. Neither was used to choose a constant of the estimator.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.playback import carry_along, read_way, read_wind
from firmware_sim.sensors.gnss import Receiver
from firmware_sim.truth import running_mean
from server.core.results import WindSeries
from server.core.wind import estimate_wind
from server.rawlog import gather_log, read_raw_log
from server.review import follow_job
from server.settings import read_setup

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import mower

CUP_SETUP = mower.SETUP.replace(
    "mps_per_hz = 1.0", "mps_per_hz = 0.34\noffset_mps = 0.2\nthreshold_mps = 0.5\ndistance_constant_m = 2.5"
)


@dataclass(frozen=True)
class Carried:
    """What was told second by second, and the true speed, east and north means of each second."""

    series: WindSeries
    speed: np.ndarray
    east: np.ndarray
    north: np.ndarray

    def errors(self, values: np.ndarray) -> np.ndarray:
        """How far a 60-s mean is from the true one, where both are known."""
        off = values - running_mean(self.speed, 60)
        return off[np.isfinite(off)]


def carry(recordings: Path, folder: Path, *, mean_mps: float, turned_deg: float) -> Carried:
    """Record the drive and estimate its wind."""
    way = read_way(mower.way_file(recordings), mower.UNTIL_S)
    t, x, y = read_wind(next((recordings / "csat3_20hz").glob("*.dat.gz")))
    factor, c, s = mean_mps / np.hypot(x, y).mean(), np.cos(np.radians(turned_deg)), np.sin(np.radians(turned_deg))
    wind = t, factor * (c * x + s * y), factor * (c * y - s * x)
    feed = carry_along(way, wind, receiver=Receiver(klass="differential"), seed=round(turned_deg))
    write_log(feed, folder / "log.ndjson", rig="mower", boot="0123456789abcdef")
    (folder / "setup.toml").write_text(CUP_SETUP)
    setup = read_setup(folder / "setup.toml")
    log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    rng = np.random.default_rng(1)
    work = follow_job(log, setup, rng=rng, draws=0)
    series = estimate_wind(
        log.wind, work.track, work.timebase, anemometer=setup.anemometer, treatment=setup.treatment, rng=rng,
        intervals=work.intervals,
    )  # fmt: skip
    fine = (series.t - MONO_START_S)[:, None] - (np.arange(50) + 0.5) / 50.0
    east, north = (np.interp(fine, t, part) for part in wind[1:])
    return Carried(series, np.hypot(east, north).mean(axis=1), east.mean(axis=1), north.mean(axis=1))


def rmse(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


@pytest.mark.parametrize(("mean_mps", "share"), [(1.77, 0.5), (4.2, 0.75)])
def test_the_wind_along_a_real_way_is_told_far_better_than_by_the_air_past_the_mower(
    recordings: Path, tmp_path: Path, mean_mps: float, share: float
) -> None:
    """60-s means; the most that is allowed is a share of the apparent wind's error (0.44 and 0.39 m/s).

    Measured in six directions: 0.17 m/s, and 0.24 scaled to 4.2, where intervals are as wide as that.
    """
    errors, plain, held, far = [], [], [], []
    for turned in (0.0, 120.0):
        folder = tmp_path / f"{turned:.0f}"
        folder.mkdir()
        found = carry(recordings, folder, mean_mps=mean_mps, turned_deg=turned)
        off = found.errors(found.series.mean_60s_mps)
        errors.append(off)
        plain.append(found.errors(running_mean(found.series.apparent_mps, 60)))
        known = np.isfinite(found.series.mean_60s_mps - running_mean(found.speed, 60))
        held.append(np.abs(off) < 1.645 * found.series.mean_60s_sd_mps[known])
        east, north = running_mean(found.east, 60), running_mean(found.north, 60)
        aside = found.series.from_deg - np.degrees(np.arctan2(-east, -north))
        far.append(np.abs((aside + 180.0) % 360.0 - 180.0)[np.hypot(east, north) > 1.0])
    error, apparent, away = np.concatenate(errors), np.concatenate(plain), np.concatenate(far)
    away = away[np.isfinite(away)]
    print(
        f"{mean_mps}: rmse {rmse(error):.3f} bias {error.mean():+.3f} apparent {rmse(apparent):.3f}, interval holds "
        f"{np.concatenate(held).mean():.2f}, direction median {np.median(away):.0f}°"
    )
    assert rmse(error) < share * rmse(apparent)
    assert abs(float(error.mean())) < 0.1
    assert np.concatenate(held).mean() > 0.85
    assert np.median(away) < 60.0
