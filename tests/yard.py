"""A yard in which a rig stands: a store of its own, the watch over it, and a clock that the test moves."""

import asyncio
from dataclasses import replace
from math import isfinite, nan

import numpy as np

from server.calm.moment import Moment
from server.calm.need import NO_TIME, Need
from server.calm.watch import CalmWatch
from server.core.blocks import Block
from server.store.connection import open_writer
from server.store.history import Source, save_blocks
from server.store.outlook import save_note

NOON = 1_750_075_200.0
"""2025-06-16 12:00 UTC, a whole minute."""
RIG = Source("rig", "yard", 2.0)
LIMIT = 3.0
NEED = Need(25, "lawn", NO_TIME, 500.0, 1.0, False)
AT_NOON = Moment(
    1000.0, NOON, NOON + 5.0, "yard", False, LIMIT, 2.0, 52.0, 0.0, mean_60s_mps=nan, mean_2min_mps=nan, need=NEED
)


def draw_wind(days, seed=7):
    """Minutes of a wind with calm nights and gusty afternoons, ending before noon."""
    count = round(1440 * days)
    draw = np.random.default_rng(seed)
    keep = np.exp(-1 / 120.0)
    state, slow = 0.0, np.zeros(count)
    for i, shock in enumerate((draw.standard_normal(count) * np.sqrt(1 - keep**2)).tolist()):
        state = keep * state + shock
        slow[i] = state
    hour = (12.0 + (np.arange(count) - count) / 60.0) % 24.0
    day = 1.8 + 1.2 * np.sin((hour - 9.0) * np.pi / 12.0)
    return np.clip(day + 0.9 * slow + 0.15 * draw.standard_normal(count), 0.0, None)


class Yard:
    """A store, the watch over it, and a clock."""

    def __init__(self, folder):
        self.database = folder / "db.sqlite3"
        self.connection = open_writer(self.database)
        self.told = []
        self.watch = self.wake_up()

    def wake_up(self):
        """The service started anew."""

        async def flush():
            """Everything is stored at once here."""

        def note(name, value):
            save_note(self.connection, name, value)

        self.watch = CalmWatch(self.database, flush=flush, note=note, on_change=lambda: self.told.append(1))
        self.watch.restore()
        return self.watch

    def record(self, speeds, *, until=NOON, source=RIG):
        """Store minutes (or longer means) that end at a moment."""
        step = source.step_s // 60
        last = round(until / 60.0)
        rows = [
            Block(last - (len(speeds) - i) * step, float(v), nan, nan, nan, source.step_s, 0, True)
            for i, v in enumerate(speeds)
            if isfinite(v)
        ]
        save_blocks(self.connection, source, rows)

    def look(self, moment=AT_NOON, *, minutes=0.0, is_whole=True, **more):
        """One look so many minutes after noon; `is_whole` waits for the program that looks through the past."""

        async def work():
            later_s = 60.0 * minutes
            at = replace(
                moment, mono=moment.mono + later_s, utc=moment.utc + later_s, wall_utc=moment.wall_utc + later_s
            )
            at = replace(at, **more)
            self.watch._is_stopped = not is_whole
            await self.watch.look(at)
            if is_whole:
                await self.watch.settle()
                await self.watch.look(at)
            return self.watch.told

        return asyncio.run(work())


def play(yard, speeds, **more):
    """Minutes as they come, a look after each; gives each new word with the minute at which it came."""
    words, before = [], yard.watch.word
    for i, speed in enumerate(speeds, start=1):
        if isfinite(speed):
            yard.record([speed], until=NOON + 60.0 * i)
        yard.look(minutes=i + 0.1, is_whole=False, **more)
        if yard.watch.word != before:
            before = yard.watch.word
            words.append((i, before))
    return words
