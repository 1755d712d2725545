"""What each cell of the grid is for: ground to be treated, ground to be kept dry, or neither.

Fractions of cells [ny, nx] from 0 to 1; rings in metres on the local plane.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.core.grid import GridFrame
from server.core.log import Floats, Integers
from server.core.polygons import cell_fractions, point_in_rings, rings_from_zone
from server.core.results import Bools, Plane
from server.core.setup import Zone

_SAMPLES = 16
_WHOLE = 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Ground:
    """Fractions of each cell: `wanted` in the zones less the keep-outs, `keep_out` in the keep-outs."""

    frame: GridFrame
    wanted: Floats
    keep_out: Floats
    has_zones: bool
    has_keep_outs: bool

    @property
    def wanted_m2(self) -> float:
        """The area of the zones less the keep-outs."""
        return float(self.wanted.sum()) * self.frame.cell_area_m2


def lay_ground(zones: Sequence[Zone], *, plane: Plane, frame: GridFrame) -> Ground:
    """The zones and keep-outs of a site on the grid, ground under two polygons counted once.

    Cells with one polygon get its exact fraction, as do those where polygons only touch; where two truly overlap
    within a cell that neither fills, 16 x 16 places of the cell are asked.

    Parameters
    ----------
    zones
        Polygons of the site, `kind` "zone" or "keep_out" [deg].
    plane
        The local plane.
    frame
        The cells; what of a polygon lies beyond them is left out.

    Returns
    -------
    Ground
        Fractions of cells.

    Notes
    -----
    Exact but where the borders of two polygons cross: there within 1/16 of a cell.

    References
    ----------
    Derivation: inclusion and exclusion cell by cell.

    Examples
    --------
    >>> lawn = Zone("lawn", "zone", (((-30.0, 45.0), (-29.9999, 45.0), (-29.9999, 45.0001), (-30.0, 45.0001)),))
    >>> ground = lay_ground([lawn, lawn], plane=Plane(45.0, -30.0), frame=GridFrame(-5.0, -5.0, 0.5, 50, 50))
    >>> round(ground.wanted_m2, 2)
    87.62
    """
    shapes = [rings_from_zone(zone, plane=plane) for zone in zones]
    fractions = [cell_fractions(rings, frame) for rings in shapes]
    is_keep_out = [zone.kind == "keep_out" for zone in zones]
    empty = np.zeros((frame.ny, frame.nx))
    zone_sum = sum((f for f, dry in zip(fractions, is_keep_out, strict=True) if not dry), start=empty)
    dry_sum = sum((f for f, dry in zip(fractions, is_keep_out, strict=True) if dry), start=empty)
    zone_union, keep_out = np.minimum(zone_sum, 1.0), np.minimum(dry_sum, 1.0)
    wanted = np.clip(np.where(keep_out >= _WHOLE, 0.0, zone_union - keep_out), 0.0, 1.0)
    row, column = np.nonzero(_find_contested(fractions, is_keep_out))
    if len(row):
        inside = _sample_cells(row, column, shapes, frame)
        exact = np.stack([f[row, column] for f in fractions])
        is_dry = np.array(is_keep_out)
        wet, dry = inside[~is_dry], inside[is_dry]
        keep_out[row, column] = _union(dry, exact[is_dry])
        zone_union[row, column] = _union(wet, exact[~is_dry])
        wanted[row, column] = _difference(wet, dry, zone_union[row, column], keep_out[row, column])
    return Ground(frame, wanted, keep_out, not all(is_keep_out), any(is_keep_out))


def _find_contested(fractions: list[Floats], is_keep_out: list[bool]) -> Bools:
    """Cells with two or more polygons in them, unless a full zone or a full keep-out alone settles them."""
    if len(fractions) < 2:
        return np.zeros(fractions[0].shape if fractions else (0, 0), dtype=np.bool_)
    several = np.sum([f > 0 for f in fractions], axis=0) > 1
    full = [f >= _WHOLE for f in fractions]
    dry_full = np.any([f for f, dry in zip(full, is_keep_out, strict=True) if dry] or [several & False], axis=0)
    wet_full = np.any([f for f, dry in zip(full, is_keep_out, strict=True) if not dry] or [several & False], axis=0)
    dry_count = np.sum([f > 0 for f, dry in zip(fractions, is_keep_out, strict=True) if dry], axis=0)
    contested: Bools = several & ~dry_full & ~(wet_full & (dry_count <= 1))
    return contested


def _sample_cells(row: Integers, column: Integers, shapes: list[tuple[Floats, ...]], frame: GridFrame) -> Bools:
    """Which of 16 x 16 places of each cell lie in each polygon [polygons, cells, places]."""
    ticks = (np.arange(_SAMPLES) + 0.5) / _SAMPLES
    dx, dy = (tick.ravel() for tick in np.meshgrid(ticks, ticks))
    east = frame.x0_m + (column[:, None] + dx) * frame.cell_m
    north = frame.y0_m + (row[:, None] + dy) * frame.cell_m
    return np.stack([point_in_rings(east, north, rings) for rings in shapes])


def _union(inside: Bools, exact: Floats) -> Floats:
    """Fraction of cells under any of the polygons, exact where they are apart or one holds the others."""
    if not len(inside):
        return np.zeros(inside.shape[1])
    either = inside.any(axis=0)
    are_apart = ~(inside.sum(axis=0) > 1).any(axis=1)
    one_holds = (inside == either).all(axis=2).any(axis=0)
    held = np.where(one_holds, exact.max(axis=0), either.mean(axis=1))
    fraction: Floats = np.where(are_apart, np.minimum(exact.sum(axis=0), 1.0), held)
    return fraction


def _difference(wet: Bools, dry: Bools, wet_fraction: Floats, dry_fraction: Floats) -> Floats:
    """Fraction of cells under a zone and no keep-out, exact where one holds the other or they are apart."""
    if not len(wet) or not len(dry):
        return wet_fraction
    zone, keep_out = wet.any(axis=0), dry.any(axis=0)
    both = (zone & keep_out).mean(axis=1)
    holds = both == keep_out.mean(axis=1)
    sampled = (zone & ~keep_out).mean(axis=1)
    left = np.where(both == 0, wet_fraction, np.where(holds, wet_fraction - dry_fraction, sampled))
    return np.clip(left, 0.0, 1.0)
