"""What a job came to: areas missed, under, on target and over, and the liquid that went elsewhere.

Areas in square metres, liquid in litres, dose in litres per square metre.
"""

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
    dose, target, cell = deposit.dose_l_per_m2, treatment.target_l_per_m2, deposit.frame.cell_area_m2
    wanted = ground.wanted if ground.has_zones else np.ones(dose.shape)
    covered = dose > COVERED_FRACTION * target
    # 0 missed, 1 under, 2 on target, 3 over.
    verdict = covered.astype(np.int8)
    verdict += covered & (dose >= treatment.under_fraction * target)
    verdict += covered & (dose > treatment.over_fraction * target)
    sums = np.bincount(verdict.ravel(), weights=wanted.ravel(), minlength=4)
    areas = (sums * cell).tolist() if ground.has_zones else [float("nan")] * 4
    treated = float(sums[1:].sum())
    off_target = float((dose * (1.0 - wanted)).sum()) * cell + deposit.off_grid_l
    keep_out = float((dose * ground.keep_out).sum()) * cell
    return Totals(
        volume_l=volume_l,
        volume_sd_l=volume_sd_l,
        sprayed_s=sprayed_s,
        distance_m=distance_m,
        covered_area_m2=float(np.count_nonzero(covered)) * cell,
        zone_area_m2=ground.wanted_m2 if ground.has_zones else float("nan"),
        zone_missed_m2=areas[0],
        zone_under_m2=areas[1],
        zone_on_target_m2=areas[2],
        zone_over_m2=areas[3],
        off_target_l=off_target if ground.has_zones else float("nan"),
        keep_out_l=keep_out if ground.has_zones or ground.has_keep_outs else float("nan"),
        unplaced_l=deposit.unplaced_l,
        outside_passes_l=outside_passes_l,
        mean_dose_l_per_m2=float((dose * wanted * covered).sum()) / treated if treated > 0 else float("nan"),
    )
