"""What each cell of the grid is for: ground to be treated, ground to be kept dry, or neither.

Fractions of cells [ny, nx] from 0 to 1; rings in metres on the local plane.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

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
    _whole: Bools = field(init=False, repr=False, compare=False)
    _rim: Integers = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Tell cells that are wanted as a whole, which need only be counted, from those along the borders."""
        object.__setattr__(self, "_whole", self.wanted == 1.0)
        object.__setattr__(self, "_rim", np.flatnonzero((self.wanted > 0.0) & ~self._whole))

    @property
    def wanted_m2(self) -> float:
        """The area of the zones less the keep-outs."""
        return self.measure_wanted(np.ones(self.wanted.shape, dtype=np.bool_))

    def measure_wanted(self, cells: Bools) -> float:
        """How much of the zones less the keep-outs lies in cells [ny, nx], m²."""
        along = float(self.wanted.ravel()[self._rim] @ cells.ravel()[self._rim])
        return (float(np.count_nonzero(cells & self._whole)) + along) * self.frame.cell_area_m2


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
    is_keep_out = [zone.kind == "keep_out" for zone in zones]
    wanted, keep_out, contested = _pile_up(shapes, is_keep_out, frame)
    wanted -= keep_out
    wanted[keep_out >= _WHOLE] = 0.0
    np.clip(wanted, 0.0, 1.0, out=wanted)
    wanted[wanted >= _WHOLE] = 1.0
    row, column = np.nonzero(contested)
    if len(row):
        inside = _sample_cells(row, column, shapes, frame)
        exact = np.stack([cell_fractions(rings, frame)[row, column] for rings in shapes])
        is_dry = np.array(is_keep_out)
        wet, dry = inside[~is_dry], inside[is_dry]
        keep_out[row, column] = _union(dry, exact[is_dry])
        wanted[row, column] = _difference(wet, dry, _union(wet, exact[~is_dry]), keep_out[row, column])
    return Ground(frame, wanted, keep_out, not all(is_keep_out), any(is_keep_out))


def _pile_up(
    shapes: list[tuple[Floats, ...]], is_keep_out: list[bool], frame: GridFrame
) -> tuple[Floats, Floats, Bools]:
    """Fractions under zones and under keep-outs, and cells with two or more polygons in them unless one settles them.

    A full zone or a full keep-out alone settles a cell. One polygon is held at a time: a large lawn's cells are many.
    """
    shape = (frame.ny, frame.nx)
    shares, full = (np.zeros(shape), np.zeros(shape)), np.zeros((2, *shape), dtype=np.bool_)
    count, dry_count = np.zeros(shape, dtype=np.int16), np.zeros(shape, dtype=np.int16)
    for rings, dry in zip(shapes, is_keep_out, strict=True):
        fraction = cell_fractions(rings, frame)
        share = shares[dry]
        share += fraction
        full[int(dry)] |= fraction >= _WHOLE
        count += fraction > 0
        if dry:
            dry_count += fraction > 0
    for share in shares:
        np.minimum(share, 1.0, out=share)
    contested: Bools = (count > 1) & ~full[1] & ~(full[0] & (dry_count <= 1))
    return shares[0], shares[1], contested


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
