"""Replay and export: the same log gives the same bytes, from a file or from the store, and errors are one line."""

import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from firmware_sim.bench import write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from server.__main__ import main
from server.exports.files import NAMES
from server.rawlog import Received, read_raw_log, write_raw_log


def run(*words: object) -> Result:
    """One command in this process; its exit tells the one line."""
    return CliRunner().invoke(main, [str(word) for word in words])


def replay(log: Path, setup: Path, out: Path) -> dict[str, bytes]:
    """Replay a log; every file's bytes."""
    done = run("replay", log, "--setup", setup, "--out", out)
    assert done.exit_code == 0, done.output
    return {name: (out / name).read_bytes() for name in NAMES}


def test_replay_twice_gives_the_same_bytes_and_what_truly_happened(straight, tmp_path) -> None:
    log, setup = straight / "log.ndjson.gz", straight / "setup.toml"
    first, second = replay(log, setup, tmp_path / "a"), replay(log, setup, tmp_path / "b")
    assert first == second
    job, truth = json.loads(first["job.json"]), json.loads((straight / "truth.json").read_text())
    assert job["volume_l"] == pytest.approx(truth["volume_l"], abs=1.5 / truth["pulses_per_l"])
    assert job["passes"] == len(truth["passes"])
    areas = sum(job[f"zone_{name}_m2"] for name in ("missed", "under", "on_target", "over"))
    assert areas == pytest.approx(job["zone_area_m2"], rel=1e-6)


def test_the_bytes_do_not_depend_on_how_many_threads_there_are(tmp_path) -> None:
    world = build_world(SCENARIOS["slips"], 3, receiver_class="ordinary")
    write_log(world.feed, tmp_path / "log.ndjson", rig="sim", boot="0" * 16)
    save_setup(world.scenario, world.receiver.latency_s, tmp_path)
    words = ("replay", tmp_path / "log.ndjson", "--setup", tmp_path / "setup.toml", "--out")
    for threads in (1, 4):
        done = command(*words, tmp_path / str(threads), threads=threads)
        assert done.returncode == 0, done.stderr
    one, four = ({name: (tmp_path / n / name).read_bytes() for name in NAMES} for n in ("1", "4"))
    assert one == four


def test_a_plain_log_in_any_order_gives_the_bytes_of_the_packed_one(straight, tmp_path) -> None:
    plain = tmp_path / "plain.ndjson"
    write_raw_log(plain, reversed(list(read_raw_log(straight / "log.ndjson.gz"))))
    setup = straight / "setup.toml"
    assert replay(plain, setup, tmp_path / "a") == replay(straight / "log.ndjson.gz", setup, tmp_path / "b")


def test_the_export_of_a_job_replays_to_the_bytes_of_its_review(desk, messages, tmp_path) -> None:
    samples = [m for m in messages if not m.topic.endswith("/event")]
    bad = Received("calmpass/1/rig-1/flow", 0.0, b'{"boot":"0000000000000001","seq":99999,"mono":NaN}')
    desk.take([*samples[:600], *samples[7:10], bad, *samples[600:]])
    span = {"start": ["0000000000000001", 100.0], "end": ["0000000000000001", 1e6]}
    number = desk.ask("POST", "/api/jobs", {"name": "a", **span}).json()["id"]
    assert desk.await_review(number)["messages"]["duplicate"] == 3
    assert desk.await_review(number)["messages"]["refused"] == 1
    review = {name: desk.ask("GET", f"/api/jobs/{number}/files/{name}").content for name in NAMES}
    done = run("export", "--job", number, "--database", desk.service.database, tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert {name: (tmp_path / "out" / name).read_bytes() for name in NAMES} == review
    again = replay(tmp_path / "out/log.ndjson.gz", tmp_path / "out/setup.toml", tmp_path / "again")
    assert again == review


def bad_file(folder: Path, text: str) -> Path:
    """A settings file with this in it."""
    path = folder / "bad.toml"
    path.write_text(text)
    return path


GOOD = "[sprayer]\nswath_m = 1.0\n[flow_meter]\npulses_per_l = 450\n[treatment]\ntarget_l_per_m2 = 0.04\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[sprayer\n", ("bad.toml", "line 1")),
        (GOOD.replace("swath_m", "swath_cm"), ("sprayer.swath_cm", "did you mean swath_m?")),
        (GOOD.replace("1.0", "100"), ("sprayer.swath_m", "100", "0.1 to 20")),
        (GOOD + '[site]\nboundary = "no.geojson"\n', ("site.boundary", "no.geojson", "no such file")),
        (GOOD + '[job]\nrig = "other"\n', ("other",)),
    ],
)
def test_a_settings_file_that_is_wrong_is_told_in_one_line(straight, tmp_path, text, words) -> None:
    done = run("replay", straight / "log.ndjson.gz", "--setup", bad_file(tmp_path, text), "--out", tmp_path / "out")
    assert isinstance(done.exception, SystemExit)
    line = str(done.exception.code)
    assert "\n" not in line
    assert [word for word in words if word not in line] == []
    assert not (tmp_path / "out").exists()


def check_line(done: subprocess.CompletedProcess[str], *words: str) -> None:
    """See that a command ended with one line for people and no success."""
    assert done.returncode != 0
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert [word for word in words if word not in done.stderr] == []


def command(*words: object, threads: int = 1) -> subprocess.CompletedProcess[str]:
    """One command as a user would start it."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": str(threads)}
    line = [sys.executable, "-m", "server", *map(str, words)]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False, env=environment)


def test_what_is_missing_or_in_the_way_is_told_in_one_line(straight, tmp_path, free_port) -> None:
    setup = straight / "setup.toml"
    check_line(command("replay", tmp_path / "no.gz", "--setup", setup, "--out", tmp_path), "no.gz", "No such file")
    check_line(command("serve", "--setup", tmp_path / "no.toml"), "no.toml", "no such settings file")
    check_line(command("serve", "--host", "0.0.0.0", "--setup", setup), "0.0.0.0", "--passcode-file")
    check_line(command("serve", "--broker", "nowhere", "--setup", setup), "--broker nowhere", "HOST:PORT")
    database = tmp_path / "no" / "db.sqlite3"
    check_line(command("serve", "--setup", setup, "--database", database, "--port", free_port), "no/db.sqlite3")
    check_line(command("export", "--job", 1, "--database", database, tmp_path / "out"), "no such database")


def test_a_port_that_is_taken_is_told_in_one_line(straight, tmp_path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        words = ("serve", "--setup", straight / "setup.toml", "--database", tmp_path / "db.sqlite3", "--port", port)
        check_line(command(*words), str(port), "--port chooses another")


def test_a_demo_whose_port_is_taken_ends_in_one_line_before_anything_starts(free_port) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", free_port))
        taken.listen()
        done = command("demo", "--port", free_port)
    check_line(done, f"127.0.0.1:{free_port}", "is taken", "--port")
    assert done.stdout == ""
