"""Pins, ports, sampler and settings of the rig."""

import asyncio
import os
from collections import deque
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from rig import wire
from rig.errors import HardwareError, SettingsError
from rig.hardware.gpio import GpioCounter
from rig.hardware.serial import SerialPort
from rig.link import MqttLink
from rig.ports import EdgeCount, LinkEvents, MonotonicClock
from rig.sampler import Channel, Sampler
from rig.settings import RANGES, read_settings, settings_from_mapping

WAIT_S = 10.0


@dataclass
class FakeRequest:
    """A line whose kernel queue holds 1,024 events and drops the oldest beyond, as the kernel does."""

    queue: deque = field(default_factory=lambda: deque(maxlen=1024))
    seqno: int = 0
    is_released: bool = False

    def pulse(self, count: int, at_ns: int) -> None:
        for k in range(count):
            self.seqno += 1
            self.queue.append(SimpleNamespace(line_seqno=self.seqno, timestamp_ns=at_ns + k * 1000))

    def wait_edge_events(self, timeout: timedelta) -> bool:
        return bool(self.queue)

    def read_edge_events(self, limit: int) -> list:
        return [self.queue.popleft() for _ in range(min(limit, len(self.queue)))]

    def release(self) -> None:
        self.is_released = True


def fake_gpiod(request: FakeRequest | None, asked: list) -> SimpleNamespace:
    """The part of gpiod's interface that is used."""

    def request_lines(path, *, consumer, config, event_buffer_size):
        asked.append((path, consumer, config, event_buffer_size))
        if request is None:
            raise FileNotFoundError(2, "No such file or directory")
        return request

    line = SimpleNamespace(
        Direction=SimpleNamespace(INPUT="in"),
        Edge=SimpleNamespace(RISING="up"),
        Clock=SimpleNamespace(MONOTONIC="mono"),
    )
    return SimpleNamespace(line=line, LineSettings=lambda **settings: settings, request_lines=request_lines)


def test_a_burst_loses_no_pulse_though_events_are_lost() -> None:
    request, asked = FakeRequest(), []
    counter = GpioCounter("/dev/gpiochip0", 17, 0.001, fake_gpiod(request, asked))
    request.pulse(3, 1_000_000_000)
    assert counter.read() == EdgeCount(3, 1.000002, 0)
    request.pulse(2000, 2_000_000_000)
    assert len(request.queue) == 1024
    found = counter.read()
    assert found.pulses == 2003
    assert found.edge_mono == pytest.approx(2.001999)
    path, _, config, _ = asked[0]
    assert path == "/dev/gpiochip0"
    assert config[17]["debounce_period"] == timedelta(seconds=0.001)
    assert config[17]["event_clock"] == "mono"
    counter.close()
    assert request.is_released


def test_a_missing_chip_is_one_clear_line() -> None:
    with pytest.raises(HardwareError, match=r"/dev/gpiochip9 line 4: cannot be opened .* group gpio"):
        GpioCounter("/dev/gpiochip9", 4, 0.001, fake_gpiod(None, []))


def test_serial_port_reads_and_comes_back_after_a_hang_up(tmp_path: Path, caplog) -> None:
    async def play() -> list[bytes]:
        master, slave = os.openpty()
        link = tmp_path / "receiver"
        link.symlink_to(os.ttyname(slave))
        port = SerialPort(str(link), 38400, MonotonicClock())
        port.open()
        os.write(master, b"$first\r\n")
        first, at = await asyncio.wait_for(port.read(), WAIT_S)
        assert at > 0
        reading = asyncio.ensure_future(port.read())
        await asyncio.sleep(0)
        link.unlink()
        os.close(slave)
        os.close(master)  # the receiver is unplugged
        master, slave = os.openpty()
        link.symlink_to(os.ttyname(slave))
        while not reading.done():
            os.write(master, b"$second\r\n")
            await asyncio.wait([reading], timeout=0.1)
        second, _ = reading.result()
        port.close()
        os.close(slave)
        os.close(master)
        return [first, second]

    first, second = asyncio.run(asyncio.wait_for(play(), 3 * WAIT_S))
    assert first == b"$first\r\n"
    assert second.startswith(b"$second")


def test_a_port_that_is_not_there_or_no_port_is_one_clear_line(tmp_path: Path) -> None:
    port = SerialPort(str(tmp_path / "ttyNONE"), 38400, MonotonicClock())
    with pytest.raises(HardwareError, match="is the receiver plugged in"):
        port.open()
    (tmp_path / "file").touch()
    with pytest.raises(HardwareError, match="is not a serial port"):
        SerialPort(str(tmp_path / "file"), 38400, MonotonicClock()).open()


