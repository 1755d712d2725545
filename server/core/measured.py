"""What was measured of a job, in the figures that an application record asks for; None where something is not known.

SI units with the unit in each name; `*_utc` seconds since 1970; wind at `wind_height_m`, degrees FROM which it blows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np

from server.core.coverage import COVERED_FRACTION
from server.core.grid import GridFrame
from server.core.ground import lay_ground
from server.core.log import Floats
from server.core.outline import polygon_area
from server.core.results import JobResult, WindSeries
from server.core.setup import Setup
from server.core.story import run_means
from server.core.windverdict import mean_direction

AVERAGING_S = 60.0
"""Over so long the wind is averaged where the label or the law says nothing."""
OFF_RATE = 0.1
"""A pass is counted as off its rate beyond this share of the target (threshold of Luck et al. 2011, as reported)."""


@dataclass(frozen=True, slots=True)
class ZoneShare:
    """A zone with its area as drawn, and how much of it got more than a tenth of the target."""

    name: str
    area_m2: float
    covered_m2: float | None


@dataclass(frozen=True, slots=True)
class WindAt:
    """The wind's mean at one time of the work, and when that mean ended."""

    mean_mps: float
    sd_mps: float | None
    from_deg: float | None
    utc: float | None


@dataclass(frozen=True, slots=True)
class Places:
    """Findings of one kind: how many, how large together, how much liquid."""

    kind: str
    count: int
    area_m2: float
    volume_l: float


@dataclass(frozen=True, slots=True)
class Measured:
    """One job, or one part of it, as its review has it."""

    start_utc: float | None
    end_utc: float | None
    volume_l: float
    volume_sd_l: float | None
    covered_m2: float | None
    covered_sd_m2: float | None
    zones: tuple[ZoneShare, ...]
    target_l_per_m2: float
    mean_l_per_m2: float | None
    off_target_l: float | None
    off_target_sd_l: float | None
    keep_out_l: float | None
    unplaced_l: float
    receiver: str
    wind_start: WindAt | None
    wind_end: WindAt | None
    wind_worst: WindAt | None
    gust_mps: float | None
    wind_height_m: float
    wind_averaging_s: float
    limit_mps: float | None
    limit_stated: str | None
    temperature_start_c: float | None
    temperature_end_c: float | None
    humidity_start_percent: float | None
    humidity_end_percent: float | None
    passes: int
    passes_above: int | None
    passes_unsure: int | None
    passes_off: int
    above_s: float | None
    above_l: float | None
    places: tuple[Places, ...]
    missing_messages: int
    swath_m: float
    pulses_per_l: tuple[float, ...]
    meter_sd_percent: float


