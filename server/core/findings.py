"""Places worth a look: ground missed or doubled, and liquid where none was wanted.

Outlines in metres on the local plane, areas in square metres, liquid in litres.
"""

from collections.abc import Iterator

import numpy as np

from server.core.coverage import COVERED_FRACTION
from server.core.grid import GridFrame
from server.core.ground import Ground
from server.core.log import Floats, Integers
from server.core.regions import label_regions, trace_outline
from server.core.results import Bools, DoseMap, Finding
from server.core.setup import Treatment

DOUBLED_FRACTION = 1.8
"""Ground counts as doubled above this multiple of the target (a definition of this project)."""
SURE = 0.8
"""A place is pointed out when its probability is above this."""
MIN_AREA_M2 = 0.25
"""Smaller places are not worth a walk."""


def find_findings(
    dose: DoseMap, ground: Ground, *, treatment: Treatment, min_area_m2: float = MIN_AREA_M2
) -> tuple[Finding, ...]:
    """Regions of cells that were missed, doubled, or sprayed where nothing was wanted.

    Cells that share sides and a fault make one finding. `missed` and `doubled` lie in the zones less the keep-outs (on
    all ground sprayed where the site has no zone; nothing can be missed there), `keep_out` in the keep-outs,
    `off_target` elsewhere. Cells whose probability is 0.8 or less are passed over.

    Parameters
    ----------
    dose
        Dose and probabilities on the grid; where no probabilities are known the dose alone decides.
    ground
        What each cell is for, on the same grid.
    treatment
        Target [L/m²].
    min_area_m2
        Smaller regions are passed over [m²].

    Returns
    -------
    tuple[Finding, ...]
        By kind (missed, doubled, keep_out, off_target), then the largest first; `area_m2` counts the part of each cell
        that is concerned, `volume_l` the liquid in it, `probability` is the mean over the region, NaN where not known.

    Raises
    ------
    ValueError
        If dose and ground lie on different grids.

    Notes
    -----
    Single cells say little with an uncertain receiver, since its wander moves the whole map at once: pairs of passes
    judge strips better.

    References
    ----------
    Definitions of this project; see results and DEVELOPERS.md. Derivation: connected components of cells.

    Examples
    --------
    >>> frame = GridFrame(0.0, 0.0, 1.0, 3, 1)
    >>> unknown = np.full((1, 3), np.nan)
    >>> dose = DoseMap(np.array([[1.0, 0.0, 2.0]]), unknown, unknown, unknown, unknown, 0.0, 0.0, 1.0)
    >>> lawn = Ground(frame, np.ones((1, 3)), np.zeros((1, 3)), True, False)
    >>> [(f.kind, f.area_m2) for f in find_findings(dose, lawn, treatment=Treatment(target_l_per_m2=1.0))]
    [('missed', 1.0), ('doubled', 1.0)]
    """
    frame = ground.frame
    if dose.dose_l_per_m2.shape != ground.wanted.shape or (dose.x0_m, dose.y0_m) != (frame.x0_m, frame.y0_m):
        raise ValueError("dose and ground lie on different grids")
    findings: list[Finding] = []
    for kind, fault, probability, share in _list_faults(dose, ground, treatment.target_l_per_m2):
        sure = fault & ~(probability <= SURE) & (share >= 0.5)
        findings += _outline_regions(kind, sure, probability, share, dose.dose_l_per_m2, frame, min_area_m2)
    return tuple(findings)


def _list_faults(dose: DoseMap, ground: Ground, target: float) -> Iterator[tuple[str, Bools, Floats, Floats]]:
    """Kind, cells, probability and the share of each cell that it concerns; one at a time, for they are large."""
    covered = dose.dose_l_per_m2 > COVERED_FRACTION * target
    yield "missed", ~covered, dose.p_missed, ground.wanted
    everywhere = ground.wanted if ground.has_zones else np.ones(ground.wanted.shape)
    yield "doubled", dose.dose_l_per_m2 > DOUBLED_FRACTION * target, dose.p_over, everywhere
    yield "keep_out", covered, 1.0 - dose.p_missed, ground.keep_out
    if ground.has_zones:
        elsewhere = np.clip(1.0 - ground.wanted - ground.keep_out, 0.0, 1.0)
        yield "off_target", covered, 1.0 - dose.p_missed, elsewhere


def _outline_regions(
    kind: str, mask: Bools, probability: Floats, share: Floats, dose: Floats, frame: GridFrame, min_area: float
) -> list[Finding]:
    """A finding for each region of the mask that is large enough, the largest first."""
    labels, count = label_regions(mask)
    owner, shares, cell = labels[mask], share[mask], frame.cell_area_m2
    area = np.bincount(owner, shares, minlength=count + 1) * cell
    volume = np.bincount(owner, shares * dose[mask], minlength=count + 1) * cell
    cells = np.bincount(owner, minlength=count + 1)
    chance = np.bincount(owner, probability[mask], minlength=count + 1) / np.maximum(cells, 1)
    order = [label for label in np.argsort(-area[1:], kind="stable") + 1 if area[label] >= min_area]
    boxes = _bound_regions(labels, order)
    found = []
    for label, (south, north, west, east) in zip(order, boxes, strict=True):
        window = labels[south:north, west:east] == label
        corner = GridFrame(
            frame.x0_m + west * frame.cell_m,
            frame.y0_m + south * frame.cell_m,
            frame.cell_m,
            east - west,
            north - south,
        )
        ring = trace_outline(window, corner)
        found.append(Finding(kind, float(chance[label]), float(area[label]), float(volume[label]), ring))
    return found


def _bound_regions(labels: Integers, order: list[int]) -> list[tuple[int, int, int, int]]:
    """Rows from, to and columns from, to of each region, in the order given."""
    row, column = np.nonzero(labels)
    owner = labels[row, column]
    sort = np.argsort(owner, kind="stable")
    starts = np.searchsorted(owner[sort], np.arange(1, int(labels.max(initial=0)) + 2))
    boxes = []
    for label in order:
        mine = sort[starts[label - 1] : starts[label]]
        rows, columns = row[mine], column[mine]
        boxes.append((int(rows.min()), int(rows.max()) + 1, int(columns.min()), int(columns.max()) + 1))
    return boxes
