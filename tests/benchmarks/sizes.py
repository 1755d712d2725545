"""Resident memory, start-up, live latency and review time of the real programs.

Run: python tests/benchmarks/sizes.py (needs Mosquitto).
"""

import json
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import cast

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from programs import Http, Program, run_command, wait_for

from rig import wire
from server.rawlog import read_raw_log
from server.store.connection import open_writer
from server.store.messages import Arrival, MessageWriter

PORT, HTTP = 18_862, 18_863
BOOT = "00000000deadbeef"
ROUNDS = 150


def resident_mb(pid: int, name: str = "VmRSS") -> float:
    """Resident memory of a process: now, or with VmHWM at its highest."""
    status = Path(f"/proc/{pid}/status").read_text()
    found = next((line for line in status.splitlines() if line.startswith(name)), f"{name}: 0 kB")
    return int(found.split()[1]) / 1024


def listen(report: Connection) -> None:
    """A bare paho loop in a process of its own, as the service is one: when each message came, told at the end."""
    heard: list[tuple[float, bytes]] = []
    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda c, u, m: heard.append((time.perf_counter(), m.payload))
    client.on_subscribe = lambda *args: report.send("listening")
    client.connect("127.0.0.1", PORT)
    client.subscribe("calmpass/1/late/position", 1)
    client.loop_start()
    report.recv()
    client.loop_stop()
    report.send(heard)


def measure_start(service: Program, http: Http) -> float:
    """Seconds from nothing to the first answer over HTTP; the service is left running."""
    service.kill()
    begun = time.monotonic()
    service.start()
    while http.ask("/api/health") is None:
        time.sleep(0.005)
    return time.monotonic() - begun


