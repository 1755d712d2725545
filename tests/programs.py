"""Programs as processes: the service, the simulated rig, the service's HTTP."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

ENVIRONMENT = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
PATIENCE_S = 60.0


class Program:
    """One program of ours, with what it said kept in a file."""

    def __init__(self, log: Path, *words: str) -> None:
        self.log = log
        self._words = words
        self.child: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it."""
        with self.log.open("ab") as out:
            self.child = subprocess.Popen(
                [sys.executable, "-m", *self._words], stdout=out, stderr=out, stdin=subprocess.DEVNULL, env=ENVIRONMENT
            )

    def kill(self) -> None:
        """Kill it as a power cut would."""
        if self.child is not None:
            self.child.kill()
            self.child.wait()
            self.child = None

    def stop(self, within_s: float = 10.0) -> int:
        """Ask it to end; gives its exit code."""
        assert self.child is not None
        self.child.send_signal(signal.SIGTERM)
        code = self.child.wait(within_s)
        self.child = None
        return code

    @property
    def words(self) -> str:
        """What it said."""
        return self.log.read_text(errors="replace")


def wait_for(claim: Callable[[], Any], what: str, within_s: float = PATIENCE_S) -> Any:
    """Look until a claim holds."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        found = claim()
        if found:
            return found
        time.sleep(0.05)
    pytest.fail(f"not within {within_s:.0f} s: {what}")


class Http:
    """The service's API."""

    def __init__(self, port: int) -> None:
        self.base = f"http://127.0.0.1:{port}"

    def ask(self, path: str, method: str = "GET", body: Any = None) -> Any:
        """One request, its refusal too; None while the service is not there."""
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.base}{path}", data, method=method)
        if data is not None:
            request.add_header("Content-Type", "application/json")
        try:
            with urllib.request.urlopen(request, timeout=10) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as refusal:
            return json.load(refusal)
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            return None

    def file(self, path: str) -> bytes:
        """A file's bytes."""
        with urllib.request.urlopen(f"{self.base}{path}", timeout=10) as answer:
            return bytes(answer.read())


def find_free_port() -> int:
    """Ask the system for a TCP port that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def is_heard(port: int) -> bool:
    """Whether somebody listens on a port of loopback."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def start_service(folder: Path, *, setup: Path | None, broker_port: int, port: int) -> tuple[Program, Http]:
    """The service with a database of its own in a folder, when it answers."""
    more = () if setup is None else ("--setup", str(setup))
    service = Program(
        folder / "service.log", "server", "serve", *more, "--database", str(folder / "db.sqlite3"), "--broker",
        f"127.0.0.1:{broker_port}", "--port", str(port),
    )  # fmt: skip
    service.start()
    http = Http(port)
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    return service, http


def run_command(*words: str) -> subprocess.CompletedProcess[str]:
    """Run one of our commands to its end."""
    return subprocess.run(
        [sys.executable, "-m", *words], capture_output=True, text=True, env=ENVIRONMENT, timeout=120, check=False
    )
