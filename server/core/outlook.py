"""How likely it is that the wind stays at or under a limit for the next minutes.

Speeds in metres per second, times in seconds since 1970 (UTC), horizons in minutes, chances 0 to 1.
"""

from dataclasses import dataclass
from math import inf, isfinite, log, nan

import numpy as np

from server.core.calmprior import PRIOR
from server.core.chance import Z90
from server.core.log import Floats
from server.core.logit import fit_logit, logistic
from server.core.windpast import DAY_S, NAMES, WindPast, count_steps, describe_past, look_ahead, mean_before

HORIZONS_MIN = (10, 20, 30, 60)
"""For these a regression is kept; between them its log-odds are read off, over the logarithm of the minutes."""
LADDER = ((1.0, 1.0), (0.75, 0.5), (0.87, 1.0), (1.15, 1.0), (1.35, 0.5))
"""Limits learnt from, as multiples of the one asked for, and what each counts: neighbours teach the same lesson."""
LEVEL_STIFFNESS, SHAPE_STIFFNESS = 10.0, 40.0
"""1 / variance of the level (the column "always") and of the other coefficients between places."""
WIDEN = 2.0
"""Variance of the log-odds over that of independent cases: those of an hour are nearly the same case."""
DRIFT_SD = 0.2
"""Standard deviation of the log-odds that no length of history takes away: each season is a little different."""
CASE_S = {60.0: 300.0, 600.0: 600.0}
"""A case so often, by the length of the means."""
CASE_WEIGHT_S = 600.0
"""So much time counts as one case."""
MEMORY_DAYS = 90.0
"""What is older says little of this season."""
FALLING = NAMES[1:11]
"""From "latest" to "unevenness": more of it never makes calm likelier: a law, so that few days teach no nonsense."""


@dataclass(frozen=True, slots=True)
class CalmCases:
    """Past moments with calm air, what was known at each, and whether the calm lasted; of all limits of the ladder.

    `is_asked` marks those of the very limit asked for; the others only teach. `outcomes` are NaN where not known.
    """

    past: WindPast
    limit_mps: float
    minutes: int
    at: Floats
    rows: Floats
    outcomes: Floats
    weights: Floats
    is_asked: np.ndarray


@dataclass(frozen=True, slots=True)
class CalmModel:
    """One horizon's regression: how far it rests on this place's own `days` of wind and `cases`, up to `until`."""

    limit_mps: float
    minutes: int
    coefficients: Floats
    covariance: Floats
    days: float
    cases: int
    until: float


@dataclass(frozen=True, slots=True)
class CalmChance:
    """The chance that it stays calm for some minutes, in a range that holds it 9 times of 10.

    NaN: not known, and `reason` says why. `days` of own wind stand behind it besides what all places share.
    """

    limit_mps: float
    minutes: float
    chance: float
    low: float
    high: float
    days: float
    reason: str = ""


def gather_cases(past: WindPast, *, limit_mps: float, minutes: int, lon_deg: float) -> CalmCases:
    """All moments of a past from which one can learn, or could have been asked.

    Parameters
    ----------
    past
        The wind so far.
    limit_mps
        The limit [m/s].
    minutes
        Horizon, one of 10, 20, 30, 60 [min].
    lon_deg
        Longitude, east positive [degrees]; NaN: not known, and the hour of day says nothing.

    Returns
    -------
    CalmCases
        Moments whose last 10-min mean is at or under the limit (or a neighbour of it, for those that only teach).

    Raises
    ------
    ValueError
        If the limit is not above 0 or the horizon is none of those kept.

    References
    ----------
    Derivation: bookkeeping; that neighbouring limits teach was measured (`tests/benchmarks/outlook.py`).

    Examples
    --------
    >>> from server.core.windpast import lay_past
    >>> past = lay_past(np.arange(1, 14) * 600.0, np.full(13, 1.0), step_s=600.0)
    >>> cases = gather_cases(past, limit_mps=2.0, minutes=10, lon_deg=0.0)
    >>> cases.outcomes[cases.is_asked]
    array([ 1.,  1.,  1.,  1.,  1.,  1.,  1.,  1., nan])
    """
    if not limit_mps > 0.0:
        raise ValueError(f"a limit of {limit_mps:g} m/s: it must be above 0")
    if minutes not in HORIZONS_MIN:
        raise ValueError(f"{minutes} min ahead: only {HORIZONS_MIN} are kept; read others off between them")
    every = round(CASE_S[past.step_s] / past.step_s)
    ends, now = past.ends, mean_before(past, 10)
    parts = []
    for factor, weight in LADDER:
        limit = factor * limit_mps
        rows = describe_past(past, limit_mps=limit, lon_deg=lon_deg)
        outcomes = look_ahead(past, limit_mps=limit, minutes=minutes)
        with np.errstate(invalid="ignore"):
            chosen = np.flatnonzero(np.isfinite(rows[:, 0]) & (now <= limit) & (np.arange(len(ends)) % every == 0))
        each = np.full(len(chosen), weight * CASE_S[past.step_s] / CASE_WEIGHT_S)
        asked = np.full(len(chosen), factor == 1.0)
        parts.append((ends[chosen], rows[chosen], outcomes[chosen], each, asked))
    at, rows, outcomes, weights, asked = (np.concatenate(column) for column in zip(*parts, strict=True))
    return CalmCases(past, limit_mps, minutes, at, rows, outcomes, weights, asked)


