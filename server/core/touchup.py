"""What to mend after a job: which strips to walk again and in which order, what to leave alone, what to look at.

East and north in metres on the local plane, dose in litres per square metre.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import erf, nan, sqrt

import numpy as np

from server.core.band import measure_line, paint_band, read_cells, resample_line, shift_line, spread_band
from server.core.coverage import COVERED_FRACTION
from server.core.errand import measure_between, order_walk
from server.core.findings import SURE
from server.core.ground import Ground
from server.core.log import Floats
from server.core.margin import Margin
from server.core.regions import label_regions, trace_outline
from server.core.results import Bools, DoseMap, Finding, Pass, Stretch, Surplus, ThinPass, TouchupPlan
from server.core.seams import Seam
from server.core.setup import Treatment

DOUBLING_COST = 4.0
"""What a square metre sprayed twice costs, in square metres missed: see the decision on touching up."""
LEAST_M2 = 1.0
"""Less is not worth a walk."""
ALLOWANCE = 0.1
"""Mixed beyond the need, for a pace that is not quite even and what the pump leaves (common practice, no source)."""
GATE = 0.28
"""An edge's depth is told only if its sd is below this share of the swath, as spacings are."""
WORTH_A_LOOK = 0.2
"""An edge less likely to lack its strip is not even named."""
HALF = 0.5
PATCH_SWATHS, PATCH_SDS = 2.0, 4.0
"""A whole part was left out where a square of so many swaths and standard deviations a side is missed."""
UNPLACED_SHARE = 0.5
"""Liquid that has no position could have gone to a strip if it is this share of what the strip would have taken."""
STEP_M = 0.25


def plan_touchup(
    seams: Sequence[Seam],
    margins: Sequence[Margin],
    findings: Sequence[Finding],
    passes: Sequence[Pass],
    dose: DoseMap,
    ground: Ground,
    *,
    treatment: Treatment,
    swath_m: float,
    track_sd_m: float = 0.0,
    unplaced_l: float = 0.0,
    start_m: tuple[float, float] = (nan, nan),
    ways: Sequence[Floats] = (),
) -> TouchupPlan:
    """Weigh what a review found, and plan the walk.

    A strip is walked again only if that is expected to do more good than harm, a square metre doubled counting as
    four missed: `weigh_repeat`. With a swath as wide as the gap that asks for a probability of 0.8. Strips of doubtful
    truth, narrower than is worth a whole swath, wet from other passes, or that liquid without a position may have
    reached, are for one's own eyes.

    Parameters
    ----------
    seams
        The judged stretches between passes, laid on the ground.
    margins
        Untouched ground beside edges.
    findings
        Places on the map; of these the doubled ones count, as spots.
    passes
        The passes with their doses.
    dose
        The dose of the mean track and the chance of a miss of each cell.
    ground
        What each cell is for, on the same grid.
    treatment
        Target [L/m²] and what counts as under and over.
    swath_m
        Effective width [m].
    track_sd_m
        How well the nozzle's way is known [m]; NaN: it is not.
    unplaced_l
        Liquid metered where no position can be given [L].
    start_m
        Where the walk begins: east, north [m]; NaN where not known.
    ways
        The passes' ways, each [k, 2] [m], in the order of `passes`.

    Returns
    -------
    TouchupPlan
        The plan; strips below 1 m² are left out of it with their sum told.

    Notes
    -----
    What the map cannot know it does not say: liquid thrown by a nozzle that was half shut counts as even.

    References
    ----------
    Derivation: least expected cost; the probabilities are those of `judge_pairs` and `judge_depth`.

    Examples
    --------
    >>> from server.core.grid import GridFrame
    >>> from server.core.results import Pair
    >>> laid = np.tile([1.0, 0.0, 1.0, 1.0], (9, 1))
    >>> dose = DoseMap(laid, laid, 1.0 - laid, laid, laid, 0.0, 0.0, 1.0)
    >>> lawn = Ground(GridFrame(0.0, 0.0, 1.0, 4, 9), np.ones((9, 4)), np.zeros((9, 4)), True, False)
    >>> seam = Seam(Pair(1, 2, 2.0, 0.1, 0.0, 9.0, "gap", 0.99), np.array([[1.5, 0.0], [1.5, 9.0]]), 1.0)
    >>> treatment = Treatment(target_l_per_m2=0.05)
    >>> plan = plan_touchup([seam], [], [], [], dose, lawn, treatment=treatment, swath_m=1.0)
    >>> [(s.kind, s.area_m2, round(s.volume_l, 2)) for s in plan.repeats], round(plan.allowance_l, 3)
    ([('gap', 9.0, 0.45)], 0.045)
    """
    target = treatment.target_l_per_m2
    found = [each for seam in seams if (each := _weigh_seam(seam, dose, ground, target, swath_m)) is not None]
    found += [_weigh_margin(margin, target, swath_m) for margin in margins if margin.probability >= WORTH_A_LOOK]
    side = PATCH_SWATHS * swath_m + PATCH_SDS * track_sd_m
    found += _find_patches(found, dose, ground, target, swath_m, side) if np.isfinite(side) else ()
    found = [_doubt_placing(each, unplaced_l) for each in found]
    large = [each for each in found if each.area_m2 >= LEAST_M2]
    small = [each for each in found if each.area_m2 < LEAST_M2 and each.doubt in ("", "narrow")]
    order, between = _order_repeats([each for each in large if not each.doubt], start_m)
    surplus = [*_list_doubled(seams, dose, ground, target), *_list_heavy(passes, ways, seams, treatment)]
    surplus += _list_spots(findings, seams, ground, target)
    alone = sorted((each for each in surplus if each.area_m2 >= LEAST_M2), key=lambda each: -each.surplus_l)
    volume = sum(each.volume_l for each in order)
    lengths = [(seam.pair.to_m - seam.pair.from_m, seam.pair.verdict) for seam in seams]
    return TouchupPlan(
        repeats=tuple(order),
        looks=tuple(sorted((each for each in large if each.doubt), key=lambda each: -each.area_m2)),
        alone=tuple(alone),
        thin=tuple(_list_thin(passes, seams, treatment)),
        target_l_per_m2=target,
        swath_m=swath_m,
        area_m2=sum(each.area_m2 for each in order),
        volume_l=volume,
        allowance_l=ALLOWANCE * volume,
        between_m=between,
        small_count=len(small),
        small_m2=sum(each.area_m2 for each in small),
        small_surplus_l=sum(each.surplus_l for each in surplus if each.area_m2 < LEAST_M2),
        seams_m=sum(length for length, _ in lengths),
        untold_m=sum(length for length, verdict in lengths if verdict == "unsure"),
    )


