"""How the wire's messages lie in typed tables, and back."""

import json
from collections.abc import Callable
from operator import attrgetter
from typing import Any

from rig import wire

COLUMNS: dict[str, tuple[str, ...]] = {
    "position": (
        "fix", "utc", "lat", "lon", "alt", "speed", "course", "sats", "hdop", "sd_east", "sd_north",
    ),
    "flow": ("pulses", "edge", "edges_rejected"),
    "wind": ("pulses", "edge", "edges_rejected", "speed", "from_bow"),
    "climate": ("temperature", "humidity"),
    "event": ("kind", "detail"),
    "operator": ("utc", "kind", "detail"),
}  # fmt: skip
_ATTRIBUTES = {
    stream: attrgetter("seq", "mono", *("from_" if name == "from_bow" else name for name in names))
    for stream, names in COLUMNS.items()
}
_FIX_CODES = {name: code for code, name in enumerate(wire.FIXES)}
INSERT: dict[str, str] = {
    stream: f"INSERT OR IGNORE INTO {stream} (seq, mono, {', '.join(names)}, boot, received) "
    f"VALUES ({', '.join('?' * (len(names) + 4))})"
    for stream, names in COLUMNS.items()
}
SELECT: dict[str, str] = {
    stream: f"SELECT seq, mono, {', '.join(names)}, boot, received FROM {stream}" for stream, names in COLUMNS.items()
}


def row_of(stream: str, message: wire.Data, boot: int, received_utc: float) -> tuple[Any, ...]:
    """Lay a message out in its table's columns, as INSERT wants them."""
    values = _ATTRIBUTES[stream](message)
    if stream == "position":
        return (*values[:2], _FIX_CODES[values[2]], *values[3:], boot, received_utc)
    if stream in {"event", "operator"}:
        detail = json.dumps(values[-1], separators=(",", ":"), ensure_ascii=False)
        return (*values[:-1], detail, boot, received_utc)
    return (*values, boot, received_utc)


def message_of(stream: str, row: tuple[Any, ...], boot: str) -> wire.Data:
    """Read a row of SELECT back into its message."""
    seq, mono, *values = row[:-2]
    if stream == "position":
        values[0] = wire.FIXES[values[0]]
    if stream in {"event", "operator"}:
        values[-1] = json.loads(values[-1])
    return _MAKE[stream](boot, seq, mono, *values)


_MAKE: dict[str, Callable[..., wire.Data]] = {
    "position": wire.Position,
    "flow": wire.Flow,
    "wind": wire.Wind,
    "climate": wire.Climate,
    "event": wire.Event,
    "operator": wire.Operator,
}