def fit_calm(
    cases: CalmCases, *, until: float, memory_days: float = MEMORY_DAYS, start: Floats | None = None
) -> CalmModel:
    """The regression as it stood at one moment: the shared one, moved as far as this place's own past pulls.

    Parameters
    ----------
    cases
        Moments of this place's past, of any time.
    until
        The moment; only outcomes that were known by then count [s since 1970].
    memory_days
        How far back it looks [days].
    start
        Coefficients without own past, shape (k,) [-]; none: the shipped ones.

    Returns
    -------
    CalmModel
        Without own past exactly the shared one.

    Notes
    -----
    The pull of the shared one is constant, that of the cases grows with their number: after a day it is a little of
    each, after two weeks mostly this place.

    References
    ----------
    Ridge towards a mean: le Cessie and van Houwelingen, Appl. Stat. 41 (1992) 191 (from memory); sizes measured
    (`tests/benchmarks/outlook.py`).

    Examples
    --------
    >>> from server.core.windpast import lay_past
    >>> past = lay_past(np.arange(1, 14) * 600.0, np.full(13, 1.0), step_s=600.0)
    >>> cases = gather_cases(past, limit_mps=2.0, minutes=10, lon_deg=0.0)
    >>> model = fit_calm(cases, until=0.0)
    >>> model.cases, bool((model.coefficients == PRIOR[600, 10]).all())
    (0, True)
    """
    centre = np.array(PRIOR[round(cases.past.step_s), cases.minutes] if start is None else start)
    begin = until - memory_days * DAY_S
    ahead_s = count_steps(cases.past, cases.minutes) * cases.past.step_s
    known = np.isfinite(cases.outcomes) & (cases.at + ahead_s <= until) & (cases.at >= begin)
    stiffness = np.full(len(centre), SHAPE_STIFFNESS)
    stiffness[0] = LEVEL_STIFFNESS
    fit = fit_logit(
        cases.rows[known],
        cases.outcomes[known],
        cases.weights[known],
        centre=centre,
        stiffness=stiffness,
        highest=bound_columns(cases.past.step_s),
    )
    ends = cases.past.ends
    measured = np.isfinite(cases.past.mean_mps) & (ends <= until) & (ends > begin)
    days = float(measured.sum()) * cases.past.step_s / DAY_S
    count = int((known & cases.is_asked).sum())
    return CalmModel(cases.limit_mps, cases.minutes, fit.coefficients, WIDEN * fit.covariance, days, count, until)


def bound_columns(step_s: float) -> Floats:
    """The highest values that coefficients may have: 0 where more wind must not mean more calm.

    Parameters
    ----------
    step_s
        Length of the means, 60 or 600 [s].

    Returns
    -------
    array
        Shape (15,), or (14,) for means of 600 s [-]; infinite: no bound.

    References
    ----------
    Derivation: a law set beforehand.

    Examples
    --------
    >>> bound_columns(600.0)[:3]
    array([inf,  0.,  0.])
    """
    names = NAMES if step_s < CASE_WEIGHT_S else tuple(name for name in NAMES if name != "latest")
    return np.array([0.0 if name in FALLING else inf for name in names])


def tell_chances(model: CalmModel, rows: Floats) -> tuple[Floats, Floats, Floats]:
    """Chances with their range for many moments.

    Parameters
    ----------
    model
        One horizon's regression.
    rows
        What was known at each, from `describe_past`, shape (n, k) [-].

    Returns
    -------
    tuple
        Chance, low and high end, each of shape (n,) [-]; NaN where the row is.

    References
    ----------
    Derivation: the delta method on log-odds.

    Examples
    --------
    >>> model = CalmModel(2.0, 10, np.zeros(1), np.eye(1), 0.0, 0, 0.0)
    >>> [round(float(each[0]), 2) for each in tell_chances(model, np.ones((1, 1)))]
    [0.5, 0.16, 0.84]
    """
    odds = rows @ model.coefficients
    reach = Z90 * np.sqrt(DRIFT_SD**2 + np.einsum("ij,jk,ik->i", rows, model.covariance, rows))
    return logistic(odds), logistic(odds - reach), logistic(odds + reach)


