"""What is known of a walk besides its fixes: straight passes, the lawn's edge, and a peg that stands where it stood.

All say something of the integrated way along two axes: along the job's passes and across them. Metres on the local
plane turned by the passes' heading, job seconds, degrees clockwise from true north.
"""

from dataclasses import dataclass

import numpy as np

from server.core.log import Floats, Integers
from server.core.passes import PassSpan
from server.core.smoother import Aids

ALIGNED_DEG = 12.0
"""A pass this near to an axis is straight along it; others are left alone."""
SETTLING_S = 1.0
"""At both ends of a pass the operator is still finding the line."""
SHORTEST_S = 6.0
WEAVE_SD_M = 0.05
"""How far an operator strays from a straight line (common practice, no source)."""
APART_S = 4.0
"""Within less the operator strays to the same side: a line is looked at so often."""
SLANT_SD = 0.006
"""How much a pass slants from the others, metres a metre."""
STRAY = 3.0
"""A pass that bends more than so many times what is usual in the job follows an edge and is not straight."""
PEG_SD_M = 0.15
"""How near to the peg the operator stands."""
UNKNOWN_PEG_SD_M = 300.0
EDGE_SD_M, INSET_SD_M = 0.45, 0.30
"""How near to the lawn's edge the spray goes on and off, each time and on the whole (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Visit:
    """The operator stood at a peg at job second `t`; east and north where it was surveyed to `sd_m`, else NaN."""

    t: float
    name: str
    east_m: float = float("nan")
    north_m: float = float("nan")
    sd_m: float = float("nan")


@dataclass(frozen=True, slots=True)
class Crossing:
    """The spray went on or off at job second `t` at an edge across `axis`: edge less way `miss_m`; where is inside."""

    t: float
    axis: int
    miss_m: float
    inward: float


def choose_axis(spans: tuple[PassSpan, ...]) -> float:
    """The heading along which most of the passes' time lies, a right angle apart counting alike.

    Parameters
    ----------
    spans
        The passes.

    Returns
    -------
    float
        Heading in [-45, 45) or near [deg]; 0 without passes.

    References
    ----------
    Derivation: of all passes' headings modulo 90 degrees the one with most time within 12 degrees, then their mean.

    Examples
    --------
    >>> spans = tuple(PassSpan(0.0, 20.0, heading, 0, 1) for heading in (20.0, 201.0, 110.0))
    >>> round(choose_axis(spans), 2)
    20.33
    """
    if not spans:
        return 0.0
    heading = np.array([span.heading_deg for span in spans])
    seconds = np.array([span.end_t - span.start_t for span in spans])
    apart = (heading[:, None] - heading[None, :] + 45.0) % 90.0 - 45.0
    near = np.abs(apart) <= ALIGNED_DEG
    best = int((near * seconds[:, None]).sum(axis=0).argmax())
    chosen = near[:, best]
    axis = heading[best] + float(np.average(apart[chosen, best], weights=seconds[chosen]))
    return float((axis + 45.0) % 90.0 - 45.0)


def turn_to_axis(east_north: Floats, axis_deg: float) -> Floats:
    """East and north as along and across an axis, or back: the turn is its own inverse.

    Parameters
    ----------
    east_north
        East and north, or along and across [..., 2] [m].
    axis_deg
        The axis' heading [deg].

    Returns
    -------
    Floats
        Along the axis and to the right of it, or east and north [..., 2] [m].

    References
    ----------
    Derivation: along = E sin h + N cos h, across = E cos h - N sin h, a reflection.

    Examples
    --------
    >>> turn_to_axis(np.array([0.0, 2.0]), 0.0).tolist()
    [2.0, 0.0]
    """
    angle = np.radians(axis_deg)
    sine, cosine = float(np.sin(angle)), float(np.cos(angle))
    turned: Floats = east_north @ np.array([[sine, cosine], [cosine, -sine]])
    return turned


def gather_aids(
    centres: Floats,
    way_m: Floats,
    spans: tuple[PassSpan, ...],
    visits: tuple[Visit, ...],
    *,
    axis_deg: float,
    crossings: tuple[Crossing, ...] = (),
) -> Aids | None:
    """Say for each bin what line, peg or edge the rig is on.

    Parameters
    ----------
    centres
        The bins' times [n] [s].
    way_m
        The integrated way there, along and across the axis [n, 2] [m].
    spans
        The passes.
    visits
        When the operator stood at a peg; surveyed places along and across the same axis.
    axis_deg
        The axis' heading [deg].
    crossings
        Where the spray went on or off at the lawn's edge.

    Returns
    -------
    Aids | None
        None where there is none.

    Notes
    -----
    Nothing is assumed about how far passes lie apart: a lattice of equal spacings would hide the very strips that are
    looked for.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> way = np.stack([1.2 * np.arange(30.0), np.zeros(30)], axis=1)
    >>> aids = gather_aids(np.arange(30.0), way, (PassSpan(2.0, 28.0, 0.0, 0, 1),), (), axis_deg=0.0)
    >>> int(np.isfinite(aids.noise_m2[:, 1]).sum()), int(np.isfinite(aids.noise_m2[:, 0]).sum())
    (7, 0)
    """
    count = len(centres)
    step = float(centres[1] - centres[0]) if count > 1 else 1.0
    names = sorted({visit.name for visit in visits})
    others = len(names) + (1 if crossings else 0)
    begins, is_line = np.zeros((2, count, 2), dtype=np.bool_)
    places, spreads = np.zeros((others, 2)), np.full(others, INSET_SD_M**2)
    spreads[: len(names)] = UNKNOWN_PEG_SD_M**2
    aids = Aids(
        np.zeros((count, 2, 2 + others)), -way_m, np.full((count, 2), np.inf), begins, is_line, SLANT_SD**2, places,
        spreads,
    )  # fmt: skip
    for axis, rows, slope in _list_lines(centres, way_m, spans, axis_deg):
        _add_line(aids, axis, rows, slope, way_m[rows, 1 - axis], every=max(1, round(APART_S / step)))
    for crossing in crossings:
        row = int(np.clip(np.floor((crossing.t - centres[0]) / step + 0.5), 0, count - 1))
        _add_crossing(aids, row, crossing)
    for visit in visits:
        if centres[0] - step <= visit.t <= centres[-1] + step:
            row = int(np.clip(np.searchsorted(centres, visit.t), 0, count - 1))
            _add_visit(aids, row, names.index(visit.name), visit)
    return aids if np.isfinite(aids.noise_m2).any() else None


def _add_line(aids: Aids, axis: int, rows: Integers, slope: float, along_m: Floats, *, every: int) -> None:
    """A pass that is walked straight, looked at every so many bins."""
    aids.begins[rows[0], axis] = True
    rows, progress = rows[::every], (along_m - along_m.mean())[::every]
    aids.look[rows, axis, 0], aids.look[rows, axis, 1] = 1.0, progress
    aids.value_m[rows, axis] += slope * progress
    aids.noise_m2[rows, axis], aids.is_line[rows, axis] = WEAVE_SD_M**2, True


def _add_crossing(aids: Aids, row: int, crossing: Crossing) -> None:
    """An edge at which the spray went on or off; a line that is looked at in the same bin goes first."""
    if not np.isfinite(aids.noise_m2[row, crossing.axis]):
        aids.look[row, crossing.axis, -1] = crossing.inward
        aids.value_m[row, crossing.axis] = crossing.miss_m
        aids.noise_m2[row, crossing.axis] = EDGE_SD_M**2


def _add_visit(aids: Aids, row: int, peg: int, visit: Visit) -> None:
    """Standing at a peg, unless the rig is on a pass."""
    if np.isfinite(aids.noise_m2[row]).any():
        return
    aids.look[row, :, 2 + peg], aids.noise_m2[row] = 1.0, PEG_SD_M**2
    if np.isfinite(visit.sd_m):
        aids.peg_m[peg], aids.peg_m2[peg] = (visit.east_m, visit.north_m), visit.sd_m**2


def _list_lines(
    centres: Floats, way_m: Floats, spans: tuple[PassSpan, ...], axis_deg: float
) -> list[tuple[int, Integers, float]]:
    """Each straight pass: the axis across it, its bins, and the slope that is usual for passes along it."""
    found: list[tuple[int, Integers]] = []
    for span in spans:
        off = (span.heading_deg - axis_deg + 45.0) % 90.0 - 45.0
        rows = np.flatnonzero((centres >= span.start_t + SETTLING_S) & (centres <= span.end_t - SETTLING_S))
        if abs(off) <= ALIGNED_DEG and len(rows) > 2 and centres[rows[-1]] - centres[rows[0]] >= SHORTEST_S:
            turned = abs((span.heading_deg - axis_deg + 90.0) % 180.0 - 90.0)
            found.append((1 if turned <= 45.0 else 0, rows))
    lines: list[tuple[int, Integers, float]] = []
    for axis in (0, 1):
        mine = [rows for across, rows in found if across == axis]
        fits = [_fit_line(way_m[rows, 1 - axis], way_m[rows, axis]) for rows in mine]
        usual = float(np.median([bend for _, bend in fits])) if fits else 0.0
        slope = float(np.median([slope for slope, _ in fits])) if fits else 0.0
        lines += [
            (axis, rows, slope) for rows, (_, bend) in zip(mine, fits, strict=True) if bend <= STRAY * usual + 0.05
        ]
    return lines


def _fit_line(progress_m: Floats, across_m: Floats) -> tuple[float, float]:
    """Slope of a pass's way, and the standard deviation from its line [m]."""
    progress, across = progress_m - progress_m.mean(), across_m - across_m.mean()
    slope = float((progress * across).sum() / max(float((progress**2).sum()), 1.0))
    return slope, float((across - slope * progress).std())
