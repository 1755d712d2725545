"""A recorded way in a recorded wind through every real part: terminal, device, Mosquitto, service, store."""

import json
import sqlite3
from pathlib import Path

from programs import Http, Program, run_command, wait_for

from firmware_sim.bench import write_log
from firmware_sim.playback import carry_along, read_way, read_wind
from firmware_sim.sensors.gnss import Receiver
from rig import wire
from server.rawlog import read_raw_log

UNTIL_S = 600.0
PACE = "10"
"""Times real time: faster, and a machine that is busy lets a burst of sentences look like two."""
SETUP = "[sprayer]\nswath_m = 1.3\n[flow_meter]\npulses_per_l = 450\n[treatment]\ntarget_l_per_m2 = 0.01\n"


def expected_streams(way: Path, wind: Path, folder: Path) -> tuple[dict[str, list[dict]], int]:
    """What the same way gives without a broker, and the pulses that the meter made."""
    feed = carry_along(read_way(way, UNTIL_S), read_wind(wind), receiver=Receiver(klass="fixed"), seed=1)
    write_log(feed, folder / "log.ndjson", rig="mower", boot="0123456789abcdef")
    found: dict[str, list[dict]] = {}
    for received in read_raw_log(folder / "log.ndjson"):
        found.setdefault(wire.split_topic(received.topic)[1], []).append(json.loads(received.payload))
    return found, len(feed.flow_edges)


def test_the_way_arrives_whole(broker, programs: list[Program], free_port: int, recordings: Path, tmp_path) -> None:
    way = recordings / "plaza_lawnmower" / "plaza1_first1160s.csv"
    wind = next((recordings / "csat3_20hz").glob("*.dat.gz"))
    expected, pulses = expected_streams(way, wind, tmp_path)
    setup, database, address = tmp_path / "setup.toml", tmp_path / "db.sqlite3", f"127.0.0.1:{broker.port}"
    setup.write_text(SETUP)
    service = Program(
        tmp_path / "service.log", "server", "serve", "--setup", str(setup), "--database", str(database),
        "--broker", address, "--port", str(free_port),
    )  # fmt: skip
    programs.append(service)
    service.start()
    http = Http(free_port)
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    done = run_command(
        "firmware_sim", "way", str(way), "--wind", str(wind), "--until", str(UNTIL_S), "--rig", "mower",
        "--broker", address, "--spool", str(tmp_path / "spool.sqlite3"), "--pace", PACE,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    wait_for(lambda: http.ask("/api/live")["messages"]["backlog"] == 0, "the service has stored everything")
    messages = http.ask("/api/live")["messages"]
    assert (messages["refused"], messages["missing"]) == (0, 0)
    assert service.stop() == 0

    connection = sqlite3.connect(database)
    for stream in ("position", "flow", "wind"):
        numbers = [seq for (seq,) in connection.execute(f"SELECT seq FROM {stream} ORDER BY seq")]
        assert numbers == list(range(len(numbers))), stream
        # The device counts on while it waits to be settled; the last epoch is one only when the next begins.
        assert len(numbers) >= len(expected[stream]) - 1, stream
    places = connection.execute("SELECT lat, lon, sd_east FROM position ORDER BY seq").fetchall()
    assert places == [(p["lat"], p["lon"], p["sd_east"]) for p in expected["position"][: len(places)]]
    (counted,) = connection.execute("SELECT max(pulses) FROM flow").fetchone()
    connection.close()
    assert counted == pulses
