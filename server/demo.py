"""The demo: broker, simulated rig and service in one go, each a process of its own; or a rig to practise on."""

import json
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from server.errors import SettingsError
from server.settings import read_setup
from server.showcase import lay_out_papers

RIG = "demo-rig"
PRACTICE_RIG = "practice-rig"
SCENARIO = "demo"
START_LIMIT_S = 30.0
STOP_LIMIT_S = 5.0
REVIEW_LIMIT_S = 60.0


@dataclass(frozen=True, slots=True)
class DemoSettings:
    """What `calmpass demo` was told."""

    port: int
    pace: float | None
    folder: Path | None
    is_once: bool
    is_practice: bool = False


def run_demo(settings: DemoSettings) -> None:
    """Run the demo until Ctrl-C; raises SettingsError where something does not start."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    if settings.folder is not None:
        settings.folder.mkdir(parents=True, exist_ok=True)
        _run_in(settings.folder, settings)
        return
    with tempfile.TemporaryDirectory(prefix="calmpass-demo-", ignore_cleanup_errors=True) as folder:
        _run_in(Path(folder), settings)
    print("Stopped; the demo's files are gone.")


def _run_in(folder: Path, settings: DemoSettings) -> None:
    children: list[subprocess.Popen[bytes]] = []
    try:
        (_practise if settings.is_practice else _play)(folder, settings, children)
    except KeyboardInterrupt:
        print("\nStopping.")
    finally:
        for child in reversed(children):  # the broker last: whoever still looks for it would complain
            child.terminate()
            try:
                child.wait(STOP_LIMIT_S)
            except subprocess.TimeoutExpired:
                child.kill()


def _play(folder: Path, settings: DemoSettings, children: list[subprocess.Popen[bytes]]) -> None:
    """Start the three, watch the job, leave the review up."""
    broker_port = _start_broker(settings, children)
    made = subprocess.run(
        [sys.executable, "-m", "firmware_sim", "log", SCENARIO, "--out", str(folder / "scenario"), "--rig", RIG],
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode != 0:
        raise SettingsError(f"the simulator did not start: {made.stderr.strip()}")
    address = f"http://127.0.0.1:{settings.port}"
    _serve(folder, settings, children, broker_port, "--setup", str(folder / "scenario" / "setup.toml"))
    _enter_papers(address, folder / "scenario" / "setup.toml")
    print(f"\n  Open {address}/ in a browser.\n", flush=True)
    pace = ["--pace", str(settings.pace)] if settings.pace else []
    rig = _start(
        "firmware_sim", "rig", SCENARIO, "--broker", f"127.0.0.1:{broker_port}", "--rig", RIG, "--spool",
        str(folder / "spool.sqlite3"), *pace,
    )  # fmt: skip
    children.append(rig)
    print("A simulated job passes by in about a minute and a half. Ctrl-C ends everything.", flush=True)
    while rig.poll() is None:
        if children[1].poll() is not None:
            raise SettingsError("the service has ended: its last line says why")
        time.sleep(0.2)
    _tell_review(address)
    while not settings.is_once and children[1].poll() is None:
        time.sleep(0.5)


def _practise(folder: Path, settings: DemoSettings, children: list[subprocess.Popen[bytes]]) -> None:
    """Start broker, service with an empty store, and a rig that squeezes and walks until the end."""
    broker_port = _start_broker(settings, children)
    _serve(folder, settings, children, broker_port)
    print(f"\n  Open http://127.0.0.1:{settings.port}/#first in a browser.\n", flush=True)
    print(
        "A simulated rig squeezes over a bucket and walks short strips, with water. Ctrl-C ends everything.", flush=True
    )
    words = (
        "practise", "--broker", f"127.0.0.1:{broker_port}", "--rig", PRACTICE_RIG, "--spool",
        str(folder / "spool.sqlite3"), "--pace", str(settings.pace or 1.0),
    )  # fmt: skip
    children.append(_start("firmware_sim", *words))
    while children[1].poll() is None:
        if children[-1].poll() is not None:
            children[-1] = _start("firmware_sim", *words)
        time.sleep(0.2)
    raise SettingsError("the service has ended: its last line says why")


def _start_broker(settings: DemoSettings, children: list[subprocess.Popen[bytes]]) -> int:
    """Start the embedded broker; gives its port."""
    _check_port(settings.port)
    port = _free_port()
    children.append(_start("server.broker", "--port", str(port), is_quiet=True))
    _await_port(port, children[-1], "the embedded broker")
    return port


def _serve(
    folder: Path, settings: DemoSettings, children: list[subprocess.Popen[bytes]], broker_port: int, *more: str
) -> None:
    """Start the service and wait until it answers."""
    words = ("--database", str(folder / "demo.sqlite3"), "--broker", f"127.0.0.1:{broker_port}")
    children.append(_start("server", "serve", *words, "--port", str(settings.port), *more))
    _await_port(settings.port, children[-1], "the service")


def _enter_papers(address: str, setup: Path) -> None:
    """Enter site, sprayer, products, treatment and people; raises SettingsError where the service refuses one."""

    def ask(method: str, path: str, body: dict[str, Any] | None) -> Any:
        content = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(
            f"{address}{path}", content, {"Content-Type": "application/json"}, method=method
        )
        with urllib.request.urlopen(request, timeout=10) as answer:
            return json.load(answer)

    try:
        lay_out_papers(ask, read_setup(setup), today=date.today())
    except urllib.error.HTTPError as error:
        raise SettingsError(f"the demo's papers were refused: {error.read().decode(errors='replace')}") from error
    except (urllib.error.URLError, TimeoutError) as error:
        raise SettingsError(f"the demo's papers could not be entered: {error}") from error


def _tell_review(address: str) -> None:
    """Wait for the job's review and say what it found."""
    end = time.monotonic() + REVIEW_LIMIT_S
    while time.monotonic() < end:
        jobs = _ask(f"{address}/api/jobs") or []
        review = _ask(f"{address}/api/jobs/{jobs[0]['id']}/review") if jobs else None
        if review and review["state"] == "ready":
            print(
                f"The job is done: {review['passes']} passes, {review['volume_l']:.2f} L, "
                f"{review['passes_above_limit']} passes above the wind limit.\n"
                f"The simulated rig is switched off now: the pages call it silent.\n"
                f"Its review, with what to mend: {address}/#got\nIts record: {address}/#record",
                flush=True,
            )
            return
        time.sleep(0.5)
    print("The review is not ready; look at the page What it got.", flush=True)


