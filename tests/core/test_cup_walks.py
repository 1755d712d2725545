"""A cup's line from a walk without reference, on simulated walks: right, honest, and refused where it must be."""

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.cup import apparent_by_second
from server.core.cupwalk import fit_walk
from server.core.legs import Blocks, cut_blocks
from server.core.scatter import fit_scatter, spread_means
from server.core.setup import Anemometer
from server.core.timebase import Timebase
from server.core.wind import gather_seconds
from server.core.windfold import Second

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))

from cupworld import SET, Plan, blow_gusts, plan_square, simulate_walks

GOOD = {"wind_mps": 0.3, "turbulence_mps": 0.08}
PACES = {"paces": (1.0, 1.9), "leg_s": 20.0}


def score(found, *, slope=1.05, offset_mps=0.2):
    """The error of the speed told at 4.5 m/s, and of the slope, each over its stated uncertainty."""
    hz = (4.5 - offset_mps) / (slope * 0.34)
    off = found.offset_mps + found.mps_per_hz * hz - 4.5
    return off / (4.5 * found.scale_sd), (found.mps_per_hz - slope * 0.34) / found.mps_per_hz_sd


def test_intervals_hold_over_240_walks() -> None:
    """90 % intervals, four kinds of air; 240 walks scatter by 2 % round 90."""
    scores = []
    for seed, (wind, turbulence) in enumerate(((0.0, 0.06), (0.4, 0.12), (1.5, 0.2), (3.0, 0.3))):
        walks = simulate_walks(
            plan_square(10, **PACES), walks=60, seed=seed, wind_mps=wind, turbulence_mps=turbulence, slope=1.04
        )
        scores += [score(fit_walk(walk, anemometer=SET), slope=1.04) for walk in walks]
    held = np.mean(np.abs(scores) < 1.645, axis=0)
    assert np.all((held > 0.84) & (held < 0.97)), held
    assert np.all(np.abs(np.median(scores, axis=0)) < 0.3)


def test_ten_minutes_at_two_paces_in_light_air_tell_the_scale() -> None:
    found = [
        fit_walk(walk, anemometer=SET)
        for walk in simulate_walks(plan_square(10, **PACES), walks=40, seed=20, slope=1.08, offset_mps=0.3, **GOOD)
    ]
    usable = [each for each in found if each.is_usable]
    assert len(usable) >= 36
    assert np.median([each.mps_per_hz for each in usable]) == pytest.approx(1.08 * 0.34, rel=0.01)
    assert np.median([each.turbulence_mps for each in usable]) == pytest.approx(0.08, abs=0.02)
    assert np.median([each.told for each in usable]) > 0.6


def refusal_of(plan, *, seed=30, walks=8, **changes):
    """What most of a few walks are refused for."""
    reasons = [
        fit_walk(walk, anemometer=SET).refusal
        for walk in simulate_walks(plan, walks=walks, seed=seed, **{**GOOD, **changes})
    ]
    return max(reasons, key=reasons.count), np.mean([bool(reason) for reason in reasons])


def test_one_pace_does_not_tell_slope_from_offset_and_the_missing_walk_is_named() -> None:
    reasons = [
        fit_walk(walk, anemometer=SET).refusal
        for walk in simulate_walks(plan_square(10, paces=(1.9,), leg_s=20.0), walks=8, seed=31, **GOOD)
    ]
    assert all("unsure by" in reason for reason in reasons)
    assert sum("5 minutes out and back at a slow pace" in reason for reason in reasons) >= 5


def test_a_walk_on_one_line_is_refused_and_the_other_line_named() -> None:
    """There it would feel sure and be wrong: the wind across enters squared and starts at nothing."""
    reason, share = refusal_of(plan_square(10, headings=(0.0, 180.0), **PACES))
    assert share == 1.0
    assert "across that line" in reason


def test_what_is_advised_helps() -> None:
    """The same walk with the advised five minutes is usable."""
    slow = Plan(plan_square(10, paces=(1.9,), leg_s=20.0).legs + plan_square(6, paces=(0.9,), leg_s=20.0).legs)
    assert refusal_of(slow, seed=31)[1] <= 0.25


def test_in_a_fresh_wind_no_short_walk_tells_it() -> None:
    reasons = [
        fit_walk(walk, anemometer=SET).refusal
        for walk in simulate_walks(plan_square(10, **PACES), walks=8, seed=32, wind_mps=3.0, turbulence_mps=0.5)
    ]
    assert all(reasons)
    assert sum("come back when it is below" in reason for reason in reasons) >= 5