def gather_measured(result: JobResult, setup: Setup) -> Measured:
    """The figures of a reviewed job that its record asks for.

    Parameters
    ----------
    result
        The review.
    setup
        The job's settings: target [L/m²], limit and height of the wind, zones, flow meter.

    Returns
    -------
    Measured
        Start and end are those of the spraying; figures that are NaN in the review are None.

    References
    ----------
    Derivation: sums and picks of the review's own figures. Lists of fields: 7 CFR 110.3(a); 40 CFR 171.303(b)(7);
    COMAR 15.05.01.12; Georgia Rule 40-21-5 (as listed in `server.core.regimes`).

    Examples
    --------
    A review without any liquid, as far as it is asked: nothing is known of wind and ground, nothing is made up.

    >>> from types import SimpleNamespace as Only
    >>> from server.core.setup import FlowMeter, Sprayer, Treatment
    >>> n = np.zeros(0)
    >>> names = "volume_sd_l covered_area_m2 covered_area_sd_m2 mean_dose_l_per_m2 off_target_l off_target_sd_l"
    >>> totals = dict.fromkeys([*names.split(), "keep_out_l", "zone_area_m2", "zone_missed_m2"], float("nan"))
    >>> result = Only(
    ...     totals=Only(**{**totals, "volume_l": 0.0, "unplaced_l": 0.0}), is_spraying=np.zeros(3, bool), passes=(),
    ...     findings=(), wind=Only(t=n), wind_story=None, wind_summary=Only(gust_mps=float("nan")), climate={},
    ...     start_utc=1.8e9, end_utc=1.8e9 + 60.0, receiver_class="none", missing=Only(total=2), plane=None,
    ...     dose=Only(dose_l_per_m2=np.zeros((1, 1)), x0_m=0.0, y0_m=0.0, cell_m=0.1),
    ... )
    >>> found = gather_measured(result, Setup(Sprayer(1.2), FlowMeter(450.0), Treatment(0.04, wind_limit_mps=4.0)))
    >>> found.volume_l, found.covered_m2, found.wind_worst, found.passes_above, found.missing_messages, found.swath_m
    (0.0, None, None, None, 2, 1.2)
    """
    totals, treatment = result.totals, setup.treatment
    sprayed = np.flatnonzero(result.is_spraying)
    averaging_s = treatment.wind_averaging_s or AVERAGING_S
    first_t, last_t = _bound(result, sprayed)
    winds = pick_winds(result.wind, start_t=first_t, end_t=last_t, averaging_s=averaging_s)
    verdicts = [each.wind_verdict for each in result.passes]
    above = result.wind_story.exceedances if result.wind_story is not None else None
    per_l = setup.flow_meter.pulses_per_l
    return Measured(
        start_utc=_known(result.track.utc[sprayed[0]] if len(sprayed) else result.start_utc),
        end_utc=_known(result.track.utc[sprayed[-1]] if len(sprayed) else result.end_utc),
        volume_l=totals.volume_l,
        volume_sd_l=_known(totals.volume_sd_l),
        covered_m2=_known(totals.covered_area_m2) if len(sprayed) else None,
        covered_sd_m2=_known(totals.covered_area_sd_m2),
        zones=_share_zones(result, setup),
        target_l_per_m2=treatment.target_l_per_m2,
        mean_l_per_m2=_known(totals.mean_dose_l_per_m2),
        off_target_l=_known(totals.off_target_l),
        off_target_sd_l=_known(totals.off_target_sd_l),
        keep_out_l=_known(totals.keep_out_l),
        unplaced_l=totals.unplaced_l,
        receiver=result.receiver_class,
        wind_start=winds[0],
        wind_end=winds[1],
        wind_worst=winds[2],
        gust_mps=_known(result.wind_summary.gust_mps),
        wind_height_m=treatment.wind_reference_height_m or setup.anemometer.height_m,
        wind_averaging_s=averaging_s,
        limit_mps=treatment.wind_limit_mps,
        limit_stated=treatment.wind_limit_stated,
        temperature_start_c=_air(result, "start", "temperature_c"),
        temperature_end_c=_air(result, "end", "temperature_c"),
        humidity_start_percent=_air(result, "start", "humidity_percent"),
        humidity_end_percent=_air(result, "end", "humidity_percent"),
        passes=len(result.passes),
        passes_above=verdicts.count("above") if any(verdicts) else None,
        passes_unsure=verdicts.count("unsure") if any(verdicts) else None,
        passes_off=sum(abs(each.percent_of_target / 100.0 - 1.0) > OFF_RATE for each in result.passes),
        above_s=None if above is None else sum(each.end_t - each.start_t for each in above),
        above_l=None if above is None else sum(each.volume_l for each in above),
        places=_gather_places(result),
        missing_messages=result.missing.total,
        swath_m=setup.sprayer.swath_m,
        pulses_per_l=per_l if isinstance(per_l, tuple) else (per_l,),
        meter_sd_percent=setup.flow_meter.sd_percent,
    )


def total_of(parts: Sequence[Measured | None], name: str) -> float | None:
    """The sum of a figure over the parts of a job.

    Parameters
    ----------
    parts
        What was measured of each [SI]; None: not reviewed.
    name
        The figure's name in `Measured`.

    Returns
    -------
    float or None
        The sum; None where a part does not know it.

    References
    ----------
    Derivation: a sum.

    Examples
    --------
    >>> total_of([None], "volume_l") is None
    True
    """
    found = [None if part is None else getattr(part, name) for part in parts]
    known = [float(value) for value in found if value is not None]
    return sum(known) if known and len(known) == len(found) else None


