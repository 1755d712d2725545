"""What a job came to: areas missed, under, on target and over, and the liquid that went elsewhere.

Areas in square metres, liquid in litres, dose in litres per square metre.
"""

from itertools import pairwise
from math import nan

import numpy as np

from server.core.dose import Deposit
from server.core.ground import Ground
from server.core.results import Totals
from server.core.setup import Treatment

COVERED_FRACTION = 0.1
"""Ground counts as covered above this fraction of the target (a definition of this project)."""


def total_job(
    deposit: Deposit,
    ground: Ground,
    *,
    treatment: Treatment,
    volume_l: float,
    volume_sd_l: float,
    sprayed_s: float,
    distance_m: float,
    outside_passes_l: float,
) -> Totals:
    """Volumes and areas of the whole job.

    Each cell is missed, under, on target or over by its mean dose, and counts with the fraction of it that lies in the
    zones less the keep-outs. A cell outside gets its liquid counted as off target by the same fraction.

    Parameters
    ----------
    deposit
        The dose on the grid, with the liquid off the grid and unplaced.
    ground
        What each cell is for, on the same grid.
    treatment
        Target [L/m²] and what counts as under and over.
    volume_l
        Liquid metered in the job [L].
    volume_sd_l
        Its standard deviation [L].
    sprayed_s
        How long liquid flowed [s].
    distance_m
        How far the rig went [m].
    outside_passes_l
        Liquid in no pass [L].

    Returns
    -------
    Totals
        Totals; the zones' areas and the off-target liquid are NaN without a zone, the keep-outs' liquid without any
        polygon.

    Raises
    ------
    ValueError
        If dose and ground lie on different grids.

    Notes
    -----
    The figures of the mean track: where the position is uncertain, covered area comes out too small and off-target
    liquid too large. `correct_totals` estimates by how much.

    References
    ----------
    Definitions of this project (covered: above 10 % of target). Derivation: sums over cells.

    Examples
    --------
    >>> from server.core.grid import GridFrame
    >>> frame = GridFrame(0.0, 0.0, 1.0, 4, 1)
    >>> deposit = Deposit(np.array([[0.0, 0.5, 1.0, 2.0]]), frame, 0.25, 0.0)
    >>> ground = Ground(frame, np.array([[1.0, 1.0, 1.0, 0.5]]), np.zeros((1, 4)), True, False)
    >>> totals = total_job(deposit, ground, treatment=Treatment(target_l_per_m2=1.0), volume_l=3.75, volume_sd_l=0.0,
    ...     sprayed_s=10.0, distance_m=4.0, outside_passes_l=0.0)
    >>> totals.zone_missed_m2, totals.zone_under_m2, totals.zone_on_target_m2, totals.zone_over_m2
    (1.0, 1.0, 1.0, 0.5)
    >>> totals.covered_area_m2, totals.off_target_l, totals.mean_dose_l_per_m2
    (3.0, 1.25, 1.0)
    """
    if deposit.frame != ground.frame:
        raise ValueError(f"dose and ground lie on different grids: {deposit.frame} and {ground.frame}")
    missed, under, on_target, over, covered, off_target, keep_out = read_figures(deposit, ground, treatment=treatment)
    dose = deposit.dose_l_per_m2
    treated = dose > COVERED_FRACTION * treatment.target_l_per_m2
    share = treated * (ground.wanted if ground.has_zones else 1.0)
    cells = float(share.sum())
    return Totals(
        volume_l=volume_l,
        volume_sd_l=volume_sd_l,
        sprayed_s=sprayed_s,
        distance_m=distance_m,
        covered_area_m2=covered,
        zone_area_m2=ground.wanted_m2 if ground.has_zones else float("nan"),
        zone_missed_m2=missed,
        zone_under_m2=under,
        zone_on_target_m2=on_target,
        zone_over_m2=over,
        off_target_l=off_target,
        keep_out_l=keep_out,
        unplaced_l=deposit.unplaced_l,
        outside_passes_l=outside_passes_l,
        mean_dose_l_per_m2=float((dose * share).sum()) / cells if cells > 0 else float("nan"),
    )


def read_figures(deposit: Deposit, ground: Ground, *, treatment: Treatment) -> list[float]:
    """The areas and volumes that depend on where the rig was.

    Parameters
    ----------
    deposit
        Dose on the grid [L/m²].
    ground
        What each cell is for.
    treatment
        Target [L/m²] and what counts as under and over.

    Returns
    -------
    list[float]
        Missed, under, on target, over, covered [m²]; off target, in keep-outs [L]; NaN without a boundary.

    References
    ----------
    Derivation: `total_job`.

    Examples
    --------
    >>> from server.core.grid import GridFrame
    >>> frame = GridFrame(0.0, 0.0, 1.0, 2, 1)
    >>> ground = Ground(frame, np.ones((1, 2)), np.zeros((1, 2)), True, False)
    >>> deposit = Deposit(np.array([[0.0, 1.0]]), frame, 0.0, 0.0)
    >>> read_figures(deposit, ground, treatment=Treatment(target_l_per_m2=1.0))[:5]
    [1.0, 0.0, 1.0, 0.0, 1.0]
    """
    dose, target, cell = deposit.dose_l_per_m2, treatment.target_l_per_m2, deposit.frame.cell_area_m2
    covered = dose > COVERED_FRACTION * target
    enough = covered & (dose >= treatment.under_fraction * target)
    much = enough & (dose > treatment.over_fraction * target)
    areas, off_target, keep_out = [nan] * 4, nan, nan
    if ground.has_zones:
        above = [ground.wanted_m2, *(ground.measure_wanted(cells) for cells in (covered, enough, much)), 0.0]
        areas = [more - less for more, less in pairwise(above)]
        off_target = float(np.einsum("ij,ij->", dose, 1.0 - ground.wanted)) * cell + deposit.off_grid_l
    if ground.has_keep_outs:
        keep_out = float(np.einsum("ij,ij->", dose, ground.keep_out)) * cell
    elif ground.has_zones:
        keep_out = 0.0
    return [*areas, float(np.count_nonzero(covered)) * cell, off_target, keep_out]
