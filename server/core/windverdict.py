"""The wind of a job and of each pass in a few figures, and the verdict against the limit.

Metres per second at the reference height, degrees FROM which the wind blows, job seconds.
"""

from dataclasses import replace
from math import atan2, degrees, nan

import numpy as np

from server.core.chance import chance_above
from server.core.climate import is_inversion_likely
from server.core.log import Floats
from server.core.results import Bools, Pass, Plane, WindSeries, WindSummary
from server.core.setup import Treatment

SURE_ABOVE, SURE_WITHIN = 0.75, 0.97
"""How sure a verdict must be: to be called within wrongly does harm, to be called above wrongly only costs a look."""
GUST_S = 3
TWO_MINUTES_S = 120
HEARD_SHARE = 0.5
"""Of a pass at least this share of the seconds must have a wind for a verdict other than `unsure`."""


def summarise_wind(series: WindSeries) -> WindSummary:
    """The wind of the job in five figures, afterwards.

    Parameters
    ----------
    series
        The wind second by second [m/s].

    Returns
    -------
    WindSummary
        Mean, highest 2-min mean, highest 3-s gust, direction and the mean's sd; NaN where not known.

    References
    ----------
    Gust as a 3-s and local report as a 2-min mean: ICAO Annex 3, attachment C; mean direction:
    Yamartino, J. Climate Appl. Meteorol. 23 (1984) 1362.

    Examples
    --------
    >>> n = np.zeros(0)
    >>> summarise_wind(WindSeries(*[n] * 14, (), n, n)).mean_mps
    nan
    """
    known = np.isfinite(series.smooth_mps)
    if not known.any():
        return WindSummary(nan, nan, nan, nan, nan)
    mean, sd = _mean_of(series, known)
    return WindSummary(
        mean_mps=mean,
        max_2min_mps=_highest_mean(series, known, TWO_MINUTES_S),
        gust_mps=_highest_mean(series, known, GUST_S),
        from_deg=mean_direction(series.from_deg[known]),
        sd_mps=sd,
    )


def highest_mean(series: WindSeries, *, seconds: int) -> float:
    """The highest running mean of a job's wind, afterwards, over the time that a label or a law averages it.

    Parameters
    ----------
    series
        The wind second by second [m/s].
    seconds
        Averaging time [s].

    Returns
    -------
    float
        Speed [m/s]; NaN where the wind was never known for so long without a break.

    References
    ----------
    WMO-No. 8, Guide to Instruments, part I, chapter 5 (means over stated times).

    Examples
    --------
    >>> n = np.zeros(0)
    >>> highest_mean(WindSeries(*[n] * 14, (), n, n), seconds=600)
    nan
    """
    return _highest_mean(series, np.isfinite(series.smooth_mps), seconds)


def judge_pass_winds(
    passes: tuple[Pass, ...], series: WindSeries, *, treatment: Treatment, plane: Plane | None = None
) -> tuple[Pass, ...]:
    """Each pass with its wind and whether it was within the limit.

    Parameters
    ----------
    passes
        The passes.
    series
        The wind second by second [m/s].
    treatment
        The limit [m/s]; without one no verdict is given.
    plane
        Where on the globe it was, for the sun's height; None: no inversion is suspected.

    Returns
    -------
    tuple[Pass, ...]
        The passes; `above` where that is at least 75 % sure, `within` where it is 97 % sure, else `unsure`.

    Notes
    -----
    In a suspected inversion `within` becomes `unsure`. The mean of a pass is taken in each possible wind of the job, so
    that errors which its seconds share stay shared.

    References
    ----------
    Definition of this project (`wind_verdict`).

    Examples
    --------
    >>> judge_pass_winds((), WindSeries(*[np.zeros(0)] * 14, (), np.zeros(0), np.zeros(0)), treatment=Treatment(0.04))
    ()
    """
    if not len(series.t) or not np.isfinite(series.apparent_mps).any():
        return passes
    judged = (_judge_pass(found, series, treatment.wind_limit_mps) for found in passes)
    return tuple(found if plane is None else _doubt_inversion(found, plane) for found in judged)


