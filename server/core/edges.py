"""Where passes begin and end at the lawn's edge: the boundary tells where the rig was when the spray went on or off."""

import numpy as np

from server.core.aids import ALIGNED_DEG, EDGE_SD_M, INSET_SD_M, Crossing
from server.core.log import Floats
from server.core.passes import PassSpan

GATE = 3.0
"""An edge further from where the spray changed than so many standard deviations is not the one meant."""


def find_crossings(
    t: Floats,
    way_m: Floats,
    place_m: Floats,
    sd_m: Floats,
    spans: tuple[PassSpan, ...],
    rings: tuple[Floats, ...],
    *,
    axis_deg: float,
) -> tuple[Crossing, ...]:
    """Find for both ends of each pass the edge that it ends at.

    Parameters
    ----------
    t
        Times of the epochs [n] [s].
    way_m
        The integrated way, along and across the axis [n, 2] [m].
    place_m
        Where the nozzle was, as far as is known without edges [n, 2] [m].
    sd_m
        Its standard deviation [n, 2] [m].
    spans
        The passes.
    rings
        The zones' rings along and across the axis, each [k, 2] [m].
    axis_deg
        The axis' heading [deg].

    Returns
    -------
    tuple[Crossing, ...]
        One for each end that lies near an edge square to the pass, within 12 degrees.

    References
    ----------
    Definition of this project: nearest crossing of the pass's line with a ring, gated by three standard deviations.

    Examples
    --------
    >>> t = np.arange(0.0, 30.0, 0.5)
    >>> way = np.stack([1.2 * t, 0 * t], axis=1)
    >>> ring = np.array([[6.2, -5.0], [6.2, 5.0], [30.0, 5.0], [30.0, -5.0], [6.2, -5.0]])
    >>> spans = (PassSpan(5.0, 25.0, 0.0, 10, 51),)
    >>> crossings = find_crossings(t, way, way, 0 * way + 0.5, spans, (ring,), axis_deg=0.0)
    >>> [(crossing.t, crossing.axis, round(crossing.miss_m, 3), crossing.inward) for crossing in crossings]
    [(5.0, 0, 0.2, 1.0), (25.0, 0, 0.0, -1.0)]
    """
    found: list[Crossing] = []
    for span in spans:
        off = (span.heading_deg - axis_deg + 180.0) % 360.0 - 180.0
        quarter = round(off / 90.0)
        if abs(off - 90.0 * quarter) > ALIGNED_DEG:
            continue
        axis, ahead = quarter % 2, (1.0 if quarter in (0, 1) else -1.0)
        for at, inward in ((span.start_t, ahead), (span.end_t, -ahead)):
            there, sd, way = (np.array([np.interp(at, t, v[:, k]) for k in (0, 1)]) for v in (place_m, sd_m, way_m))
            edge = _nearest_edge(rings, axis, there)
            if abs(edge - there[axis]) <= GATE * float(np.sqrt(sd[axis] ** 2 + EDGE_SD_M**2 + INSET_SD_M**2)):
                found.append(Crossing(at, axis, edge - float(way[axis]), inward))
    return tuple(found)


def _nearest_edge(rings: tuple[Floats, ...], axis: int, there: Floats) -> float:
    """Where the line through a place along an axis meets the nearest edge square to it; infinite if none does."""
    steepest = float(np.tan(np.radians(ALIGNED_DEG)))
    edges = [np.inf]
    for ring in rings:
        across, along = ring[:, 1 - axis] - there[1 - axis], ring[:, axis]
        rise, run = np.diff(along), np.diff(across)
        meets = (across[:-1] * across[1:] <= 0.0) & (run != 0.0) & (np.abs(rise) <= steepest * np.abs(run))
        at = along[:-1][meets] - across[:-1][meets] * rise[meets] / run[meets]
        edges += at.tolist()
    return min(edges, key=lambda edge: abs(edge - float(there[axis])))
