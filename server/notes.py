"""Plain sentences about what a job's data cannot say."""

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite

import numpy as np

from server.core.log import JobLog
from server.core.results import JobResult
from server.core.setup import Setup

UNPLACED_SHARE = 0.005


def write_notes(result: JobResult, log: JobLog, setup: Setup, *, receiver_verdict: str) -> JobResult:
    """The result with its notes."""
    notes = (*_setup_notes(setup, log), *_log_notes(log, result), receiver_verdict, *_result_notes(result, setup))
    return replace(result, notes=tuple(notes))


def _setup_notes(setup: Setup, log: JobLog) -> Iterator[str]:
    """What was not set."""
    if not setup.zones:
        yield "No boundary is set: missed areas and liquid off target cannot be told."
    tells_speed = bool(np.isfinite(log.wind.speed_mps).any())
    if setup.anemometer.mps_per_hz is None and not tells_speed:
        yield "The cup's slope is not set: no wind is computed from its pulses."
    elif setup.treatment.wind_limit_mps is None:
        yield "No wind limit is set: passes get no verdict on the wind. The label says which limit holds."


def _log_notes(log: JobLog, result: JobResult) -> Iterator[str]:
    """What did not come."""
    if not isfinite(result.start_utc):
        yield "The receiver never gave a date: times of day are not known."
    if len(log.boots) > 1:
        yield f"The device started {len(log.boots)} times: what was sprayed in between is not known."
    if result.missing.total:
        yield f"{result.missing.total} samples never came; volumes are right all the same, for counts are cumulative."
    if log.receipt.refused:
        yield f"{log.receipt.refused} messages were refused; see the quarantine."
    if not len(log.fixes.mono):
        yield "No fix came: nothing can be placed."
    if not len(log.wind.mono):
        yield "No wind was measured."
    flags = [h.detail for h in log.happenings if h.kind == "implausible"]
    for stream in sorted({str(flag["stream"]) for flag in flags}):
        yield f"The {stream} sensor counted faster than it can: look for a loose contact."


def _result_notes(result: JobResult, setup: Setup) -> Iterator[str]:
    """What the figures cannot say."""
    totals = result.totals
    if totals.unplaced_l > UNPLACED_SHARE * max(totals.volume_l, 1e-9):
        yield f"{totals.unplaced_l:.2f} L cannot be placed: the receiver had no fix."
    if result.track.is_misfit:
        yield "The receiver model does not fit this log: positions may be worse than their figures say."
    if setup.sprayer.swath_m <= 0.5:
        yield "At swaths of 0.5 m and less nobody can tell even spacing from the operator's own scatter."
    unknown = [found for found in result.passes if not isfinite(found.dose_l_per_m2)]
    if unknown:
        yield f"{len(unknown)} passes have no dose: their volume is known, their area is not."
    lever = np.hypot(setup.sprayer.nozzle_forward_m, setup.sprayer.nozzle_right_m)
    if lever > 0.3:
        yield f"The nozzle is {lever:.1f} m from the antenna: with the antenna above it the map gets sharper."
    yield "The product's label and the law of the place decide; these figures only say what was measured."
