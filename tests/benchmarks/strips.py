"""Judging the strips of an hour's job while it runs: how long it takes, how much memory, and how long the loop waits.

Run: python tests/benchmarks/strips.py [SCENARIO [RECEIVER]]; the thread beside it is what the service does not do.
"""

import asyncio
import gc
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from programs import run_command

from rig import wire
from server.core.results import Plane
from server.core.setup import Span
from server.rawlog import read_raw_log
from server.settings import read_setup
from server.store.connection import open_reader, open_writer
from server.store.joblog import load_job_log
from server.store.jobs import Job, add_job
from server.store.messages import Arrival, MessageWriter
from server.strips import Question, Strips

ROUNDS = 3
PLANE = Plane(45.00002, -29.99997)
"""Where the simulator's lawns lie."""
BATCH = 2000


def store_job(folder: Path, scenario: str, receiver: str) -> Path:
    """A database that holds one simulated job, still open."""
    done = run_command("firmware_sim", "log", scenario, "--receiver", receiver, "--out", str(folder), "--rig", "rig-1")
    assert done.returncode == 0, done.stderr
    arrivals = []
    for line in read_raw_log(folder / "log.ndjson.gz"):
        rig, stream = wire.split_topic(line.topic)
        message = wire.decode(stream, line.payload)
        arrivals.append(Arrival(line.topic, line.received_utc, line.payload, rig, stream, message))
    file = folder / "db.sqlite3"
    writer = MessageWriter(open_writer(file))
    for first in range(0, len(arrivals), BATCH):
        writer.write(arrivals[first : first + BATCH])
    setup = replace(read_setup(folder / "setup.toml"), job=Span("rig-1"))
    add_job(writer.connection, Job(0, "job", "running", time.time(), setup))
    writer.connection.close()
    print(f"{scenario}, {receiver}: {len(arrivals)} messages in the store")
    return file


async def measure_stall(work: Callable[[], Awaitable[None]]) -> tuple[float, float]:
    """Seconds that some work takes, and the longest time that the loop did not turn meanwhile."""
    longest, is_done = 0.0, False

    async def turn() -> None:
        nonlocal longest
        last = time.perf_counter()
        while not is_done:
            await asyncio.sleep(0.001)
            now = time.perf_counter()
            longest, last = max(longest, now - last), now

    task = asyncio.create_task(turn())
    begun = time.perf_counter()
    await work()
    took, is_done = time.perf_counter() - begun, True
    await task
    return took, longest


async def flush() -> None:
    """Nothing waits for the disk here."""


def judge_here(file: Path) -> None:
    """The same work in a thread."""
    from server.verdicts import judge_strips

    job_log = load_job_log(open_reader(file), Span("rig-1"))
    judge_strips(job_log, read_setup(file.parent / "setup.toml"))


def highest_mb() -> float:
    """The most memory that this process ever had."""
    status = Path("/proc/self/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) / 1024


async def measure(file: Path) -> None:
    """Print a row a round."""
    strips = Strips(file, flush=flush, on_change=lambda: None)

    async def ask() -> None:
        strips.request(Question(1, PLANE, 0))
        await strips.settle()

    for _ in range(ROUNDS):
        took, stall = await measure_stall(ask)
        assert strips.fault is None, strips.fault
        own = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"program: {took:.2f} s, loop {1e3 * stall:.0f} ms, its memory {own:.0f} MiB")
    before = highest_mb()
    for _ in range(ROUNDS):
        took, stall = await measure_stall(lambda: asyncio.to_thread(judge_here, file))
        print(
            f"thread:  {took:.2f} s, loop {1e3 * stall:.0f} ms, "
            f"{highest_mb() - before:.0f} MiB more than the {before:.0f} MiB before"
        )


def main() -> None:
    """Fill a store, then measure in a process that has had no other child and no other work."""
    if sys.argv[1:2] == ["--database"]:
        gc.freeze()  # as the service does
        asyncio.run(measure(Path(sys.argv[2])))
        return
    with tempfile.TemporaryDirectory() as name:
        words = [*sys.argv[1:], *("long_hour", "fixed")[len(sys.argv) - 1 :]]
        file = store_job(Path(name), *words)
        subprocess.run([sys.executable, __file__, "--database", str(file)], check=True)


if __name__ == "__main__":
    main()
