"""Twenty mornings with a corrected receiver, spray off in turns: every pass, every interval, every pulse."""

from pathlib import Path

import numpy as np
import pytest

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import World, build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from firmware_sim.truth import find_passes, spray_intervals, volume_between
from server.core.flow import find_spraying, gather_volume
from server.core.log import JobLog
from server.core.results import JobResult
from server.core.setup import Setup
from server.core.timebase import align_boots
from server.rawlog import gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup

SEEDS = range(101, 121)
BOUNDARY_S = 1.0
SHARE = 0.01


def play(seed: int, folder: Path) -> tuple[World, JobLog, Setup, JobResult]:
    """A morning recorded by the device's parts and reviewed by the service's."""
    world = build_world(SCENARIOS["paddock_morning"], seed)
    write_log(world.feed, folder / "log.ndjson", rig="sim", boot=f"{seed:016x}")
    save_setup(world.scenario, world.receiver.latency_s, folder)
    setup = read_setup(folder / "setup.toml")
    log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    return world, log, setup, review_job(log, setup)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_pass_and_every_pulse_is_found(seed: int, tmp_path: Path) -> None:
    world, log, setup, result = play(seed, tmp_path)
    pulse_l = 1.0 / world.scenario.meter.pulses_per_l

    planned = find_passes(world)
    assert len(result.passes) == len(planned)
    for found, true in zip(result.passes, planned, strict=True):
        assert found.start_t - MONO_START_S == pytest.approx(true.start_s, abs=BOUNDARY_S)
        assert found.end_t - MONO_START_S == pytest.approx(true.end_s, abs=BOUNDARY_S)
        assert found.volume_l == pytest.approx(true.volume_l, rel=SHARE, abs=2 * pulse_l)
        assert found.length_m == pytest.approx(true.length_m, rel=0.02, abs=0.5)

    timebase = align_boots(log, latency_s=setup.receiver.latency_s)
    curve = gather_volume(log.flow, timebase, meter=setup.flow_meter, delay_s=0.0)
    intervals = find_spraying(curve)
    assert len(intervals) == len(spray_intervals(world))
    for interval in intervals:
        true_l = volume_between(world, interval.start_t - MONO_START_S, interval.end_t - MONO_START_S)
        assert interval.volume_l == pytest.approx(true_l, rel=SHARE, abs=pulse_l)


def test_mass_is_kept_to_the_last_pulse(tmp_path: Path) -> None:
    world, _, setup, result = play(1, tmp_path)
    dose = result.dose
    on_grid = float(dose.dose_l_per_m2.sum()) * dose.cell_m**2
    metered = len(world.true_flow_edges) / float(np.asarray(setup.flow_meter.pulses_per_l))
    assert on_grid + result.totals.unplaced_l == pytest.approx(metered, rel=1e-9)
    assert result.totals.volume_l == pytest.approx(metered, rel=1e-12)
