"""The touch-up plan weighs doubling against missing, and says what it leaves out and why."""

from dataclasses import replace
from itertools import permutations, product
from math import isnan, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.errand import measure_between, order_walk
from server.core.findings import find_findings
from server.core.grid import GridFrame
from server.core.ground import Ground
from server.core.margin import Margin, find_margins, judge_depth
from server.core.results import DoseMap, Pair, Pass, ThinPass, Track
from server.core.seams import Seam
from server.core.setup import Treatment
from server.core.topup import judge_thin, share_need
from server.core.touchup import DOUBLING_COST, plan_touchup, weigh_repeat

TARGET = 0.05
TREATMENT = Treatment(target_l_per_m2=TARGET)
CELL = 0.25
LAWN_M = (12.0, 30.0)


def lay(*bands: tuple[float, float, float], south: float = 0.0, north: float = 30.0) -> tuple[DoseMap, Ground]:
    """A lawn of 12 by 30 m at the target, but for bands west, east, dose over target."""
    nx, ny = int(LAWN_M[0] / CELL) + 16, int(LAWN_M[1] / CELL) + 16
    frame = GridFrame(-2.0, -2.0, CELL, nx, ny)
    east = frame.x0_m + (np.arange(nx) + 0.5) * CELL
    north_m = frame.y0_m + (np.arange(ny) + 0.5) * CELL
    inside = ((east > 0) & (east < LAWN_M[0]))[None, :] & ((north_m > 0) & (north_m < LAWN_M[1]))[:, None]
    dose = np.where(inside, TARGET, 0.0)
    for west, far, share in bands:
        dose[((east > west) & (east < far))[None, :] & ((north_m > south) & (north_m < north))[:, None]] = (
            share * TARGET
        )
    unknown = np.full(dose.shape, nan)
    return (
        DoseMap(dose, unknown, unknown, unknown, unknown, frame.x0_m, frame.y0_m, CELL),
        Ground(frame, inside.astype(float), np.zeros(dose.shape), True, False),
    )


def seam(
    verdict: str,
    probability: float = 0.99,
    *,
    east: float = 5.0,
    width: float = 1.0,
    ends: tuple[float, float] = (0, 30),
) -> Seam:
    """A judged stretch that runs north."""
    spacing = 1.0 + width if verdict == "gap" else 1.0 - width
    pair = Pair(4, 5, spacing, 0.05, 0.0, ends[1] - ends[0], verdict, probability)
    return Seam(pair, np.array([[east, ends[0]], [east, ends[1]]], dtype=float), width)


def one_pass(number: int, share: float, sd: float = 0.02) -> Pass:
    """A pass of 30 m² that got so much of the target."""
    return Pass(
        number, "b", 0.0, 25.0, 0.0, 25.0, 0.0, 25.0, 30.0, 0.0, 1.2, share * TARGET * 30.0, 30.0, share * TARGET,
        sd * TARGET, 100.0 * share, "fixed",
    )  # fmt: skip


def plan(seams=(), margins=(), passes=(), *, laid=None, findings=(), swath_m=1.0, **more):
    """A plan on a lawn."""
    dose, ground = laid or lay((4.5, 5.5, 0.0))
    return plan_touchup(seams, margins, findings, passes, dose, ground, treatment=TREATMENT, swath_m=swath_m, **more)


def test_a_missed_strip_is_walked_from_its_start_to_its_end_and_mixed_for() -> None:
    found = plan([seam("gap", 0.97, ends=(2.0, 28.0))])
    (strip,) = found.repeats
    assert (strip.kind, strip.passes, strip.doubt) == ("gap", (4, 5), "")
    assert strip.lines_m[0].tolist() == [[5.0, 2.0], [5.0, 28.0]]
    assert (strip.length_m, strip.width_m, strip.area_m2) == (26.0, 1.0, 26.0)
    assert strip.volume_l == pytest.approx(26.0 * TARGET)
    assert strip.probability == 0.97
    assert found.allowance_l == pytest.approx(0.1 * found.volume_l)
    assert strip.gain_m2 == pytest.approx(0.97 * 26.0 - 0.03 * DOUBLING_COST * 26.0)


def test_in_two_directions_a_strip_of_one_of_them_gets_half_the_rate_and_the_others_half_is_no_crossing() -> None:
    crosswise = replace(TREATMENT, directions=2.0)
    half, whole = lay((4.5, 5.5, 0.5)), lay((4.5, 5.5, 1.0))
    parts = {"treatment": crosswise, "swath_m": 1.0}
    (strip,) = plan_touchup([seam("gap", 0.97)], (), (), (), *half, **parts).repeats
    assert (strip.doubt, strip.volume_l) == ("", pytest.approx(30.0 * TARGET / 2.0, rel=0.01))
    (wet,) = plan_touchup([seam("gap", 0.97)], (), (), (), *whole, **parts).looks
    assert wet.doubt == "crossed"