def weigh_repeat(
    probability: float, *, missed_m2: float, swept_m2: float, doubling_cost: float = DOUBLING_COST
) -> float:
    """What walking a strip again is expected to be worth, in square metres treated that would be missed else.

    If it was missed, its ground is won and what the swath wets beside it is doubled; if not, all of it is doubled.

    Parameters
    ----------
    probability
        That it was missed.
    missed_m2
        The missed ground, if it was [m²].
    swept_m2
        What walking it wets [m²].
    doubling_cost
        What a square metre sprayed twice costs, in square metres missed.

    Returns
    -------
    float
        The gain [m²]; repeat where it is above 0, which for a whole swath is above probability 0.8.

    References
    ----------
    Derivation: expected cost. That doubling costs four times as much as missing is a definition of this project.

    Examples
    --------
    >>> [round(weigh_repeat(p, missed_m2=10.0, swept_m2=10.0), 6) for p in (1.0, 0.8, 0.5)]
    [10.0, 0.0, -15.0]
    >>> round(weigh_repeat(1.0, missed_m2=5.0, swept_m2=10.0), 6)
    -15.0
    """
    beside = max(swept_m2 - missed_m2, 0.0)
    return probability * (missed_m2 - doubling_cost * beside) - (1.0 - probability) * doubling_cost * swept_m2


def _weigh_seam(seam: Seam, dose: DoseMap, ground: Ground, target: float, swath_m: float) -> Stretch | None:
    """A stretch between two passes as ground to walk again or to look at; None where there is nothing to mend."""
    pair = seam.pair
    if pair.verdict not in ("gap", "unsure"):
        return None
    line = _keep_wanted(seam.line_m, ground)
    if measure_line(line) <= 0.0:
        return None
    width, passes = seam.width_m, (pair.pass_a, pair.pass_b)
    if pair.verdict == "unsure":
        return replace(_lay_strip("gap", passes, line, width, nan, target, swath_m), doubt="unsure")
    strip = _lay_strip("gap", passes, line, width, pair.probability, target, swath_m)
    laid = read_cells(dose.dose_l_per_m2, resample_line(line, step_m=STEP_M), ground.frame)
    return replace(strip, doubt="crossed") if np.mean(laid > HALF * target) > HALF else strip


def _weigh_margin(margin: Margin, target: float, swath_m: float) -> Stretch:
    """Ground beside an edge; walked half a swath from it, so that nothing goes beyond."""
    line = shift_line(margin.edge_m, right_m=margin.depth_m / 2.0)
    strip = _lay_strip("edge", (), line, margin.depth_m, margin.probability, target, swath_m)
    lanes = len(strip.lines_m)
    beside = tuple(shift_line(margin.edge_m, right_m=(lane + HALF) * swath_m) for lane in range(lanes))
    strip = replace(strip, lines_m=beside)
    return replace(strip, doubt="unsure") if margin.depth_sd_m > GATE * swath_m else strip


def _lay_strip(
    kind: str, passes: tuple[int, ...], line: Floats, width: float, probability: float, target: float, swath_m: float
) -> Stretch:
    """A strip with its lanes to walk, weighed."""
    length, lanes = measure_line(line), max(1, round(width / swath_m))
    offsets = [width * ((lane + HALF) / lanes - HALF) for lane in range(lanes)]
    missed, swept = length * width, length * lanes * swath_m
    gain = weigh_repeat(probability, missed_m2=min(missed, swept), swept_m2=swept)
    doubt = ""
    if not gain > 0.0:
        sure = weigh_repeat(1.0, missed_m2=min(missed, swept), swept_m2=swept)
        doubt = "narrow" if sure <= 0.0 and probability > SURE else "unlikely"
    return Stretch(
        kind=kind,
        passes=passes,
        lines_m=tuple(shift_line(line, right_m=offset) for offset in offsets),
        length_m=length,
        width_m=width,
        area_m2=missed,
        swept_m2=swept,
        volume_l=swept * target,
        probability=probability,
        gain_m2=gain,
        doubt=doubt,
    )


