"""The bench: a scenario through the device's own parser, sampler and link gives what the ledger says."""

import asyncio
import dataclasses
import json
import os
import time

import numpy as np
import paho.mqtt.client as mqtt
import pytest

from firmware_sim import bench
from firmware_sim.bench import MONO_START_S, RigRun, record, run_rig, write_log
from firmware_sim.build import build_world
from firmware_sim.clock import ScaledClock, SteppedClock
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from rig import wire
from server.settings import read_setup

BOOT = "00000000000000aa"


@pytest.fixture(scope="module")
def demo():
    """The demo's world and every message of it."""
    world = build_world(SCENARIOS["demo"], 1)
    return world, [message for _, message in record(world.feed, BOOT)]


def of(messages, kind):
    """The messages of one class."""
    return [m for m in messages if isinstance(m, kind)]


def test_the_log_counts_every_true_pulse_and_no_bounce(demo):
    """Last cumulative counts = true edges; rejected = the false ones."""
    world, messages = demo
    flow, wind = of(messages, wire.Flow), of(messages, wire.Wind)
    assert flow[-1].pulses == len(world.true_flow_edges)
    assert flow[-1].edges_rejected == len(world.feed.flow_edges) - len(world.true_flow_edges) > 0
    # Edges of the cup within the last beat are not yet counted.
    assert 0 <= len(world.true_cup_edges) - wind[-1].pulses < 20


def test_every_count_is_the_ledger_s_count_at_that_time(demo):
    """Each flow message against the exact pulse curve at its own time."""
    world, messages = demo
    flow = of(messages, wire.Flow)
    t = np.array([m.mono for m in flow]) - MONO_START_S
    assert np.array_equal([m.pulses for m in flow], np.floor(world.pulses.total_at(t) + 1e-9).astype(int))


def test_every_epoch_becomes_one_fix_stamped_when_its_first_byte_came(demo):
    """As many fixes as bursts, `mono` the burst's time, `utc` the epoch's."""
    world, messages = demo
    fixes = of(messages, wire.Position)
    assert len(fixes) == len(world.feed.bursts)
    assert [m.mono for m in fixes] == pytest.approx([at + MONO_START_S for at, _ in world.feed.bursts], abs=1e-6)
    assert [m.utc for m in fixes] == pytest.approx((world.fixes.t + world.feed.utc_start).tolist(), abs=5.1e-3)
    assert {m.fix for m in fixes} == {"fixed"}


def test_buttons_and_air_are_in_the_log(demo):
    """All presses, in order; the air every 10 s."""
    world, messages = demo
    pressed = [m.detail["name"] for m in of(messages, wire.Event) if m.kind == "button"]
    assert pressed == [p.name for p in world.walk.presses]
    assert len(of(messages, wire.Climate)) == int(world.feed.duration_s / 10.0) + 1


def test_sequence_numbers_have_no_gap(demo):
    """Per stream 0, 1, 2 …"""
    _, messages = demo
    for kind in (wire.Position, wire.Flow, wire.Wind, wire.Climate, wire.Event):
        assert [m.seq for m in of(messages, kind)] == list(range(len(of(messages, kind))))


def test_a_log_is_the_same_bytes_for_the_same_seed(tmp_path):
    """Written twice, from two worlds of one seed."""
    for name in ("a", "b"):
        write_log(build_world(SCENARIOS["straight"], 5).feed, tmp_path / f"{name}.ndjson", rig="sim", boot=BOOT)
    assert (tmp_path / "a.ndjson").read_bytes() == (tmp_path / "b.ndjson").read_bytes()


def test_every_line_of_a_log_is_a_valid_message(tmp_path):
    """Through the contract's own strict decoder, with a plausible time of arrival."""
    world = build_world(SCENARIOS["dropouts"], 2)
    count = write_log(world.feed, tmp_path / "log.ndjson", rig="sim", boot=BOOT)
    lines = (tmp_path / "log.ndjson").read_bytes().splitlines()
    assert len(lines) == count
    for line in lines:
        found = json.loads(line)
        rig, stream = wire.split_topic(found["topic"])
        message = wire.decode(stream, json.dumps(found["payload"]).encode())
        assert rig == "sim"
        late = found["received"] - world.feed.utc_start - (message.mono - MONO_START_S)
        assert 0.0 <= late < 0.5


def test_the_service_reads_the_settings_that_go_with_every_scenario(tmp_path):
    """The strict reader of SETUP.toml takes them, with the scenario's numbers and polygons."""
    for name, scenario in SCENARIOS.items():
        folder = tmp_path / name
        folder.mkdir()
        save_setup(scenario, 0.08, folder)
        setup = read_setup(folder / "setup.toml")
        assert setup.sprayer.swath_m == scenario.sprayer.swath_m
        assert setup.treatment.target_l_per_m2 == scenario.target_l_per_m2
        assert setup.anemometer.mps_per_hz == scenario.cup.mps_per_hz
        assert len(setup.zones) == len(scenario.lawn.polygons)
        assert len(setup.pegs) == (scenario.plan.peg is not None)