def test_in_two_directions_a_pass_of_half_the_rate_is_neither_thin_nor_heavy() -> None:
    parts = {"treatment": replace(TREATMENT, directions=2.0), "swath_m": 1.0, "ways": [np.zeros((2, 2))] * 3}
    laid = lay()
    passes = [one_pass(1, 0.5), one_pass(2, 0.25), one_pass(3, 1.0)]
    found = plan_touchup((), (), (), passes, *laid, **parts)
    assert [each.number for each in found.thin] == [2]
    assert [(each.passes, each.times_target) for each in found.alone] == [((3,), pytest.approx(2.0))]


def test_two_missed_strips_side_by_side_are_two_lanes() -> None:
    found = plan([seam("gap", width=2.1, east=5.0)], laid=lay((4.0, 6.0, 0.0)))
    (strip,) = found.repeats
    assert [line[0, 0] for line in strip.lines_m] == pytest.approx([5.0 - 0.525, 5.0 + 0.525])
    assert strip.volume_l == pytest.approx(2 * 30.0 * TARGET, rel=0.01)


@given(st.floats(0.0, 1.0), st.floats(0.1, 1.0), st.floats(1.0, 12.0))
def test_a_strip_is_worth_walking_where_the_expected_cost_of_leaving_it_is_higher(probability, share, cost) -> None:
    """By hand: left, a missed strip costs its ground; walked, whatever is wetted twice costs `cost` times as much."""
    swept, missed = 10.0, 10.0 * share
    left = probability * missed
    walked = cost * (probability * (swept - missed) + (1.0 - probability) * swept)
    gain = weigh_repeat(probability, missed_m2=missed, swept_m2=swept, doubling_cost=cost)
    assert gain == pytest.approx(left - walked, abs=1e-9)


@pytest.mark.parametrize(
    ("probability", "width", "doubt"),
    [(0.99, 1.0, ""), (0.82, 1.0, ""), (0.78, 1.0, "unlikely"), (0.99, 0.6, "narrow")],
)
def test_a_strip_that_is_doubtful_or_narrow_is_for_ones_own_eyes(probability, width, doubt) -> None:
    found = plan([seam("gap", probability, width=width)])
    assert [strip.doubt for strip in (*found.repeats, *found.looks)] == [doubt]
    assert bool(found.repeats) == (doubt == "")
    assert (found.volume_l > 0.0) == (doubt == "")


def test_a_strip_whose_place_is_not_known_well_is_to_be_found_by_eye() -> None:
    """A swath of 1 m that lies off by e doubles e beside the gap and leaves e of it: worth it while e < 0.2 m."""
    for sd, doubt in ((0.24, ""), (0.26, "placing")):
        found = plan([seam("gap", 0.9999)], place_sds_m=[sd])
        assert [strip.doubt for strip in (*found.repeats, *found.looks)] == [doubt]
        assert [strip.place_sd_m for strip in (*found.repeats, *found.looks)] == [sd]


def test_what_cannot_be_told_has_no_probability_and_no_volume_is_mixed_for_it() -> None:
    found = plan([seam("unsure", 0.7, width=0.6), seam("even", 0.99)])
    (look,) = found.looks
    assert look.doubt == "unsure"
    assert isnan(look.probability)
    assert (found.volume_l, found.seams_m, found.untold_m) == (0.0, 60.0, 30.0)


def test_ground_that_other_passes_crossed_is_not_sprayed_again() -> None:
    assert [look.doubt for look in plan([seam("gap")], laid=lay()).looks] == ["crossed"]


def test_liquid_without_a_position_may_have_reached_the_strip() -> None:
    full = 30.0 * TARGET
    assert [look.doubt for look in plan([seam("gap")], unplaced_l=0.6 * full).looks] == ["unplaced"]
    assert len(plan([seam("gap")], unplaced_l=0.3 * full).repeats) == 1


def test_a_gap_over_ground_that_is_no_lawn_is_nothing_to_mend() -> None:
    assert plan([seam("gap", east=13.5)]).repeats == ()
    (strip,) = plan([seam("gap", ends=(-2.0, 20.0))]).repeats
    assert strip.length_m == pytest.approx(20.0, abs=0.5), "the part on the lawn"


def test_small_strips_are_left_out_with_their_sum_told() -> None:
    found = plan([seam("gap", ends=(2.0, 2.8)), seam("gap", ends=(9.0, 9.5)), seam("gap", ends=(12.0, 20.0))])
    assert [strip.area_m2 for strip in found.repeats] == [8.0]
    assert (found.small_count, found.small_m2) == (2, pytest.approx(1.3))


