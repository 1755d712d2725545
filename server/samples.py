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


def assemble_log(rig: str, boots: list[str], rows: Rows, receipt: Receipt) -> JobLog:
    """Order the rows by (boot's first arrival, mono), number the boots so, and make the arrays."""
    starts = _find_starts(rows)
    order = sorted(starts, key=lambda index: (starts[index][0], boots[index]))
    rank = {index: place for place, index in enumerate(order)}
    position, flow, wind, climate = (
        _sort_columns(rows.get(stream, []), stream, rank) for stream in ("position", "flow", "wind", "climate")
    )
    series = (
        Fixes(*_with_whole(position, 0, 1, 3)),
        Counts(*_with_whole(flow, 0, 1, 3, 5)),
        WindSamples(*_with_whole(wind, 0, 1)),
        ClimateSamples(*_with_whole(climate, 0, 1)),
    )
    happenings = tuple(sorted(_read_happenings(rows, rank), key=lambda h: (h.boot, h.mono, h.source, h.seq)))
    known = tuple(Boot(boots[index], *starts[index]) for index in order)
    digest = digest_samples(tuple(boot.name for boot in known), series, happenings)
    return JobLog(rig, known, *series, happenings, receipt, digest)


def _find_starts(rows: Rows) -> dict[int, tuple[float, float]]:
    """Each boot's first arrival and smallest (received - mono)."""
    starts: dict[int, tuple[float, float]] = {}
    for stream in sorted(rows):
        for row in rows[stream]:
            index, received = row[-2], row[-1]
            first, offset = starts.get(index, (received, received - row[1]))
            starts[index] = (min(first, received), min(offset, received - row[1]))
    return starts


def _sort_columns(rows: list[Row], stream: str, rank: dict[int, int]) -> list[Floats]:
    """Columns boot, seq, mono and the stream's own, in order of boot and mono."""
    width = len(COLUMNS[stream]) + 4
    table = np.array(rows, dtype=np.float64).reshape(len(rows), width)
    places = np.zeros(max(rank, default=0) + 1)
    for index, place in rank.items():
        places[index] = place
    boot = places[table[:, -2].astype(np.int64)]
    order = np.lexsort((table[:, 0], table[:, 1], boot))
    return [boot[order], *(np.ascontiguousarray(table[order, column]) for column in range(width - 2))]


def _with_whole(columns: list[Floats], *whole: int) -> list[Any]:
    """The columns, those named as whole numbers."""
    return [column.astype(np.int64) if place in whole else column for place, column in enumerate(columns)]


def _read_happenings(rows: Rows, rank: dict[int, int]) -> Iterator[Happening]:
    """Events and operator messages."""
    for seq, mono, kind, detail, boot, _ in rows.get("event", []):
        yield Happening("device", rank[boot], seq, mono, kind, json.loads(detail))
    for seq, mono, _, kind, detail, boot, _ in rows.get("operator", []):
        yield Happening("operator", rank[boot], seq, mono, kind, json.loads(detail))
