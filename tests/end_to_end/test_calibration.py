"""A walk with a worn cup through Mosquitto, the service and HTTP: calibrated to within its told uncertainty."""

from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from programs import Http, Program, wait_for

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.sensors.anemometer import Cup
from firmware_sim.setup import save_setup
from firmware_sim.world.square import SquarePlan
from firmware_sim.world.wind import WindPlan
from server.rawlog import read_raw_log

BOOT = "0123456789abcdef"
WEAR = 0.05


def publish_log(path: Path, port: int) -> int:
    """Send a raw log's messages as a rig that catches up does."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.max_queued_messages_set(0)
    client.connect("127.0.0.1", port)
    client.loop_start()
    sent = [client.publish(each.topic, each.payload, qos=1) for each in read_raw_log(path)]
    for each in sent:
        each.wait_for_publish(60)
    client.disconnect()
    client.loop_stop()
    return len(sent)


def test_a_walk_calibrates_a_cup_five_per_cent_off(
    broker, programs: list[Program], free_port: int, tmp_path: Path
) -> None:
    plain = SCENARIOS["straight"]
    scenario = replace(plain, wind=WindPlan(0.3, 200.0, 0.25), cup=replace(plain.cup, wear=WEAR))
    world = build_world(scenario, 2, receiver_class="clean", square=SquarePlan(minutes=12.0))
    write_log(world.feed, tmp_path / "log.ndjson", rig="rig-1", boot=BOOT)
    save_setup(replace(world.scenario, cup=Cup()), world.receiver.latency_s, tmp_path)
    service = Program(
        tmp_path / "service.log", "server", "serve", "--setup", str(tmp_path / "setup.toml"), "--database",
        str(tmp_path / "db.sqlite3"), "--broker", f"127.0.0.1:{broker.port}", "--port", str(free_port),
    )  # fmt: skip
    programs.append(service)
    service.start()
    http = Http(free_port)
    wait_for(lambda: (http.ask("/api/health") or {}).get("broker"), "the service has its broker")
    count = publish_log(tmp_path / "log.ndjson", broker.port)
    wait_for(lambda: http.ask("/api/quarantine")["counts"].get("read", 0) >= count, "all is stored", 90)
    assert http.ask("/api/calibrations/clock")["boot"] == BOOT
    end = MONO_START_S + world.walk.duration_s
    body = {"way": "walk", "rig": "rig-1", "interval": {"boot": BOOT, "start": MONO_START_S, "end": end}}
    found = http.ask("/api/calibrations", "POST", body)
    assert found["is_usable"], found["refusal"]
    hz = ((1.0 - WEAR) * 4.5 - 0.2) / 0.34
    told = found["offset_mps"] + found["mps_per_hz"] * hz
    assert abs(told / 4.5 - 1.0) < 1.645 * found["scale_sd"]
    assert found["change_percent"] == pytest.approx(5.0, abs=1.645 * 100.0 * found["scale_sd"])
    http.ask(f"/api/calibrations/{found['id']}/apply", "POST")
    assert http.ask("/api/setup")["anemometer"]["mps_per_hz"] == found["mps_per_hz"]
    assert http.ask("/api/calibrations")[0]["applied_utc"] is not None
