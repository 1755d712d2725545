"""What the rig's flow meter counted during a catch, and for how long liquid flowed, from the stored messages."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from server.core.checkcard import CatchEntry, Run, Stretch
from server.core.setup import Span
from server.errors import LogError, RequestError
from server.store.joblog import load_job_log

BEFORE_S = 5.0
"""So much is read before a stretch, for the count with which it begins."""
LONGEST_S = 3600.0
FEWEST_PULSES = 20
LONGEST_PAUSE_S, MOST_MISSED = 3.0, 5.0
"""Longer without a pulse, and longer than so many pulses take, is a pause."""


@dataclass(frozen=True, slots=True)
class Count:
    """Pulses of a stretch, and the time in which they came [s]."""

    pulses: int
    seconds: float


def fill_in_runs(connection: Any, given: CatchEntry) -> CatchEntry:
    """A catch test whose runs have pulses and time from the rig wherever they were not typed."""
    return replace(given, runs=tuple(_fill_in(connection, run, place) for place, run in enumerate(given.runs)))


def count_pulses(connection: Any, stretch: Stretch) -> Count:
    """Pulses of a stretch and how long liquid flowed; raises LogError where too few are stored.

    The time is that between the first and the last edge told, drawn out to all pulses at the flow between them: when
    the button was pressed does not matter, only that the valve was shut then.
    """
    span = Span(stretch.rig, (stretch.boot, max(stretch.start - BEFORE_S, 0.0)), (stretch.boot, stretch.end))
    flow = load_job_log(connection, span).flow
    before = flow.mono <= stretch.start
    if not before.any() or before.all():
        raise LogError("the flow meter was not heard through the whole catch")
    pulses, edges = flow.pulses[~before], flow.edge_mono[~before]
    start = int(flow.pulses[before][-1])
    total = int(pulses[-1]) - start
    if total < FEWEST_PULSES:
        raise LogError(f"{max(total, 0)} pulses are too few: was the valve open, is this the rig's own meter?")
    rising = np.flatnonzero(pulses > start)
    first, last = rising[0], len(pulses) - 1
    between, counted = float(edges[last] - edges[first]), int(pulses[last] - pulses[first])
    if counted < FEWEST_PULSES or not between > 0.0:
        raise LogError("the catch was too short to time: let it run for longer")
    steps = np.flatnonzero(np.diff(pulses[first:]) > 0) + 1 + first
    pause = float(np.diff(flow.mono[~before][np.concatenate(([first], steps))]).max())
    if pause > max(LONGEST_PAUSE_S, MOST_MISSED * between / counted):
        raise LogError(f"the flow paused for {pause:.0f} s in the middle: catch it in one go")
    return Count(total, total * between / counted)


def _fill_in(connection: Any, run: Run, place: int) -> Run:
    if run.stretch is None or (run.pulses is not None and run.seconds is not None):
        return run
    if not 0.0 < run.stretch.end - run.stretch.start <= LONGEST_S:
        raise RequestError(f"runs.{place}.stretch", f"must end after it starts, and within {LONGEST_S:.0f} s")
    try:
        found = count_pulses(connection, run.stretch)
    except LogError as error:
        raise RequestError(f"runs.{place}.stretch", str(error)) from error
    seconds = round(found.seconds, 3) if run.seconds is None else run.seconds
    return replace(run, pulses=found.pulses if run.pulses is None else run.pulses, seconds=seconds)
