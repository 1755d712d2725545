"""The deployment files are good: units verify, the broker starts on its settings and keeps rigs apart."""

import shutil
import subprocess
import threading
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

UNITS = ("calmpass-broker.service", "calmpass-rig.service", "calmpass.service")
WAIT_S = 5.0


@pytest.mark.parametrize("unit", UNITS)
def test_unit_verifies(root: Path, tmp_path: Path, unit: str) -> None:
    for name in UNITS:
        text = (root / "deploy/systemd" / name).read_text()
        # The programs and users of an installation are not on the machine that runs the tests.
        text = text.replace("/opt/calmpass/.venv/bin/calmpass-rig", "/bin/true")
        text = text.replace("/opt/calmpass/.venv/bin/calmpass", "/bin/true")
        (tmp_path / name).write_text(text.replace("/usr/sbin/mosquitto -c", "/bin/true -c"))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(tmp_path / unit)], capture_output=True, text=True, check=False
    )
    about_unit = [line for line in done.stderr.splitlines() if "calmpass" in line]
    assert about_unit == []
    assert done.returncode == 0, done.stderr


def test_units_restart_and_are_confined(root: Path) -> None:
    for name in UNITS:
        text = (root / "deploy/systemd" / name).read_text()
        for line in ("Restart=always", "NoNewPrivileges=yes", "ProtectSystem=strict", "MemoryMax="):
            assert line in text, f"{name}: {line}"


@pytest.fixture
def deployed_broker(root: Path, tmp_path: Path, free_port: int):
    """Mosquitto on the deployment's own settings, paths moved and two users made."""
    for name in ("broker.conf", "broker.acl"):
        text = (root / "deploy/broker" / name).read_text()
        text = text.replace("/etc/calmpass/", f"{tmp_path}/").replace("/var/lib/calmpass-broker/", f"{tmp_path}/")
        if name == "broker.conf":
            text = text.replace("listener 1883", f"listener {free_port} 127.0.0.1") + "user root\n"
        (tmp_path / name).write_text(text)
    passwords = tmp_path / "broker.passwords"
    tool = shutil.which("mosquitto_passwd")
    assert tool is not None
    passwords.touch(mode=0o600)
    for user in ("service", "rig", "other"):
        subprocess.run([tool, "-b", str(passwords), user, f"{user}-secret"], check=True, capture_output=True)
    child = subprocess.Popen(
        ["mosquitto", "-c", str(tmp_path / "broker.conf")], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
    )
    assert child.stderr is not None
    words = []
    for line in child.stderr:
        words.append(line)
        if "running" in line:
            break
    else:
        pytest.fail("".join(words))
    yield free_port
    child.terminate()
    child.wait(WAIT_S)
    child.stderr.close()


class Visitor:
    """A client that logs in, publishes and remembers what it hears."""

    def __init__(self, port: int, user: str, password: str) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.code: str | None = None
        self._changed = threading.Condition()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.username_pw_set(user, password)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: self._note(lambda: None)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.wait_for(lambda: self.code is not None)

    def _on_connect(self, client, userdata, flags, code, properties) -> None:
        self._note(lambda: setattr(self, "code", str(code)))

    def _on_message(self, client, userdata, message) -> None:
        self._note(lambda: self.heard.append((message.topic, message.payload)))

    def _note(self, change) -> None:
        with self._changed:
            change()
            self._changed.notify_all()

    def wait_for(self, claim) -> bool:
        with self._changed:
            return self._changed.wait_for(claim, WAIT_S)

    def subscribe(self, topic: str) -> None:
        self._client.subscribe(topic, 1)

    def publish(self, topic: str, payload: bytes) -> None:
        self._client.publish(topic, payload, 1).wait_for_publish(WAIT_S)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def test_broker_keeps_rigs_apart(deployed_broker: int) -> None:
    service = Visitor(deployed_broker, "service", "service-secret")
    rig = Visitor(deployed_broker, "rig", "rig-secret")
    stranger = Visitor(deployed_broker, "rig", "wrong")
    try:
        assert service.code == "Success"
        assert rig.code == "Success"
        assert stranger.code == "Not authorized"
        service.subscribe("calmpass/1/+/+")
        rig.subscribe("calmpass/1/rig/ack")
        # Mosquitto drops the connection of a client that publishes what it may not: each tries on its own.
        for topic in ("calmpass/1/other/flow", "calmpass/1/rig/alarm"):
            intruder = Visitor(deployed_broker, "rig", "rig-secret")
            intruder.publish(topic, b"not mine")
            intruder.close()
        rig.publish("calmpass/1/rig/flow", b"mine")
        assert service.wait_for(lambda: len(service.heard) > 0)
        service.publish("calmpass/1/rig/ack", b"yours")
        assert rig.wait_for(lambda: len(rig.heard) > 0)
        assert service.wait_for(lambda: len(service.heard) > 1)
        assert [topic for topic, _ in service.heard] == ["calmpass/1/rig/flow", "calmpass/1/rig/ack"]
        assert rig.heard == [("calmpass/1/rig/ack", b"yours")]
    finally:
        for visitor in (service, rig, stranger):
            visitor.close()
