"""How soon the alarm follows a step of the mean wind, and how soon after that the rig's sounder beeps.

Printed by `python tests/benchmarks/wind.py --steps 60`. The first part walks through simulated steps from 3 to 5.5 m/s
at a limit of 4.5, turbulence 20 % in three spectra, through log, review and the estimator's causal half; beside it an
oracle that knows the true 60-s mean. The second runs broker, service and rig as programs and takes the time from the
wind message that completes the deciding second until the beep; it needs mosquitto.
"""

import json
import os
import sys
import tempfile
import threading
import time
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import paho.mqtt.client as mqtt

from firmware_sim.bench import MONO_START_S
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS, Scenario, plan_strips, strip_lawn
from firmware_sim.sensors.gnss import Receiver
from firmware_sim.setup import save_setup
from firmware_sim.truth import running_mean
from firmware_sim.world.wind import Change, WindPlan
from server.core.alarm import LIKELY, RATHER

STEP_AT_S, AHEAD_S = 300.0, 60.0
BEFORE_MPS, AFTER_MPS, LIMIT_MPS = 3.0, 5.5, 4.5
PACE, GUST, FROM_S = 2.0, "gust_three_seconds", 120.0
WAIT_S = 90.0
SOUNDER_RUNS = 3
NAMES = ("alarm", "oracle", "alarm by the mean alone", "oracle by the mean alone")


def make_step(seed: int, spectrum: str, klass: str) -> Scenario:
    """A job of eight minutes in whose midst the mean wind steps up; the seed tells where from."""
    rng = np.random.default_rng([seed, 81])
    length, pace = float(rng.uniform(20.0, 40.0)), float(rng.uniform(0.9, 1.4))
    lines = round(480.0 / (length / pace + 4.0))
    wind = WindPlan(
        BEFORE_MPS, float(rng.uniform(0.0, 360.0)), 0.2, spectrum, slow_sd=0.02, meander_deg=5.0,
        changes=(Change(STEP_AT_S, AFTER_MPS, 0.1),),
    )  # fmt: skip
    plan = plan_strips(lines, 1.0, pace_mps=pace, scatter_m=0.05, weave_m=0.03)
    return Scenario(
        f"step {seed}", "", strip_lawn(lines, length), plan, wind=wind, receiver=Receiver(klass, 5.0),
        wind_limit_mps=LIMIT_MPS,
    )  # fmt: skip


def delay_of(on: np.ndarray, t: np.ndarray) -> float:
    """Seconds from the step to the alarm: negative where it was on in the minute before, infinite where it never is."""
    after = t - MONO_START_S - STEP_AT_S
    chosen = on & (after > -AHEAD_S)
    return float(after[chosen][0]) if chosen.any() else float("inf")


def describe_delays(name: str, delays: tuple[float, ...]) -> str:
    """One row of the table."""
    late = sorted(delay for delay in delays if delay > 0.0)
    return (
        f"  {name}: median {np.median(late):.0f} p90 {np.quantile(late, 0.9, method='higher'):.0f} s; "
        f"{len(delays) - len(late)} of {len(delays)} before the step, {sum(np.isinf(delays))} never"
    )


def play_step(seed: int) -> tuple[float, ...]:
    """The delays of alarm and oracle behind one step, by the whole rule and by the mean alone."""
    import wind  # It imports this module, to offer the option.

    scenario = make_step(seed, wind.SPECTRA[seed % len(wind.SPECTRA)], wind.RECEIVERS[seed % len(wind.RECEIVERS)])
    told = wind.tell_world(build_world(scenario, seed))
    series, p = told.series, told.series.p_above_limit
    whole = np.array([level == "stop" for level in series.alarm])
    mean = (p > RATHER) | ((p > LIKELY) & (running_mean(series.apparent_mps, 60) > LIMIT_MPS))
    known = running_mean(told.speed, 60) > LIMIT_MPS
    return tuple(delay_of(on, series.t) for on in (whole, wind.ask_oracle(told), mean, known))