def test_the_target_is_what_the_sprayer_gives_at_the_planned_pace():
    """F1 of the physics handbook: 1.2 L/min at 1.2 m/s over 1 m is 1.6667 L/100 m²."""
    assert SCENARIOS["paddock_morning"].target_l_per_m2 * 100.0 == pytest.approx(1.6667, abs=1e-4)


def test_a_stepped_clock_never_goes_back():
    """It moves when told to and refuses to return."""
    clock = SteppedClock(5.0)
    clock.step_to(7.5)
    assert clock.now() == 7.5
    with pytest.raises(ValueError, match="step back"):
        clock.step_to(7.0)


def test_a_scaled_clock_runs_at_its_pace():
    """1000 times real time: between two looks, 1000 times what the machine's clock says."""
    clock = ScaledClock(1000.0, start_s=50.0)
    before, first = time.monotonic(), clock.now()
    asyncio.run(clock.sleep(20.0))
    last, after = clock.now(), time.monotonic()
    assert first >= 50.0
    assert 20.0 <= last - first <= (after - before) * 1000.0
    with pytest.raises(ValueError, match="above 0"):
        ScaledClock(0.0)


class Listener:
    """A bare client that keeps every message of one rig and acknowledges like a service."""

    def __init__(self, port):
        self.heard = []
        self.highest = {}
        self.client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self.client.on_message = self._note
        self.client.connect("127.0.0.1", port)
        self.client.subscribe("calmpass/1/bench/+", qos=1)
        self.client.publish("calmpass/1/bench/service", b'{"state":"online"}', qos=1, retain=True)
        self.client.loop_start()

    def _note(self, client, userdata, message):
        stream = message.topic.rsplit("/", 1)[1]
        if stream not in wire.SAMPLE_STREAMS:
            return
        found = wire.decode(stream, message.payload)
        self.heard.append(found)
        self.highest.setdefault(found.boot, {})[stream] = found.seq
        ack = wire.Ack(found.boot, dict(self.highest[found.boot]))
        client.publish("calmpass/1/bench/ack", wire.encode(ack), qos=1)

    def close(self):
        """Stop listening."""
        self.client.loop_stop()
        self.client.disconnect()


def run_straight(broker, tmp_path, start_s):
    """Run the whole device on the shortest scenario from a time on; what was heard."""
    listener = Listener(broker.port)
    run = RigRun("127.0.0.1", broker.port, "bench", tmp_path / "spool.sqlite3", pace=20.0, start_s=start_s)
    try:
        is_settled = asyncio.run(run_rig(build_world(SCENARIOS["straight"], 1).feed, run))
    finally:
        listener.close()
    assert is_settled
    return {(wire.stream_of(m), m.seq): m for m in listener.heard}.values()


def test_the_whole_device_on_a_pseudo_terminal_says_what_the_ledger_says(broker, tmp_path):
    """Pty, parser, counters, spool, link and Mosquitto, at 20 times real time: every pulse, every fix."""
    world = build_world(SCENARIOS["straight"], 1)
    heard = run_straight(broker, tmp_path, 0.0)
    assert max(m.pulses for m in of(heard, wire.Flow)) == len(world.true_flow_edges)
    fixes = of(heard, wire.Position)
    assert abs(len(fixes) - len(world.feed.bursts)) <= 2
    assert len({m.utc for m in fixes}) == len(fixes)


def test_a_device_started_in_the_middle_counts_from_nought(broker, tmp_path):
    """From 30 s on: only the pulses since then, on a clock that went on."""
    world = build_world(SCENARIOS["straight"], 1)
    heard = run_straight(broker, tmp_path, 30.0)
    flow = of(heard, wire.Flow)
    assert min(m.mono for m in flow) >= MONO_START_S + 30.0
    since = int(np.sum(world.true_flow_edges > 30.0))
    assert since - 2 <= max(m.pulses for m in flow) <= since


def test_a_button_due_before_the_device_was_ready_is_pressed_late(demo):
    """On a busy machine, at a high pace, the first seconds pass while the device opens its parts."""
    world, _ = demo
    feed = dataclasses.replace(world.feed, bursts=[], duration_s=5.0)
    due = [press.name for press in feed.presses]
    assert due[0] == "start"
    pressed = []

    class Presses:
        press = staticmethod(pressed.append)

    clock = ScaledClock(1e5, 0.0)
    while clock.now() < 5.0:
        pass
    ends = os.openpty()
    asyncio.run(bench._play(feed, 0.0, clock, ends[0], Presses()))
    for end in ends:
        os.close(end)
    assert pressed == due
