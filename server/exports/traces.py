"""traces.png: flow, pace, doses and wind over the time of a job."""

from typing import TYPE_CHECKING, Any

import numpy as np

from server.core.chance import Z90
from server.core.flow import VolumeCurve, flow_rate_at
from server.core.log import Floats
from server.core.results import Interval, JobResult
from server.core.setup import Setup
from server.core.windfold import NOTICE_SHARE
from server.exports.colours import ACCENT, INK, PAPER, RULE, SOFT, STOP
from server.exports.unitsets import UnitSet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SILENT_S = 3.0
"""Nothing heard of the flow for so long while it sprays: what flowed between is known, when is not."""
USUAL_STEPS = 2.5
"""Over a step so many times the usual one no line is drawn."""
MINUTE_S = 60.0


def draw_traces(
    sheet: "Figure",
    result: JobResult,
    setup: Setup,
    curve: VolumeCurve,
    intervals: tuple[Interval, ...],
    units: UnitSet,
) -> None:
    """Draw four panels over one axis of minutes; what is not known is left open."""
    flow, pace, dose, wind = sheet.subplots(4, 1, sharex=True, height_ratios=[1.0, 1.0, 1.2, 1.8])
    start = float(result.track.t[0]) if len(result.track.t) else 0.0
    silences = find_silences(curve, intervals)
    for axes in (flow, pace, dose, wind):
        axes.set_facecolor(PAPER)
        axes.grid(visible=True, color=RULE, linewidth=0.4)
        axes.tick_params(labelsize=8, colors=INK)
        _shade_spraying(axes, intervals, silences, start)
    _draw_flow(flow, result, curve, intervals, silences, units, start)
    _draw_pace(pace, result, units, start)
    _draw_passes(dose, result, setup, units, start)
    _draw_wind(wind, result, setup, units, start)
    ends = [float(times[-1]) for times in (result.track.t, result.wind.t) if len(times)]
    wind.set_xlim(0.0, max((max(ends, default=start) - start) / MINUTE_S, 1.0))
    wind.set_xlabel("minutes of the job; shaded: spray on; hatched: flow not heard", fontsize=8, color=INK)


def _shade_spraying(
    axes: "Axes", intervals: tuple[Interval, ...], silences: list[tuple[float, float]], start: float
) -> None:
    """Shade when it sprayed; hatched where nothing was heard of the flow."""
    for interval in intervals:
        axes.axvspan((interval.start_t - start) / MINUTE_S, (interval.end_t - start) / MINUTE_S, color=RULE, alpha=0.25)
    for begin, end in silences:
        axes.axvspan((begin - start) / MINUTE_S, (end - start) / MINUTE_S, facecolor=PAPER, edgecolor=SOFT, hatch="//")


def open_gaps(t: Floats, *columns: Floats) -> list[Floats]:
    """Times and columns with a break wherever something is not known or a step is far longer than usual."""
    step = np.diff(t)
    usual = float(np.median(step)) if len(step) else 0.0
    cuts = np.flatnonzero(step > USUAL_STEPS * usual) + 1
    return [np.insert(column, cuts, np.nan) for column in (t, *columns)]


def find_silences(curve: VolumeCurve, intervals: tuple[Interval, ...]) -> list[tuple[float, float]]:
    """Stretches of the spraying in which nothing was heard of the flow."""
    found = []
    for interval in intervals:
        heard = curve.t[(curve.t >= interval.start_t) & (curve.t <= interval.end_t)]
        at = np.concatenate([[interval.start_t], heard, [interval.end_t]])
        late = np.flatnonzero(np.diff(at) > SILENT_S)
        found += [(float(at[k]), float(at[k + 1])) for k in late]
    return found


def _plot(axes: "Axes", t: Floats, values: Floats, start: float, **look: Any) -> None:
    """A line over minutes, broken where nothing is known."""
    t, values = open_gaps(t, values)
    axes.plot((t - start) / MINUTE_S, values, **look)


def _label(axes: "Axes", what: str, sign: str) -> None:
    axes.set_ylabel(f"{what}, {sign}", fontsize=8, color=INK)


def _draw_flow(
    axes: "Axes",
    result: JobResult,
    curve: VolumeCurve,
    intervals: tuple[Interval, ...],
    silences: list[tuple[float, float]],
    units: UnitSet,
    start: float,
) -> None:
    """How much came out."""
    _label(axes, "flow", units.flow.sign)
    t = result.track.t
    if len(t) and len(curve.t):
        flow = units.flow.per_si * flow_rate_at(curve, intervals, t)
        for begin, end in silences:
            flow[(t > begin) & (t < end)] = np.nan
        _plot(axes, t, flow, start, color=ACCENT, linewidth=0.9)
    axes.set_ylim(bottom=0.0)


