"""A peg said on the rig or on the page reaches the smoother, by name, by survey or as the only one."""

from dataclasses import replace

import numpy as np
import pytest

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from server.core.log import Happening
from server.core.setup import Peg
from server.rawlog import gather_log, read_raw_log
from server.review import follow_job
from server.settings import read_setup


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory):
    """A job by an ordinary receiver with three visits to the peg: truth, log, settings without a lawn."""
    folder = tmp_path_factory.mktemp("pegs")
    world = build_world(SCENARIOS["demo"], 4, receiver_class="ordinary")
    write_log(world.feed, folder / "log.ndjson", rig="sim", boot="0" * 16)
    save_setup(world.scenario, world.receiver.latency_s, folder)
    setup = replace(read_setup(folder / "setup.toml"), zones=(), pegs=())
    return world, gather_log(read_raw_log(folder / "log.ndjson"), setup.job), setup


def error_m(job, *, happenings=None, pegs=()) -> float:
    """How far the way is off, root of the mean square, metres."""
    world, log, setup = job
    log = log if happenings is None else replace(log, happenings=happenings)
    track = follow_job(log, replace(setup, pegs=pegs), rng=np.random.default_rng(1), draws=0).track
    east, north, _ = world.walk.poses_at(track.t - MONO_START_S)
    plane = world.scenario.lawn.plane
    shift = plane.metres(np.array(log.fixes.lat_deg[0].round(5)), np.array(log.fixes.lon_deg[0].round(5)))
    return float(np.sqrt(np.nanmean((track.east_m + shift[0] - east) ** 2 + (track.north_m + shift[1] - north) ** 2)))


def surveyed(job) -> Peg:
    """The peg where it truly stands."""
    plane, (east, north) = job[0].scenario.lawn.plane, job[0].scenario.plan.peg
    lat, lon = plane.degrees(np.array([east]), np.array([north]))
    return Peg("A", float(lat[0]), float(lon[0]), 0.05)


def test_a_surveyed_peg_places_the_way(job) -> None:
    assert error_m(job, pegs=(surveyed(job),)) < 0.6 * error_m(job)


def test_of_several_pegs_the_nearest_is_meant_and_a_name_decides(job) -> None:
    here = surveyed(job)
    far = replace(here, name="B", lat=here.lat + 0.001)
    plain = error_m(job, pegs=(here,))
    assert error_m(job, pegs=(far, here)) == pytest.approx(plain, rel=1e-9)
    named = tuple(
        Happening("operator", h.boot, h.seq, h.mono, "peg", {"name": "A"}) if h.button == "peg" else h
        for h in job[1].happenings
    )
    assert error_m(job, happenings=named, pegs=(far, here)) == pytest.approx(plain, rel=1e-9)


def test_an_unknown_peg_is_used_and_does_no_great_harm(job) -> None:
    without = tuple(h for h in job[1].happenings if h.button != "peg")
    none, unknown = error_m(job, happenings=without), error_m(job)
    assert unknown != none
    assert unknown < 1.2 * none
