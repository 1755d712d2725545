"""Calibrating the cup through the API: from a simulated walk and beside a reference, looked at, kept, applied."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import World, build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.world.square import SquarePlan
from firmware_sim.world.wind import Change, WindPlan
from server.core.cupmean import average_cup
from server.core.log import WindSamples
from server.core.timebase import Timebase
from server.rawlog import Received, read_raw_log

BOOT = "0123456789abcdef"
WEAR = 0.05


def record(folder: Path, wind: WindPlan, *, seed: int, square: SquarePlan) -> tuple[World, list[Received]]:
    """A walk with a cup that turns 5 % slower than its settings say, and its messages."""
    plain = SCENARIOS["straight"]
    scenario = replace(plain, wind=wind, cup=replace(plain.cup, wear=WEAR))
    world = build_world(scenario, seed, receiver_class="clean", square=square)
    write_log(world.feed, folder / f"walk-{seed}.ndjson", rig="rig-1", boot=BOOT)
    return world, list(read_raw_log(folder / f"walk-{seed}.ndjson"))


def walked(world: World, *, until_s: float | None = None) -> dict[str, Any]:
    """The request for a walk."""
    end = MONO_START_S + (world.walk.duration_s if until_s is None else until_s)
    return {"way": "walk", "rig": "rig-1", "interval": {"boot": BOOT, "start": MONO_START_S, "end": end}}


def speed_told(found: dict[str, Any], mps: float) -> float:
    """What the calibrated line tells of air of a speed, from the true line of the worn cup."""
    hz = ((1.0 - WEAR) * mps - 0.2) / 0.34
    return found["offset_mps"] + found["mps_per_hz"] * hz


def test_a_walk_in_light_air_calibrates_a_worn_cup_to_within_its_told_uncertainty(desk, tmp_path: Path) -> None:
    world, messages = record(tmp_path, WindPlan(0.3, 200.0, 0.25), seed=2, square=SquarePlan(minutes=12.0))
    desk.take(messages)
    early = desk.ask("POST", "/api/calibrations/look", walked(world, until_s=70.0)).json()
    assert not early["is_usable"]
    assert "at least 6 are needed" in early["refusal"]
    kept = desk.ask("POST", "/api/calibrations", walked(world))
    assert kept.status_code == 201
    found = kept.json()
    assert found["is_usable"], found["refusal"]
    assert found["at_mps"] == 4.5
    assert found["change_percent"] == pytest.approx(5.0, abs=2.5)
    assert abs(speed_told(found, 4.5) / 4.5 - 1.0) < 2.0 * found["scale_sd"]
    assert found["scale_sd"] < 0.03
    assert desk.ask("GET", "/api/setup").json()["anemometer"]["mps_per_hz"] == 0.34, "only the button applies it"


def test_only_the_button_applies_and_the_record_says_so(desk, tmp_path: Path) -> None:
    world, messages = record(tmp_path, WindPlan(0.3, 200.0, 0.25), seed=2, square=SquarePlan(minutes=12.0))
    desk.take(messages)
    number = desk.ask("POST", "/api/calibrations", walked(world)).json()["id"]
    applied = desk.ask("POST", f"/api/calibrations/{number}/apply").json()
    assert applied["applied_utc"] is not None
    cup = desk.ask("GET", "/api/setup").json()["anemometer"]
    assert cup["mps_per_hz"] == applied["mps_per_hz"]
    assert cup["offset_mps"] == applied["offset_mps"]
    assert cup["scale_sd_percent"] == pytest.approx(100.0 * applied["scale_sd"], abs=0.006)
    assert len(cup["calibrated_on"]) == 10
    assert desk.service.live.setup.anemometer.mps_per_hz == applied["mps_per_hz"]
    record_kept = desk.ask("GET", "/api/calibrations").json()
    assert [(each["id"], each["way"], each["applied_utc"] is not None) for each in record_kept] == [(1, "walk", True)]


def test_a_walk_in_changing_wind_is_refused_kept_and_cannot_be_applied(desk, tmp_path: Path) -> None:
    wind = WindPlan(0.8, 200.0, 0.2, changes=(Change(300.0, 2.5, 5.0),))
    world, messages = record(tmp_path, wind, seed=3, square=SquarePlan(minutes=10.0))
    desk.take(messages)
    kept = desk.ask("POST", "/api/calibrations", walked(world)).json()
    assert not kept["is_usable"]
    assert "wind changed" in kept["refusal"]
    refused = desk.ask("POST", f"/api/calibrations/{kept['id']}/apply")
    assert refused.status_code == 409
    assert "wind changed" in refused.json()["detail"]
    assert desk.ask("GET", "/api/setup").json()["anemometer"]["mps_per_hz"] == 0.34


def beside(world: World, pieces: list[tuple[float, float]], *, unit: str, per_mps: float) -> dict[str, Any]:
    """Readings of a perfect reference over some spans of a standing rig, as a display of a tenth shows them."""
    readings = []
    for start, end in pieces:
        inside = (world.air_t >= start) & (world.air_t <= end)
        speed = round(float(world.air_mps[inside].mean()) * per_mps, 1)
        interval = {"boot": BOOT, "start": MONO_START_S + start, "end": MONO_START_S + end}
        readings.append({"interval": interval, "speeds": [speed], "unit": unit})
    return {"way": "references", "rig": "rig-1", "readings": readings, "accuracy_percent": 2.0}


STEPS = WindPlan(
    1.3, 200.0, 0.1, slow_sd=0.0, meander_deg=0.0,
    changes=tuple(Change(160.0 * k, 1.3 + 0.8 * k, 5.0) for k in range(1, 7)),
)  # fmt: skip
PIECES = [(160.0 * k + 30.0, 160.0 * k + 150.0) for k in range(7)]
STILL = SquarePlan(minutes=0.4, stand_s=1150.0)


@pytest.mark.parametrize(("unit", "per_mps"), [("m/s", 1.0), ("mph", 1 / 0.44704), ("kn", 3600 / 1852)])
def test_readings_beside_a_reference_in_any_unit_tell_the_worn_cup_s_line(
    desk, tmp_path: Path, unit: str, per_mps: float
) -> None:
    world, messages = record(tmp_path, STEPS, seed=4, square=STILL)
    desk.take(messages)
    found = desk.ask("POST", "/api/calibrations", beside(world, PIECES, unit=unit, per_mps=per_mps)).json()
    assert found["is_usable"], found
    assert [each["refusal"] for each in found["readings"]] == [""] * 7
    assert abs(speed_told(found, 4.5) / 4.5 - 1.0) < 2.0 * found["scale_sd"]
    assert 0.02 / 3**0.5 < found["scale_sd"] < 0.03, "the reference's own error is in it"
    assert found["change_percent"] == pytest.approx(5.0, abs=2.0)


def test_too_few_readings_and_a_rough_reference_are_refused_with_the_reason(desk, tmp_path: Path) -> None:
    world, messages = record(tmp_path, STEPS, seed=4, square=STILL)
    desk.take(messages)
    few = desk.ask("POST", "/api/calibrations/look", beside(world, PIECES[:4], unit="m/s", per_mps=1.0)).json()
    assert "4 usable readings; at least 5" in few["refusal"]
    rough = {**beside(world, PIECES, unit="m/s", per_mps=1.0), "accuracy_percent": 10.0}
    assert "take a better reference" in desk.ask("POST", "/api/calibrations/look", rough).json()["refusal"]
    assert desk.ask("GET", "/api/calibrations").json() == []


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"way": "guess"}, None),
        ({"rig": "Rig 1"}, None),
        ({"interval": {"boot": BOOT, "start": 9.0, "end": 9.0}}, "interval"),
        ({"interval": {"boot": BOOT, "start": 0.0, "end": 4000.0}}, "interval"),
        ({"interval": {"boot": "x", "start": 0.0, "end": 4.0}}, None),
    ],
)
def test_a_request_that_makes_no_sense_is_refused(desk, change: dict[str, Any], key: str | None) -> None:
    body = {"way": "walk", "rig": "rig-1", "interval": {"boot": BOOT, "start": 1.0, "end": 90.0}, **change}
    answer = desk.ask("POST", "/api/calibrations/look", body)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    if key is not None:
        assert answer.json()["key"] == key


def test_nothing_recorded_is_a_refusal_and_no_rig_no_clock(desk) -> None:
    body = {"way": "walk", "rig": "rig-1", "interval": {"boot": BOOT, "start": 1.0, "end": 90.0}}
    found = desk.ask("POST", "/api/calibrations/look", body)
    assert found.status_code == 200
    assert not found.json()["is_usable"]
    assert found.json()["refusal"] != ""
    assert desk.ask("GET", "/api/calibrations/clock").status_code == 404
    assert desk.ask("POST", "/api/calibrations/7/apply").status_code == 404


def test_the_clock_is_the_rig_s(desk, messages) -> None:
    desk.take(messages)
    found = desk.ask("GET", "/api/calibrations/clock").json()
    assert found["rig"] == "rig-1"
    assert found["mono"] > 0.0


def count(hz: np.ndarray) -> WindSamples:
    """A message a second of a cup at these frequencies; at 0 it stands."""
    t = np.arange(len(hz) + 1.0)
    pulses = np.concatenate(([0.0], np.cumsum(hz)))
    edge = np.maximum.accumulate(np.where(np.concatenate(([1.0], hz)) > 0.0, t, 0.0))
    i, none = np.zeros(len(t), dtype=np.int64), np.full(len(t), np.nan)
    return WindSamples(i, np.arange(len(t)), t, pulses, edge, none, none, none)


def test_an_average_tells_the_count_and_refuses_a_cup_that_stood() -> None:
    base = Timebase(np.zeros(1), 0.0)
    hz = np.tile([8.0, 12.0], 60)
    found = average_cup(count(hz), base, speed_mps=3.6, slope=None)
    assert found.hz == pytest.approx(10.0, abs=1e-9)
    assert found.turbulence_mps == pytest.approx(2.0 * 0.34 * (2.0 * 2.0 / 3.6 / 120.0) ** 0.5, rel=1e-6)
    hz[30:40] = 0.0
    assert "stood for" in average_cup(count(hz), base, speed_mps=3.6, slope=0.34).refusal
    assert "only 12 s" in average_cup(count(hz[:12]), base, speed_mps=3.6, slope=0.34).refusal


@pytest.mark.parametrize("length_s", [0.05, 0.3, 1.0, 3.0])
def test_an_interval_of_a_moment_is_refused_in_words(desk, messages, length_s: float) -> None:
    """From the first messages of a start, of which there may be one."""
    desk.take(messages)
    boot = desk.ask("GET", "/api/calibrations/clock").json()["boot"]
    interval = {"boot": boot, "start": MONO_START_S, "end": MONO_START_S + length_s}
    walk = desk.ask("POST", "/api/calibrations/look", {"way": "walk", "rig": "rig-1", "interval": interval})
    assert walk.status_code == 200
    assert walk.json()["refusal"] != ""
    reading = {"interval": interval, "speeds": [3], "unit": "mph", "resolution": 1}
    body = {"way": "references", "rig": "rig-1", "readings": [reading] * 6}
    told = desk.ask("POST", "/api/calibrations/look", body).json()
    assert {each["refusal"] != "" for each in told["readings"]} == {True}
    assert "0 usable readings" in told["refusal"]
