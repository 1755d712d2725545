"""Each program killed at random during a job at real pace: nothing committed is lost, nothing comes twice."""

import json
import os
import random
import sqlite3
import time
from collections import Counter
from pathlib import Path

from programs import Http, Program, run_command, wait_for

from rig import wire
from server.exports.files import NAMES

KILLS = int(os.environ.get("CALMPASS_KILLS", "2"))
PAUSE_S = (1.5, 6.0)
SETTLE_S = 90.0


def add_witness(spool: Path) -> None:
    """A trigger of the test's own writes down every sample in the device's own transaction."""
    connection = sqlite3.connect(spool, timeout=10)
    connection.execute("CREATE TABLE witness (boot TEXT, stream TEXT, seq INTEGER)")
    connection.execute(
        "CREATE TRIGGER witness_samples AFTER INSERT ON samples BEGIN "
        "INSERT INTO witness VALUES (NEW.boot, NEW.stream, NEW.seq); END"
    )
    connection.commit()
    connection.close()


def read_keys(file: Path, query: str) -> Counter[tuple[str, str, int]]:
    """Keys of samples with how often each stands there."""
    connection = sqlite3.connect(file, timeout=10)
    found = Counter((str(b), str(s), int(q)) for b, s, q in connection.execute(query))
    connection.close()
    return found


def stored_keys(database: Path) -> Counter[tuple[str, str, int]]:
    """Keys of all samples in the store."""
    found: Counter[tuple[str, str, int]] = Counter()
    for stream in wire.SAMPLE_STREAMS:
        found += read_keys(database, f"SELECT b.name, '{stream}', s.seq FROM {stream} s JOIN boot b ON b.id = s.boot")
    return found


def test_kills_lose_nothing_that_was_committed(broker, programs: list[Program], free_port: int, tmp_path: Path) -> None:
    scenario, spool, database = tmp_path / "scenario", tmp_path / "spool.sqlite3", tmp_path / "db.sqlite3"
    assert run_command("firmware_sim", "log", "long_hour", "--out", str(scenario)).returncode == 0
    address = f"127.0.0.1:{broker.port}"
    service = Program(
        tmp_path / "service.log", "server", "serve", "--setup", str(scenario / "setup.toml"), "--database",
        str(database), "--broker", address, "--port", str(free_port),
    )  # fmt: skip
    rig = Program(
        tmp_path / "rig.log", "firmware_sim", "rig", "long_hour", "--broker", address, "--spool", str(spool), "--pace",
        "1", "--started-at", str(time.time()),
    )  # fmt: skip
    programs += [service, rig]
    http = Http(free_port)
    service.start()
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    rig.start()
    wait_for(lambda: (http.ask("/api/live") or {}).get("messages", {}).get("read", 0) > 10, "samples come")
    assert http.ask("/api/jobs", "POST", {"name": "kills", "start": "now"})["state"] == "running"
    add_witness(spool)
    dice = random.Random(20)
    victims = ["service", "broker", "rig"] * KILLS
    dice.shuffle(victims)
    for victim in victims:
        time.sleep(dice.uniform(*PAUSE_S))
        program = {"service": service, "rig": rig, "broker": broker}[victim]
        program.kill()
        time.sleep(dice.uniform(0.1, 1.5))
        program.start()
    rig_settles(rig, http, spool)

    witnessed = read_keys(spool, "SELECT boot, stream, seq FROM witness")
    stored = stored_keys(database)
    assert len(witnessed) > 20 * KILLS
    assert [key for key, count in stored.items() if count > 1] == []
    waiting = read_keys(spool, "SELECT boot, stream, seq FROM samples")
    assert len(waiting) < 200
    lost = [key for key in witnessed if key not in stored and key not in waiting]
    assert lost == [], f"{len(lost)} of {len(witnessed)}"
    assert results_equal_a_clean_replay(http, database, tmp_path)


def rig_settles(rig: Program, http: Http, spool: Path) -> None:
    """Let the rig go on until everything older than a few seconds is acknowledged, then end it."""
    wait_for(lambda: http.ask("/api/health"), "the service answers after the last kill")

    def is_settled() -> bool:
        connection = sqlite3.connect(spool, timeout=10)
        (count,) = connection.execute("SELECT count(*) FROM samples").fetchone()
        connection.close()
        return 0 < count < 60

    def has_begun_again() -> bool:
        return len({boot for boot, _, _ in read_keys(spool, "SELECT boot, stream, seq FROM witness")}) == KILLS + 1

    wait_for(has_begun_again, "the device has begun after its last kill")
    wait_for(is_settled, "the spool empties", SETTLE_S)
    assert rig.stop(30) == 0, rig.words
    wait_for(lambda: http.ask("/api/live")["messages"]["backlog"] == 0, "the service has stored everything")


def results_equal_a_clean_replay(http: Http, database: Path, folder: Path) -> bool:
    """Finish the job as a user would afterwards; its review equals a replay of exactly the stored messages."""
    jobs = http.ask("/api/jobs")
    assert len(jobs) == 1, jobs
    finished = http.ask("/api/jobs/1/buttons", "POST", {"kind": "finish"})
    assert (finished or {}).get("state") == "finished", finished
    review = wait_for(
        lambda: found if (found := http.ask("/api/jobs/1/review") or {}).get("state") == "ready" else None, "the review"
    )
    assert review["messages"]["missing"] > 0, "the device was out for a while"
    assert len(review["boots"]) >= KILLS
    out, again = folder / "out", folder / "again"
    done = run_command("server", "export", "--job", "1", "--database", str(database), str(out))
    assert done.returncode == 0, done.stderr
    log, setup = str(out / "log.ndjson.gz"), str(out / "setup.toml")
    done = run_command("server", "replay", log, "--setup", setup, "--out", str(again))
    assert done.returncode == 0, done.stderr
    for name in NAMES:
        assert (again / name).read_bytes() == http.file(f"/api/jobs/1/files/{name}"), name
    print(json.dumps({key: review[key] for key in ("messages", "missing_by_stream", "boots", "volume_l")}))
    return True
