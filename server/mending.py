"""What to mend after a job, from its review; and what its labels say to that."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from math import inf, isfinite
from typing import Any

import numpy as np

from server.cards import Cards
from server.core.entered import in_si
from server.core.errors import EntryError
from server.core.ground import Ground
from server.core.margin import find_margins, sd_beside
from server.core.passes import PassSpan
from server.core.polygons import rings_from_zone
from server.core.quantity import kind_of
from server.core.recipe import Ingredient, label_carrier, make_product, same_base
from server.core.results import JobResult, ThinPass, TouchupPlan, Track
from server.core.seams import lay_seams, trace_pass
from server.core.setup import Setup
from server.core.tankload import mix_load
from server.core.topup import TIGHT, judge_thin, share_need
from server.core.touchup import plan_touchup
from server.kinds import PRODUCT, TREATMENT
from server.loads import view_load

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


async def read_recipe(cards: Cards, job: int) -> tuple[Ingredient, ...]:
    """The products of a job's treatment with their rates, as the cards stood then; none where it has no treatment."""
    papers = await cards.papers(job)
    if papers.treatment is None:
        return ()
    treatment = (await cards.find(TREATMENT, papers.treatment.number, papers.treatment.version)).record
    versions = {each.number: each.version for each in papers.products}
    found = [(dose, await cards.find(PRODUCT, dose.product, versions.get(dose.product))) for dose in treatment.doses]
    return tuple(Ingredient(dose.product, card.record, dose.rate) for dose, card in found)


def find_strictest(recipe: Sequence[Ingredient], *, target_l_per_m2: float) -> tuple[float, str] | None:
    """How many times the planned rate the labels still allow, and whose does least; None where none can be compared."""
    ratios = []
    for each in recipe:
        planned = in_si(each.rate, measures=kind_of(each.rate.unit))
        most = same_base(each.product.rate_most, like=each.rate, product=each.product, target_l_per_m2=target_l_per_m2)
        if isfinite(most) and planned > 0.0:
            ratios.append((most / planned, each.product.name))
    return min(ratios, default=None)


def advise(found: Mapping[str, Any], recipe: Sequence[Ingredient], *, tank_left_l: float) -> dict[str, Any]:
    """A plan's view with what to mix, what is beyond the label, and how thin passes may be mended."""
    target, carrier = found["target_l_per_m2"], label_carrier(recipe)
    strictest = find_strictest(recipe, target_l_per_m2=target)
    shares = share_need(found["volume_l"] + found["allowance_l"], tank_left_l=tank_left_l)
    return {
        **found,
        "alone": [{**each, "is_beyond_label": _is_beyond(each, strictest)} for each in found["alone"]],
        "thin": [{**each, "way": _choose_way(each, target, carrier)} for each in found["thin"]],
        "mix": {**asdict(shares), "load": _mix(shares.mix_l, target, recipe)},
        "label": {
            "carrier_least_l_per_m2": None if carrier is None else carrier[0],
            "carrier_most_l_per_m2": None if carrier is None or carrier[1] == inf else carrier[1],
            "most_times": None if strictest is None else strictest[0],
            "strictest": None if strictest is None else strictest[1],
        },
    }


def _is_beyond(surplus: Mapping[str, Any], strictest: tuple[float, str] | None) -> bool | None:
    return None if strictest is None else bool(surplus["times_target"] > strictest[0] * (1.0 + TIGHT))


def _choose_way(thin: Mapping[str, Any], target: float, carrier: tuple[float, float] | None) -> str:
    one = ThinPass(thin["pass"], *(thin[name] for name in THIN_FIGURES))
    return judge_thin(one, target_l_per_m2=target, label_carrier=carrier)


def _mix(mix_l: float, target: float, recipe: Sequence[Ingredient]) -> dict[str, Any] | None:
    """Water and products of what is to be mixed; None where nothing is, or the cards do not say it."""
    if mix_l <= 0.0 or not recipe:
        return None
    products = [make_product(each, target_l_per_m2=target) for each in recipe]
    try:
        return view_load(mix_load(mix_l, target_l_per_m2=target, products=products))
    except EntryError:  # said on the mix sheet, where it can be mended
        return None