def test_a_wind_that_changes_is_refused() -> None:
    reasons = [
        fit_walk(walk, anemometer=SET).refusal
        for walk in simulate_walks(plan_square(10, **PACES), walks=12, seed=33, drift_mps=1.0, **GOOD)
    ]
    assert all(reasons)
    assert sum("changed during the walk" in reason for reason in reasons) >= 9


def test_gusty_air_is_refused() -> None:
    reasons = [
        fit_walk(walk, anemometer=SET).refusal
        for walk in simulate_walks(plan_square(10, **PACES), walks=6, seed=34, wind_mps=4.0, turbulence_mps=2.0)
    ]
    assert sum("too gusty" in reason or "are needed" in reason for reason in reasons) >= 4


def test_headings_that_do_not_agree_are_refused() -> None:
    """A cup that shows a fifth less while walking north, as beside a wall."""
    reasons = []
    for walk in simulate_walks(plan_square(12, **PACES), walks=10, seed=35, wind_mps=0.2, turbulence_mps=0.05):
        bent = [
            replace(row, apparent_mps=(0.8 if row.velocity_north_mps > 0.5 else 1.0) * row.apparent_mps) for row in walk
        ]
        reasons.append(fit_walk(bent, anemometer=SET).refusal)
    assert sum("no one wind and one line" in reason for reason in reasons) >= 7


def test_a_cup_far_from_its_settings_is_doubted() -> None:
    reason, share = refusal_of(plan_square(10, **PACES), slope=1.5)
    assert share == 1.0
    assert "is it another cup" in reason


def test_short_walks_standing_cups_and_settings_without_slope_are_refused() -> None:
    walk = simulate_walks(plan_square(2, **PACES), walks=1, seed=36, **GOOD)[0]
    assert "steady legs" in fit_walk(walk[:60], anemometer=SET).refusal
    assert "steady legs" in fit_walk([], anemometer=SET).refusal
    stood = [replace(row, is_bound=True) for row in walk]
    assert fit_walk(stood, anemometer=SET).refusal.startswith("0 steady legs")
    assert "without a slope" in fit_walk(walk, anemometer=Anemometer()).refusal


def test_a_known_offset_makes_one_pace_enough_where_it_is_sure() -> None:
    walks = simulate_walks(
        plan_square(15, paces=(1.9,), leg_s=20.0), walks=10, seed=37, wind_mps=0.1, turbulence_mps=0.05
    )
    alone = [fit_walk(walk, anemometer=SET).scale_sd for walk in walks]
    helped = [fit_walk(walk, anemometer=SET, offset_sd_mps=0.03) for walk in walks]
    assert np.median(alone) > 0.05
    assert np.median([each.scale_sd for each in helped]) < 0.03
    assert np.mean([abs(score(each)[0]) < 1.645 for each in helped]) >= 0.7