def test_a_doubled_stretch_is_to_be_left_alone_with_what_it_got_too_much() -> None:
    found = plan([seam("doubled", 0.98, width=1.0)], laid=lay((4.5, 5.5, 2.0)))
    (alone,) = found.alone
    assert (alone.kind, alone.passes, alone.probability) == ("doubled", (4, 5), 0.98)
    assert alone.times_target == pytest.approx(2.0)
    assert alone.surplus_l == pytest.approx(30.0 * TARGET, rel=0.02)
    assert found.repeats == ()


def test_a_doubled_spot_counts_once() -> None:
    laid = lay((4.5, 5.5, 2.0), south=10.0, north=14.0)
    findings = find_findings(*laid, treatment=TREATMENT)
    assert [(a.kind, round(a.area_m2, 2)) for a in plan(laid=laid, findings=findings).alone] == [("spot", 4.0)]
    stretch = seam("doubled", ends=(10.0, 14.0))
    assert [each.kind for each in plan([stretch], laid=laid, findings=findings).alone] == ["doubled"]


def test_thin_and_heavy_passes_are_told_only_where_that_is_sure() -> None:
    passes = [one_pass(1, 1.0), one_pass(2, 0.7), one_pass(3, 0.895, 0.02), one_pass(4, 1.3), one_pass(5, nan, nan)]
    found = plan(passes=passes, laid=lay(), ways=[np.zeros((2, 2))] * 5)
    assert [thin.number for thin in found.thin] == [2]
    assert found.thin[0].lacking_l_per_m2 == pytest.approx(0.3 * TARGET)
    assert [(each.kind, each.passes) for each in found.alone] == [("pass", (4,))]
    assert found.alone[0].surplus_l == pytest.approx(0.3 * TARGET * 30.0)
    doubled = plan([seam("doubled")], passes=[one_pass(4, 0.7), one_pass(5, 1.3)], laid=lay((4.5, 5.5, 2.0)))
    assert (doubled.thin, [each.kind for each in doubled.alone]) == ((), ["doubled"]), "no pass is told twice"


def test_a_part_that_was_left_out_is_a_patch_and_only_if_it_is_wider_than_the_doubt() -> None:
    laid = lay((0.0, 12.0, 0.0), south=20.0)
    (patch,) = plan(laid=laid).repeats
    assert (patch.kind, patch.area_m2, patch.probability) == ("patch", 120.0, 1.0)
    assert patch.volume_l == pytest.approx(120.0 * TARGET)
    assert plan(laid=laid, track_sd_m=3.0).repeats == ()
    assert plan(laid=laid, track_sd_m=nan).repeats == ()


def ring() -> np.ndarray:
    """The lawn's edge."""
    x, y = LAWN_M
    return np.array([[0.0, 0.0], [x, 0.0], [x, y], [0.0, y], [0.0, 0.0]])


def margins_of(laid: tuple[DoseMap, Ground], sd_m: float = 0.03, turned: bool = False) -> tuple[Margin, ...]:
    """What is missed beside the edge of the lawn."""
    n = 120
    east, north, x = np.full(n, 1.5), np.linspace(0.0, 30.0, n), np.full(n, sd_m)
    i, zero, t = np.full(n, 4), np.zeros(n), np.arange(n) / 5.0
    track = Track(i, t, t, t, east, north, x, x, zero, zero, zero, zero, i, np.zeros((0, n, 2)))
    edge = ring()[::-1] if turned else ring()
    return find_margins(track, i > 0, *laid, [edge], swath_m=1.0, target_l_per_m2=TARGET)


@pytest.mark.parametrize("turned", [False, True])
def test_a_strip_missed_beside_the_edge_is_walked_half_a_swath_within(turned) -> None:
    laid = lay((0.0, 1.0, 0.0))
    found = plan(margins=margins_of(laid, turned=turned), laid=laid)
    (strip,) = found.repeats
    assert strip.kind == "edge"
    assert strip.width_m == pytest.approx(1.0, abs=0.02)
    assert strip.length_m == pytest.approx(29.0, abs=1.1)
    np.testing.assert_allclose(strip.lines_m[0][:, 0], 0.5, atol=0.01)
    assert strip.probability > 0.95


def test_cells_as_coarse_as_a_swath_tell_no_strip_beside_an_edge() -> None:
    dose, ground = lay((0.0, 4.0, 0.0))
    coarse = replace(dose, dose_l_per_m2=dose.dose_l_per_m2[::8, ::8], cell_m=8 * CELL)
    frame = GridFrame(ground.frame.x0_m, ground.frame.y0_m, 8 * CELL, *coarse.dose_l_per_m2.shape[::-1])
    wanted = ground.wanted[::8, ::8]
    assert margins_of((coarse, Ground(frame, wanted, np.zeros(wanted.shape), True, False))) == ()


