"""Will it stay calm: the regression against closed forms and its own optimum, scores, and what must never happen."""

from dataclasses import replace
from math import isnan, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.calmhours import CalmHours, count_hours, find_next
from server.core.calmprior import PRIOR
from server.core.calmrecord import keep_record, refit_times
from server.core.logit import fit_logit, logistic, score_brier, split_brier
from server.core.lull import LullState, say_chance, say_record, step_lull
from server.core.outlook import (
    HORIZONS_MIN,
    CalmChance,
    CalmModel,
    bound_columns,
    fit_calm,
    foresee_calm,
    gather_cases,
    tell_chances,
)
from server.core.windpast import DAY_S, WindPast, describe_past, lay_past, look_ahead, mean_before

LIMIT_MPS = 2.0
LON_DEG = -72.7
FREE = np.full(2, np.inf)


def blow(days: float, *, step_s: float = 600.0, seed: int = 1, level: float = 1.2) -> WindPast:
    """A wind with a daily cycle and a memory of an hour."""
    rng = np.random.default_rng(seed)
    n = int(days * DAY_S / step_s)
    keep = np.exp(-step_s / 3600.0)
    root = np.zeros(n)
    for k in range(1, n):
        root[k] = keep * root[k - 1] + 0.25 * np.sqrt(1 - keep**2) * rng.standard_normal()
    day = 0.15 * np.cos(2 * np.pi * (np.arange(n) * step_s / DAY_S - 0.6))
    return lay_past(np.arange(1, n + 1) * step_s, (np.sqrt(level) + root + day) ** 2, step_s=step_s)


def fit_all(past: WindPast, until: float) -> tuple[CalmModel, ...]:
    """The regressions of all horizons."""
    return tuple(
        fit_calm(gather_cases(past, limit_mps=LIMIT_MPS, minutes=m, lon_deg=LON_DEG), until=until) for m in HORIZONS_MIN
    )


def foresee(past: WindPast, models: tuple[CalmModel, ...], minutes: float = 25.0) -> CalmChance:
    """The chance at the end of a past."""
    return foresee_calm(past, models, minutes=minutes, limit_mps=LIMIT_MPS, lon_deg=LON_DEG)


def test_a_two_by_two_table_gives_its_log_odds_ratio() -> None:
    """Log-odds 30/10 without and 12/28 with: slope is the log of the odds ratio (Agresti, Categorical Data Analysis,
    from memory)."""
    x = np.repeat([0.0, 0.0, 1.0, 1.0], [30, 10, 12, 28])
    y = np.repeat([1.0, 0.0, 1.0, 0.0], [30, 10, 12, 28])
    rows = np.column_stack((np.ones(80), x))
    fit = fit_logit(rows, y, np.ones(80), centre=np.zeros(2), stiffness=np.full(2, 1e-9), highest=FREE)
    assert fit.coefficients == pytest.approx([log(3.0), log(12 / 28) - log(3.0)], abs=1e-6)
    # Variance of a log odds ratio: the sum of the four counts' inverses (Woolf, Ann. Hum. Genet. 19 (1955) 251).
    assert fit.covariance[1, 1] == pytest.approx(1 / 30 + 1 / 10 + 1 / 12 + 1 / 28, rel=1e-5)


@given(seed=st.integers(0, 10_000), stiffness=st.floats(0.01, 100.0))
@settings(max_examples=40, deadline=None)
def test_the_fit_is_the_optimum_within_its_bounds(seed: int, stiffness: float) -> None:
    """The conditions of Karush, Kuhn and Tucker certify the only optimum, however it was found."""
    rng = np.random.default_rng(seed)
    rows = np.column_stack((np.ones(60), rng.standard_normal((60, 3))))
    y = (rng.random(60) < logistic(rows @ rng.standard_normal(4))).astype(float)
    weights, centre = rng.random(60), np.append(0.3, rng.standard_normal(3) - 0.5)
    highest = np.array([np.inf, 0.0, 0.0, 0.0])
    b = fit_logit(rows, y, weights, centre=centre, stiffness=np.full(4, stiffness), highest=highest).coefficients
    slope = rows.T @ (weights * (y - logistic(rows @ b))) - stiffness * (b - centre)
    held = b >= highest
    assert (b <= highest).all()
    assert np.abs(slope[~held]).max(initial=0.0) < 1e-5
    assert (slope[held] >= -1e-5).all()


