"""The wind story of a job: what the alarm told at the time, held against what is known of the wind afterwards.

Metres per second at the limit's height, job seconds.
"""

from math import isfinite, nan

import numpy as np

from server.core.alarm import GUST_FACTOR
from server.core.chance import chance_above
from server.core.flow import VolumeCurve, litres_at
from server.core.log import Floats
from server.core.results import (
    AlarmChange,
    Bools,
    Exceedance,
    Interval,
    Pass,
    WindSeries,
    WindStory,
)
from server.core.setup import Treatment
from server.core.windfold import GUST_S, MINUTE_S, NOTICE_SHARE

SHORTEST_S = 10
"""The 60-s mean is above the limit for at least so long, or it is no exceedance."""
APART_S = 60.0
"""Two exceedances nearer to each other are one: the alarm holds as long before it goes off."""
BEFORE_S, AFTER_S = 30, 60
"""An alarm is right where the wind was above its level within so long before or after."""
GUST_NEAR_S = 5.0
SURE = 0.9
DRAW_STEP = 4
"""Every fourth of the possible winds is enough to count shares, and takes a quarter of the room."""
LEAST_KNOWN = 0.5
LEVELS = ("none", "notice", "stop")


def tell_story(
    series: WindSeries,
    passes: tuple[Pass, ...],
    intervals: tuple[Interval, ...],
    curve: VolumeCurve,
    *,
    treatment: Treatment,
) -> WindStory | None:
    """Each change of the alarm with the wind as known now, and what was sprayed above the limit before it was told.

    Parameters
    ----------
    series
        The wind second by second, the alarm's causal course in it [m/s].
    passes
        The passes with their verdicts on the wind.
    intervals
        When the spray was on [s].
    curve
        The job's volume [L].
    treatment
        Limit and notice level [m/s].

    Returns
    -------
    WindStory | None
        None without a limit or without any second of wind.

    Notes
    -----
    Known now: the running 60-s mean in each of the possible winds of the job (`WindSeries.smooth_draws_mps`), at least
    half of it known. Above a level where that holds in more than half of them; sure at nine tenths. A rise of the alarm
    is right where the wind was above its level from 30 s before to 60 s after, wrong where it surely was not, unsure in
    between. One for a gust is right where a 3-s mean above 1.5 times the level is seen within 5 s, wrong where none
    was above the level itself. A fall is right where the wind is no longer above, wrong where it surely still is. An
    alarm for want of wind is right.

    References
    ----------
    Definition of this project; averaging as in `alarm`.

    Examples
    --------
    >>> n = np.zeros(0)
    >>> tell_story(WindSeries(*[n] * 14, (), n, n), (), (), VolumeCurve(n, n, n), treatment=Treatment(0.04)) is None
    True
    """
    limit = treatment.wind_limit_mps
    if limit is None or not len(series.t):
        return None
    notice = NOTICE_SHARE * limit if treatment.wind_notice_mps is None else treatment.wind_notice_mps
    means = run_means(series, seconds=MINUTE_S)
    known, spread = means.mean(axis=0), means.std(axis=0)
    if len(means) == 1:
        spread = series.smooth_sd_mps
    chances = {"stop": _chance_above(means, spread, limit), "notice": _chance_above(means, spread, notice)}
    levels = {"stop": limit, "notice": notice}
    changes = tuple(
        _judge_change(series, row, known, spread, chances, levels)
        for row in range(len(series.t))
        if _is_change(series, row)
    )
    found = tuple(
        _measure_exceedance(series, run, known, passes, intervals, curve)
        for run in find_runs(series.t, chances["stop"] > 0.5)
    )
    return WindStory(known, changes, found, _find_unwarned(series, passes))


def run_means(series: WindSeries, *, seconds: int) -> Floats:
    """Running means over the seconds up to each one, in each possible wind of the job.

    Parameters
    ----------
    series
        The wind second by second [m/s].
    seconds
        Averaging time [s].

    Returns
    -------
    Floats
        Speeds [a quarter of the draws, n] [m/s], one row where there are none; NaN where less than half of the time is
        known.

    References
    ----------
    Derivation: differences of cumulative sums.

    Examples
    --------
    >>> n, t = np.zeros(0), np.arange(1.0, 5.0)
    >>> series = WindSeries(n, n, t, *[n] * 11, (), np.array([1.0, 2.0, 3.0, np.nan]), n)
    >>> run_means(series, seconds=2).tolist()
    [[1.0, 1.5, 2.5, 3.0]]
    """
    speeds = series.smooth_mps[None]
    draws = series.smooth_draws_mps[::DRAW_STEP]
    if len(draws):
        speeds = np.where(np.isfinite(draws), draws, speeds)
    first = np.searchsorted(series.t, series.t - seconds + 1e-6, side="right")
    heard = np.isfinite(speeds[0])
    count = np.concatenate(([0], np.cumsum(heard)))
    number = count[1:] - count[first]
    wanted = np.minimum(seconds, np.maximum(series.t - series.t[0] + 1.0, 1.0)) if len(series.t) else number
    sums = np.cumsum(np.where(heard, speeds, 0.0), axis=1, dtype=np.float64)
    sums = np.concatenate((np.zeros((len(sums), 1)), sums), axis=1)
    found: Floats = np.full(sums[:, 1:].shape, nan)
    is_known = (number > 0) & (number >= LEAST_KNOWN * wanted)
    found[:, is_known] = ((sums[:, 1:] - sums[:, first])[:, is_known]) / number[is_known]
    return found


