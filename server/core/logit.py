"""Probabilities of yes or no: a logistic regression held to what is known beforehand, and how such figures are scored.

Everything here is a pure number.
"""

from dataclasses import dataclass

import numpy as np

from server.core.log import Floats

ROUNDS = 60
CLOSE_ENOUGH = 1e-9
STEEPEST = 500.0
"""Beyond this the exponential would overflow."""


@dataclass(frozen=True, slots=True)
class LogitFit:
    """Coefficients, and their covariance near the optimum as if no bound existed."""

    coefficients: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class BrierParts:
    """A Brier score and its parts: score = reliability - resolution + uncertainty where bins hold one value each."""

    score: float
    reliability: float
    resolution: float
    uncertainty: float


def logistic(log_odds: Floats) -> Floats:
    """Probabilities from log-odds.

    Parameters
    ----------
    log_odds
        Any shape [-].

    Returns
    -------
    array
        0 to 1 [-]; NaN stays.

    References
    ----------
    Cox, "The regression analysis of binary sequences", J. R. Stat. Soc. B 20 (1958) 215 (from memory).

    Examples
    --------
    >>> logistic(np.array([0.0, np.log(3.0)])).round(3).tolist()
    [0.5, 0.75]
    """
    return 1.0 / (1.0 + np.exp(-np.clip(log_odds, -STEEPEST, STEEPEST)))


def fit_logit(
    rows: Floats, outcomes: Floats, weights: Floats, *, centre: Floats, stiffness: Floats, highest: Floats
) -> LogitFit:
    """Fit a logistic regression that starts from a centre and leaves it only as far as the outcomes pull.

    Maximises sum w (y log p + (1 - y) log(1 - p)) - sum stiffness (b - centre)^2 / 2 with b at or under its highest
    value.

    Parameters
    ----------
    rows
        What is known of each case, shape (n, k) [-].
    outcomes
        1 or 0, shape (n,) [-].
    weights
        What each case counts, shape (n,) [-].
    centre
        Coefficients without any case, shape (k,) [-].
    stiffness
        Above 0, shape (k,): 1 / variance of a coefficient around its centre [-].
    highest
        Upper bounds of the coefficients, shape (k,); infinite: none [-].

    Returns
    -------
    LogitFit
        The optimum; there is exactly one, as the stiffness makes the problem strictly concave.

    Notes
    -----
    Newton steps on the coefficients that no bound holds, cut at the bounds and halved until the fit improves. Perfectly
    separated outcomes are harmless.

    References
    ----------
    le Cessie and van Houwelingen, "Ridge estimators in logistic regression", Appl. Stat. 41 (1992) 191; Bertsekas,
    "Projected Newton methods for optimization problems with simple constraints", SIAM J. Control Optim. 20 (1982) 221
    (both from memory).

    Examples
    --------
    Three of four with next to no stiffness are log-odds of ln 3.

    >>> fit = fit_logit(np.ones((4, 1)), np.array([1.0, 1.0, 1.0, 0.0]), np.ones(4), centre=np.zeros(1),
    ...     stiffness=np.full(1, 1e-9), highest=np.full(1, np.inf))
    >>> round(float(fit.coefficients[0]), 6)
    1.098612
    """
    b = np.minimum(centre, highest)
    value = _weigh_fit(b, rows, outcomes, weights, centre, stiffness)
    for _ in range(ROUNDS):
        p = logistic(rows @ b)
        slope = rows.T @ (weights * (outcomes - p)) - stiffness * (b - centre)
        free = ~((b >= highest) & (slope > 0.0))
        curve = (rows.T * (weights * p * (1.0 - p))) @ rows + np.diag(stiffness)
        step = np.zeros(len(b))
        step[free] = np.linalg.solve(curve[np.ix_(free, free)], slope[free])
        share = 1.0
        moved = np.minimum(b + step, highest)
        better = _weigh_fit(moved, rows, outcomes, weights, centre, stiffness)
        while better < value and share > 1e-6:
            share /= 2.0
            moved = np.minimum(b + share * step, highest)
            better = _weigh_fit(moved, rows, outcomes, weights, centre, stiffness)
        change = float(np.abs(moved - b).max())
        if better < value:
            break
        b, value = moved, better
        if change < CLOSE_ENOUGH:
            break
    p = logistic(rows @ b)
    curve = (rows.T * (weights * p * (1.0 - p))) @ rows + np.diag(stiffness)
    return LogitFit(b, np.linalg.inv(curve))


def _weigh_fit(b: Floats, rows: Floats, outcomes: Floats, weights: Floats, centre: Floats, stiffness: Floats) -> float:
    """The penalised log-likelihood."""
    odds = rows @ b
    likelihood = float(np.sum(weights * (outcomes * odds - np.logaddexp(0.0, odds))))
    return likelihood - 0.5 * float(np.sum(stiffness * (b - centre) ** 2))


def score_brier(chances: Floats, outcomes: Floats) -> float:
    """The mean squared distance of probabilities from what happened; smaller is better.

    Parameters
    ----------
    chances
        Probabilities told, shape (n,) [-].
    outcomes
        1 or 0, shape (n,) [-]; NaN: not known, left out.

    Returns
    -------
    float
        0 to 1 [-]; NaN where nothing is known.

    References
    ----------
    Brier, "Verification of forecasts expressed in terms of probability", Mon. Weather Rev. 78 (1950) 1, in its half
    form for two classes. Example: documentation of brier_score in the package scores 2.7.0.

    Examples
    --------
    >>> round(score_brier(np.array([0.3, 0.5, 0.7, 1.0]), np.array([0.0, 1.0, 0.0, 1.0])), 4)
    0.2075
    """
    known = np.isfinite(chances) & np.isfinite(outcomes)
    return float(((chances - outcomes)[known] ** 2).mean()) if known.any() else float("nan")


def split_brier(chances: Floats, outcomes: Floats) -> BrierParts:
    """The Brier score cut into reliability, resolution and uncertainty.

    Parameters
    ----------
    chances
        Probabilities told, of which each different value is a bin, shape (n,) [-].
    outcomes
        1 or 0, shape (n,) [-].

    Returns
    -------
    BrierParts
        All parts are NaN without cases.

    References
    ----------
    Murphy, "A new vector partition of the probability score", J. Appl. Meteorol. 12 (1973) 595 (from memory).

    Examples
    --------
    >>> split_brier(np.array([0.5, 0.5]), np.array([0.0, 1.0]))
    BrierParts(score=0.25, reliability=0.0, resolution=0.0, uncertainty=0.25)
    """
    if len(chances) == 0:
        return BrierParts(*[float("nan")] * 4)
    values, place, counts = np.unique(chances, return_inverse=True, return_counts=True)
    shares = np.bincount(place, outcomes) / counts
    base = float(outcomes.mean())
    reliability = float(np.sum(counts * (values - shares) ** 2) / len(chances))
    resolution = float(np.sum(counts * (shares - base) ** 2) / len(chances))
    return BrierParts(score_brier(chances, outcomes), reliability, resolution, base * (1.0 - base))
