"""The wind alarm through all real parts, heard at the rig's own sounder: when it sounds, when not, and how soon."""

import json
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from programs import Http, Program, wait_for

from firmware_sim.bench import write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from server.rawlog import gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup

PACE = 10.0
DELAY_S = 3.0
"""Beyond the rule: one second of air to judge, commit, publish and hear, on a loaded machine."""


@dataclass
class Ear:
    """Listens beside the service: the device's clock as last heard, and when the alarm first said stop."""

    port: int
    mono: float = 0.0
    stop_mono: float | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        """Subscribe."""
        self.client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self.client.on_message = self._hear
        self.client.on_connect = lambda client, *_: client.subscribe("calmpass/1/+/+")
        self.client.connect("127.0.0.1", self.port)
        self.client.loop_start()

    def _hear(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        found = json.loads(message.payload)
        with self.lock:
            if message.topic.endswith("/wind"):
                self.mono = max(self.mono, found["mono"])
            elif message.topic.endswith("/alarm") and found["level"] == "stop" and self.stop_mono is None:
                self.stop_mono = self.mono

    def close(self) -> None:
        """Go."""
        self.client.disconnect()
        self.client.loop_stop()


def rule_mono(name: str, folder: Path) -> float | None:
    """When the rule itself says stop, in the device's time: a review of the same samples without any network."""
    world = build_world(SCENARIOS[name], 1)
    write_log(world.feed, folder / "log.ndjson", rig="rig-1", boot="0" * 16)
    save_setup(world.scenario, world.receiver.latency_s, folder)
    setup = read_setup(folder / "setup.toml")
    wind = review_job(gather_log(read_raw_log(folder / "log.ndjson"), setup.job), setup).wind
    return next((float(t) for t, level in zip(wind.t, wind.alarm, strict=True) if level == "stop"), None)


def start_parts(name: str, broker, programs: list[Program], port: int, folder: Path, pace: float) -> list[Program]:
    """Service and rig as processes."""
    address = f"127.0.0.1:{broker.port}"
    service = Program(
        folder / "service.log", "server", "serve", "--setup", str(folder / "setup.toml"), "--database",
        str(folder / "db.sqlite3"), "--broker", address, "--port", str(port),
    )  # fmt: skip
    rig = Program(
        folder / "rig.log", "firmware_sim", "rig", name, "--broker", address, "--rig", "rig-1", "--spool",
        str(folder / "spool.sqlite3"), "--pace", str(pace),
    )  # fmt: skip
    programs += [service, rig]
    service.start()
    wait_for(lambda: Http(port).ask("/api/health"), "the service answers")
    rig.start()
    return [service, rig]


@pytest.mark.parametrize("name", ["wind_step", "gust_three_seconds"])
def test_stop_sounds_at_the_rig_soon_after_the_rule(
    name: str, broker, programs: list[Program], free_port: int, tmp_path: Path
) -> None:
    wanted = rule_mono(name, tmp_path)
    assert wanted is not None
    ear = Ear(broker.port)
    _, rig = start_parts(name, broker, programs, free_port, tmp_path, PACE)
    wait_for(lambda: "STOP:" in rig.words and "beep" in rig.words, "the rig says stop")
    wait_for(lambda: ear.stop_mono is not None, "the alarm is heard beside the rig", 5.0)
    ear.close()
    assert ear.stop_mono is not None
    delay_s = (ear.stop_mono - wanted) / PACE
    print(f"{name}: rule at {wanted:.1f} s, heard {delay_s:+.2f} s of real time later")
    # The live fold judges whole seconds of the same air; it may be a second or two of the device's time ahead.
    assert ear.stop_mono - wanted >= -2.0
    assert delay_s <= DELAY_S


def test_lone_gust_of_a_second_does_not_sound(broker, programs: list[Program], free_port: int, tmp_path: Path) -> None:
    assert rule_mono("gust_one_second", tmp_path) is None
    ear = Ear(broker.port)
    _, rig = start_parts("gust_one_second", broker, programs, free_port, tmp_path, PACE)
    wait_for(lambda: ear.mono > 330.0, "the gust at 200 s is long over")
    wait_for(lambda: (Http(free_port).ask("/api/live") or {})["wind"]["apparent_mps"] is not None, "wind is followed")
    ear.close()
    assert ear.stop_mono is None
    assert "STOP:" not in rig.words


def test_sounder_says_within_five_seconds_that_the_service_is_gone(
    broker, programs: list[Program], free_port: int, tmp_path: Path
) -> None:
    world = build_world(SCENARIOS["straight"], 1)
    save_setup(world.scenario, world.receiver.latency_s, tmp_path)
    service, rig = start_parts("long_hour", broker, programs, free_port, tmp_path, 1.0)
    wait_for(lambda: (Http(free_port).ask("/api/live") or {}).get("messages", {}).get("read", 0) > 10, "samples come")
    before = len(rig.words)
    killed_at = time.monotonic()
    service.kill()
    wait_for(lambda: "beep" in rig.words[before:], "the rig says that nobody watches", 10.0)
    took_s = time.monotonic() - killed_at
    print(f"said after {took_s:.2f} s")
    assert took_s <= 5.0
