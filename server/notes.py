"""Plain sentences about what a job's data cannot say."""

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite

import numpy as np

from server.core.limit import tell_limit
from server.core.log import JobLog
from server.core.profile import tell_conversion
from server.core.results import JobResult
from server.core.setup import Setup
from server.core.windverdict import highest_mean

UNPLACED_SHARE = 0.005
ALARM_AVERAGING_S = 60


def write_notes(result: JobResult, log: JobLog, setup: Setup, *, receiver_verdict: str) -> JobResult:
    """The result with its notes."""
    notes = (
        *_setup_notes(setup, log),
        *_log_notes(log, result),
        receiver_verdict,
        *_wind_notes(result, setup),
        *_result_notes(result, setup),
    )
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


def _wind_notes(result: JobResult, setup: Setup) -> Iterator[str]:
    """At which height and over what time the limit is meant, where that is not what the alarm goes by."""
    if (shield := result.cup_shield) is not None:
        share = 5 * round(20.0 * shield.loss)
        yield (
            f"The cup seems shielded from {shield.side} by about {share} % or more: wind from there is told too low. A "
            "body that takes 20 to 40 % puts the 60-s mean off by 0.13 to 0.23 m/s, and of passes in too much wind up "
            "to 4 in 100 are then called within. Mount the cup above the head."
        )
    treatment, cup = setup.treatment, setup.anemometer
    limit, height, averaging = (
        treatment.wind_limit_mps, treatment.wind_reference_height_m, treatment.wind_averaging_s,
    )  # fmt: skip
    if limit is None or not len(result.wind.t):
        return
    if height is not None and (told := tell_conversion(from_height=cup.height_m, to_height=height)):
        yield told
    if averaging is not None and round(averaging) != ALARM_AVERAGING_S:
        highest = highest_mean(result.wind, seconds=round(averaging))
        limit_told = tell_limit(limit, treatment.wind_limit_stated)
        found = f"the highest was {highest:.1f} m/s, which is {'above' if highest > limit else 'not above'} it"
        if not isfinite(highest):
            found = "the wind was never known for so long without a break"
        yield f"The limit of {limit_told} is meant for means of {averaging:g} s: {found}. The alarm goes by 60-s means."


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