def pick_winds(
    series: WindSeries, *, start_t: float, end_t: float, averaging_s: float
) -> tuple[WindAt | None, WindAt | None, WindAt | None]:
    """The wind at the start of the work, at its end and at its worst, each as a mean of the same length.

    The first mean begins with the spraying, the last ends with it; the worst is the highest that ends while sprayed.

    Parameters
    ----------
    series
        The wind second by second [m/s].
    start_t
        When the spraying began [s].
    end_t
        When it ended [s].
    averaging_s
        Over how long each mean is taken [s].

    Returns
    -------
    tuple
        Start, end, worst; None where less than half of the mean's time is known.

    References
    ----------
    Record at the start and at the end of each tank: GRDC Spray Application Manual, module 10 (as reported).

    Examples
    --------
    >>> n, t = np.zeros(0), np.arange(0.0, 6.0)
    >>> series = WindSeries(n, n, t, t, *[n] * 5, np.full(6, 90.0), *[n] * 4, (), np.array([1.0, 1, 1, 3, 3, 2]), n)
    >>> start, end, worst = pick_winds(series, start_t=0.0, end_t=5.0, averaging_s=2.0)
    >>> start.mean_mps, end.mean_mps, worst.mean_mps, round(worst.from_deg)
    (1.0, 2.5, 3.0, 90)
    """
    count = len(series.t)
    if not count or not start_t <= end_t:
        return None, None, None
    means = run_means(series, seconds=round(averaging_s))
    mean = means.mean(axis=0)
    # A row is the mean up to its second: the first whole one while sprayed began with the spraying.
    first = int(np.searchsorted(series.t, start_t + averaging_s - 1.0))
    last = max(int(np.searchsorted(series.t, end_t + 1e-9, side="right")) - 1, 0)
    first = min(first, last)
    rows = np.arange(first, last + 1)
    known = rows[np.isfinite(mean[rows])]
    worst = int(known[np.argmax(mean[known])]) if len(known) else -1
    return (
        _wind_at(series, means, first, averaging_s),
        _wind_at(series, means, last, averaging_s),
        _wind_at(series, means, worst, averaging_s) if worst >= 0 else None,
    )


def _wind_at(series: WindSeries, means: Floats, row: int, averaging_s: float) -> WindAt | None:
    """The mean that ends with a second."""
    value = float(means[:, row].mean())
    if not isfinite(value):
        return None
    inside = (series.t > series.t[row] - averaging_s) & (series.t <= series.t[row])
    sd = float(means[:, row].std()) if len(means) > 1 else float("nan")
    return WindAt(value, _known(sd), _known(mean_direction(series.from_deg[inside])), _known(series.utc[row]))


def _bound(result: JobResult, sprayed: Floats | np.ndarray[tuple[int], np.dtype[np.intp]]) -> tuple[float, float]:
    """First and last job second with the spray on."""
    if not len(sprayed):
        return float("nan"), float("nan")
    return float(result.track.t[sprayed[0]]), float(result.track.t[sprayed[-1]])


def _share_zones(result: JobResult, setup: Setup) -> tuple[ZoneShare, ...]:
    """How much of each zone, less the keep-outs, was covered."""
    dose = result.dose
    ny, nx = dose.dose_l_per_m2.shape
    frame = GridFrame(dose.x0_m, dose.y0_m, dose.cell_m, nx, ny)
    covered = dose.dose_l_per_m2 > COVERED_FRACTION * setup.treatment.target_l_per_m2
    dry = [zone for zone in setup.zones if zone.kind == "keep_out"]
    wet = [zone for zone in setup.zones if zone.kind == "zone"]
    laid = [
        lay_ground([zone, *dry], plane=result.plane, frame=frame).measure_wanted(covered) if covered.any() else 0.0
        for zone in wet
    ]
    # The totals are corrected for what an uncertain position does to them, the map is not.
    told = result.totals.zone_area_m2 - result.totals.zone_missed_m2
    factor = told / sum(laid) if isfinite(told) and sum(laid) > 0.0 else 1.0
    return tuple(
        ZoneShare(zone.name, polygon_area(zone.rings), min(factor * share, polygon_area(zone.rings)))
        for zone, share in zip(wet, laid, strict=True)
    )


def _gather_places(result: JobResult) -> tuple[Places, ...]:
    """Findings by kind."""
    kinds = dict.fromkeys(found.kind for found in result.findings)
    chosen = {kind: [found for found in result.findings if found.kind == kind] for kind in kinds}
    return tuple(
        Places(kind, len(each), sum(found.area_m2 for found in each), sum(found.volume_l for found in each))
        for kind, each in chosen.items()
    )


def _air(result: JobResult, when: str, name: str) -> float | None:
    return _known(result.climate.get(when, {}).get(name, float("nan")))


def _known(value: float) -> float | None:
    return float(value) if isfinite(value) else None
