"""map.png and traces.png, for looking at; drawn only where the optional plotting package is installed."""

import importlib
import io
from typing import Any

import numpy as np

from server.core.results import JobResult
from server.core.setup import Setup

DPI = 120


def draw_plots(result: JobResult, setup: Setup) -> dict[str, bytes] | None:
    """Both pictures, or None without the plotting package."""
    try:
        figure = importlib.import_module("matplotlib.figure")
    except ImportError:
        return None
    return {"map.png": _draw_map(figure, result, setup), "traces.png": _draw_traces(figure, result, setup)}


def _draw_map(figure: Any, result: JobResult, setup: Setup) -> bytes:
    """The dose as a share of the target, north up, with a scale bar."""
    dose = result.dose
    ny, nx = dose.dose_l_per_m2.shape
    extent = (dose.x0_m, dose.x0_m + nx * dose.cell_m, dose.y0_m, dose.y0_m + ny * dose.cell_m)
    sheet = figure.Figure(figsize=(7.0, 7.0 * ny / nx + 1.0), dpi=DPI)
    axes = sheet.add_subplot()
    share = np.where(dose.dose_l_per_m2 > 0.0, dose.dose_l_per_m2 / setup.treatment.target_l_per_m2, np.nan)
    picture = axes.imshow(share, origin="lower", extent=extent, cmap="PuOr_r", vmin=0.0, vmax=2.0)
    sheet.colorbar(picture, label="dose / target", shrink=0.8)
    for found in result.findings:
        axes.plot(found.ring_m[:, 0], found.ring_m[:, 1], color="black", linewidth=0.8)
    axes.plot([extent[0] + 1.0, extent[0] + 6.0], [extent[2] + 0.5] * 2, color="black", linewidth=3.0)
    axes.text(extent[0] + 3.5, extent[2] + 0.8, "5 m", ha="center")
    axes.text(extent[0] + 1.0, extent[3] - 1.5, "N ↑")
    axes.set_aspect("equal")
    axes.set_xlabel("east, m")
    axes.set_ylabel("north, m")
    return _save(sheet)


def _draw_traces(figure: Any, result: JobResult, setup: Setup) -> bytes:
    """Pace and wind over time, with the limit."""
    sheet = figure.Figure(figsize=(9.0, 5.0), dpi=DPI)
    pace, air = sheet.subplots(2, 1, sharex=True)
    t0 = result.track.t[0] if len(result.track.t) else 0.0
    speed = np.hypot(result.track.velocity_east_mps, result.track.velocity_north_mps)
    pace.plot(result.track.t - t0, speed, linewidth=0.8)
    pace.fill_between(result.track.t - t0, 0.0, 0.1, where=result.is_spraying, step="mid", color="black")
    pace.set_ylabel("pace, m/s")
    air.plot(result.wind.t - t0, result.wind.apparent_mps, linewidth=0.6, linestyle=":", label="felt")
    air.plot(result.wind.t - t0, result.wind.mean_60s_mps, label="true, 60-s mean")
    air.plot(result.wind.t - t0, result.wind.smooth_mps, linewidth=0.6, label="true, afterwards")
    if setup.treatment.wind_limit_mps is not None:
        air.axhline(setup.treatment.wind_limit_mps, color="black", linestyle="--", label="limit")
    air.set_ylabel("wind, m/s")
    air.set_xlabel("s")
    air.legend(loc="upper left", fontsize=8)
    return _save(sheet)


def _save(sheet: Any) -> bytes:
    picture = io.BytesIO()
    sheet.savefig(picture, format="png", metadata={"Software": None}, bbox_inches="tight")
    return picture.getvalue()