def test_a_speed_that_no_system_knows_is_refused_and_the_port_let_go() -> None:
    master, slave = os.openpty()
    before = len(list(Path("/proc/self/fd").iterdir()))
    with pytest.raises(HardwareError, match="12345 baud"):
        SerialPort(os.ttyname(slave), 12345, MonotonicClock()).open()
    assert len(list(Path("/proc/self/fd").iterdir())) == before
    os.close(slave)
    os.close(master)


def test_a_refusal_of_the_broker_is_told_once_a_change() -> None:
    told: list[str] = []
    link = MqttLink("rig", "0123abcd", host="127.0.0.1", port=1, user=None, password=None)
    link._events = LinkEvents(lambda is_up: None, told.append, lambda stream, payload: None)
    for _ in range(3):
        link._tell_refusal("Not authorized")
    assert len(told) == 1
    link._tell_connection(True)
    link._tell_refusal("Not authorized")
    assert len(told) == 2


class Steps:
    """A counter that says what it is told."""

    def __init__(self) -> None:
        self.count = EdgeCount(0, None, 0)

    def read(self) -> EdgeCount:
        return self.count

    def close(self) -> None:
        """Nothing to close."""


def test_sampler_keeps_its_beat_and_numbers_by_stream() -> None:
    flow, wind = Steps(), Steps()
    sampler = Sampler("0123abcd", (Channel("flow", flow, 5.0, 500.0), Channel("wind", wind, 2.0, 500.0)))
    found = sampler.begin(100.03)
    assert [message.kind for message in found if isinstance(message, wire.Event)] == ["started"]
    times = []
    for k in range(1000):
        now = 100.03 + 0.013 * k
        flow.count = EdgeCount(k // 10, now, 0)
        for message in sampler.sample(now):
            if isinstance(message, wire.Flow):
                times.append((message.seq, message.mono))
    assert [seq for seq, _ in times] == list(range(len(times)))
    assert len(times) == pytest.approx(13.0 * 5, abs=1)
    late = [mono * 5 - int(mono * 5) for _, mono in times]
    assert max(late) < 0.07, "a beat is late by one step at most, and the lateness does not add up"


def test_an_impossible_rate_is_told_once_a_minute() -> None:
    flow = Steps()
    sampler = Sampler("0123abcd", (Channel("flow", flow, 5.0, 100.0),))
    sampler.begin(0.0)
    kinds = []
    for k in range(1, 400):
        flow.count = EdgeCount(flow.count.pulses + 60, 0.2 * k, 0)
        kinds += [m.detail for m in sampler.sample(0.2 * k) if isinstance(m, wire.Event)]
    assert len(kinds) == 2
    assert kinds[0]["stream"] == "flow"
    assert kinds[0]["rate_hz"] == pytest.approx(300.0)


def test_the_settings_file_to_start_from_is_good_and_whole(root: Path) -> None:
    settings = read_settings(root / "deploy/rig.toml")
    assert settings.flow.line == 17
    text = (root / "deploy/rig.toml").read_text()
    for key in RANGES:
        assert f"{key.split('.')[1]} =" in text, key


@pytest.mark.parametrize("key", RANGES)
def test_values_out_of_range_are_refused_by_name(key: str) -> None:
    table, name = key.split(".")
    _, high = RANGES[key]
    value = type(high)(high * 2 + 1) if isinstance(high, float) else high + 1
    if name in {"debounce_s", "maximum_hz", "sample_rate_hz", "keep_days", "keep_mib"}:
        value = float(value)
    with pytest.raises(SettingsError, match=rf"{table}\.{name} = .* is out of range: .* is allowed"):
        settings_from_mapping({table: {name: value}})


@pytest.mark.parametrize(
    ("found", "words"),
    [({"flwo": {}}, "did you mean flow"), ({"flow": {"debounce_ms": 1}}, "did you mean debounce_s"),
     ({"flow": {"line": "17"}}, "must be a whole number"), ({"sounder": {"bell": 1}}, "must be true or false"),
     ({"rig": {"name": "Rig 1"}}, "rig.name"), ({"spool": 3}, "must be a table")],
)  # fmt: skip
def test_wrong_settings_are_refused_with_what_to_do(found: dict, words: str) -> None:
    with pytest.raises(SettingsError, match=words):
        settings_from_mapping(found)


def test_a_missing_or_torn_file_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="no such settings file"):
        read_settings(tmp_path / "none.toml")
    (tmp_path / "torn.toml").write_text("[flow\nline = 3")
    with pytest.raises(SettingsError, match=r"not TOML.*line 1"):
        read_settings(tmp_path / "torn.toml")
