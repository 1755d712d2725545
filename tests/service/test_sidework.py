"""The wind of a review comes out the same in a program of its own, and comes out when that program dies."""

import logging
from dataclasses import fields

import numpy as np
import pytest

from firmware_sim.bench import write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from server import sidework
from server.core.results import WindSeries
from server.rawlog import gather_log, read_raw_log
from server.review import follow_job
from server.settings import read_setup
from server.sidework import Sidework, WindQuestion, find_wind, is_worth_it


@pytest.fixture(scope="module")
def question(tmp_path_factory: pytest.TempPathFactory) -> WindQuestion:
    """The wind of a short job."""
    folder = tmp_path_factory.mktemp("job")
    world = build_world(SCENARIOS["straight"], 3)
    write_log(world.feed, folder / "log.ndjson", rig="sim", boot="0123456789abcdef")
    save_setup(world.scenario, world.receiver.latency_s, folder)
    setup = read_setup(folder / "setup.toml")
    log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    work = follow_job(log, setup, rng=np.random.default_rng(1), draws=0)
    return WindQuestion(log.wind, work.track, work.timebase, setup.anemometer, setup.treatment, work.intervals, (5, 1))


def is_same(one: WindSeries, other: WindSeries) -> bool:
    """Whether two winds are equal to the last bit."""
    return all(
        np.array_equal(getattr(one, each.name), getattr(other, each.name), equal_nan=True)
        if isinstance(getattr(one, each.name), np.ndarray)
        else getattr(one, each.name) == getattr(other, each.name)
        for each in fields(WindSeries)
    )


def test_another_program_finds_the_same_wind(question: WindQuestion) -> None:
    here = find_wind(question)
    assert np.isfinite(here.apparent_mps).any()
    with Sidework(is_wanted=True) as aside:
        assert aside._child is not None
        aside.ask(question)
        there = aside.take()
        assert aside._child.returncode == 0
    assert is_same(there, here)


@pytest.mark.parametrize("program", ["raise SystemExit(3)", "import sys; sys.stdin.buffer.read(); raise SystemExit(3)"])
def test_a_program_that_dies_costs_only_time(
    question: WindQuestion, program: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(sidework, "PROGRAM", program)
    with caplog.at_level(logging.WARNING), Sidework(is_wanted=True) as aside:
        aside.ask(question)
        found = aside.take()
    assert is_same(found, find_wind(question))
    assert "ended with 3" in caplog.text


def test_without_a_program_it_is_found_here(question: WindQuestion, monkeypatch: pytest.MonkeyPatch) -> None:
    with Sidework(is_wanted=False) as aside:
        aside.ask(question)
        assert is_same(aside.take(), find_wind(question))
    monkeypatch.setattr(sidework.sys, "executable", "/nowhere/python")
    with Sidework(is_wanted=True) as aside:
        aside.ask(question)
        assert is_same(aside.take(), find_wind(question))


def test_a_review_that_fails_leaves_no_program_behind() -> None:
    aside = Sidework(is_wanted=True)
    with pytest.raises(ZeroDivisionError), aside:
        raise ZeroDivisionError
    assert aside._child is not None
    assert aside._child.returncode is not None


def test_a_second_program_is_begun_only_where_there_is_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two cores, a quarter of a gigabyte and ten minutes of wind."""
    for cores, free_kib, seconds, wanted in (
        (2, 300_000, 900.0, True),
        (1, 300_000, 900.0, False),
        (2, 200_000, 900.0, False),
        (2, 300_000, 300.0, False),
    ):
        monkeypatch.setattr(sidework.os, "sched_getaffinity", lambda _, n=cores: set(range(n)))
        monkeypatch.setattr(sidework, "_free_kib", lambda n=free_kib: n)
        assert is_worth_it(seconds) is wanted
