"""One job through all real parts: simulated sensors, pseudo-terminal, device program, Mosquitto, service, HTTP."""

import json
import threading
import urllib.request
from pathlib import Path

import pytest
from programs import Http, Program, run_command, wait_for

from server.exports.files import NAMES


@pytest.fixture
def finished_job(broker, programs: list[Program], free_port: int, tmp_path: Path):
    """A `straight` job done at 12 times its pace, its service still running."""
    scenario = tmp_path / "scenario"
    assert run_command("firmware_sim", "log", "straight", "--out", str(scenario), "--rig", "rig-1").returncode == 0
    service = Program(
        tmp_path / "service.log", "server", "serve", "--setup", str(scenario / "setup.toml"), "--database",
        str(tmp_path / "db.sqlite3"), "--broker", f"127.0.0.1:{broker.port}", "--port", str(free_port),
    )  # fmt: skip
    rig = Program(
        tmp_path / "rig.log", "firmware_sim", "rig", "straight", "--broker", f"127.0.0.1:{broker.port}", "--rig",
        "rig-1", "--spool", str(tmp_path / "spool.sqlite3"), "--pace", "12",
    )  # fmt: skip
    programs += [service, rig]
    service.start()
    http = Http(free_port)
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    rig.start()
    wait_for(lambda: any(job["state"] == "finished" for job in http.ask("/api/jobs") or []), "the job is finished")
    wait_for(lambda: (http.ask("/api/jobs/1/review") or {}).get("state") == "ready", "the review is ready")
    assert rig.child is not None
    assert rig.child.wait(90) == 0, rig.words
    return http, service, tmp_path


def test_job_comes_out_whole_and_replays_to_the_byte(finished_job) -> None:
    http, _, folder = finished_job
    truth = json.loads((folder / "scenario/truth.json").read_text())
    review = http.ask("/api/jobs/1/review")
    assert review["passes"] == len(truth["passes"]) == 1
    assert review["volume_l"] == pytest.approx(truth["volume_l"], abs=1.5 / truth["pulses_per_l"])
    assert review["messages"]["refused"] == 0
    assert review["messages"]["missing"] == 0
    files = {name: http.file(f"/api/jobs/1/files/{name}") for name in NAMES}

    exported = run_command(
        "server", "export", "--job", "1", "--database", str(folder / "db.sqlite3"), str(folder / "out")
    )
    assert exported.returncode == 0, exported.stderr
    for number in (1, 2):
        again = folder / f"again-{number}"
        done = run_command(
            "server", "replay", str(folder / "out/log.ndjson.gz"), "--setup", str(folder / "out/setup.toml"), "--out",
            str(again),
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        for name in NAMES:
            assert (again / name).read_bytes() == files[name], f"{name} of replay {number}"
            assert (folder / "out" / name).read_bytes() == files[name], f"{name} of the export"


def test_service_stops_on_request_with_a_page_open(finished_job) -> None:
    http, service, _ = finished_job
    seen = threading.Event()

    def look() -> None:
        with urllib.request.urlopen(f"{http.base}/api/live/stream", timeout=30) as stream:
            for line in stream:
                if line.startswith(b"event: snapshot"):
                    seen.set()

    page = threading.Thread(target=look, daemon=True)
    page.start()
    assert seen.wait(10)
    assert service.stop(within_s=5.0) == 0, service.words
    page.join(10)
