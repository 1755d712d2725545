"""What to mend after a job, from its review: the walk begins where the operator stood at last."""

from collections.abc import Sequence

import numpy as np

from server.core.ground import Ground
from server.core.margin import find_margins
from server.core.passes import PassSpan
from server.core.polygons import rings_from_zone
from server.core.results import JobResult, TouchupPlan, Track
from server.core.seams import lay_seams, trace_pass
from server.core.setup import Setup
from server.core.touchup import plan_touchup


def plan_mending(result: JobResult, setup: Setup, spans: Sequence[PassSpan], ground: Ground) -> TouchupPlan:
    """The touch-up plan of a job whose other figures are known."""
    track, swath, target = result.track, setup.sprayer.swath_m, setup.treatment.target_l_per_m2
    rings = [ring for zone in setup.zones for ring in rings_from_zone(zone, plane=result.plane)]
    margins = find_margins(track, result.is_spraying, result.dose, ground, rings, swath_m=swath, target_l_per_m2=target)
    return plan_touchup(
        lay_seams(track, tuple(spans), result.pairs, swath_m=swath),
        margins,
        result.findings,
        result.passes,
        result.dose,
        ground,
        treatment=setup.treatment,
        swath_m=swath,
        unplaced_l=result.totals.unplaced_l,
        start_m=_last_place(track),
        ways=[trace_pass(track, span) for span in spans],
    )


def _last_place(track: Track) -> tuple[float, float]:
    """Where the nozzle was last known to be."""
    known = np.flatnonzero(np.isfinite(track.east_m))
    if not len(known):
        return float("nan"), float("nan")
    return float(track.east_m[known[-1]]), float(track.north_m[known[-1]])