def mean_direction(from_deg: Floats) -> float:
    """The mean of directions, by unit vectors.

    Parameters
    ----------
    from_deg
        Directions [n] [degrees]; NaN are left out.

    Returns
    -------
    float
        Direction [degrees], 0 to 360; NaN for none.

    References
    ----------
    Yamartino, J. Climate Appl. Meteorol. 23 (1984) 1362.

    Examples
    --------
    >>> abs(mean_direction(np.array([359.0, 1.0, 0.0]))) < 1e-9
    True
    """
    angle = np.radians(from_deg[np.isfinite(from_deg)])
    if not len(angle):
        return nan
    found = degrees(atan2(np.sin(angle).sum(), np.cos(angle).sum()))
    return 0.0 if abs(found) < 1e-12 else found % 360.0


def _judge_pass(found: Pass, series: WindSeries, limit: float | None) -> Pass:
    """One pass."""
    inside = (series.t > found.start_t) & (series.t - 1.0 < found.end_t)
    heard = inside & np.isfinite(series.smooth_mps)
    if not heard.any():
        return found if limit is None else replace(found, wind_verdict="unsure")
    mean, sd = _mean_of(series, heard)
    verdict = ""
    if limit is not None:
        p = chance_above(mean, sd, limit)
        verdict = "above" if p > SURE_ABOVE else "within" if p < 1.0 - SURE_WITHIN else "unsure"
        if heard.sum() < HEARD_SHARE * inside.sum():
            verdict = "unsure"
    return replace(
        found,
        wind_mean_mps=mean,
        wind_sd_mps=sd,
        wind_gust_mps=_highest_mean(series, heard, GUST_S),
        wind_from_deg=mean_direction(series.from_deg[heard]),
        wind_verdict=verdict,
    )


def _doubt_inversion(found: Pass, plane: Plane) -> Pass:
    """Little wind under a low sun is no proof of good conditions."""
    if found.wind_verdict != "within":
        return found
    likely = is_inversion_likely(found.wind_mean_mps, found.end_utc, lat_deg=plane.lat0_deg, lon_deg=plane.lon0_deg)
    return replace(found, wind_verdict="unsure") if likely else found


def _mean_of(series: WindSeries, chosen: Bools) -> tuple[float, float]:
    """The mean speed over chosen seconds with its sd; without draws an error is taken as shared by all of them."""
    mean = float(series.smooth_mps[chosen].mean())
    draws = series.smooth_draws_mps
    if not len(draws):
        return mean, float(series.smooth_sd_mps[chosen].mean())
    drawn = np.isfinite(draws[0]) & chosen
    share = float(drawn.sum()) / float(chosen.sum())
    spread = float(draws[:, drawn].mean(axis=1, dtype=np.float64).std()) if drawn.any() else 0.0
    rest = chosen & ~drawn
    shared = float(series.smooth_sd_mps[rest].mean()) if rest.any() else 0.0
    return mean, share * spread + (1.0 - share) * shared


def _highest_mean(series: WindSeries, chosen: Bools, seconds: int) -> float:
    """The highest running mean over so many seconds without a break; NaN where there are none."""
    if not chosen.any():
        return nan
    seen = slice(*(np.flatnonzero(chosen)[[0, -1]] + [0, 1]))
    chosen, t, draws = chosen[seen], series.t[seen], series.smooth_draws_mps[:, seen]
    is_drawn = len(draws) and bool(np.isfinite(draws[0, chosen]).all())
    speed = draws if is_drawn else series.smooth_mps[None, seen]
    count = np.cumsum(np.pad(chosen.astype(np.int64), (1, 0)))
    if len(chosen) < seconds:
        return nan
    whole = count[seconds:] - count[:-seconds] == seconds
    whole &= t[seconds - 1 :] - t[: len(t) - seconds + 1] < seconds - 0.5
    if not whole.any():
        return nan
    highest = []
    for one in speed:
        sums = np.cumsum(np.concatenate(([0.0], np.where(chosen, one, 0.0).astype(np.float64))))
        highest.append(float((sums[seconds:] - sums[:-seconds])[whole].max()) / seconds)
    return float(np.mean(highest))
