"""The wind of a job and of each pass in a few figures, and the verdict against the limit.

Metres per second at the reference height, degrees FROM which the wind blows, job seconds.
"""

from dataclasses import replace
from math import atan2, degrees, nan, sqrt

import numpy as np

from server.core.results import Pass, WindSeries, WindSummary
from server.core.setup import Treatment
from server.core.wind import GUST_S, TWO_MINUTES_S, chance_above

ALPHA = 0.10
"""How unsure a verdict may be."""


def summarise_wind(series: WindSeries) -> WindSummary:
    """The wind of the job in five figures.

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
    Direction as the mean of unit vectors: Yamartino, J. Climate Appl. Meteorol. 23 (1984) 1362 (his mean).

    Examples
    --------
    >>> n = np.zeros(0)
    >>> summarise_wind(WindSeries(*[n] * 14, (), n, n)).mean_mps
    nan
    """
    known = np.isfinite(series.smooth_mps)
    if not known.any():
        return WindSummary(nan, nan, nan, nan, nan)
    angle = np.radians(series.from_deg[np.isfinite(series.from_deg)])
    direction = degrees(atan2(np.sin(angle).mean(), np.cos(angle).mean())) % 360.0 if len(angle) else nan
    late = series.t >= series.t[0] + TWO_MINUTES_S - 1
    highest = series.mean_2min_mps[late & np.isfinite(series.mean_2min_mps)]
    gusts = series.gust_3s_mps[np.isfinite(series.gust_3s_mps)]
    sd = float(np.sqrt(np.mean(series.mean_60s_sd_mps[np.isfinite(series.mean_60s_sd_mps)] ** 2)))
    return WindSummary(
        mean_mps=float(series.smooth_mps[known].mean()),
        max_2min_mps=float(highest.max()) if len(highest) else nan,
        gust_mps=float(gusts.max()) if len(gusts) else nan,
        from_deg=direction,
        sd_mps=sd,
    )


def judge_pass_winds(passes: tuple[Pass, ...], series: WindSeries, *, treatment: Treatment) -> tuple[Pass, ...]:
    """Each pass with its wind and whether it was within the limit.

    Parameters
    ----------
    passes
        The passes.
    series
        The wind second by second [m/s].
    treatment
        The limit [m/s]; without one no verdict is given.

    Returns
    -------
    tuple[Pass, ...]
        The passes; `above` or `within` where that is at least 90 % sure, else `unsure`.

    Notes
    -----
    The error of the mean wind is shared by all seconds of a pass, the turbulence's averages out.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> judge_pass_winds((), WindSeries(*[np.zeros(0)] * 14, (), np.zeros(0), np.zeros(0)), treatment=Treatment(0.04))
    ()
    """
    return tuple(_judge_pass(found, series, treatment) for found in passes)


def _judge_pass(found: Pass, series: WindSeries, treatment: Treatment) -> Pass:
    """One pass."""
    inside = (series.t > found.start_t) & (series.t - 1.0 < found.end_t) & np.isfinite(series.smooth_mps)
    limit = treatment.wind_limit_mps
    if not inside.any():
        return found if limit is None or not len(series.t) else replace(found, wind_verdict="unsure")
    mean = float(series.smooth_mps[inside].mean())
    per_second = float((series.smooth_sd_mps[inside] ** 2).mean())
    shared = (
        float(np.nanmin(series.mean_60s_sd_mps[inside])) if np.isfinite(series.mean_60s_sd_mps[inside]).any() else 0.3
    )
    sd = sqrt(min(per_second, 0.6 * shared**2 + 6.0 * per_second / max(int(inside.sum()), 6)))
    angle = np.radians(series.from_deg[inside & np.isfinite(series.from_deg)])
    direction = degrees(atan2(np.sin(angle).mean(), np.cos(angle).mean())) % 360.0 if len(angle) else nan
    verdict = ""
    if limit is not None:
        p = chance_above(mean, sd, limit)
        verdict = "above" if p > 1.0 - ALPHA else "within" if p < ALPHA else "unsure"
    gust = nan
    if inside.sum() >= GUST_S:
        gust = float(np.convolve(series.smooth_mps[inside], np.ones(GUST_S) / GUST_S, mode="valid").max())
    return replace(
        found,
        wind_mean_mps=mean,
        wind_sd_mps=sd,
        wind_gust_mps=gust,
        wind_from_deg=direction,
        wind_verdict=verdict,
    )
