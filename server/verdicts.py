"""How the strips of a job lie so far: the whole of it smoothed in both directions of time, as plain values."""

from typing import Any

import numpy as np

from server.core.log import Floats, JobLog
from server.core.passes import PassSpan
from server.core.receiver import is_too_slow
from server.core.results import Track
from server.core.seams import Seam, lay_seams, trace_pass
from server.core.setup import Setup
from server.review import follow_job, pair_passes
from server.snapshot import known

DRAWS = 32
"""Enough for the spread of a spacing, good to an eighth; a review takes more, for areas."""
DOUBTFUL_SWATHS = 0.25
"""A spacing less sure than this share of the swath is the receiver's fault."""


def judge_strips(log: JobLog, setup: Setup) -> dict[str, Any]:
    """Smoothed passes and the verdicts on neighbours; the same samples and settings give the same values."""
    work = follow_job(log, setup, rng=np.random.default_rng(int(log.digest[:16], 16)), draws=DRAWS)
    track, swath = work.track, setup.sprayer.swath_m
    spans, pairs = pair_passes(work, setup)
    seams = lay_seams(track, spans, pairs, swath_m=swath)
    is_slow = is_too_slow(track.t, track.quality)
    return {
        "as_of_utc": known(float(track.utc[-1]), 3) if len(track.utc) else None,
        "plane": {"lat0_deg": work.plane.lat0_deg, "lon0_deg": work.plane.lon0_deg},
        "passes": [_lay_out_pass(number, track, span) for number, span in enumerate(spans, start=1)],
        "pairs": [_lay_out_seam(seam, _find_doubt(seam, swath, is_slow=is_slow)) for seam in seams],
    }


def _lay_out_pass(number: int, track: Track, span: PassSpan) -> dict[str, Any]:
    """A pass's number, length and way."""
    line = trace_pass(track, span)
    length = float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0
    return {"pass": number, "length_m": round(length, 2), "line_m": _points(line)}


def _lay_out_seam(seam: Seam, doubt: str | None) -> dict[str, Any]:
    """A judged stretch; `doubt` says why it is unsure."""
    pair = seam.pair
    return {
        "pass_a": pair.pass_a,
        "pass_b": pair.pass_b,
        "from_m": round(pair.from_m, 2),
        "to_m": round(pair.to_m, 2),
        "spacing_m": known(pair.spacing_m, 3),
        "spacing_sd_m": known(pair.spacing_sd_m, 3),
        "verdict": pair.verdict,
        "probability": known(pair.probability, 3),
        "doubt": doubt,
        "width_m": round(seam.width_m, 3),
        "line_m": _points(seam.line_m),
    }


def _find_doubt(seam: Seam, swath_m: float, *, is_slow: bool) -> str | None:
    """Why a stretch cannot be told: the receiver is too slow or not sure enough, or the spacing is halfway."""
    if seam.pair.verdict != "unsure":
        return None
    if is_slow:
        return "slow"
    return "receiver" if seam.pair.spacing_sd_m > DOUBTFUL_SWATHS * swath_m else "spacing"


def _points(line: Floats) -> list[list[float]]:
    """A line for the wire."""
    found: list[list[float]] = np.round(line, 2).tolist()
    return found