def _draw_pace(axes: "Axes", result: JobResult, units: UnitSet, start: float) -> None:
    """How fast the operator walked."""
    _label(axes, "pace", units.speed.sign)
    track = result.track
    speed = units.speed.per_si * np.hypot(track.velocity_east_mps, track.velocity_north_mps)
    _plot(axes, track.t, speed, start, color=SOFT, linewidth=0.7)
    axes.set_ylim(bottom=0.0)


def _draw_passes(axes: "Axes", result: JobResult, setup: Setup, units: UnitSet, start: float) -> None:
    """Each pass's dose with its 90 % interval, beside the target and what is allowed about it."""
    _label(axes, "dose", units.rate.sign)
    treatment, per = setup.treatment, units.rate.per_si
    target = per * treatment.target_l_per_m2
    axes.axhspan(treatment.under_fraction * target, treatment.over_fraction * target, color=ACCENT, alpha=0.1)
    axes.axhline(target, color=ACCENT, linewidth=0.9, linestyle="--")
    axes.annotate("target", (1.0, target), xycoords=("axes fraction", "data"), fontsize=7, ha="right", va="bottom")
    for one in result.passes:
        if not np.isfinite(one.dose_l_per_m2):
            middle = 0.5 * (one.start_t + one.end_t) - start
            axes.annotate(f"{one.number}: ?", (middle / MINUTE_S, 0.05), xycoords=("data", "axes fraction"), fontsize=7)
            continue
        span = (np.array([one.start_t, one.end_t]) - start) / MINUTE_S
        dose, reach = per * one.dose_l_per_m2, per * Z90 * one.dose_sd_l_per_m2
        axes.fill_between(span, dose - reach, dose + reach, color=INK, alpha=0.2, linewidth=0.0)
        axes.plot(span, [dose, dose], color=INK, linewidth=1.6)
        axes.annotate(str(one.number), (float(span.mean()), dose + reach), fontsize=7, ha="center", va="bottom")
    axes.set_ylim(0.0, max(axes.get_ylim()[1], 1.3 * target))


def _draw_wind(axes: "Axes", result: JobResult, setup: Setup, units: UnitSet, start: float) -> None:
    """The true wind with its doubt, gusts, limit and notice, and each pass's verdict."""
    _label(axes, "wind", units.speed.sign)
    wind, per = result.wind, units.speed.per_si
    mean, reach = per * wind.mean_60s_mps, per * Z90 * wind.mean_60s_sd_mps
    t, low, high = open_gaps(wind.t, mean - reach, mean + reach)
    axes.fill_between((t - start) / MINUTE_S, low, high, color=ACCENT, alpha=0.2, linewidth=0.0, label="90 % interval")
    _plot(axes, wind.t, per * wind.apparent_mps, start, color=RULE, linewidth=0.5, label="felt by the cup")
    _plot(axes, wind.t, per * wind.smooth_mps, start, color=SOFT, linewidth=0.7, label="true, seen afterwards")
    _plot(axes, wind.t, mean, start, color=ACCENT, linewidth=1.6, label="true, mean of a minute")
    _plot(axes, wind.t, per * wind.gust_3s_mps, start, color=INK, linewidth=0.8, linestyle=":", label="gusts of 3 s")
    limit = setup.treatment.wind_limit_mps
    if limit is not None:
        notice = setup.treatment.wind_notice_mps
        axes.axhline(per * limit, color=STOP, linewidth=1.4, label="limit")
        level = NOTICE_SHARE * limit if notice is None else notice
        axes.axhline(per * level, color=STOP, linewidth=0.9, linestyle="--", label="notice")
    for one in result.passes:
        if one.wind_verdict:
            middle = (0.5 * (one.start_t + one.end_t) - start) / MINUTE_S
            word = f"{one.number} {one.wind_verdict}"
            weight = "bold" if one.wind_verdict == "above" else "normal"
            axes.annotate(word, (middle, 0.01), xycoords=("data", "axes fraction"), fontsize=6.5, ha="center",
                          rotation=90, va="bottom", weight=weight, color=INK)  # fmt: skip
    axes.set_ylim(bottom=0.0)
    axes.legend(loc="upper left", fontsize=7, ncols=4, framealpha=0.9)
