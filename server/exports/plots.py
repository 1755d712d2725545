"""map.png and traces.png, for looking at; drawn only where the optional plotting package is installed."""

import io
from typing import TYPE_CHECKING

from server.core.flow import VolumeCurve
from server.core.results import Interval, JobResult
from server.core.setup import Setup
from server.exports.map import draw_map, find_limits
from server.exports.traces import draw_traces
from server.exports.unitsets import FIRST_SET, UNIT_SETS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PICTURES = ("map.png", "traces.png")
DPI = 120
WIDTH_IN, TALLEST_IN, LEAST_IN = 8.0, 14.0, 5.0


def draw_plots(
    result: JobResult, setup: Setup, curve: VolumeCurve, intervals: tuple[Interval, ...], *, units: str = FIRST_SET
) -> dict[str, bytes] | None:
    """Both pictures, or None without the plotting package."""
    try:
        from matplotlib import rc_context, rcdefaults
        from matplotlib.figure import Figure
    except ImportError:
        return None
    # What a user has set for pictures of their own must not change these.
    with rc_context():
        rcdefaults()
        west, east, south, north = find_limits(result, setup)
        height = min(max(0.75 * WIDTH_IN * (north - south) / (east - west) + 1.8, LEAST_IN), TALLEST_IN)
        chart = Figure(figsize=(WIDTH_IN, height), dpi=DPI, layout="constrained")
        draw_map(chart, result, setup, UNIT_SETS[units])
        traces = Figure(figsize=(10.0, 9.0), dpi=DPI, layout="constrained")
        draw_traces(traces, result, setup, curve, intervals, UNIT_SETS[units])
        return {name: _save(sheet) for name, sheet in zip(PICTURES, (chart, traces), strict=True)}


def _save(sheet: "Figure") -> bytes:
    """The picture's bytes, without the date or the library's name: the same job gives the same ones."""
    picture = io.BytesIO()
    sheet.savefig(picture, format="png", metadata={"Software": None})
    return picture.getvalue()