def print_steps(seeds: range) -> None:
    """Both tables."""
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        delays = zip(*pool.map(play_step, seeds), strict=True)
    print(f"steps from {BEFORE_MPS} to {AFTER_MPS} m/s, limit {LIMIT_MPS}: {len(seeds)} jobs")
    for name, found in zip(NAMES, delays, strict=True):
        print(describe_delays(name, found), flush=True)
    print_sounder(SOUNDER_RUNS)


class Ear:
    """Hears beside the service when each wind message came, and when the alarm first said stop."""

    def __init__(self, port: int) -> None:
        self.winds: list[tuple[float, float]] = []
        self.stop_at: float | None = None
        self.client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self.client.on_message = self._hear
        self.client.on_connect = lambda client, *_: client.subscribe("calmpass/1/+/+")
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _hear(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        now, found = time.monotonic(), json.loads(message.payload)
        if message.topic.endswith("/wind"):
            self.winds.append((now, found["mono"]))
        elif message.topic.endswith("/alarm") and found["level"] == "stop" and self.stop_at is None:
            self.stop_at = now

    def decided_at(self) -> float:
        """When the message came that completed the latest whole second before the alarm."""
        before = [wind for wind in self.winds if self.stop_at is not None and wind[0] < self.stop_at]
        crossed = [b[0] for a, b in pairwise(before) if int(b[1] + 1e-6) > int(a[1] + 1e-6)]
        return crossed[-1]


def watch_beep(log: Path, found: list[float], done: threading.Event) -> None:
    """Note when the rig's horn has first sounded for the wind."""
    while not done.is_set() and not found:
        words = log.read_text(errors="replace") if log.exists() else ""
        if "STOP:" in words and "beep" in words:
            found.append(time.monotonic())
        time.sleep(0.005)


def time_sounder() -> tuple[float, float]:
    """Seconds from the deciding wind message to the alarm on the broker, and to the beep, through real programs."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    from conftest import Broker
    from programs import Http, Program, find_free_port, wait_for

    with tempfile.TemporaryDirectory() as name:
        folder, port, done = Path(name), find_free_port(), threading.Event()
        world = build_world(SCENARIOS[GUST], 1)
        save_setup(world.scenario, world.receiver.latency_s, folder)
        broker = Broker(find_free_port(), folder)
        broker.start()
        address = f"127.0.0.1:{broker.port}"
        service = Program(
            folder / "service.log", "server", "serve", "--setup", str(folder / "setup.toml"), "--database",
            str(folder / "db.sqlite3"), "--broker", address, "--port", str(port),
        )  # fmt: skip
        rig = Program(
            folder / "rig.log", "firmware_sim", "rig", GUST, "--broker", address, "--rig", "rig-1", "--spool",
            str(folder / "spool.sqlite3"), "--pace", str(PACE), "--from", str(FROM_S),
        )  # fmt: skip
        ear, beeps = Ear(broker.port), list[float]()
        watcher = threading.Thread(target=watch_beep, args=(rig.log, beeps, done))
        try:
            service.start()
            wait_for(lambda: Http(port).ask("/api/health"), "the service answers")
            rig.start()
            watcher.start()
            wait_for(lambda: ear.stop_at and beeps, "the rig beeps", WAIT_S)
            decided = ear.decided_at()
            assert ear.stop_at is not None
            return ear.stop_at - decided, beeps[0] - decided
        finally:
            done.set()
            ear.client.disconnect()
            ear.client.loop_stop()
            for program in (rig, service, broker):
                program.kill()


def print_sounder(runs: int) -> None:
    """The delay through real programs, a row."""
    delays = np.array([time_sounder() for _ in range(runs)])
    told, beeped = np.median(delays, axis=0)
    print(
        f"  from the deciding wind message to the alarm on the broker median {told:.3f} s, to the beep {beeped:.3f} s, "
        f"most {delays[:, 1].max():.3f} s; {runs} runs"
    )
