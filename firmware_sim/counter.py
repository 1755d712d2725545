"""A simulated edge counter: the edges of a scenario counted at the clock's time, contact bounce rejected."""

from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats

DEBOUNCE_S = 0.003


@dataclass(frozen=True, slots=True)
class Tally:
    """Edges kept and edges rejected as bounce, each in order of scenario time."""

    kept: Floats
    rejected: Floats


def reject_bounce(edges: Floats, debounce_s: float = DEBOUNCE_S) -> Tally:
    """Reject every edge that follows a kept one sooner than the debounce time."""
    kept, rejected = [], []
    last = -np.inf
    for edge in edges.tolist():
        if edge - last < debounce_s:
            rejected.append(edge)
        else:
            kept.append(edge)
            last = edge
    return Tally(np.array(kept), np.array(rejected))


def count_edges(tally: Tally, start_s: float, at_s: float) -> tuple[int, float | None, int]:
    """Pulses, time of the last one and rejected edges between the counter's start and a time."""
    first, last = np.searchsorted(tally.kept, [start_s, at_s], side="right")
    low, high = np.searchsorted(tally.rejected, [start_s, at_s], side="right")
    pulses = int(last - first)
    return pulses, float(tally.kept[last - 1]) if pulses else None, int(high - low)
