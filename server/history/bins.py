"""From readings in any order to blocks: sorted, each time once, minutes averaged where rows are closer, gaps named."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from server.core.blocks import GUST_S, MINUTE_S, Block
from server.errors import HistoryError
from server.history.readings import Readings
from server.history.tally import Tally

LONGEST_STEP_S = 3 * 3600
GAP = 1.5
"""A longer time than so many usual steps between two rows is a gap."""
REGULAR = 0.1
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bins:
    """Blocks as columns, in order; `gaps` are (from, to) in seconds UTC, `missing_steps` how many steps they are."""

    cadence_s: float
    step_s: int
    regular_fraction: float
    minute: NDArray[np.int64]
    mean: Floats
    gust: Floats
    east: Floats
    north: Floats
    known_s: NDArray[np.int64]
    below_s: NDArray[np.int64]
    gaps: Floats
    missing_steps: int

    def blocks(self) -> Iterator[Block]:
        """One block after the other."""
        columns = (self.minute, self.mean, self.gust, self.east, self.north, self.known_s, self.below_s)
        for begin in range(0, len(self.minute), 1000):
            rows = (column[begin : begin + 1000].tolist() for column in columns)
            for minute, mean, gust, east, north, known_s, below_s in zip(*rows, strict=True):
                yield Block(minute, mean, gust, east, north, known_s, below_s, is_station=True)


def lay_bins(readings: Readings, tally: Tally, *, is_end_stamped: bool) -> Bins:
    """Sort, strike out repeats, find the usual step, average within minutes; raises HistoryError."""
    order = _sort_rows(readings, tally)
    utc = np.frombuffer(readings.utc, dtype=np.float64)[order]
    if len(utc) < 2:
        raise HistoryError("fewer than two rows can be used: how long an interval they stand for cannot be told")
    steps = np.diff(utc)
    cadence = float(np.median(steps))
    if cadence > LONGEST_STEP_S:
        raise HistoryError(f"rows are {cadence / 3600:.1f} h apart: means of at most 3 h say something of calm")
    step = MINUTE_S * max(1, round(cadence / MINUTE_S))
    starts = utc - cadence if is_end_stamped else utc
    minute = np.floor((starts + 0.5) / MINUTE_S).astype(np.int64)
    first = np.flatnonzero(np.concatenate(([True], np.diff(minute) > 0)))
    counts = np.diff(np.append(first, len(minute)))
    if cadence >= MINUTE_S:
        again = np.setdiff1d(np.arange(len(minute)), first)
        tally.note_many("clashing", len(again), _lines_of(readings, order[again]))
    speed = np.frombuffer(readings.speed, dtype=np.float32)[order].astype(np.float64)
    gust = np.frombuffer(readings.gust, dtype=np.float32)[order].astype(np.float64)
    if not np.isfinite(gust).any():
        gust = _run_means(utc, speed, cadence)
    gust = np.fmax.reduceat(gust, first)
    east, north = _mean_vectors(np.frombuffer(readings.from_deg, dtype=np.float32)[order].astype(np.float64), first)
    spent = np.minimum(counts * cadence, step) if cadence < MINUTE_S else np.full(len(first), float(step))
    is_long = steps > GAP * cadence
    return Bins(
        cadence_s=cadence,
        step_s=step,
        regular_fraction=float((np.abs(steps - cadence) <= REGULAR * cadence).mean()),
        minute=minute[first],
        mean=np.add.reduceat(speed, first) / counts,
        gust=gust,
        east=east,
        north=north,
        known_s=np.rint(spent).astype(np.int64),
        below_s=np.rint(spent * np.add.reduceat((speed == 0.0).astype(np.float64), first) / counts).astype(np.int64),
        gaps=np.column_stack((utc[:-1][is_long], utc[1:][is_long])),
        missing_steps=int((np.rint(steps[is_long] / cadence) - 1).sum()),
    )


def _sort_rows(readings: Readings, tally: Tally) -> NDArray[np.int64]:
    """The rows in time, each time once; what was out of order or repeated is counted."""
    utc = np.frombuffer(readings.utc, dtype=np.float64)
    steps = np.diff(utc)
    falls = np.flatnonzero(steps < 0.0) + 1
    rises = np.flatnonzero(steps > 0.0) + 1
    odd = falls if len(falls) <= len(rises) else rises
    tally.note_many("out_of_order", len(odd), _lines_of(readings, odd))
    order = np.argsort(utc, kind="stable")
    is_again = np.concatenate(([False], np.diff(utc[order]) == 0.0))[: len(utc)]
    if is_again.any():
        # Compared with the first row of that time, which is the one that stays.
        leader = np.maximum.accumulate(np.where(is_again, 0, np.arange(len(order))))
        is_same = np.ones(len(order), dtype=bool)
        for column in (readings.speed, readings.gust, readings.from_deg):
            values = np.frombuffer(column, dtype=np.float32)[order]
            is_same &= (values == values[leader]) | (np.isnan(values) & np.isnan(values[leader]))
        for kind, chosen in (("repeated", is_again & is_same), ("contradicting", is_again & ~is_same)):
            tally.note_many(kind, int(chosen.sum()), _lines_of(readings, order[chosen]))
        order = order[~is_again]
    return order


def _run_means(utc: Floats, speed: Floats, cadence: float) -> Floats:
    """Running 3-s means of rows that come that often; NaN where a row of them is missing, or rows come less often."""
    found = np.full(len(speed), nan)
    if cadence > GUST_S:
        return found
    width = max(1, round(GUST_S / cadence))
    if width > len(speed):
        return found
    sums = np.concatenate(([0.0], np.cumsum(speed)))
    means = (sums[width:] - sums[:-width]) / width
    is_whole = utc[width - 1 :] - utc[: len(utc) - width + 1] < (width - 0.5) * cadence
    found[width - 1 :] = np.where(is_whole, means, nan)
    return found


def _mean_vectors(from_deg: Floats, first: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Mean unit vectors; NaN where no row has a direction."""
    is_known = np.isfinite(from_deg)
    angle = np.radians(np.where(is_known, from_deg, 0.0))
    counts = np.add.reduceat(is_known.astype(np.float64), first)
    divisor = np.where(counts > 0.0, counts, nan)
    east = np.add.reduceat(np.sin(angle) * is_known, first) / divisor
    north = np.add.reduceat(np.cos(angle) * is_known, first) / divisor
    return east, north


def _lines_of(readings: Readings, rows: NDArray[np.int64]) -> list[int]:
    return [readings.line[int(row)] for row in rows[:5]]