def turn(walk: list[Second], degrees: float) -> list[Second]:
    """The same walk in a world turned round."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return [
        replace(
            row,
            velocity_east_mps=c * row.velocity_east_mps + s * row.velocity_north_mps,
            velocity_north_mps=-s * row.velocity_east_mps + c * row.velocity_north_mps,
        )
        for row in walk
    ]


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 500), degrees=st.floats(0.0, 360.0))
def test_turning_all_headings_changes_nothing_but_the_winds_direction(seed: int, degrees: float) -> None:
    walk = simulate_walks(plan_square(8, **PACES), walks=1, seed=seed, wind_mps=0.5, turbulence_mps=0.08)[0]
    first, again = fit_walk(walk, anemometer=SET), fit_walk(turn(walk, degrees), anemometer=SET)
    assert again.mps_per_hz == pytest.approx(first.mps_per_hz, rel=1e-3)
    assert again.mps_per_hz_sd == pytest.approx(first.mps_per_hz_sd, rel=1e-2)
    speeds = [np.hypot(each.wind_east_mps, each.wind_north_mps) for each in (first, again)]
    assert speeds[0] == pytest.approx(speeds[1], abs=2e-3)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 500))
def test_walking_it_backwards_in_time_changes_nothing(seed: int) -> None:
    """The order of legs: the whole walk told from its end, where lag and turns are left out by hand."""
    rng = np.random.default_rng(seed)
    paces = [(v * np.sin(h), v * np.cos(h)) for v in (1.0, 1.9) for h in np.radians((0.0, 180.0, 90.0, 270.0))] * 2
    levels = [np.hypot(0.3 - e, 0.1 - n) + 0.03 * rng.standard_normal() for e, n in paces]

    def tell(order: range) -> list[Second]:
        rows = [(levels[k], *paces[k]) for k in order for _ in range(18)]
        return [Second(float(t), a, False, e, n, 0.05, False) for t, (a, e, n) in enumerate(rows)]

    forward, back = (fit_walk(tell(order), anemometer=STIFF) for order in (range(16), range(15, -1, -1)))
    assert back.mps_per_hz == pytest.approx(forward.mps_per_hz, rel=1e-4)
    assert back.offset_mps == pytest.approx(forward.offset_mps, abs=1e-4)


STIFF = replace(SET, distance_constant_m=1e-6)


def test_legs_are_cut_where_the_walker_turns_and_where_seconds_are_missing() -> None:
    rows = [Second(float(t), 2.0, False, 1.2 if t < 30 else -1.2, 0.0, 0.05, False) for t in range(60)]
    assert np.unique(cut_blocks(rows, anemometer=SET).leg).tolist() == [0, 1]
    assert len(np.unique(cut_blocks(rows[:45] + rows[46:], anemometer=SET).leg)) == 3
    gone = [replace(row, apparent_mps=np.nan) if row.t == 12.0 else row for row in rows]
    assert cut_blocks(gone, anemometer=SET).t[0] == pytest.approx(5.0, abs=1.0)


def test_the_covariance_of_means_is_what_drawn_noise_has() -> None:
    """Means of 5 s, 2 s apart, of a drawn first-order noise of 10 s, against the closed form."""
    rng = np.random.default_rng(8)
    keep, drawn = np.exp(-0.001), np.empty((1200, 20_000), dtype=np.float32)
    state = rng.standard_normal(20_000)
    for k in range(1200):
        state = keep * state + np.sqrt(1.0 - keep**2) * rng.standard_normal(20_000)
        drawn[k] = state
    means = np.stack((drawn[:500].mean(axis=0), drawn[700:].mean(axis=0)))
    whole = np.array([0, 0])
    blocks = Blocks(np.array([2.5, 9.5]), np.full(2, 5.0), np.zeros(2), np.zeros(2), np.zeros(2), whole)
    told = spread_means(blocks, np.array([[1.0, 0.0], [0.6, 0.8]]))[1]
    assert np.cov(means)[0, 0] == pytest.approx(told[0, 0], rel=0.04)
    assert 0.6 * np.cov(means)[0, 1] == pytest.approx(told[0, 1], rel=0.06)


def test_sizes_of_noises_come_back() -> None:
    """200 draws with a known covariance: on average the whole variance; what is slow is told a quarter too small."""
    count = 60
    blocks = Blocks(6.0 * np.arange(count), np.full(count, 5.0), *[np.zeros(count)] * 3, np.arange(count))
    spreads = spread_means(blocks, np.tile([1.0, 0.0], (count, 1)))
    true = np.array([0.04, 0.0, 0.06])
    root = np.linalg.cholesky(np.tensordot(true, spreads, 1) + 0.02**2 * np.eye(count))
    rng = np.random.default_rng(9)
    found = [fit_scatter(root @ rng.standard_normal(count), np.ones((count, 1)), spreads) for _ in range(200)]
    assert np.mean([each.turbulence_mps**2 for each in found]) == pytest.approx(true.sum(), rel=0.12)
    variance = np.mean([each.variance_of_mean(300.0) for each in found])
    assert variance == pytest.approx((true * [6.0, 20.0, 60.0]).sum() / 300.0, rel=0.35)


def load_jobs():
    """The other world: its cup makes pulses, its receiver a track."""
    spec = importlib.util.spec_from_file_location("wind_jobs", Path(__file__).parent / "test_wind_jobs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["wind_jobs"] = module
    spec.loader.exec_module(module)
    return module


def test_pulses_and_a_track_tell_the_line_too() -> None:
    """The whole way from pulses: a cup 6 % slower than its settings, three walks of ten minutes."""
    jobs = load_jobs()
    for seed in range(3):
        rng = np.random.default_rng((91, seed))
        way = np.repeat(plan_square(10, turned=50.0 * seed, **PACES).velocity(), jobs.RATE_HZ // 10, axis=0)
        gusts = np.repeat(blow_gusts(rng, len(way) // 2, 1, 0.06)[:, 0], 2, axis=0)
        job = jobs.Job(way, np.array([0.2, 0.1]) + gusts, [])
        slower = replace(SET, mps_per_hz=1.06 * 0.34)
        timebase = Timebase(np.zeros(1), 0.0)
        air = apparent_by_second(jobs.count_cup(job, slower), timebase, anemometer=SET)
        found = fit_walk(gather_seconds(air, jobs.follow_walk(rng, way), ()), anemometer=SET)
        assert found.is_usable, found.refusal
        assert np.all(np.abs(score(found, slope=1.06)) < 3.0)
        assert found.mps_per_hz == pytest.approx(1.06 * 0.34, rel=0.05)
