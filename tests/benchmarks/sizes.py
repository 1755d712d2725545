"""Resident memory, start-up, live latency and review time of the real programs.

Run: python tests/benchmarks/sizes.py (needs Mosquitto).
"""

import json
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from programs import Http, Program, run_command, wait_for

from rig import wire

PORT, HTTP = 18_862, 18_863
BOOT = "00000000deadbeef"
ROUNDS = 150


def resident_mb(pid: int) -> float:
    """Resident memory of a process."""
    status = Path(f"/proc/{pid}/status").read_text()
    found = next((line for line in status.splitlines() if line.startswith("VmRSS")), "VmRSS: 0 kB")
    return int(found.split()[1]) / 1024


def measure_latency(http: Http) -> tuple[float, float]:
    """Medians in ms from publishing to a bare callback, and to the service's event stream."""
    heard: dict[int, float] = {}
    shown: dict[int, float] = {}
    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda c, u, m: heard.setdefault(json.loads(m.payload)["seq"], time.perf_counter())
    client.connect("127.0.0.1", PORT)
    client.subscribe("calmpass/1/late/position", 1)
    client.loop_start()

    def look() -> None:
        with urllib.request.urlopen(f"{http.base}/api/live/stream", timeout=60) as stream:
            for line in stream:
                if line.startswith(b'data: {"at_utc"'):
                    found = json.loads(line[6:])
                    shown.setdefault(int(found["at_utc"] or 0), time.perf_counter())
                if len(shown) > ROUNDS + 20:
                    return

    threading.Thread(target=look, daemon=True).start()
    time.sleep(1.0)
    sent = {}
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
    client.loop_stop()
    bare = [heard[seq] - at for seq, (at, _) in sent.items() if seq in heard]
    ours = [shown[int(utc)] - at for at, utc in sent.values() if int(utc) in shown]
    print(f"  shown on the page: {len(ours)} of {ROUNDS}")
    return 1e3 * statistics.median(bare), 1e3 * statistics.median(ours)


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
        begun = time.monotonic()
        service.start()
        wait_for(lambda: http.ask("/api/health"), "the service answers")
        print(f"start to first answer {time.monotonic() - begun:.2f} s")
        device.start()
        demo_broker.start()
        bare, ours = measure_latency(http)
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
    finally:
        for program in (service, device, demo_broker):
            program.kill()
        broker.terminate()
        broker.wait()


if __name__ == "__main__":
    main()