def find_runs(t: Floats, above: Bools) -> list[tuple[int, int]]:
    """Runs of seconds above, near ones joined, those shorter than 10 s left out.

    Parameters
    ----------
    t
        Job seconds [n] [s].
    above
        Whether each is above [n].

    Returns
    -------
    list[tuple[int, int]]
        First and last row of each.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> above = np.zeros(300, dtype=bool)
    >>> above[10:40] = above[70:90] = above[200:205] = True
    >>> find_runs(np.arange(300.0), above)
    [(10, 89)]
    """
    runs: list[tuple[int, int]] = []
    for row in np.flatnonzero(above).tolist():
        if runs and t[row] - t[runs[-1][1]] <= APART_S:
            runs[-1] = (runs[-1][0], row)
        else:
            runs.append((row, row))
    return [(first, last) for first, last in runs if int(above[first : last + 1].sum()) >= SHORTEST_S]


def _chance_above(means: Floats, spread: Floats, level: float) -> Floats:
    """How likely each second's mean is above a level, as known now; NaN where it is not known."""
    if len(means) > 1:
        return np.where(np.isfinite(means[0]), (means > level).mean(axis=0), nan)
    return np.array(
        [chance_above(mean, sd, level) for mean, sd in zip(means[0].tolist(), spread.tolist(), strict=True)]
    )


def _is_change(series: WindSeries, row: int) -> bool:
    """Whether the alarm's level is another one than a second before; it begins at none."""
    return series.alarm[row] != (series.alarm[row - 1] if row else "none")


def _judge_change(
    series: WindSeries,
    row: int,
    known: Floats,
    spread: Floats,
    chances: dict[str, Floats],
    levels: dict[str, float],
) -> AlarmChange:
    """One change beside what is known now."""
    before, level = series.alarm[row - 1] if row else "none", series.alarm[row]
    reason = series.alarm_reason[row] if series.alarm_reason else ""
    is_rise = LEVELS.index(level) > LEVELS.index(before)
    if "not been known" in reason:
        verdict = "right"
    elif is_rise:
        verdict = _judge_rise(series, row, chances[level], reason, levels[level])
    else:
        verdict = _judge_fall(chances[before][row])
    return AlarmChange(
        float(series.t[row]),
        float(series.utc[row]),
        before,
        level,
        reason,
        float(series.mean_60s_mps[row]),
        float(known[row]),
        float(spread[row]),
        verdict,
    )


def _judge_rise(series: WindSeries, row: int, chance: Floats, reason: str, level_mps: float) -> str:
    """Whether the wind was above the level about then."""
    t = series.t[row]
    if reason.startswith("3-s gust"):
        near = (series.t > t - GUST_NEAR_S) & (series.t <= t + GUST_NEAR_S)
        gusts = np.nan_to_num(run_means(series, seconds=GUST_S)[:, near]).max(axis=1)
        is_seen, is_there = (gusts > GUST_FACTOR * level_mps).mean(), (gusts > level_mps).mean()
        return "right" if is_seen > 0.5 else "wrong" if is_there < 1.0 - SURE else "unsure"
    near = chance[(series.t >= t - BEFORE_S) & (series.t <= t + AFTER_S)]
    near = near[np.isfinite(near)]
    if not len(near):
        return "unsure"
    return "right" if near.max() > 0.5 else "wrong" if near.max() < 1.0 - SURE else "unsure"


def _judge_fall(chance: float) -> str:
    """Whether the wind was no longer above the level that ended."""
    if not isfinite(chance):
        return "unsure"
    return "right" if chance <= 0.5 else "wrong" if chance > SURE else "unsure"


def _measure_exceedance(
    series: WindSeries,
    run: tuple[int, int],
    known: Floats,
    passes: tuple[Pass, ...],
    intervals: tuple[Interval, ...],
    curve: VolumeCurve,
) -> Exceedance:
    """When stop was told, and what was sprayed until then."""
    first, last = run
    start, end = float(series.t[first]), float(series.t[last])
    told = [row for row in range(first, last + 1) if series.alarm[row] == "stop"]
    alarm_t = _begin_of_stop(series, told[0]) if told else nan
    until = end if not told else max(float(series.t[told[0]]), start)
    wet = [(max(i.start_t, start), min(i.end_t, until)) for i in intervals if i.start_t < until and i.end_t > start]
    volume = sum(float(litres_at(curve, b) - litres_at(curve, a)) for a, b in wet)
    meanwhile = tuple(p.number for p in passes if any(p.start_t < b and p.end_t > a for a, b in wet))
    return Exceedance(
        start,
        end,
        float(series.utc[first]),
        float(series.utc[last]),
        float(np.nanmax(known[first : last + 1])),
        alarm_t,
        alarm_t - start,
        sum(b - a for a, b in wet),
        volume,
        meanwhile,
    )


def _begin_of_stop(series: WindSeries, row: int) -> float:
    """Since when stop had been told at a row."""
    while row and series.alarm[row - 1] == "stop":
        row -= 1
    return float(series.t[row])


def _find_unwarned(series: WindSeries, passes: tuple[Pass, ...]) -> tuple[int, ...]:
    """Passes above the limit in none of whose seconds stop was told."""
    stops = series.t[np.array([level == "stop" for level in series.alarm], dtype=np.bool_)]
    above = (found for found in passes if found.wind_verdict == "above")
    return tuple(p.number for p in above if not bool(((stops > p.start_t) & (stops - 1.0 < p.end_t)).any()))