def measure_latency() -> tuple[float, float]:
    """Medians in ms from publishing to a bare callback, and to the service's event stream."""
    shown: list[tuple[float, bytes]] = []
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", PORT)
    client.loop_start()
    here, there = get_context("spawn").Pipe()
    listener = get_context("spawn").Process(target=listen, args=(there,))
    listener.start()
    here.recv()

    def look() -> None:
        """Read the stream as it comes; what it says is looked at afterwards, as the callback's is."""
        with socket.create_connection(("127.0.0.1", HTTP)) as page:
            page.sendall(b"GET /api/live/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            while not is_done.is_set() and (found := page.recv(1_000_000)):
                shown.append((time.perf_counter(), found))

    is_done = threading.Event()
    threading.Thread(target=look, daemon=True).start()
    wait_for(lambda: shown, "the page's first picture")
    time.sleep(1.0)
    sent: dict[int, tuple[float, float]] = {}
    for seq in range(ROUNDS):
        utc = 1_778_743_800.0 + seq
        fix = wire.Position(
            BOOT, seq, 100.0 + seq * 0.12, "fixed", utc, 45.0, -30.0, None, 1.0, 20.0, 9, 1.0, None, None
        )
        payload = wire.encode(fix)
        sent[seq] = (time.perf_counter(), utc)
        client.publish("calmpass/1/late/position", payload, 0)
        time.sleep(0.12)
    time.sleep(1.0)
    is_done.set()
    here.send("enough")
    heard: list[tuple[float, bytes]] = here.recv()
    listener.join()
    client.loop_stop()
    first_heard = {json.loads(payload)["seq"]: at for at, payload in reversed(heard)}
    first_shown = {int(utc): at for at, part in reversed(shown) for utc in re.findall(rb'data: {"at_utc":(\d+)', part)}
    bare = [first_heard[seq] - at for seq, (at, _) in sent.items() if seq in first_heard]
    ours = [first_shown[int(utc)] - at for at, utc in sent.values() if int(utc) in first_shown]
    print(f"  shown on the page: {len(ours)} of {ROUNDS}")
    return 1e3 * statistics.median(bare), 1e3 * statistics.median(ours)


def store_log(log: Path, database: Path) -> dict[str, object]:
    """Put a raw log into a database as ingest would; gives the job that covers it all."""
    connection = open_writer(database)
    writer, waiting, data = MessageWriter(connection), [], []
    for received in read_raw_log(log):
        rig, stream = wire.split_topic(received.topic)
        message = cast("wire.Data", wire.decode(stream, received.payload))
        data.append(message)
        waiting.append(Arrival(received.topic, received.received_utc, received.payload, rig, stream, message))
        if len(waiting) == 500:
            writer.write(waiting)
            waiting = []
    writer.write(waiting)
    connection.close()
    ends = [[message.boot, message.mono] for message in (data[0], max(data, key=lambda message: message.mono))]
    return {"name": "hour", "rig": rig, "start": ends[0], "end": ends[1]}


def measure_review(scenario: Path, folder: Path) -> None:
    """Resident memory of the service at its highest while it reviews an hour, and how long that takes."""
    database = folder / "review.sqlite3"
    job = store_log(scenario / "log.ndjson.gz", database)
    service = Program(
        folder / "review.log", "server", "serve", "--setup", str(scenario / "setup.toml"), "--database", str(database),
        "--broker", f"127.0.0.1:{PORT}", "--port", str(HTTP + 1),
    )  # fmt: skip
    http = Http(HTTP + 1)
    try:
        service.start()
        wait_for(lambda: http.ask("/api/health"), "the service answers")
        assert service.child is not None
        idle, begun = resident_mb(service.child.pid), time.monotonic()
        number = http.ask("/api/jobs", "POST", job)["id"]
        http.ask(f"/api/jobs/{number}/review", "POST")
        wait_for(lambda: http.ask(f"/api/jobs/{number}/review").get("state") == "ready", "the review", 120.0)
        span, peak = time.monotonic() - begun, resident_mb(service.child.pid, "VmHWM")
        print(f"review of an hour in the service: {span:.1f} s, {idle:.0f} MB before, at most {peak:.0f} MB")
    finally:
        service.kill()


def main() -> None:
    """Measure and print."""
    folder = Path(tempfile.mkdtemp())
    broker = subprocess.Popen(["mosquitto", "-p", str(PORT)], stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    scenario = folder / "scenario"
    run_command("firmware_sim", "log", "long_hour", "--out", str(scenario))
    (folder / "rig.toml").write_text(f'[broker]\nport = {PORT}\n[spool]\nfile = "{folder}/rig-spool.sqlite3"\n')
    device = Program(folder / "rig.log", "rig", "--settings", str(folder / "rig.toml"))
    service = Program(
        folder / "service.log", "server", "serve", "--setup", str(scenario / "setup.toml"), "--database",
        str(folder / "db.sqlite3"), "--broker", f"127.0.0.1:{PORT}", "--port", str(HTTP),
    )  # fmt: skip
    demo_broker = Program(folder / "broker.log", "server.broker", "--port", str(PORT + 7))
    http = Http(HTTP)
    try:
        time.sleep(0.7)
        print(
            "start to first answer, five times:",
            ", ".join(f"{measure_start(service, http):.2f}" for _ in range(5)),
            "s",
        )
        device.start()
        demo_broker.start()
        time.sleep(3.0)
        bare, ours = measure_latency()
        print(f"message to bare callback {bare:.2f} ms, to the page's stream {ours:.2f} ms: ratio {ours / bare:.1f}")
        time.sleep(3.0)
        for name, program in (("device program", device), ("service idle", service), ("demo broker", demo_broker)):
            assert program.child is not None
            print(f"{name} resident {resident_mb(program.child.pid):.0f} MB")
        begun = time.monotonic()
        review = subprocess.Popen(
            [sys.executable, "-m", "server", "replay", str(scenario / "log.ndjson.gz"), "--setup",
             str(scenario / "setup.toml"), "--out", str(folder / "out")],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        peak = 0.0
        while review.poll() is None:
            peak = max(peak, resident_mb(review.pid)) if Path(f"/proc/{review.pid}/status").exists() else peak
            time.sleep(0.05)
        print(f"replay of an hour: {time.monotonic() - begun:.1f} s, peak {peak:.0f} MB")
        measure_review(scenario, folder)
    finally:
        for program in (service, device, demo_broker):
            program.kill()
        broker.terminate()
        broker.wait()


if __name__ == "__main__":
    main()
