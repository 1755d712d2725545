"""How often it came true here: chances of calm said over again at each past moment, with what was known then.

Speeds in metres per second, times in seconds since 1970 (UTC), chances 0 to 1.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import inf, nan

import numpy as np

from server.core.log import Floats
from server.core.logit import score_brier
from server.core.outlook import CalmCases, fit_calm, tell_chances
from server.core.windpast import DAY_S, count_steps

DAILY_UNTIL = 7.0
LATER_BY = 1.15
"""Refitted after each day in the first week, then each time that the log has grown by this factor."""


@dataclass(frozen=True, slots=True)
class SaidBefore:
    """One row of the record: "`tenths` in 10" was said so often, and so often the calm lasted."""

    tenths: int
    said: int
    came_true: int


@dataclass(frozen=True, slots=True)
class CalmRecord:
    """What was said here in the past, each time knowing only what was known then, and what came of it."""

    limit_mps: float
    minutes: int
    rows: tuple[SaidBefore, ...]
    days: float
    brier: float


def refit_times(first: float, last: float) -> Floats:
    """When the regression of a place is fitted anew: each day of the first week, then ever more seldom.

    Parameters
    ----------
    first, last
        Begin and end of the log [s since 1970].

    Returns
    -------
    array
        Moments, the first of them the begin [s since 1970].

    References
    ----------
    Derivation: a log grown by a seventh has little new to say.

    Examples
    --------
    >>> ((refit_times(0.0, 9.5 * 86400.0)) / 86400.0).round(2).tolist()
    [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.05, 9.26]
    """
    days = [0.0]
    while True:
        following = days[-1] + 1.0 if days[-1] < DAILY_UNTIL else days[-1] * LATER_BY
        if first + following * DAY_S > last:
            return first + DAY_S * np.array(days)
        days.append(following)


def keep_record(cases: CalmCases, *, until: float, start: Floats | None = None) -> CalmRecord:
    """How often such chances came true here: said over again at each past moment with what was known then.

    Parameters
    ----------
    cases
        Moments of this place's past.
    until
        Now; what came of a chance counts once it is known [s since 1970].
    start
        Coefficients without own past, shape (k,) [-]; none: the shipped ones.

    Returns
    -------
    CalmRecord
        A row for each tenth that was said at least once; the Brier score is NaN where nothing was.

    Notes
    -----
    Chances said 5 or 10 min apart share most of their minutes, so a hundred of them are no hundred trials.

    References
    ----------
    Reliability table: Murphy and Winkler, "Reliability of subjective probability forecasts", Appl. Stat. 26 (1977) 41
    (from memory).

    Examples
    --------
    >>> from server.core.outlook import gather_cases
    >>> from server.core.windpast import lay_past
    >>> past = lay_past(np.arange(1, 14) * 600.0, np.full(13, 0.2), step_s=600.0)
    >>> cases = gather_cases(past, limit_mps=2.0, minutes=10, lon_deg=0.0)
    >>> keep_record(cases, until=1e6).rows
    (SaidBefore(tenths=10, said=8, came_true=8),)
    """
    past = cases.past
    if len(past.mean_mps) == 0:
        return CalmRecord(cases.limit_mps, cases.minutes, (), 0.0, nan)
    ahead_s = count_steps(past, cases.minutes) * past.step_s
    known = cases.is_asked & np.isfinite(cases.outcomes) & (cases.at + ahead_s <= until)
    chances = np.full(len(cases.at), nan)
    for begin, end in pairwise((*refit_times(past.begin, until), inf)):
        said = known & (cases.at >= begin) & (cases.at < end)
        if said.any():
            chances[said] = tell_chances(fit_calm(cases, until=begin, start=start), cases.rows[said])[0]
    tenths = np.round(10.0 * chances[known]).astype(np.int64)
    happened = cases.outcomes[known]
    said_rows = tuple(
        SaidBefore(int(k), int((tenths == k).sum()), int(happened[tenths == k].sum())) for k in np.unique(tenths)
    )
    days = float(np.unique(np.floor(cases.at[known] / DAY_S)).size)
    return CalmRecord(cases.limit_mps, cases.minutes, said_rows, days, score_brier(chances[known], happened))
