"""What tests of every kind share: a broker on a free port, the recordings, the repository's root."""

import os
import shutil
import subprocess
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import settings
from programs import find_free_port

ROOT = Path(__file__).resolve().parent.parent
# Tests are never timed: a busy machine must not turn a slow example into a failure.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@dataclass
class Broker:
    """A Mosquitto of the test's own, that can be killed and started again on the same port and files."""

    port: int
    folder: Path
    access: str = "allow_anonymous true\n"
    child: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Start the broker and wait for its own word that it runs."""
        settings = self.folder / "broker.conf"
        settings.write_text(
            f"listener {self.port} 127.0.0.1\n{self.access}persistence true\n"
            f"persistence_location {self.folder}/\nmax_queued_messages 0\nuser root\n"
        )
        self.child = subprocess.Popen(
            ["mosquitto", "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
        )
        assert self.child.stderr is not None
        for line in self.child.stderr:
            if "running" in line:
                threading.Thread(target=self._drain, args=(self.child,), daemon=True).start()
                return
        raise RuntimeError("the test's broker did not start: is mosquitto installed?")

    @staticmethod
    def _drain(child: subprocess.Popen[str]) -> None:
        assert child.stderr is not None
        # `kill` may close it in the middle of a line.
        with suppress(ValueError):
            for _ in child.stderr:
                pass

    def kill(self) -> None:
        """Kill the broker as a power cut of its host would, without a good-bye."""
        if self.child is not None:
            self.child.kill()
            self.child.wait()
            if self.child.stderr is not None:
                self.child.stderr.close()
            self.child = None


@pytest.fixture
def free_port() -> int:
    """A TCP port that nobody uses."""
    return find_free_port()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A running Mosquitto, killed afterwards."""
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Broker(find_free_port(), folder)
    broker.start()
    yield broker
    broker.kill()


@pytest.fixture
def locked_broker(tmp_path: Path) -> Iterator[Broker]:
    """A running Mosquitto that lets in the user `service` with the password `right` only."""
    passwords, tool = tmp_path / "passwords", shutil.which("mosquitto_passwd")
    assert tool is not None
    passwords.touch(mode=0o600)
    subprocess.run([tool, "-b", str(passwords), "service", "right"], check=True, capture_output=True)
    broker = Broker(find_free_port(), tmp_path, f"allow_anonymous false\npassword_file {passwords}\n")
    broker.start()
    yield broker
    broker.kill()


@pytest.fixture(scope="session")
def recordings() -> Path:
    """The folder of real recordings; see its own README for sources and licences."""
    folder = Path(os.environ.get("CALMPASS_RECORDINGS", ROOT.parent / "shared" / "recordings"))
    if not folder.is_dir():
        pytest.skip(f"no recordings at {folder}: set CALMPASS_RECORDINGS")
    return folder


@pytest.fixture(scope="session")
def root() -> Path:
    """The repository's root."""
    return ROOT
