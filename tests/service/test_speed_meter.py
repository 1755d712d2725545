"""A whole job with an instrument that tells speeds and a vane, reviewed and followed live: no cup's line is wanted."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firmware_sim.bench import MONO_START_S, record, write_log
from firmware_sim.build import World, build_world
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.sensors.anemometer import SpeedMeter, Vane
from firmware_sim.sensors.gnss import Receiver
from firmware_sim.setup import save_setup
from firmware_sim.truth import running_mean
from firmware_sim.world.wind import WindPlan
from rig import wire
from server.core.results import JobResult
from server.intake import Fresh
from server.live import Live
from server.rawlog import gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup

SCENARIO = Scenario(
    "meter", "", strip_lawn(8, 30.0), plan_strips(8), wind=WindPlan(3.0, 110.0, 0.2), receiver=Receiver("fixed", 5.0),
    speed_meter=SpeedMeter(), vane=Vane(askew_deg=4.0),
)  # fmt: skip


@pytest.fixture(scope="module")
def world() -> World:
    return build_world(SCENARIO, 11)


@pytest.fixture(scope="module")
def folder(world: World, tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("meter")
    write_log(world.feed, found / "log.ndjson", rig="sim", boot="0123456789abcdef")
    save_setup(world.scenario, world.receiver.latency_s, found)
    return found


@pytest.fixture(scope="module")
def result(folder: Path) -> JobResult:
    setup = read_setup(folder / "setup.toml")
    return review_job(gather_log(read_raw_log(folder / "log.ndjson"), setup.job), setup)


def true_speeds(world: World, t: np.ndarray) -> np.ndarray:
    """The mean speed of each second that ends at t of the device's clock."""
    fine = (t - MONO_START_S)[:, None] - (np.arange(50) + 0.5) / 50.0
    return np.hypot(*world.wind.vector_at(fine.ravel())).reshape(fine.shape).mean(axis=1)


def test_the_review_tells_speed_and_direction_closely(world: World, result: JobResult) -> None:
    true = running_mean(true_speeds(world, result.wind.t), 60)
    off = (result.wind.mean_60s_mps - true)[np.isfinite(true)]
    off = off[np.isfinite(off)]
    east, north = world.wind.vector_at(result.wind.t - MONO_START_S)
    true_from = np.degrees(np.arctan2(-running_mean(east, 60), -running_mean(north, 60)))
    aside = np.abs((result.wind.from_deg - true_from + 180.0) % 360.0 - 180.0)
    print(f"rmse {np.sqrt(np.mean(off**2)):.3f} bias {off.mean():+.3f}, direction {np.nanmedian(aside):.1f}")
    assert np.sqrt(np.mean(off**2)) < 0.12
    assert np.nanmedian(aside) < 8.0
    assert all(np.isfinite(found.wind_mean_mps) and found.wind_verdict for found in result.passes)


def test_nothing_asks_for_a_cups_slope(result: JobResult) -> None:
    assert not any("slope" in note for note in result.notes)


def test_the_live_picture_says_the_same_with_a_direction_before_the_first_turn(
    world: World, folder: Path, result: JobResult
) -> None:
    now = [0.0]
    setup = read_setup(folder / "setup.toml")
    live = Live(setup, now=lambda: now[0])
    told = {}
    for at_s, message in record(world.feed, "0123456789abcdef"):
        now[0] = 1000.0 + at_s
        live.take(Fresh("sim", message, now[0], now[0]))
        if isinstance(message, wire.Wind):
            told[message.mono] = live._wind_now
    last = told[max(told)]
    assert last.mean_60s_mps == pytest.approx(result.wind.mean_60s_mps[-1], abs=0.1)
    walking = np.hypot(*world.walk.velocity_at(np.arange(0.0, 60.0, 0.5))) > 0.5
    begin = MONO_START_S + 0.5 * float(np.argmax(walking))
    early = next(now for mono, now in told.items() if mono > begin + 18.0)
    assert early.is_settled
    assert np.isfinite(early.from_deg)


def test_without_the_vane_the_same_job_is_told_less_closely(world: World, tmp_path: Path, result: JobResult) -> None:
    bare = build_world(replace(SCENARIO, vane=None), 11)
    write_log(bare.feed, tmp_path / "log.ndjson", rig="sim", boot="0123456789abcdef")
    save_setup(bare.scenario, bare.receiver.latency_s, tmp_path)
    setup = read_setup(tmp_path / "setup.toml")
    plain = review_job(gather_log(read_raw_log(tmp_path / "log.ndjson"), setup.job), setup)
    assert np.nanmean(plain.wind.smooth_sd_mps) > np.nanmean(result.wind.smooth_sd_mps)