def test_separated_outcomes_do_no_harm() -> None:
    rows = np.column_stack((np.ones(20), np.arange(20.0)))
    y = (np.arange(20) > 9).astype(float)
    fit = fit_logit(rows, y, np.ones(20), centre=np.zeros(2), stiffness=np.full(2, 0.1), highest=FREE)
    assert np.isfinite(fit.coefficients).all()
    assert logistic(rows @ fit.coefficients)[[0, -1]] == pytest.approx([0.0, 1.0], abs=0.05)


def test_brier_score_of_the_published_example() -> None:
    """Row B1: 0.2075, documentation of brier_score in the package scores 2.7.0 (Bureau of Meteorology)."""
    assert score_brier(np.array([0.3, 0.5, 0.7, 1.0]), np.array([0.0, 1.0, 0.0, 1.0])) == pytest.approx(0.2075)


def test_brier_score_is_cut_in_three() -> None:
    """Row B2, computed by hand after Murphy (J. Appl. Meteorol. 12 (1973) 595)."""
    said = np.repeat([0.1, 0.3, 0.6, 0.9], 5)
    came = np.array([0, 0, 0, 0, 1, 0, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 1, 1, 1, 1], dtype=float)
    parts = split_brier(said, came)
    assert (parts.score, parts.reliability, parts.resolution, parts.uncertainty) == pytest.approx(
        (0.1675, 0.0075, 0.0875, 0.2475)
    )
    assert 1 - parts.score / parts.uncertainty == pytest.approx(0.3232, abs=5e-5)


def test_unknown_outcomes_are_left_out_of_the_score() -> None:
    assert score_brier(np.array([0.5, 0.9]), np.array([1.0, np.nan])) == 0.25
    assert isnan(score_brier(np.zeros(0), np.zeros(0)))


@pytest.mark.parametrize("step_s", [60.0, 600.0])
@pytest.mark.parametrize("minutes", HORIZONS_MIN)
def test_no_history_gives_exactly_the_shipped_coefficients(step_s: float, minutes: int) -> None:
    cases = gather_cases(blow(1.0, step_s=step_s), limit_mps=LIMIT_MPS, minutes=minutes, lon_deg=LON_DEG)
    model = fit_calm(cases, until=0.0)
    assert tuple(model.coefficients) == PRIOR[round(step_s), minutes]
    assert (model.days, model.cases) == (0.0, 0)


def test_shrinkage_grows_weaker_with_days() -> None:
    """Steps away from the shared coefficients grow, and the range narrows, as the log does."""
    cases = gather_cases(blow(60.0), limit_mps=LIMIT_MPS, minutes=30, lon_deg=LON_DEG)
    models = [fit_calm(cases, until=days * DAY_S) for days in (0, 1, 4, 14, 60)]
    moved = [float(np.abs(model.coefficients - PRIOR[600, 30]).sum()) for model in models]
    sizes = [float(np.trace(model.covariance)) for model in models]
    assert moved == sorted(moved)
    assert moved[1] < 0.5 * moved[-1]
    assert sizes == sorted(sizes, reverse=True)
    assert [round(model.days) for model in models] == [0, 1, 4, 14, 60]