def _ask(address: str) -> Any:
    try:
        with urllib.request.urlopen(address, timeout=10) as answer:
            return json.load(answer)
    except (urllib.error.URLError, ValueError, TimeoutError):
        return None


def _start(module: str, *words: str, is_quiet: bool = False) -> subprocess.Popen[bytes]:
    """Start one program; the embedded broker tells every packet, which nobody wants to read."""
    return subprocess.Popen(
        [sys.executable, "-m", module, *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL if is_quiet else None,
        stderr=subprocess.DEVNULL if is_quiet else None,
        start_new_session=True,
    )


def _check_port(port: int) -> None:
    """See that nobody listens where the dashboard is to be; raises SettingsError."""
    with socket.socket() as probe:
        probe.settimeout(0.2)
        if probe.connect_ex(("127.0.0.1", port)) == 0:
            raise SettingsError(f"127.0.0.1:{port} is taken: is another calmpass running? --port chooses another")


def _await_port(port: int, child: subprocess.Popen[bytes], what: str) -> None:
    """Wait until something listens; raises SettingsError when the child ended instead."""
    end = time.monotonic() + START_LIMIT_S
    while time.monotonic() < end:
        if child.poll() is not None:
            raise SettingsError(f"{what} did not start")
        with socket.socket() as probe:
            probe.settimeout(0.2)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise SettingsError(f"{what} did not answer within {START_LIMIT_S:.0f} s")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