def _keep_wanted(line: Floats, ground: Ground) -> Floats:
    """The longest part of a line that lies on ground where liquid is wanted; all of it where no zone is known."""
    if not ground.has_zones or not len(line):
        return line
    points = resample_line(line, step_m=STEP_M)
    is_in = read_cells(ground.wanted, points, ground.frame) >= HALF
    if is_in.all():
        return line
    steps = np.diff(np.concatenate(([0], is_in.astype(np.int8), [0])))
    runs = list(zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True))
    if not runs:
        return np.zeros((0, 2))
    first, last = max(runs, key=lambda run: int(run[1] - run[0]))
    kept: Floats = points[first:last]
    return kept


def _find_patches(
    known: list[Stretch], dose: DoseMap, ground: Ground, target: float, swath_m: float, side_m: float
) -> Iterator[Stretch]:
    """Whole parts of the lawn that were left out, less the strips that are known already."""
    if not ground.has_zones:
        return
    missed = (dose.dose_l_per_m2 <= COVERED_FRACTION * target) & (ground.wanted >= HALF) & ~(dose.p_missed <= SURE)
    for strip in known:
        for line in strip.lines_m:
            width = max(swath_m, strip.width_m / len(strip.lines_m))
            taken = np.zeros(missed.shape, dtype=np.bool_)
            paint_band(taken, line, width_m=width, frame=ground.frame)
            missed &= ~taken
    labels, count = label_regions(missed)
    seeds = set(np.unique(labels[_find_squares(missed, side_m / ground.frame.cell_m)]).tolist())
    for label in range(1, count + 1):
        if label in seeds:
            cells = labels == label
            area = float(ground.wanted[cells].sum()) * ground.frame.cell_area_m2
            chance = float(dose.p_missed[cells].mean())
            chance = 1.0 if np.isnan(chance) else chance
            gain = weigh_repeat(chance, missed_m2=area, swept_m2=area)
            ring = trace_outline(cells, ground.frame)
            doubt = "" if gain > 0.0 else "unlikely"
            yield Stretch("patch", (), (ring,), nan, nan, area, area, area * target, chance, gain, doubt)


def _find_squares(mask: Bools, side: float) -> Bools:
    """The cells at the lower left corner of a square that is marked throughout."""
    cells = max(1, round(side))
    found = np.zeros(mask.shape, dtype=np.bool_)
    if cells > min(mask.shape):
        return found
    sums = np.pad(mask.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    whole = sums[cells:, cells:] - sums[:-cells, cells:] - sums[cells:, :-cells] + sums[:-cells, :-cells]
    found[: whole.shape[0], : whole.shape[1]] = whole == cells * cells
    return found


def _doubt_placing(strip: Stretch, unplaced_l: float) -> Stretch:
    """A strip that liquid without a position may have reached is for one's own eyes."""
    could_be = unplaced_l > 0.0 and unplaced_l >= UNPLACED_SHARE * strip.area_m2 * strip.volume_l / strip.swept_m2
    return replace(strip, doubt="unplaced") if could_be and not strip.doubt else strip


def _order_repeats(strips: list[Stretch], start_m: tuple[float, float]) -> tuple[list[Stretch], float]:
    """The strips in the order of walking, each turned so that it is begun at its nearer end; metres between."""
    ends = np.array([[strip.lines_m[0][0], strip.lines_m[-1][-1]] for strip in strips]).reshape(-1, 2, 2)
    order = order_walk(ends, start_m=start_m)
    turned = []
    for place, is_back in order:
        lines = strips[place].lines_m
        back = tuple(line[::-1] for line in reversed(lines)) if strips[place].kind != "patch" else lines
        turned.append(replace(strips[place], lines_m=back if is_back else lines))
    return turned, measure_between(order, ends, start_m=start_m)


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
    target, limit = treatment.target_l_per_m2, treatment.over_fraction * treatment.target_l_per_m2
    for found, way in zip(passes, ways, strict=False):
        chance = _chance_above(found.dose_l_per_m2, found.dose_sd_l_per_m2, limit)
        if chance > SURE and found.number not in _passes_of(seams, "doubled"):
            over = (found.dose_l_per_m2 - target) * found.area_m2
            times = found.dose_l_per_m2 / target
            yield Surplus("pass", (found.number,), way, found.area_m2, found.dose_l_per_m2, times, over, chance)


def _list_thin(passes: Sequence[Pass], seams: Sequence[Seam], treatment: Treatment) -> Iterator[ThinPass]:
    """Passes that surely got less than what counts as under, but for those that another one lies on."""
    target, limit = treatment.target_l_per_m2, treatment.under_fraction * treatment.target_l_per_m2
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