@given(later=st.integers(0, 10_000), hour=st.integers(30, 60))
@settings(max_examples=15, deadline=None)
def test_what_comes_later_changes_nothing_said_before(later: int, hour: int) -> None:
    """Fit, chance and record as of a moment, with two different futures."""
    past, other = blow(3.0), blow(3.0, seed=later, level=2.5)
    cut = hour * 6
    changed = replace(past, mean_mps=np.concatenate((past.mean_mps[:cut], other.mean_mps[cut:])))
    until = float(past.ends[cut - 1])
    found = []
    for each in (past, changed):
        cases = gather_cases(each, limit_mps=LIMIT_MPS, minutes=20, lon_deg=LON_DEG)
        model = fit_calm(cases, until=until)
        row = describe_past(each, limit_mps=LIMIT_MPS, lon_deg=LON_DEG)[cut - 1 : cut]
        hours = count_hours(each, limit_mps=LIMIT_MPS, minutes=20, lon_deg=LON_DEG, until=until)
        found.append((model, tell_chances(model, row), keep_record(cases, until=until), hours))
    (model, told, record, hours), (model_2, told_2, record_2, hours_2) = found
    assert (model.coefficients == model_2.coefficients).all()
    assert (model.days, model.cases) == (model_2.days, model_2.cases)
    np.testing.assert_array_equal(told, told_2)
    assert record == record_2
    np.testing.assert_array_equal(hours.shares, hours_2.shares)


def test_what_comes_later_is_learnt_once_it_is_known() -> None:
    """The counterpart: the same change does move a fit of a later day."""
    past = blow(3.0)
    changed = replace(past, mean_mps=np.concatenate((past.mean_mps[:200], np.full(len(past.mean_mps) - 200, 0.3))))
    fits = [
        fit_calm(gather_cases(each, limit_mps=LIMIT_MPS, minutes=20, lon_deg=LON_DEG), until=3 * DAY_S).coefficients
        for each in (past, changed)
    ]
    assert np.abs(fits[0] - fits[1]).max() > 0.05


@given(
    seed=st.integers(0, 10_000),
    days=st.sampled_from([0.0, 1.0, 6.0]),
    louder=st.floats(1.0, 2.0),
    step_s=st.sampled_from([60.0, 600.0]),
)
@settings(max_examples=25, deadline=None)
def test_windier_now_is_never_calmer(seed: int, days: float, louder: float, step_s: float) -> None:
    """The last ten minutes blown up by a factor, whatever the few days taught."""
    past = blow(6.0, seed=seed, step_s=step_s)
    models = fit_all(past, days * DAY_S)
    now = past.mean_mps.copy()
    now[-round(600 / step_s) :] *= louder
    before, after = foresee(past, models), foresee(replace(past, mean_mps=now), models)
    if not isnan(after.chance):
        assert after.chance <= before.chance + 1e-12


def test_longer_is_never_calmer() -> None:
    past = blow(5.0)
    models = fit_all(past, 5 * DAY_S)
    chances = [foresee(past, models, minutes).chance for minutes in (5, 10, 15, 20, 25, 30, 45, 60)]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] == chances[1]


def test_an_own_past_makes_chances_truer() -> None:
    """A place unlike the shared one: where 2 m/s is never passed, twenty days say so and the shared ones cannot."""
    past = blow(30.0, level=1.8)
    capped = replace(past, mean_mps=np.minimum(past.mean_mps, 1.99))
    cases = gather_cases(capped, limit_mps=LIMIT_MPS, minutes=30, lon_deg=LON_DEG)
    later = cases.is_asked & np.isfinite(cases.outcomes) & (cases.at > 20 * DAY_S)
    assert cases.outcomes[later].all()
    scores = [
        score_brier(tell_chances(fit_calm(cases, until=days * DAY_S), cases.rows[later])[0], cases.outcomes[later])
        for days in (0.0, 4.0, 20.0)
    ]
    assert scores[0] > scores[1] > scores[2]
    assert scores[0] > 2 * scores[2]


