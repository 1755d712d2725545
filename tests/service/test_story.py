"""The wind story of simulated jobs: told then as the live picture told it, and in the files as documented."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import World, build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.sensors.anemometer import STEP_S
from firmware_sim.setup import save_setup
from firmware_sim.truth import running_mean
from rig import wire
from server.core.results import CupShield, JobResult
from server.core.setup import Setup
from server.exports.files import result_files
from server.intake import Fresh
from server.live import Live
from server.notes import write_notes
from server.rawlog import Received, gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup


def record(name: str, folder: Path) -> tuple[World, Setup, list[Received], JobResult]:
    """A scenario, its messages and its review."""
    world = build_world(SCENARIOS[name], 1)
    write_log(world.feed, folder / "log.ndjson", rig="rig-1", boot="0123456789abcdef")
    save_setup(world.scenario, world.receiver.latency_s, folder)
    setup = read_setup(folder / "setup.toml")
    messages = list(read_raw_log(folder / "log.ndjson"))
    return world, setup, messages, review_job(gather_log(iter(messages), setup.job), setup)


def follow_live(setup: Setup, messages: list[Received]) -> list[tuple[float, str, str]]:
    """The alarm's changes as the live picture makes them of the same messages: device's clock, level, sentence."""
    clock = [0.0]
    live, found, before = Live(setup, now=lambda: clock[0]), [], "none"
    for each in messages:
        message = wire.decode(wire.split_topic(each.topic)[1], each.payload)
        assert not isinstance(message, wire.State)
        clock[0] = message.mono + 0.02
        live.take(Fresh("rig-1", message, clock[0], 1.7e9 + clock[0]))
        level = live.alarm.level if live.alarm is not None else "none"
        if live.alarm is not None and level != before:
            found.append((message.mono, level, live.alarm.reason))
            before = level
    return found


@pytest.mark.parametrize("name", ["demo", "wind_step"])
def test_the_alarm_of_the_story_is_the_one_that_was_told_live(name: str, tmp_path: Path) -> None:
    """Level by level, within two seconds, for the same kind of reason: velocities are filtered there, smoothed here."""
    _, setup, messages, result = record(name, tmp_path)
    story = result.wind_story
    assert story is not None
    told = follow_live(setup, messages)
    assert [level for _, level, _ in told] == [change.level for change in story.changes]
    for (mono, _, reason), change in zip(told, story.changes, strict=True):
        assert abs(mono - change.t) <= 2.0
        assert reason[:8] == change.reason[:8]


def test_notes_say_where_the_label_means_its_limit_otherwise_and_what_a_shield_does(tmp_path: Path) -> None:
    _, setup, messages, result = record("straight", tmp_path)
    log = gather_log(iter(messages), setup.job)

    def notes(shield: CupShield | None = None, **changes: Any) -> str:
        treatment = replace(setup.treatment, **changes)
        found = write_notes(
            replace(result, cup_shield=shield), log, replace(setup, treatment=treatment), receiver_verdict=""
        )
        return " ".join(found.notes)

    assert "meant for" not in notes()
    assert "shielded" not in notes()
    assert "The limit is meant for 10 m, the cup is at 2 m" in notes(wind_reference_height_m=10.0)
    assert "meant for" not in notes(wind_reference_height_m=2.0)
    minute = notes(wind_averaging_s=20.0, wind_limit_mps=4.4704, wind_limit_stated="10 mph")
    assert "The limit of 10 mph (4.5 m/s) is meant for means of 20 s: the highest was" in minute
    assert "never known for so long" in notes(wind_averaging_s=600.0)
    shielded = notes(CupShield("behind", 180.0, 0.26, 0.05))
    assert "shielded from behind by about 25 % or more" in shielded
    assert "above the head" in shielded


def test_the_crossing_is_the_true_one_and_the_files_tell_it(tmp_path: Path) -> None:
    """Against the wind that the simulator really blew."""
    world, setup, _, result = record("wind_step", tmp_path)
    story = result.wind_story
    assert story is not None
    (found,) = story.exceedances
    t, true = world.air_t, world.wind.speed_at(world.air_t)
    mean = running_mean(true, round(60.0 / STEP_S))
    crossing = float(t[(mean > setup.treatment.wind_limit_mps) & (t > 150.0)][0]) + MONO_START_S
    assert abs(found.start_t - crossing) < 10.0
    job = json.loads(result_files(result, setup, "0" * 64)["job.json"])
    told = job["wind_story"]
    assert [change["level"] for change in told["changes"]] == [change.level for change in story.changes]
    assert told["exceedances"][0]["passes"] == list(found.passes)
    assert told["unwarned_passes"] == list(story.unwarned_passes)
    assert job["cup_shield"] is None