def test_what_walkers_leave_beside_an_edge_is_no_missed_strip() -> None:
    laid = lay((0.0, 0.5, 0.0))
    assert plan(margins=margins_of(laid), laid=laid).repeats == ()
    assert judge_depth(0.3, 0.05, swath_m=1.0) < 0.01


def test_an_edge_that_the_receiver_cannot_place_is_to_be_looked_at() -> None:
    laid = lay((0.0, 1.0, 0.0))
    found = plan(margins=margins_of(laid, sd_m=0.35), laid=laid)
    assert found.repeats == ()
    assert [look.doubt for look in found.looks] == ["unsure"]


@given(st.floats(0.0, 3.0), st.floats(0.02, 0.3))
def test_deeper_is_likelier(depth, sd) -> None:
    near, far = (judge_depth(d, sd, swath_m=1.0) for d in (depth, min(depth + 0.1, 1.4)))
    assert 0.0 <= near <= 1.0
    assert far >= near - 1e-9 or depth + 0.1 > 1.4


def test_the_walk_visits_every_strip_once_and_is_near_the_shortest() -> None:
    rng, start, ratios = np.random.default_rng(5), (0.0, 0.0), []
    for _ in range(12):
        ends = rng.uniform(-20.0, 20.0, (4, 2, 2))
        order = order_walk(ends, start_m=start)
        assert sorted(place for place, _ in order) == [0, 1, 2, 3]
        ways = product(permutations(range(4)), product((False, True), repeat=4))
        shortest = min(measure_between(list(zip(*way, strict=True)), ends, start_m=start) for way in ways)
        ratios.append(measure_between(order, ends, start_m=start) / shortest)
    assert min(ratios) > 1.0 - 1e-9
    assert np.mean(ratios) < 1.05
    assert order_walk(np.zeros((0, 2, 2)), start_m=start) == []


def test_strips_are_walked_the_nearest_first_and_begun_at_the_nearer_end() -> None:
    laid = lay((2.5, 3.5, 0.0), (7.5, 8.5, 0.0))
    found = plan([seam("gap", east=8.0), seam("gap", east=3.0)], laid=laid, start_m=(3.0, 31.0))
    begins = np.array([strip.lines_m[0][0] for strip in found.repeats])
    np.testing.assert_allclose(begins, [[3.0, 30.0], [8.0, 0.0]], atol=0.06)
    assert found.between_m == pytest.approx(6.0, abs=0.2)


@given(st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_the_tanks_rest_is_used_first_and_nothing_is_lost(need, left) -> None:
    shares = share_need(need, tank_left_l=left)
    assert shares.from_tank_l + shares.mix_l == pytest.approx(need)
    assert shares.from_tank_l + shares.left_l == pytest.approx(left)
    assert min(shares.mix_l, shares.left_l) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="cannot be"):
        share_need(need, tank_left_l=-0.1)


def test_a_second_lighter_pass_keeps_to_the_labels_carrier_range() -> None:
    """Colorado State University, CEPEP fact sheet 204: 2 gal where the label says 3 to 5 gal/1000 ft² is too strong."""
    gallon = 3.785411784 / 92.90304
    thin = ThinPass(3, 30.0, 2.0 * gallon, 2.0 * gallon, 1.0, 0.99)
    label = (3.0 * gallon, 5.0 * gallon)
    assert judge_thin(thin, target_l_per_m2=4.0 * gallon, label_carrier=label) == "weaker"
    assert judge_thin(thin, target_l_per_m2=2.0 * gallon, label_carrier=label) == "no"
    assert judge_thin(thin, target_l_per_m2=4.0 * gallon, label_carrier=None) == "label"
    assert judge_thin(thin, target_l_per_m2=4.0 * gallon, label_carrier=(gallon, 5.0 * gallon)) == "same"
    hasty = replace(thin, dose_l_per_m2=3.6 * gallon, lacking_l_per_m2=0.4 * gallon)
    assert judge_thin(hasty, target_l_per_m2=4.0 * gallon, label_carrier=(0.1 * gallon, 5 * gallon)) == "weaker", (
        "9 m/s"
    )


@pytest.mark.parametrize("cell_m", [1.3, 2.6, 4.0])
def test_a_map_with_cells_as_wide_as_a_swath_tells_no_strip_beside_an_edge(cell_m) -> None:
    frame = GridFrame(-10.0, -10.0, cell_m, 10, 12)
    inside = np.zeros((12, 10))
    inside[2:9, 2:8] = 1.0
    unknown = np.full(inside.shape, nan)
    dose = DoseMap(np.zeros(inside.shape), unknown, unknown, unknown, unknown, -10.0, -10.0, cell_m)
    ground = Ground(frame, inside, np.zeros(inside.shape), True, False)
    assert margins_of((dose, ground)) == ()
