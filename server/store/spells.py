"""When liquid flowed, out of the flow meter's counts alone: found by the database, without reading the whole log.

A spell is a stretch with pulses and pauses of less than a quarter of an hour; single pulses far apart are none.
"""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace

from server.core.setup import Span

PAUSE_S = 900.0
"""A longer pause parts two spells."""
BURST_S = 10.0
LEAST_PULSES = 4
"""Fewer pulses than this with no longer pauses than that are drops, or a nudge at the hose."""
_RISES = (
    "SELECT mono, coalesce(before_mono, mono), pulses - coalesce(before, 0), received FROM "
    "(SELECT seq, mono, received, pulses, lag(pulses) OVER (ORDER BY seq) AS before, "
    "lag(mono) OVER (ORDER BY seq) AS before_mono FROM flow WHERE boot = ? AND mono < ?) "
    "WHERE pulses > before OR (before IS NULL AND seq = 0 AND pulses > 0) ORDER BY seq"
)


@dataclass(frozen=True, slots=True)
class Spell:
    """A start of the device, from when to when by its clock, how many pulses, and when its ends came."""

    boot: int
    low: float
    high: float
    pulses: int
    first_received: float
    last_received: float


def find_spells(connection: sqlite3.Connection, boot: int, *, before: float = float("inf")) -> list[Spell]:
    """The spells of a start, in order, of what was taken before a time of its clock."""
    found: list[Spell] = []
    for burst in _find_bursts(connection, boot, before):
        if found and burst.low - found[-1].high < PAUSE_S:
            found[-1] = _join(found[-1], burst)
        else:
            found.append(burst)
    return found


def _find_bursts(connection: sqlite3.Connection, boot: int, before: float) -> Iterator[Spell]:
    """Runs of pulses close together."""
    burst: Spell | None = None
    for mono, low, pulses, received in connection.execute(_RISES, (boot, min(before, 1e300))):
        rise = Spell(boot, low, mono, pulses, received, received)
        if burst is not None and low - burst.high < BURST_S:
            burst = _join(burst, rise)
            continue
        if burst is not None and burst.pulses >= LEAST_PULSES:
            yield burst
        burst = rise
    if burst is not None and burst.pulses >= LEAST_PULSES:
        yield burst


def _join(first: Spell, second: Spell) -> Spell:
    return replace(
        first, high=second.high, pulses=first.pulses + second.pulses, last_received=second.last_received
    )  # fmt: skip


def find_spray_spans(connection: sqlite3.Connection, rig: str, *, margin_s: float) -> list[Span]:
    """Parts of a rig's log around its spells; one that goes on within the pause after another start is one part."""
    boots = connection.execute(
        "SELECT id, name FROM boot WHERE rig = ? AND first_received IS NOT NULL ORDER BY first_received, name", (rig,)
    ).fetchall()
    found: list[tuple[Span, float]] = []
    for number, name in boots:
        for spell in find_spells(connection, number):
            end = (name, spell.high + margin_s)
            if found and spell.first_received - found[-1][1] < PAUSE_S:
                found[-1] = (replace(found[-1][0], end=end), spell.last_received)
            else:
                found.append((Span(rig, (name, spell.low - margin_s), end), spell.last_received))
    return [span for span, _ in found]
