"""A shape from a walk round its edge: reckoned from what the store holds of its interval."""

from typing import Any

import numpy as np

from server.core.perimeter import Perimeter, survey_walk
from server.core.setup import Setup, Span
from server.core.timebase import align_boots
from server.core.track import plane_of
from server.errors import LogError
from server.snapshot import known
from server.store.joblog import load_job_log

DIGITS = 3


def survey_edge(connection: Any, span: Span, setup: Setup, *, offset_m: float) -> dict[str, Any]:
    """The shape that was walked, as plain values; refused with its reason where it may not be kept."""
    try:
        job_log = load_job_log(connection, span)
    except LogError as error:
        return _tell(Perimeter(str(error)))
    plane = plane_of(job_log.fixes)
    if plane is None:
        return _tell(Perimeter("no position came from the rig: has its receiver a fix?"))
    timebase = align_boots(job_log, latency_s=setup.receiver.latency_s)
    found = survey_walk(
        job_log.fixes, timebase, plane, receiver=setup.receiver, rng=np.random.default_rng(1), offset_m=offset_m
    )
    return _tell(found)


def _tell(found: Perimeter) -> dict[str, Any]:
    """A walk's shape as plain values."""
    numbers = ("area_m2", "area_sd_m2", "length_m", "gap_m", "beside_m2")
    return {
        "is_usable": found.is_usable,
        "refusal": found.refusal,
        "ring": [list(corner) for corner in found.ring],
        **{name: known(getattr(found, name), DIGITS) for name in numbers},
        "place": None if found.place is None else list(found.place),
    }
