"""What the wind's history costs: a parked rig's day on the disk, the import of a year of minutes, a look back.

Run: python tests/benchmarks/history.py
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from server.core.blocks import Block
from server.store.connection import open_reader, open_writer
from server.store.history import Source, read_steps, save_blocks

DAYS = 10
YEAR = 525_600
FIRST_MINUTE = 29_166_667


def written_bytes() -> int:
    """What this process has handed to the system for writing."""
    return int(Path("/proc/self/io").read_text().split("wchar: ")[1].split()[0])


def measure_station(folder: Path) -> dict[str, float]:
    """A block a minute, each in a transaction of its own, as the service does it."""
    connection = open_writer(folder / "station.db")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before, size = written_bytes(), (folder / "station.db").stat().st_size
    draw = np.random.default_rng(1)
    begun = time.perf_counter()
    for minute in range(1440 * DAYS):
        mean, aim = draw.gamma(2.0, 1.0), draw.uniform(0.0, 6.28)
        block = Block(FIRST_MINUTE + minute, mean, 1.6 * mean, np.sin(aim), np.cos(aim), 60, 0, is_station=True)
        save_blocks(connection, Source("rig", "yard", 2.0), [block])
    spent = time.perf_counter() - begun
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return {
        "stored_kb_per_day": ((folder / "station.db").stat().st_size - size) / DAYS / 1000,
        "written_mb_per_day": (written_bytes() - before) / DAYS / 1e6,
        "writes_per_day": 1440,
        "ms_per_write": 1000 * spent / 1440 / DAYS,
    }


def write_year(file: Path) -> None:
    """A year of minutes with decimal commas and local dates."""
    draw = np.random.default_rng(2)
    speeds, begin = draw.gamma(2.0, 3.0, YEAR), datetime(2025, 1, 1, tzinfo=UTC)
    with file.open("w") as out:
        out.write("Date;Time;Wind speed (km/h);Gust (km/h);Wind direction;Status\n")
        for i, speed in enumerate(speeds.tolist()):
            text = f"{speed:.1f};{1.6 * speed:.1f}".replace(".", ",")
            out.write(f"{begin + timedelta(minutes=i):%d.%m.%Y;%H:%M};{text};{i % 360};OK\n")


def measure_import(folder: Path) -> dict[str, float]:
    """The command on a year of minutes, in a process of its own."""
    file = folder / "year.csv"
    write_year(file)
    told = ("--zone", "+01:00", "--stamp", "end", "--height-m", "2", "--good-flags", "OK")
    command = (sys.executable, "-m", "server", "history", "import", str(file), "--json", *told)
    begun = time.perf_counter()
    done = subprocess.run(
        (*command, "--database", str(folder / "year.db")), capture_output=True, check=True, env={**os.environ}
    )
    return {
        "file_mb": file.stat().st_size / 1e6,
        "rows": json.loads(done.stdout)["used_rows"],
        "seconds": time.perf_counter() - begun,
        "peak_mb": resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024,
        "stored_mb": (folder / "year.db").stat().st_size / 1e6,
    }


def measure_look(folder: Path) -> dict[str, float]:
    """Reading the year back in steps."""
    connection = open_reader(folder / "year.db")
    found = {}
    for name, step, days in (("two_days_by_minutes", 60, 2), ("120_days_by_hours", 3600, 120), ("year", 86_400, 365)):
        begun = time.perf_counter()
        begin = datetime(2025, 1, 1, tzinfo=UTC).timestamp()
        read_steps(connection, 1, from_utc=begin, to_utc=begin + 86_400 * days, step_s=step)
        found[f"{name}_ms"] = 1000 * (time.perf_counter() - begun)
    connection.close()
    return found


def main() -> None:
    """Print every figure."""
    with tempfile.TemporaryDirectory() as name:
        for measure in (measure_station, measure_import, measure_look):
            for key, value in measure(Path(name)).items():
                print(f"{key:28} {value:12.2f}")


if __name__ == "__main__":
    main()
