"""Ingest with validation, storage and acknowledgement after commit, beside a bare paho loop on the same broker.

Run: python tests/benchmarks/ingest.py (needs Mosquitto). Prints CPU time a message of both and their ratio, in turns
and without the live picture; the database's size after an hour at 28 messages/s; and, where strace is installed, how
often the disk is waited for in that hour.
"""

import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from multiprocessing import get_context
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from rig import wire
from server.ingest import Ingest
from server.link import LinkEvents, LinkSettings, MqttLink
from server.store.connection import open_writer
from server.store.messages import Arrival, MessageWriter

PORT = 18_861
MESSAGES = 20_000
ROUNDS = 6
BOOT = "0123456789abcdef"
HOUR_RATES_HZ = {"position": 10, "flow": 9, "wind": 9}


def make(stream: str, seq: int, hz: float) -> wire.Sample:
    """A sample as a rig would send it."""
    mono = round(100.0 + seq / hz, 6)
    if stream == "position":
        return wire.Position(
            BOOT, seq, mono, "fixed", round(1.7787438e9 + seq / hz, 3), 45.0 + 1e-9 * (seq * 9973 % 10**6),
            -30.0 + 1e-9 * (seq * 7919 % 10**6), 12.4, 1.2034, 20.1, 20, 0.7, 0.0123, 0.0141,
        )  # fmt: skip
    kind = wire.Flow if stream == "flow" else wire.Wind
    return kind(BOOT, seq, mono, seq * 3, round(mono - 0.0213, 6), 0)


def send(count: int) -> None:
    """Publish a mix of samples as fast as the broker takes them."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(200)
    client.connect("127.0.0.1", PORT)
    client.loop_start()
    seqs: Counter[str] = Counter()
    last = None
    for number in range(count):
        stream = ("position", "flow", "wind")[number % 3]
        payload = wire.encode(make(stream, seqs[stream], 5.0))
        seqs[stream] += 1
        last = client.publish(f"calmpass/1/bench/{stream}", payload, 1)
        if number % 500 == 499:
            last.wait_for_publish(30)
    if last is not None:
        last.wait_for_publish(30)
    client.loop_stop()


def cpu_s() -> float:
    """This process's CPU time so far."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def run_bare(count: int) -> float:
    """A paho loop that only counts."""
    seen = 0

    def take(client: Client, userdata: object, message: object) -> None:
        nonlocal seen
        seen += 1

    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = take
    client.connect("127.0.0.1", PORT)
    client.subscribe("calmpass/1/+/+", 1)
    client.loop_start()
    return _measure(lambda: seen, count, client.loop_stop)


def run_ingest(count: int) -> float:
    """The service's link and ingest."""
    with tempfile.TemporaryDirectory() as folder:
        ingest = Ingest(Path(folder) / "db.sqlite3", ring=lambda: None)
        events = LinkEvents(ingest.take, lambda is_up: None, lambda reason: None)
        link = MqttLink(LinkSettings("127.0.0.1", PORT), events)
        ingest.start(link)
        link.open()

        def stop() -> None:
            link.close()
            ingest.stop()

        return _measure(lambda: ingest.counts["read"], count, stop)


def run_both() -> tuple[float, float]:
    """CPU seconds of the bare loop and of ingest; once more where the broker did not pass everything on."""
    try:
        return run_bare(MESSAGES), run_ingest(MESSAGES)
    except TimeoutError as error:
        print(f"a round is repeated: {error}")
        return run_bare(MESSAGES), run_ingest(MESSAGES)


def _measure(seen: object, count: int, stop: object) -> float:
    """CPU seconds from the first message to the last."""
    assert callable(seen)
    assert callable(stop)
    time.sleep(0.5)
    sender = get_context("spawn").Process(target=send, args=(count,))
    before = cpu_s()
    sender.start()
    end = time.monotonic() + 30.0
    while seen() < count and time.monotonic() < end:
        time.sleep(0.02)
    used = cpu_s() - before
    sender.join()
    stop()
    if seen() < count:
        raise TimeoutError(f"{seen()} of {count} messages came")
    return used


def size_of_an_hour() -> float:
    """Megabytes of a database after an hour at 28 messages/s, a commit a second."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "db.sqlite3"
        connection = open_writer(file)
        writer = MessageWriter(connection)
        for second in range(3600):
            batch = []
            for stream, hz in HOUR_RATES_HZ.items():
                for k in range(hz):
                    message = make(stream, second * hz + k, float(hz))
                    at = 1.7787438e9 + second + k / hz
                    topic = wire.topic_of("bench", stream)
                    batch.append(Arrival(topic, at, wire.encode(message), "bench", stream, message))
            writer.write(batch)
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.close()
        return file.stat().st_size / 1e6


def count_waits() -> str:
    """How often the disk was waited for while an hour was stored."""
    tracer = shutil.which("strace")
    if tracer is None:
        return "not counted: strace is not installed"
    with tempfile.NamedTemporaryFile("r") as report:
        words = ["-f", "-c", "-e", "trace=fdatasync,fsync", "-o", report.name]
        command = [tracer, *words, sys.executable, __file__, "hour"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        rows = [line.split() for line in report if line.rstrip().endswith(("fdatasync", "fsync"))]
    return ", ".join(f"{row[3]} {row[-1]}" for row in rows)


def main() -> None:
    """Measure and print."""
    if sys.argv[1:] == ["hour"]:
        print(size_of_an_hour())
        return
    with tempfile.NamedTemporaryFile("w") as settings:
        # Without a limit of its own: what the broker drops would be no message of the slower of the two.
        settings.write(f"listener {PORT} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n")
        settings.flush()
        broker = subprocess.Popen(["mosquitto", "-c", settings.name], stderr=subprocess.DEVNULL)
        try:
            time.sleep(0.7)
            rounds = [run_both() for _ in range(ROUNDS)]
        finally:
            broker.terminate()
            broker.wait()
    bare, ours = (1e6 * statistics.median(spans) / MESSAGES for spans in zip(*rounds, strict=True))
    print(f"bare paho loop        {bare:7.1f} µs CPU a message")
    print(f"ingest, stored, acked {ours:7.1f} µs CPU a message")
    each = ", ".join(f"{a / b:.2f}" for a, b in rounds)
    print(f"message rate per CPU second, ours : bare = {bare / ours:.2f} (rounds: {each})")
    print(f"database of an hour at 28 messages/s: {size_of_an_hour():.1f} MB; waits for the disk: {count_waits()}")


if __name__ == "__main__":
    main()
