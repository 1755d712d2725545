"""Rows of decoded messages made into a job's arrays; the store and the raw log both end here, so both agree."""

import json
from collections.abc import Iterator
from typing import Any

import numpy as np

from server.core.digest import digest_samples
from server.core.log import Boot, ClimateSamples, Counts, Fixes, Floats, Happening, JobLog, Receipt, WindSamples
from server.store.columns import COLUMNS

Row = tuple[Any, ...]
"""(seq, mono, the stream's columns, boot index, received UTC)."""
Rows = dict[str, list[Row]]
Tables = dict[str, Floats]
"""Rows of the streams that are numbers throughout."""
NUMERIC = ("position", "flow", "wind", "climate")
SAID = ("event", "operator")


def tabulate(rows: list[Row], stream: str) -> Floats:
    """Rows of numbers as one table; None becomes NaN."""
    return np.array(rows, dtype=np.float64).reshape(len(rows), len(COLUMNS[stream]) + 4)


def assemble_log(rig: str, boots: list[str], tables: Tables, said: Rows, receipt: Receipt) -> JobLog:
    """Order the rows by (boot's first arrival, mono), number the boots so, and make the arrays."""
    starts = _find_starts(tables, said)
    order = sorted(starts, key=lambda index: (starts[index][0], boots[index]))
    rank = {index: place for place, index in enumerate(order)}
    position, flow, wind, climate = (_sort_columns(tables[stream], rank) for stream in NUMERIC)
    series = (
        Fixes(*_with_whole(position, 0, 1, 3)),
        Counts(*_with_whole(flow, 0, 1, 3, 5)),
        WindSamples(*_with_whole(wind, 0, 1)),
        ClimateSamples(*_with_whole(climate, 0, 1)),
    )
    happenings = tuple(sorted(_read_happenings(said, rank), key=lambda h: (h.boot, h.mono, h.source, h.seq)))
    known = tuple(Boot(boots[index], *starts[index]) for index in order)
    digest = digest_samples(tuple(boot.name for boot in known), series, happenings)
    return JobLog(rig, known, *series, happenings, receipt, digest)


def _find_starts(tables: Tables, said: Rows) -> dict[int, tuple[float, float]]:
    """Each boot's first arrival and smallest (received - mono)."""
    heads = [table[:, [-2, -1, 1]] for table in tables.values()]
    heads += [np.array([(row[-2], row[-1], row[1]) for row in rows]).reshape(-1, 3) for rows in said.values()]
    boot, received, mono = np.concatenate(heads).T
    starts: dict[int, tuple[float, float]] = {}
    for index in np.unique(boot):
        chosen = boot == index
        first, smallest = received[chosen].min(), (received - mono)[chosen].min()
        starts[int(index)] = (float(first), float(smallest))
    return starts


def _sort_columns(table: Floats, rank: dict[int, int]) -> list[Floats]:
    """Columns boot, seq, mono and the stream's own, in order of boot and mono."""
    places = np.zeros(max(rank, default=0) + 1)
    for index, place in rank.items():
        places[index] = place
    boot = places[table[:, -2].astype(np.int64)]
    order = np.lexsort((table[:, 0], table[:, 1], boot))
    columns = range(table.shape[1] - 2)
    return [boot[order], *(np.ascontiguousarray(table[order, column]) for column in columns)]


def _with_whole(columns: list[Floats], *whole: int) -> list[Any]:
    """The columns, those named as whole numbers."""
    return [column.astype(np.int64) if place in whole else column for place, column in enumerate(columns)]


def _read_happenings(said: Rows, rank: dict[int, int]) -> Iterator[Happening]:
    """Events and operator messages."""
    for seq, mono, kind, detail, boot, _ in said["event"]:
        yield Happening("device", rank[boot], seq, mono, kind, json.loads(detail))
    for seq, mono, _, kind, detail, boot, _ in said["operator"]:
        yield Happening("operator", rank[boot], seq, mono, kind, json.loads(detail))