def foresee_calm(
    past: WindPast, models: tuple[CalmModel, ...], *, minutes: float, limit_mps: float, lon_deg: float
) -> CalmChance:
    """The chance that it stays calm for the minutes after the last mean of a past.

    Parameters
    ----------
    past
        The wind up to now; two hours of it suffice.
    models
        The regressions of all horizons.
    minutes
        What the job needs, up to 60 [min]; under 10 the chance is that of 10.
    limit_mps
        The limit that the models were fitted for [m/s].
    lon_deg
        Longitude, east positive [degrees].

    Returns
    -------
    CalmChance
        NaN where the minutes are too many, the air is not calm now, or too little of the last 70 min is known.

    Notes
    -----
    A longer stretch is never calmer than a shorter one: where the regressions cross, the smaller chance counts.

    References
    ----------
    Derivation: log-odds are nearly straight over the logarithm of the minutes.

    Examples
    --------
    >>> from server.core.windpast import lay_past
    >>> past = lay_past(np.arange(1, 14) * 600.0, np.full(13, 1.0), step_s=600.0)
    >>> models = tuple(fit_calm(gather_cases(past, limit_mps=2.0, minutes=m, lon_deg=0.0), until=0.0)
    ...     for m in HORIZONS_MIN)
    >>> found = foresee_calm(past, models, minutes=25, limit_mps=2.0, lon_deg=0.0)
    >>> 0.5 < found.low < found.chance < found.high < 1.0
    True
    """
    days = min((model.days for model in models), default=0.0)
    reason = ""
    if minutes > HORIZONS_MIN[-1]:
        reason = f"{minutes:.0f} minutes are too many: at most {HORIZONS_MIN[-1]} can be told"
    elif len(past.mean_mps) == 0 or not np.isfinite(mean_before(past, 10)[-1]):
        reason = "the wind of the last 10 minutes is not known"
    elif mean_before(past, 10)[-1] > limit_mps:
        reason = f"the wind is above {limit_mps:g} m/s now"
    row = describe_past(past, limit_mps=limit_mps, lon_deg=lon_deg)[-1:] if not reason else np.full((1, 1), nan)
    if not reason and not np.isfinite(row).all():
        reason = "less than half of the last 70 minutes is known"
    if reason:
        return CalmChance(limit_mps, minutes, nan, nan, nan, days, reason)
    odds = _tell_odds(models, row)
    place = [log(model.minutes) for model in models]
    chance, low, high = (float(logistic(np.interp(log(max(minutes, 1.0)), place, column))) for column in odds.T)
    return CalmChance(limit_mps, minutes, chance, low, high, days)


def _tell_odds(models: tuple[CalmModel, ...], row: Floats) -> Floats:
    """Log-odds of chance, low and high end for each horizon, shape (horizons, 3), never rising with the minutes."""
    told = np.array([[float(each[0]) for each in tell_chances(model, row)] for model in models])
    told = np.clip(np.minimum.accumulate(told, axis=0), 1e-9, 1.0 - 1e-9)
    return np.asarray(np.log(told / (1.0 - told)))


def find_likely_minutes(
    past: WindPast, models: tuple[CalmModel, ...], *, least_chance: float, limit_mps: float, lon_deg: float
) -> float:
    """For how many minutes from now it is likely to stay calm.

    Parameters
    ----------
    past
        The wind up to now; two hours of it suffice.
    models
        The regressions of all horizons.
    least_chance
        What counts as likely, 0 to 1 [-].
    limit_mps
        The limit that the models were fitted for [m/s].
    lon_deg
        Longitude, east positive [degrees]; NaN: not known.

    Returns
    -------
    float
        The most minutes whose chance is at least that, at most 60 [min]; 0 where not even the shortest horizon is
        likely; NaN where no chance can be told.

    References
    ----------
    Derivation: `foresee_calm` turned round; log-odds fall along straight lines over the logarithm of the minutes.

    Examples
    --------
    >>> from server.core.windpast import lay_past
    >>> past = lay_past(np.arange(1, 14) * 600.0, np.full(13, 1.7), step_s=600.0)
    >>> models = tuple(fit_calm(gather_cases(past, limit_mps=2.0, minutes=m, lon_deg=0.0), until=0.0)
    ...     for m in HORIZONS_MIN)
    >>> found = find_likely_minutes(past, models, least_chance=0.88, limit_mps=2.0, lon_deg=0.0)
    >>> 10.0 < found < 60.0
    True
    >>> round(foresee_calm(past, models, minutes=found, limit_mps=2.0, lon_deg=0.0).chance, 3)
    0.88
    """
    if not isfinite(foresee_calm(past, models, minutes=models[0].minutes, limit_mps=limit_mps, lon_deg=lon_deg).chance):
        return nan
    odds = _tell_odds(models, describe_past(past, limit_mps=limit_mps, lon_deg=lon_deg)[-1:])[:, 0]
    wanted = log(least_chance / (1.0 - least_chance))
    if odds[0] < wanted:
        return 0.0
    if odds[-1] >= wanted:
        return float(models[-1].minutes)
    place = np.log([model.minutes for model in models])
    return float(np.exp(np.interp(-wanted, -odds, place)))
