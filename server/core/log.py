"""The raw samples of one job as arrays, in the device's own units: counts, seconds, degrees.

Every series is ordered by (boot's first arrival, mono). `boot` is an index into `JobLog.boots`, `mono` seconds of
the device's monotonic clock, `utc` seconds since 1970. NaN means that the device did not know.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Integers = NDArray[np.int64]

NONE, SINGLE, DIFFERENTIAL, FLOAT, FIXED, ESTIMATED = range(6)
"""Codes of `Fixes.quality`, in the order of `rig.wire.FIXES`."""


@dataclass(frozen=True, slots=True)
class Boot:
    """One start of the device program; `arrival_offset_s` is the smallest (received − mono) of the job's messages."""

    name: str
    first_received_utc: float
    arrival_offset_s: float


@dataclass(frozen=True, slots=True)
class Fixes:
    """Position messages, one row each, all arrays [n]; `quality` holds the codes above."""

    boot: Integers
    seq: Integers
    mono: Floats
    quality: Integers
    utc: Floats
    lat_deg: Floats
    lon_deg: Floats
    alt_m: Floats
    speed_mps: Floats
    course_deg: Floats
    sats: Floats
    hdop: Floats
    sd_east_m: Floats
    sd_north_m: Floats


@dataclass(frozen=True, slots=True)
class Counts:
    """Flow messages: cumulative pulses since boot, `edge_mono` the time of the last edge; all arrays [n]."""

    boot: Integers
    seq: Integers
    mono: Floats
    pulses: Integers
    edge_mono: Floats
    edges_rejected: Integers


@dataclass(frozen=True, slots=True)
class WindSamples:
    """Wind messages: counts of a cup (`speed_mps` NaN) or speeds of an instrument (`pulses` NaN); all arrays [n]."""

    boot: Integers
    seq: Integers
    mono: Floats
    pulses: Floats
    edge_mono: Floats
    edges_rejected: Floats
    speed_mps: Floats
    from_bow_deg: Floats


@dataclass(frozen=True, slots=True)
class ClimateSamples:
    """Climate messages, all arrays [n]."""

    boot: Integers
    seq: Integers
    mono: Floats
    temperature_c: Floats
    humidity_percent: Floats


@dataclass(frozen=True, slots=True)
class Happening:
    """One `event` (`source` "device") or `operator` message (`source` "operator")."""

    source: str
    boot: int
    seq: int
    mono: float
    kind: str
    detail: Mapping[str, Any]

    @property
    def button(self) -> str | None:
        """The button pressed, on the rig or on the dashboard, or None for another kind of event."""
        if self.source == "operator":
            return self.kind
        return str(self.detail["name"]) if self.kind == "button" else None


@dataclass(frozen=True, slots=True)
class Receipt:
    """How many messages were read, refused and repeated."""

    read: int
    refused: int
    duplicate: int


@dataclass(frozen=True, slots=True)
class JobLog:
    """All samples of one job of one rig; `digest` is the SHA-256 of its messages, in hexadecimal."""

    rig: str
    boots: tuple[Boot, ...]
    fixes: Fixes
    flow: Counts
    wind: WindSamples
    climate: ClimateSamples
    happenings: tuple[Happening, ...]
    receipt: Receipt
    digest: str
