"""What to mend after a job: which strips to walk again and in which order, what to leave alone, what to look at.

East and north in metres on the local plane, dose in litres per square metre.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import nan, pi, sqrt

import numpy as np

from server.core.band import measure_line, paint_band, read_cells, resample_line, shift_line, thin_line
from server.core.coverage import COVERED_FRACTION
from server.core.errand import measure_between, order_walk
from server.core.findings import SURE
from server.core.ground import Ground
from server.core.log import Floats
from server.core.margin import Margin
from server.core.regions import label_regions, trace_outline
from server.core.results import Bools, DoseMap, Finding, Pass, Stretch, TouchupPlan
from server.core.seams import Seam
from server.core.setup import Treatment
from server.core.surplus import list_surplus, list_thin

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
MEAN_OFF = sqrt(2.0 / pi)
"""The mean size of a normal error, in its standard deviations."""
STEP_M, FINE_M = 0.25, 0.05


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
    place_sds_m: Sequence[float] = (),
    start_m: tuple[float, float] = (nan, nan),
    ways: Sequence[Floats] = (),
) -> TouchupPlan:
    """Weigh what a review found, and plan the walk.

    A strip is walked again only if that is expected to do more good than harm, a square metre doubled counting as
    four missed: `weigh_repeat`. With a swath as wide as the gap that asks for a probability of 0.8. Strips of doubtful
    truth or place, narrower than is worth a whole swath, wet from other passes, or that liquid without a position may
    have reached, are for one's own eyes.

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
    place_sds_m
        How well each seam's place across is known [m], as many as there are seams; none: exactly.
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
    >>> [(s.kind, round(s.area_m2), round(s.volume_l, 2)) for s in plan.repeats], round(plan.allowance_l, 3)
    ([('gap', 9, 0.45)], 0.045)
    """
    target, lane = treatment.target_l_per_m2, treatment.pass_l_per_m2
    placed = zip(seams, place_sds_m or [0.0] * len(seams), strict=True)
    weighed = [_weigh_seam(seam, sd, dose, ground, target, lane, swath_m) for seam, sd in placed]
    found = [each for each in weighed if each is not None]
    found += [_weigh_margin(margin, target, swath_m) for margin in margins if margin.probability >= WORTH_A_LOOK]
    side = PATCH_SWATHS * swath_m + PATCH_SDS * track_sd_m
    found += _find_patches(found, dose, ground, target, swath_m, side) if np.isfinite(side) else ()
    found = [_doubt_placing(each, unplaced_l) for each in found]
    large = [each for each in found if each.area_m2 >= LEAST_M2]
    small = [each for each in found if each.area_m2 < LEAST_M2 and each.doubt in ("", "narrow")]
    order, between = _order_repeats([each for each in large if not each.doubt], start_m)
    surplus = list_surplus(seams, findings, passes, ways, dose, ground, treatment=treatment)
    alone = sorted((each for each in surplus if each.area_m2 >= LEAST_M2), key=lambda each: -each.surplus_l)
    volume = sum(each.volume_l for each in order)
    lengths = [(seam.pair.to_m - seam.pair.from_m, seam.pair.verdict) for seam in seams]
    return TouchupPlan(
        repeats=tuple(order),
        looks=tuple(sorted((each for each in large if each.doubt), key=lambda each: -each.area_m2)),
        alone=tuple(alone),
        thin=list_thin(passes, seams, treatment=treatment),
        target_l_per_m2=target,
        pass_l_per_m2=lane,
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
    probability: float,
    *,
    missed_m2: float,
    swept_m2: float,
    astray_m2: float = 0.0,
    doubling_cost: float = DOUBLING_COST,
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
    astray_m2
        What the walk is expected to wet beside the missed ground because its place is not known well [m²].
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
    beside = max(swept_m2 - missed_m2, 0.0) + astray_m2
    won = missed_m2 - astray_m2 - doubling_cost * beside
    return probability * won - (1.0 - probability) * doubling_cost * swept_m2


def _weigh_seam(
    seam: Seam, sd: float, dose: DoseMap, ground: Ground, target: float, lane: float, swath_m: float
) -> Stretch | None:
    """A stretch between two passes as ground to walk again or to look at; None where there is nothing to mend."""
    pair = seam.pair
    if pair.verdict not in ("gap", "unsure"):
        return None
    line = _keep_wanted(seam.line_m, ground)
    if measure_line(line) <= 0.0:
        return None
    width, passes = seam.width_m, (pair.pass_a, pair.pass_b)
    if pair.verdict == "unsure":
        return replace(_lay_strip("gap", passes, line, width, nan, lane, swath_m, sd), doubt="unsure")
    strip = _lay_strip("gap", passes, line, width, pair.probability, lane, swath_m, sd)
    laid = read_cells(dose.dose_l_per_m2, resample_line(line, step_m=STEP_M), ground.frame)
    # Of two directions the other one has laid its half there.
    is_wet = laid > target - HALF * lane
    return replace(strip, doubt="crossed") if np.mean(is_wet) > HALF else strip


def _weigh_margin(margin: Margin, target: float, swath_m: float) -> Stretch:
    """Ground beside an edge; walked half a swath from it, so that nothing goes beyond."""
    line = shift_line(margin.edge_m, right_m=margin.depth_m / 2.0)
    strip = _lay_strip("edge", (), line, margin.depth_m, margin.probability, target, swath_m)
    lanes = len(strip.lines_m)
    edge = thin_line(margin.edge_m, tolerance_m=FINE_M)
    beside = tuple(shift_line(edge, right_m=(lane + HALF) * swath_m) for lane in range(lanes))
    strip = replace(strip, lines_m=beside)
    return replace(strip, doubt="unsure") if margin.depth_sd_m > GATE * swath_m else strip


def _lay_strip(
    kind: str,
    passes: tuple[int, ...],
    line: Floats,
    width: float,
    probability: float,
    target: float,
    swath_m: float,
    sd: float = 0.0,
) -> Stretch:
    """A strip with its lanes to walk, weighed."""
    length, lanes = measure_line(line), max(1, round(width / swath_m))
    offsets = [width * ((lane + HALF) / lanes - HALF) for lane in range(lanes)]
    missed, swept = length * width, length * lanes * swath_m
    won, astray = min(missed, swept), length * min(MEAN_OFF * sd, width)
    gain = weigh_repeat(probability, missed_m2=won, swept_m2=swept, astray_m2=astray)
    doubt = ""
    if not gain > 0.0:
        is_narrow = weigh_repeat(1.0, missed_m2=won, swept_m2=swept) <= 0.0
        is_likely = weigh_repeat(probability, missed_m2=swept, swept_m2=swept) > 0.0
        doubt = "unlikely" if not is_likely else "narrow" if is_narrow else "placing"
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
        place_sd_m=sd,
    )


def _keep_wanted(line: Floats, ground: Ground) -> Floats:
    """The longest part of a line that lies on ground where liquid is wanted; all of it where no zone is known."""
    if not ground.has_zones or not len(line):
        return line
    points = resample_line(line, step_m=FINE_M)
    is_in = read_cells(ground.wanted, points, ground.frame) >= HALF
    if is_in.all():
        return line
    steps = np.diff(np.concatenate(([0], is_in.astype(np.int8), [0])))
    runs = list(zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True))
    if not runs:
        return np.zeros((0, 2))
    first, last = max(runs, key=lambda run: int(run[1] - run[0]))
    return thin_line(points[first:last], tolerance_m=FINE_M)


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