def test_missing_and_impossible_readings_are_counted_and_judge_nothing() -> None:
    utc = np.array([600.0, 1200.0, 1800.0, 2400.0, 4200.0, 1200.0, np.nan, 3000.0])
    mean = np.array([1.0, 9.0, -0.1, 400.0, 2.0, 1.5, 1.0, np.nan])
    past = lay_past(utc, mean, step_s=600.0)
    np.testing.assert_array_equal(past.mean_mps, [1.0, 1.5, np.nan, np.nan, np.nan, np.nan, 2.0])
    assert (past.missing, past.refused, past.repeated) == (4, 3, 1)
    np.testing.assert_array_equal(look_ahead(past, limit_mps=3.0, minutes=10), [1, *[np.nan] * 4, 1, np.nan])
    assert isnan(mean_before(past, 30)[4])


def test_holes_leave_cases_out() -> None:
    past = blow(4.0)
    holed = past.mean_mps.copy()
    holed[100:220] = np.nan
    whole, part = (
        fit_calm(gather_cases(each, limit_mps=LIMIT_MPS, minutes=20, lon_deg=LON_DEG), until=4 * DAY_S)
        for each in (past, replace(past, mean_mps=holed))
    )
    assert part.days == pytest.approx(whole.days - 120 / 144)
    assert part.cases < whole.cases
    hours = count_hours(replace(past, mean_mps=holed), limit_mps=2.0, minutes=20, lon_deg=0.0, until=4 * DAY_S)
    # The hole of 120 means, and the one moment before it whose second mean lies in it.
    assert hours.missing == 121


def test_what_cannot_be_told_says_why() -> None:
    past = blow(3.0, level=1.0)
    models = fit_all(past, 0.0)
    windy, short = past.mean_mps.copy(), past.mean_mps.copy()
    windy[-1], short[:-3] = 2.5, np.nan
    gone = np.where(np.arange(len(short)) < len(short) - 1, past.mean_mps, np.nan)
    assert foresee(replace(past, mean_mps=windy), models).reason == "the wind is above 2 m/s now"
    assert foresee(replace(past, mean_mps=short), models).reason == "less than half of the last 70 minutes is known"
    assert foresee(replace(past, mean_mps=gone), models).reason == "the wind of the last 10 minutes is not known"
    assert "at most 60" in foresee(past, models, 90.0).reason
    assert isnan(foresee(past, models, 90.0).chance)


@pytest.mark.parametrize("limit_mps", [0.0, -1.0, float("nan")])
def test_a_limit_must_be_above_nought(limit_mps: float) -> None:
    with pytest.raises(ValueError, match="must be above 0"):
        gather_cases(blow(1.0), limit_mps=limit_mps, minutes=10, lon_deg=0.0)


def test_wrong_steps_dates_and_horizons_are_refused() -> None:
    with pytest.raises(ValueError, match="only 60 or 600"):
        lay_past(np.zeros(1), np.zeros(1), step_s=300.0)
    with pytest.raises(ValueError, match="check the dates"):
        lay_past(np.array([0.0, 1.7e9]), np.ones(2), step_s=600.0)
    with pytest.raises(ValueError, match="one time for each"):
        lay_past(np.zeros(2), np.zeros(1), step_s=600.0)
    with pytest.raises(ValueError, match="only"):
        gather_cases(blow(1.0), limit_mps=2.0, minutes=25, lon_deg=0.0)


def test_bounds_hold_for_what_is_shipped() -> None:
    for (step_s, _), coefficients in PRIOR.items():
        assert (np.array(coefficients) <= bound_columns(float(step_s))).all()


def test_the_record_counts_what_was_said() -> None:
    cases = gather_cases(blow(20.0), limit_mps=LIMIT_MPS, minutes=30, lon_deg=LON_DEG)
    record = keep_record(cases, until=20 * DAY_S)
    asked = cases.is_asked & np.isfinite(cases.outcomes)
    assert sum(row.said for row in record.rows) == asked.sum()
    assert sum(row.came_true for row in record.rows) == cases.outcomes[asked].sum()
    assert record.days == 20
    shares = [row.came_true / row.said for row in record.rows if row.said >= 50]
    assert shares[0] < shares[-1]
    assert len(refit_times(0.0, 90 * DAY_S)) == 26


