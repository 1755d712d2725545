"""What to mend after a job, from its review; and what its labels say to that."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from math import inf
from typing import Any

import numpy as np

from server.cards import Cards
from server.core.ground import Ground
from server.core.latitude import Latitude, join_labels
from server.core.margin import find_margins, sd_beside
from server.core.passes import PassSpan
from server.core.polygons import rings_from_zone
from server.core.results import JobResult, ThinPass, TouchupPlan, Track
from server.core.seams import lay_seams, trace_pass
from server.core.setup import Setup
from server.core.topup import TIGHT, judge_thin, share_need
from server.core.touchup import plan_touchup
from server.kinds import PRODUCT, TREATMENT

THIN_FIGURES = ("area_m2", "dose_l_per_m2", "lacking_l_per_m2", "speed_mps", "probability")


def plan_mending(result: JobResult, setup: Setup, spans: Sequence[PassSpan], ground: Ground) -> TouchupPlan:
    """The touch-up plan of a job whose other figures are known; the walk begins where the operator stood at last."""
    track, swath, target = result.track, setup.sprayer.swath_m, setup.treatment.target_l_per_m2
    rings = [ring for zone in setup.zones for ring in rings_from_zone(zone, plane=result.plane)]
    margins = find_margins(track, result.is_spraying, result.dose, ground, rings, swath_m=swath, target_l_per_m2=target)
    seams = lay_seams(track, tuple(spans), result.pairs, swath_m=swath)
    return plan_touchup(
        seams,
        margins,
        result.findings,
        result.passes,
        result.dose,
        ground,
        treatment=setup.treatment,
        swath_m=swath,
        track_sd_m=result.track_sd_m,
        unplaced_l=result.totals.unplaced_l,
        place_sds_m=[sd_beside(seam.line_m, track, result.is_spraying) for seam in seams],
        start_m=_last_place(track),
        ways=[trace_pass(track, span) for span in spans],
    )


def _last_place(track: Track) -> tuple[float, float]:
    """Where the nozzle was last known to be."""
    known = np.flatnonzero(np.isfinite(track.east_m))
    if not len(known):
        return float("nan"), float("nan")
    return float(track.east_m[known[-1]]), float(track.north_m[known[-1]])


async def read_latitude(cards: Cards, job: int) -> Latitude:
    """What the labels of a job's treatment allow, as the cards stood then; nothing where it has no treatment."""
    papers = await cards.papers(job)
    if papers.treatment is None:
        return join_labels(())
    treatment = (await cards.find(TREATMENT, papers.treatment.number, papers.treatment.version)).record
    versions = {each.number: each.version for each in papers.products}
    planned = []
    for dose in treatment.doses:
        product = await cards.find(PRODUCT, dose.product, versions.get(dose.product))
        planned.append((product.record, dose.rate))
    return join_labels(planned)


def advise(found: Mapping[str, Any], latitude: Latitude, *, tank_left_l: float) -> dict[str, Any]:
    """A plan's view with what to mix, what is beyond the label, and how thin passes may be mended."""
    target, most, carrier = found["target_l_per_m2"], latitude.most_times, latitude.carrier_l_per_m2
    beyond = [None if most is None else each["times_target"] > most * (1.0 + TIGHT) for each in found["alone"]]
    thin = []
    for each in found["thin"]:
        one = ThinPass(each["pass"], *(each[name] for name in THIN_FIGURES))
        thin.append({**each, "way": judge_thin(one, target_l_per_m2=target, label_carrier=carrier)})
    return {
        **found,
        "alone": [{**each, "is_beyond_label": is_so} for each, is_so in zip(found["alone"], beyond, strict=True)],
        "thin": thin,
        "mix": asdict(share_need(found["volume_l"] + found["allowance_l"], tank_left_l=tank_left_l)),
        "label": {
            "carrier_least_l_per_m2": None if carrier is None else carrier[0],
            "carrier_most_l_per_m2": None if carrier is None or carrier[1] == inf else carrier[1],
            "most_times": most,
            "strictest": latitude.strictest or None,
        },
    }
