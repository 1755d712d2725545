"""What the outlook costs the service: a year of minutes stored, the program that looks through it, the minute's look.

Run: python tests/benchmarks/calm.py (--days 14 90 365; each length is measured in turn)
"""

import argparse
import asyncio
import resource
import tempfile
import time
from dataclasses import replace
from math import nan
from pathlib import Path

import numpy as np

from server.calm.moment import Moment
from server.calm.need import NO_TIME, Need
from server.calm.watch import CalmWatch
from server.core.blocks import Block
from server.store.connection import open_writer
from server.store.history import Source, save_blocks

NOW = 1_750_075_200.0
NEED = Need(25, "lawn", NO_TIME, 500.0, 1.0, is_pace_known=False)
MOMENT = Moment(
    1000.0, NOW, NOW, "yard", is_silent=False, limit_mps=3.0, height_m=2.0, lat_deg=52.0, lon_deg=0.0,
    mean_60s_mps=nan, mean_2min_mps=nan, need=NEED,
)  # fmt: skip
LOOKS = 30


def store_wind(database: Path, days: int) -> None:
    """Minutes of a wind with calm nights, as far as the cost goes like any other."""
    count = 1440 * days
    draw = np.random.default_rng(7)
    slow = np.convolve(draw.standard_normal(count + 240), np.hanning(240), "valid")[:count]
    hour = (12.0 + (np.arange(count) - count) / 60.0) % 24.0
    speeds = 1.8 + 1.2 * np.sin((hour - 9.0) * np.pi / 12.0) + 0.9 * slow / slow.std()
    speeds = np.clip(speeds + 0.15 * draw.standard_normal(count), 0.0, None)
    speeds[-90:] = np.minimum(speeds[-90:], 2.0)
    last = round(NOW / 60.0)
    connection = open_writer(database)
    for part in np.array_split(np.arange(count), max(1, count // 20_000)):
        blocks = [Block(last - count + int(i), float(speeds[i]), nan, nan, nan, 60, 0, is_station=True) for i in part]
        save_blocks(connection, Source("rig", "yard", 2.0), blocks)
    connection.close()


async def feel_stalls(lags: list[float]) -> None:
    """How much later than asked for the event loop turns [s]."""
    while True:
        begun = time.perf_counter()
        await asyncio.sleep(0.001)
        lags.append(time.perf_counter() - begun - 0.001)


async def measure(database: Path) -> dict[str, float]:
    """The first look with its program, then a look a minute."""

    async def flush() -> None:
        """Nothing waits here."""

    watch = CalmWatch(database, flush=flush, note=lambda name, value: None, on_change=lambda: None)
    watch.restore()
    found: dict[str, float] = {}
    lags: list[float] = []
    feeler = asyncio.create_task(feel_stalls(lags))
    await asyncio.sleep(0.5)
    found["idle_loop_worst_ms"] = 1000.0 * max(lags)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    lags.clear()
    begun = time.perf_counter()
    await watch.look(MOMENT)
    found["first_look_ms"] = 1000.0 * (time.perf_counter() - begun)
    await watch.settle()
    found["program_s"] = time.perf_counter() - begun
    found["loop_worst_beside_program_ms"] = 1000.0 * max(lags)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    found["program_cpu_s"] = used.ru_utime + used.ru_stime
    found["program_peak_mib"] = used.ru_maxrss / 1024.0
    lags.clear()
    spent = []
    for minute in range(LOOKS):
        begun = time.perf_counter()
        await watch.look(replace(MOMENT, mono=1000.0 + 60.0 * minute))
        spent.append(time.perf_counter() - begun)
    found["look_ms_median"] = 1000.0 * float(np.median(spent))
    found["look_ms_worst"] = 1000.0 * max(spent)
    found["loop_worst_in_looks_ms"] = 1000.0 * max(lags)
    feeler.cancel()
    found["service_gained_mib"] = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024.0
    assert watch.told is not None
    found["days_told"] = watch.told["days"]
    return found


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", nargs="+", type=int, default=[14, 90, 365])
    for days in parser.parse_args().days:
        with tempfile.TemporaryDirectory() as folder:
            database = Path(folder) / "db.sqlite3"
            store_wind(database, days)
            print(f"{days} days of minutes")
            for key, value in asyncio.run(measure(database)).items():
                print(f"  {key:30} {value:10.2f}")


if __name__ == "__main__":
    main()
