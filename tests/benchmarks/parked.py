"""What a parked rig's days cost: the store's size and CPU time with and without thinning, and how long acks wait.

Run: python tests/benchmarks/parked.py [--days 4] [--keep-hours 24]. A day is 10 fixes, 5 counts of flow and 5 of wind a
second, the climate every 10 s and the receiver's statistics each minute; days are written faster than they pass.
"""

import argparse
import asyncio
import math
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

from rig import wire
from server.core.setup import FlowMeter
from server.ingest import Ingest
from server.service import Service
from server.store.connection import open_writer
from server.store.messages import Arrival, MessageWriter
from server.thinning import Thinner

BOOT = "0123456789abcdef"
BEGIN = 1.7787438e9
RIG = "yard"
HOUR = 3600


def second_of(second: int) -> Iterator[Arrival]:
    """What a rig that stands in a wind sends within a second."""
    for k in range(10):
        mono = round(second + k / 10, 6)
        utc = round(BEGIN + mono, 3)
        place = (45.0 + 1e-9 * ((second * 9973 + k) % 10**4), -30.0 + 1e-9 * ((second * 7919 + k) % 10**4))
        fix = wire.Position(
            BOOT, second * 10 + k, mono, "single", utc, *place, 12.4, 0.03, 20.1, 20, 0.7, 0.81, 0.92
        )  # fmt: skip
        yield arrive("position", fix, mono)
    for k in range(5):
        mono = round(second + k / 5, 6)
        turned = int(mono * 8 + 3 * math.sin(mono / 40))
        yield arrive("wind", wire.Wind(BOOT, second * 5 + k, mono, turned, round(max(mono - 0.0213, 0.0), 6), 0), mono)
        yield arrive("flow", wire.Flow(BOOT, second * 5 + k, mono, 0, None, 0), mono)
    if second % 10 == 0:
        yield arrive("climate", wire.Climate(BOOT, second // 10, float(second), 17.25, 61.5), second)
    if second % 60 == 0:
        detail = {"sentences": second * 40, "refused": 0, "flags": {}}
        yield arrive("event", wire.Event(BOOT, second // 60, float(second), "receiver", detail), second)


def arrive(stream: str, message: wire.Data, mono: float) -> Arrival:
    """A message as the intake hands it over."""
    return Arrival(wire.topic_of(RIG, stream), BEGIN + mono, wire.encode(message), RIG, stream, message)


def write_hours(writer: MessageWriter, first: int, hours: int, *, at_once_s: int = 60) -> None:
    """Store so many hours."""
    for second in range(first * HOUR, (first + hours) * HOUR, at_once_s):
        writer.write([each for k in range(second, second + at_once_s) for each in second_of(k)])


def written_bytes() -> int:
    """What this process has handed to the system for writing."""
    return int(Path("/proc/self/io").read_text().split("wchar: ")[1].split()[0])


def measure_hour(folder: Path) -> None:
    """An hour with a commit a second: the store alone, then decoded, folded into the live picture and stored."""
    writer = MessageWriter(open_writer(folder / "hour.db"))
    batches = [list(second_of(second)) for second in range(HOUR // 4)]
    before, written = time.process_time(), written_bytes()
    for batch in batches:
        writer.write(batch)
    writer.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    print(f"stored: {4 * (time.process_time() - before):.1f} s CPU an hour, "
          f"{4 * (written_bytes() - written) / 1e6:.0f} MB an hour handed to the disk")  # fmt: skip
    print(f"a day raw: {96 * (folder / 'hour.db').stat().st_size / 1e6:.0f} MB")
    setup = SimpleNamespace(folder=folder)
    print(f"whole service: {asyncio.run(run_service(setup.folder, batches)):.1f} s CPU an hour of a parked rig")


async def run_service(folder: Path, batches: list[list[Arrival]]) -> float:
    """CPU seconds an hour of the service without its link, messages as fast as they are taken."""
    from server.__main__ import read_start_setup

    service = Service(folder / "service.db", read_start_setup(Path("deploy/setup.toml")), keep_s=None)
    replies = SimpleNamespace(publish=lambda *a, **k: None, greet=lambda rig: None)
    await service.start(replies, is_setup_given=True)
    before = time.process_time()
    for batch in batches:
        for arrival in batch:
            service.ingest.take(arrival.topic, arrival.payload)
        await service.settle()
        await asyncio.wrap_future(service.ingest.call(lambda writer: None))
    spent = time.process_time() - before
    await service.stop()
    return spent * HOUR / len(batches)


class Waiter(threading.Thread):
    """Asks the writer's thread for nothing, again and again, and notes how long that took."""

    def __init__(self, ingest: Ingest) -> None:
        super().__init__(daemon=True)
        self._ingest = ingest
        self.waits_ms: list[float] = []
        self.is_over = threading.Event()

    def run(self) -> None:
        """Ask."""
        while not self.is_over.wait(0.01):
            begun = time.perf_counter()
            self._ingest.call(lambda writer: None).result(600)
            self.waits_ms.append(1000 * (time.perf_counter() - begun))


def measure_days(folder: Path, days: int, keep_hours: float, *, step_hours: int = 4) -> None:
    """Days that are thinned while they are written."""
    database = folder / "days.db"
    ingest = Ingest(database, ring=lambda: None)
    ingest.start(SimpleNamespace(publish=lambda *a, **k: None, greet=lambda rig: None))
    thinner = Thinner(database, ingest, keep_s=keep_hours * HOUR)
    waiter = Waiter(ingest)
    waiter.start()
    for first in range(0, 24 * days, step_hours):
        ingest.call(lambda writer, first=first: write_hours(writer, first, step_hours)).result()
        waiter.waits_ms.clear()
        before, begun = time.process_time(), time.perf_counter()
        removed = asyncio.run(thinner.thin(FlowMeter(450.0)))
        spent, took = time.process_time() - before, time.perf_counter() - begun
        waits = sorted(waiter.waits_ms[1:]) or [math.nan]
        free = ingest.call(lambda w: w.connection.execute("PRAGMA freelist_count").fetchone()[0]).result()
        size, most = thinner.tell()["file_bytes"] / 1e6, waits[-1]
        print(f"after {first + step_hours:3} h: {size:6.0f} MB, {free * 4096 / 1e6:5.0f} MB of it free;", end=" ")
        print(f"{removed:7} removed in {took:5.1f} s, {spent:5.2f} s CPU;", end=" ")
        print(f"waits {statistics.median(waits):.1f} ms, 99 % {waits[int(0.99 * len(waits))]:.0f}, most {most:.0f}")
    waiter.is_over.set()
    waiter.join()
    ingest.stop()


def main() -> None:
    """Print every figure."""
    reader = argparse.ArgumentParser()
    reader.add_argument("--days", type=int, default=2)
    reader.add_argument("--keep-hours", type=float, default=24.0)
    reader.add_argument("--folder", help="On which disk; else where temporary files go.")
    told = reader.parse_args()
    with tempfile.TemporaryDirectory(dir=told.folder) as name:
        measure_hour(Path(name))
        measure_days(Path(name), told.days, told.keep_hours)


if __name__ == "__main__":
    main()
