"""The service's link on a real broker: it waits, comes back, tells again what holds, and says plainly what is wrong."""

import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from rig import wire
from server.link import LinkEvents, LinkSettings, MqttLink

PATIENCE_S = 20.0
ALARM = wire.Alarm("stop", "3-s gust 7.4 m/s", None, 3)


class Ear:
    """A listener beside the service, as a rig is."""

    def __init__(self, port: int) -> None:
        self._woken = threading.Condition()
        self.heard: list[tuple[str, bytes, bool]] = []
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda client, *_: client.subscribe("calmpass/1/+/+", 1)
        ready = threading.Event()
        self._client.on_subscribe = lambda *_: ready.set()
        self._client.on_message = lambda client, data, message: self.note(message)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert ready.wait(PATIENCE_S)

    def note(self, message: mqtt.MQTTMessage) -> None:
        """Remember one message."""
        with self._woken:
            self.heard.append((message.topic, message.payload, message.retain))
            self._woken.notify_all()

    def wait(self, claim: Callable[[list[tuple[str, bytes, bool]]], bool]) -> bool:
        """Wait for something to be heard."""
        with self._woken:
            return self._woken.wait_for(lambda: claim(self.heard), PATIENCE_S)

    def send(self, topic: str, payload: bytes) -> None:
        """Send as a rig does."""
        self._client.publish(topic, payload, 1).wait_for_publish(PATIENCE_S)

    def close(self) -> None:
        """Go."""
        self._client.disconnect()
        self._client.loop_stop()


class Desk:
    """What the link reports."""

    def __init__(self) -> None:
        self.messages: list[tuple[str, bytes]] = []
        self.refusals: list[str] = []
        self.is_up: list[bool] = []
        self._woken = threading.Condition()
        self.events = LinkEvents(
            lambda topic, payload: self._note(self.messages, (topic, payload)),
            lambda is_up: self._note(self.is_up, is_up),
            lambda reason: self._note(self.refusals, reason),
        )

    def _note(self, into: list, what: object) -> None:
        with self._woken:
            into.append(what)
            self._woken.notify_all()

    def wait(self, claim: Callable[[], bool]) -> bool:
        """Wait for something to be reported."""
        with self._woken:
            return self._woken.wait_for(claim, PATIENCE_S)


@pytest.fixture
def desk() -> Desk:
    """Hears what the link reports."""
    return Desk()


@pytest.fixture
def link(broker, desk) -> Iterator[MqttLink]:
    """The service's link to the test's broker."""
    found = MqttLink(LinkSettings("127.0.0.1", broker.port), desk.events)
    found.open()
    yield found
    found.close()


def is_service(payload: bytes, state: str) -> bool:
    """Whether a payload is the service's state."""
    return wire.decode("service", payload) == wire.Service(state)


def test_what_a_rig_sends_arrives_to_the_byte_and_answers_reach_it(broker, desk, link) -> None:
    ear = Ear(broker.port)
    assert desk.wait(lambda: True in desk.is_up)
    ear.send("calmpass/1/cart/flow", b"\x00 not even JSON \xff")
    assert desk.wait(lambda: ("calmpass/1/cart/flow", b"\x00 not even JSON \xff") in desk.messages)
    link.publish("cart", wire.Ack("a1b2c3d4", {"flow": 7}))
    assert ear.wait(lambda heard: any(t.endswith("/ack") and not retained for t, _, retained in heard))
    ear.close()


def test_a_greeted_rig_is_told_online_and_at_the_end_offline_and_both_are_kept(broker, desk, link, caplog) -> None:
    link.greet("cart")
    early = Ear(broker.port)
    assert early.wait(
        lambda heard: any(t == "calmpass/1/cart/service" and is_service(p, "online") for t, p, _ in heard)
    )
    link.close()
    late = Ear(broker.port)
    assert late.wait(
        lambda heard: any(t == "calmpass/1/cart/service" and is_service(p, "offline") for t, p, _ in heard)
    )
    assert all(retained for _, _, retained in late.heard)
    assert caplog.records == [], "a good-bye is no lost broker"
    early.close()
    late.close()


def test_after_a_break_the_link_is_back_and_tells_the_alarm_again(broker, desk, link, caplog) -> None:
    assert desk.wait(lambda: True in desk.is_up)
    link.publish("cart", ALARM, is_retained=True)
    broker.kill()
    assert desk.wait(lambda: desk.is_up[-1] is False)
    for file in Path(broker.folder).glob("*.db"):
        file.unlink()
    broker.start()
    assert desk.wait(lambda: desk.is_up[-1] is True)
    # Who listens before the alarm is there hears it fresh, who comes later hears it as kept.
    early = Ear(broker.port)
    assert early.wait(lambda heard: any((t, p) == ("calmpass/1/cart/alarm", wire.encode(ALARM)) for t, p, _ in heard))
    early.close()
    ear = Ear(broker.port)
    assert ear.wait(lambda heard: ("calmpass/1/cart/alarm", wire.encode(ALARM), True) in heard)
    ear.close()
    said = [record.message for record in caplog.records if record.name == "server.link"]
    assert said == [f"no broker at 127.0.0.1:{broker.port}; trying again", "connected to the broker again"]


def test_a_broker_that_comes_later_is_found(free_port, tmp_path, desk, broker) -> None:
    broker.kill()
    link = MqttLink(LinkSettings("127.0.0.1", broker.port), desk.events)
    link.open()
    assert desk.wait(lambda: False in desk.is_up)
    assert not link.is_up
    assert not link.was_up
    link.publish("cart", wire.Ack("a1b2c3d4", {}))
    broker.start()
    assert desk.wait(lambda: True in desk.is_up)
    link.close()


def test_a_wrong_password_is_told_in_one_line(free_port, tmp_path, desk) -> None:
    passwords, settings = tmp_path / "passwords", tmp_path / "broker.conf"
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", passwords, "service", "right"], check=True, capture_output=True)
    settings.write_text(
        f"listener {free_port} 127.0.0.1\nallow_anonymous false\npassword_file {passwords}\nuser root\n"
    )
    with subprocess.Popen(["mosquitto", "-c", settings], stderr=subprocess.PIPE, text=True) as child:
        assert child.stderr is not None
        assert any("running" in line for line in child.stderr)
        link = MqttLink(LinkSettings("127.0.0.1", free_port, "service", "wrong"), desk.events)
        link.open()
        assert desk.wait(lambda: bool(desk.refusals))
        link.close()
        child.terminate()
    assert f"127.0.0.1:{free_port} refuses the service" in desk.refusals[0]
    assert "check user and password file" in desk.refusals[0]
    assert "\n" not in desk.refusals[0]
    assert True not in desk.is_up
