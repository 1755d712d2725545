"""Ground that got too much, and passes that got too little: what is left alone, and what a lighter pass may mend.

East and north in metres on the local plane, dose in litres per square metre.
"""

from collections.abc import Iterator, Sequence
from math import erf, sqrt

import numpy as np

from server.core.band import measure_line, paint_band, read_cells, spread_band
from server.core.findings import SURE
from server.core.ground import Ground
from server.core.log import Floats
from server.core.results import DoseMap, Finding, Pass, Surplus, ThinPass
from server.core.seams import Seam
from server.core.setup import Treatment

STEP_M = 0.25


def list_surplus(
    seams: Sequence[Seam],
    findings: Sequence[Finding],
    passes: Sequence[Pass],
    ways: Sequence[Floats],
    dose: DoseMap,
    ground: Ground,
    *,
    treatment: Treatment,
) -> list[Surplus]:
    """Where too much lies: stretches of one pass on another, whole passes above what counts as over, spots.

    Parameters
    ----------
    seams
        The judged stretches between passes, laid on the ground.
    findings
        Places on the map; the doubled ones that no stretch explains are spots.
    passes
        The passes with their doses; those in a doubled stretch are told once, there.
    ways
        The passes' ways, each [k, 2] [m], in the order of `passes`.
    dose
        The dose of the mean track.
    ground
        What each cell is for, on the same grid.
    treatment
        Target [L/m²] and what counts as over.

    Returns
    -------
    list[Surplus]
        Stretches, passes, spots, each in its order; a stretch's dose is the mean over the ground that lies twice.

    References
    ----------
    Derivation: sums over the map; `judge_pairs` for stretches, a normal error of the dose for passes.

    Examples
    --------
    >>> from server.core.grid import GridFrame
    >>> from server.core.results import Pair
    >>> laid = np.tile([1.0, 2.0, 1.0], (9, 1))
    >>> dose = DoseMap(laid, laid, laid, laid, laid, 0.0, 0.0, 1.0)
    >>> lawn = Ground(GridFrame(0.0, 0.0, 1.0, 3, 9), np.ones((9, 3)), np.zeros((9, 3)), True, False)
    >>> seam = Seam(Pair(1, 2, 0.0, 0.1, 0.0, 9.0, "doubled", 0.99), np.array([[1.5, 0.0], [1.5, 9.0]]), 1.0)
    >>> found = list_surplus([seam], [], [], [], dose, lawn, treatment=Treatment(target_l_per_m2=1.0))
    >>> [(each.kind, each.area_m2, each.times_target, each.surplus_l) for each in found]
    [('doubled', 9.0, 2.0, 9.0)]
    """
    target = treatment.target_l_per_m2
    return [
        *_list_doubled(seams, dose, ground, target),
        *_list_heavy(passes, ways, seams, treatment),
        *_list_spots(findings, seams, ground, target),
    ]


def list_thin(passes: Sequence[Pass], seams: Sequence[Seam], *, treatment: Treatment) -> tuple[ThinPass, ...]:
    """Passes that surely got less than what counts as under, but for those that another one lies on.

    Parameters
    ----------
    passes
        The passes with their doses.
    seams
        The judged stretches between passes.
    treatment
        Target [L/m²] and what counts as under.

    Returns
    -------
    tuple[ThinPass, ...]
        In the order of the passes.

    References
    ----------
    Derivation: a normal error of the dose.

    Examples
    --------
    >>> one = Pass(1, "b", 0.0, 25.0, 0.0, 25.0, 0.0, 25.0, 30.0, 0.0, 1.2, 21.0, 30.0, 0.7, 0.02, 70.0, "fixed")
    >>> [(thin.number, round(thin.lacking_l_per_m2, 2)) for thin in list_thin([one], [], treatment=Treatment(1.0))]
    [(1, 0.3)]
    """
    return tuple(_list_light(passes, seams, treatment))


def _list_doubled(seams: Sequence[Seam], dose: DoseMap, ground: Ground, target: float) -> Iterator[Surplus]:
    """Stretches where one pass lies on another."""
    for seam in seams:
        if seam.pair.verdict == "doubled" and seam.width_m > 0.0 and len(seam.line_m):
            places = spread_band(seam.line_m, width_m=seam.width_m, step_m=STEP_M)
            laid = read_cells(dose.dose_l_per_m2, places, ground.frame)
            area = measure_line(seam.line_m) * seam.width_m
            mean, over = float(np.nanmean(laid)), float(np.nanmean(np.maximum(laid - target, 0.0)))
            passes = (seam.pair.pass_a, seam.pair.pass_b)
            yield Surplus("doubled", passes, seam.line_m, area, mean, mean / target, over * area, seam.pair.probability)


def _list_spots(findings: Sequence[Finding], seams: Sequence[Seam], ground: Ground, target: float) -> Iterator[Surplus]:
    """Doubled places of the map that no doubled stretch explains: turns, and standing with the spray on."""
    taken = np.zeros(ground.wanted.shape, dtype=np.bool_)
    for seam in seams:
        if seam.pair.verdict == "doubled" and len(seam.line_m):
            paint_band(taken, seam.line_m, width_m=2.0 * seam.width_m, frame=ground.frame)
    for found in findings:
        if (
            found.kind == "doubled"
            and not (read_cells(taken.astype(np.float64), found.ring_m, ground.frame) == 1.0).any()
        ):
            mean = found.volume_l / found.area_m2
            over = found.volume_l - target * found.area_m2
            yield Surplus("spot", (), found.ring_m, found.area_m2, mean, mean / target, over, found.probability)


def _list_heavy(
    passes: Sequence[Pass], ways: Sequence[Floats], seams: Sequence[Seam], treatment: Treatment
) -> Iterator[Surplus]:
    """Whole passes above what counts as over, beside those that lie on others."""
    target, limit = treatment.pass_l_per_m2, treatment.over_fraction * treatment.pass_l_per_m2
    for found, way in zip(passes, ways, strict=False):
        chance = _chance_above(found.dose_l_per_m2, found.dose_sd_l_per_m2, limit)
        if chance > SURE and found.number not in _passes_of(seams, "doubled"):
            over = (found.dose_l_per_m2 - target) * found.area_m2
            times = found.dose_l_per_m2 / target
            yield Surplus("pass", (found.number,), way, found.area_m2, found.dose_l_per_m2, times, over, chance)


def _list_light(passes: Sequence[Pass], seams: Sequence[Seam], treatment: Treatment) -> Iterator[ThinPass]:
    """The passes below what counts as under."""
    target, limit = treatment.pass_l_per_m2, treatment.under_fraction * treatment.pass_l_per_m2
    for found in passes:
        chance = _chance_above(-found.dose_l_per_m2, found.dose_sd_l_per_m2, -limit)
        if chance > SURE and found.number not in _passes_of(seams, "doubled"):
            lacking = target - found.dose_l_per_m2
            yield ThinPass(found.number, found.area_m2, found.dose_l_per_m2, lacking, found.speed_mps, chance)


def _passes_of(seams: Sequence[Seam], verdict: str) -> set[int]:
    """The passes that a verdict is about."""
    return {number for s in seams if s.pair.verdict == verdict for number in (s.pair.pass_a, s.pair.pass_b)}


def _chance_above(mean: float, sd: float, limit: float) -> float:
    """The probability that a normal quantity lies above a limit; 0 where it is not known."""
    if not (np.isfinite(mean) and np.isfinite(sd)):
        return 0.0
    return 0.5 * (1.0 + erf((mean - limit) / (max(sd, 1e-12) * sqrt(2.0))))
