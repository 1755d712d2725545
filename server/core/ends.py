"""Epochs where the spray goes on and off, seldom those of a fix: liquid must not lie before or behind them."""

from dataclasses import replace
from typing import Any

import numpy as np

from server.core.log import Floats
from server.core.results import Interval, Track


def add_ends(track: Track, intervals: tuple[Interval, ...]) -> Track:
    """Put an epoch into the way wherever the spray goes on or off.

    Parameters
    ----------
    track
        The nozzle's way.
    intervals
        When the sprayer was on, at ground time.

    Returns
    -------
    Track
        The same way with up to two more epochs an interval, linear between its neighbours; none outside the way, where
        one is already within a millisecond, or beside a place that is not known.

    References
    ----------
    Derivation: a step between two fixes spreads its liquid evenly, also over the part that was walked dry.

    Examples
    --------
    >>> x, i = np.zeros(3), np.zeros(3, dtype=np.int64)
    >>> track = Track(i, np.arange(3.0), np.arange(3.0), x, x, np.arange(3.0), *[x] * 6, i, np.zeros((0, 3, 2)))
    >>> add_ends(track, (Interval(0.5, 5.0, 1.0),)).north_m.tolist()
    [0.0, 0.5, 1.0, 2.0]
    """
    wanted = np.unique([end for interval in intervals for end in (interval.start_t, interval.end_t)])
    if not len(wanted) or len(track.t) < 2:
        return track
    after = np.searchsorted(track.t, wanted)
    inside = (after > 0) & (after < len(track.t))
    wanted, after = wanted[inside], after[inside]
    apart = np.minimum(track.t[after] - wanted, wanted - track.t[after - 1]) > 1e-3
    known = np.isfinite(track.east_m[after]) & np.isfinite(track.east_m[after - 1])
    wanted, after = wanted[apart & known], after[apart & known]
    part = (wanted - track.t[after - 1]) / (track.t[after] - track.t[after - 1])

    def between(values: Floats) -> Floats:
        return np.insert(values, after, values[after - 1] * (1 - part) + values[after] * part)

    turn = (track.heading_deg[after] - track.heading_deg[after - 1] + 180.0) % 360.0 - 180.0
    late = part[:, None].astype(track.deviations_m.dtype)
    drawn = track.deviations_m[:, after - 1] * (1 - late) + track.deviations_m[:, after] * late
    names = (
        "mono", "t", "utc", "east_m", "north_m", "sd_east_m", "sd_north_m", "velocity_east_mps", "velocity_north_mps",
        "heading_sd_deg",
    )  # fmt: skip
    series: dict[str, Any] = {name: between(getattr(track, name)) for name in names}
    return replace(
        track,
        boot=np.insert(track.boot, after, track.boot[after]),
        quality=np.insert(track.quality, after, track.quality[after]),
        heading_deg=np.insert(track.heading_deg, after, (track.heading_deg[after - 1] + part * turn) % 360.0),
        deviations_m=np.insert(track.deviations_m, after, drawn, axis=1),
        **series,
    )
