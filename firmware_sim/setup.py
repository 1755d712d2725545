"""The settings file and the lawn file that go with a scenario, as a careful user would have written them."""

from pathlib import Path

import numpy as np

from firmware_sim.scenarios import Scenario
from firmware_sim.world.lawn import lawn_geojson


def setup_toml(scenario: Scenario, latency_s: float) -> str:
    """Write a scenario's settings under the keys of a job's SETUP.toml."""
    sprayer = scenario.sprayer
    top = [f"pattern_top_m = {sprayer.pattern_top_m}"] if sprayer.pattern_top_m is not None else []
    lines = [
        "[site]",
        'boundary = "lawn.geojson"',
        "",
        "[sprayer]",
        f"swath_m = {sprayer.swath_m}",
        f'pattern = "{sprayer.pattern}"',
        *top,
        f"nozzle_forward_m = {sprayer.nozzle_forward_m}",
        f"nozzle_right_m = {sprayer.nozzle_right_m}",
        f"delay_s = {sprayer.delay_s}",
        f"tank_l = {sprayer.tank_l}",
        "",
        "[flow_meter]",
        f"pulses_per_l = {scenario.meter.pulses_per_l}",
        "sd_percent = 2.0",
        "",
        "[anemometer]",
        *_anemometer_lines(scenario),
        f"height_m = {scenario.wind.height_m}",
        "",
        "[receiver]",
        'class = "auto"',
        f"latency_s = {latency_s}",
        "",
        "[treatment]",
        f"target_l_per_m2 = {scenario.target_l_per_m2}",
        f"wind_limit_mps = {scenario.wind_limit_mps}",
        *_peg_lines(scenario),
    ]
    return "\n".join(lines) + "\n"


def _anemometer_lines(scenario: Scenario) -> list[str]:
    """The cup's line, threshold and inertia; an instrument that tells a speed has no line and hardly any inertia."""
    cup, meter = scenario.cup, scenario.speed_meter
    if meter is not None:
        return [f"threshold_mps = {meter.threshold_mps}", "distance_constant_m = 0.1"]
    return [
        f"mps_per_hz = {cup.mps_per_hz}",
        f"offset_mps = {cup.offset_mps}",
        f"threshold_mps = {cup.threshold_mps}",
        f"distance_constant_m = {cup.distance_constant_m}",
    ]


def _peg_lines(scenario: Scenario) -> list[str]:
    """The peg's entry, if the operator has one."""
    if scenario.plan.peg is None:
        return []
    east, north = scenario.plan.peg
    lat, lon = scenario.lawn.plane.degrees(np.array(east), np.array(north))
    return ["", "[[peg]]", 'name = "A"', f"lat = {float(lat):.9f}", f"lon = {float(lon):.9f}", "sd_m = 0.15"]


def save_setup(scenario: Scenario, latency_s: float, folder: Path) -> None:
    """Write setup.toml and lawn.geojson."""
    (folder / "setup.toml").write_text(setup_toml(scenario, latency_s), encoding="utf-8")
    (folder / "lawn.geojson").write_text(lawn_geojson(scenario.lawn), encoding="utf-8")