def test_usual_hours_follow_the_sun() -> None:
    """Calm from 4 to 7 by the local sun, seen from 90 degrees west: 10 to 13 UTC."""
    utc = np.arange(1, 10 * 144 + 1) * 600.0
    hour = (utc / 3600.0 - 6.0) % 24.0
    past = lay_past(utc, np.where((hour >= 4.0) & (hour < 7.5), 1.0, 5.0), step_s=600.0)
    hours = count_hours(past, limit_mps=2.0, minutes=20, lon_deg=-90.0, until=float(utc[-1]))
    assert hours.usual == (4, 5, 6)
    found = find_next(hours, now=float(utc[-1]), lon_deg=-90.0)
    assert found.at == pytest.approx(float(utc[-1]) + 10 * 3600.0)
    assert found.share == 1.0
    few = count_hours(past, limit_mps=2.0, minutes=20, lon_deg=-90.0, until=2 * DAY_S)
    assert few.usual == ()
    assert isnan(find_next(few, now=2 * DAY_S, lon_deg=-90.0).at)
    none = CalmHours(2.0, 20.0, np.full(24, np.nan), np.zeros(24), 0)
    assert isnan(find_next(none, now=0.0, lon_deg=float("nan")).at)


def walk_lull(chances: list[float], *, is_calm: list[bool] | None = None, step_s: float = 60.0) -> list[LullState]:
    """The states over a row of chances."""
    states = [LullState()]
    for k, chance in enumerate(chances):
        told = CalmChance(3.0, 25.0, chance, chance, chance, 5.0)
        calm = True if is_calm is None else is_calm[k]
        states.append(step_lull(states[-1], at=k * step_s, chance=told, is_calm_now=calm))
    return states[1:]


def test_a_lull_opens_after_three_minutes_and_tells_it_once() -> None:
    states = walk_lull([0.8] * 8)
    assert [state.is_open for state in states] == [False] * 3 + [True] * 5
    assert [state.changed for state in states].count(True) == 1
    assert states[-1].since == 180.0


def test_a_swaying_chance_does_not_flap() -> None:
    states = walk_lull([0.8] * 4 + [0.55, 0.75] * 10)
    assert sum(state.changed for state in states) == 1
    assert not any(state.is_open for state in walk_lull([0.8, 0.8, 0.6] * 6))


def test_a_lull_closes_when_it_is_unlikely_windy_or_unknown() -> None:
    nan = float("nan")
    unlikely = walk_lull([0.8] * 4 + [0.45])
    windy = walk_lull([0.8] * 4 + [nan], is_calm=[True] * 4 + [False])
    unknown = walk_lull([0.8] * 4 + [nan] * 16)
    assert not unlikely[-1].is_open
    assert unlikely[-1].reason.startswith("The lull has closed: 4 in 10 that it stays under 3 m/s")
    assert windy[-1].reason == "The lull has closed: the wind is above 3 m/s now."
    assert [state.is_open for state in unknown[3:]] == [True] * 16 + [False]


def test_chances_are_said_in_tenths() -> None:
    said = {p: say_chance(CalmChance(3.0, 25.0, p, p, p, 1.0)).split(" that")[0] for p in (0.01, 0.12, 0.68, 0.97)}
    assert said == {0.01: "under 1 in 10", 0.12: "1 in 10", 0.68: "7 in 10", 0.97: "over 9 in 10"}
    unknown = CalmChance(3.0, 25.0, float("nan"), 0.0, 0.0, 0.0, "the wind is above 3 m/s now")
    record = keep_record(gather_cases(blow(2.0), limit_mps=2.0, minutes=10, lon_deg=0.0), until=0.0)
    assert say_chance(unknown) == unknown.reason
    assert say_record(record, unknown) == "It has not said so here before."
