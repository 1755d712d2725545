"""The grid of cells on the local plane, and the signed-area kernel that fills it exactly.

East, north in metres; cell coordinates in cells from the frame's lower left corner; arrays [ny, nx], row 0 southmost.
"""

from dataclasses import dataclass
from math import ceil, floor

import numpy as np
from numpy.typing import ArrayLike

from server.core.log import Floats, Integers

BLOCK = 2048
"""So many sides are cut at once: their pieces stay in the cache."""
LEVEL = 1e-100
"""A side that rises by less, in cells, is level."""
RESIDUE = 3e-13
"""What rounding may leave behind in an untouched cell, as a fraction of the densest figure deposited."""


@dataclass(frozen=True, slots=True)
class GridFrame:
    """Where the cells lie: lower left corner of cell [0, 0] and cell size in metres, columns and rows."""

    x0_m: float
    y0_m: float
    cell_m: float
    nx: int
    ny: int

    @property
    def cell_area_m2(self) -> float:
        """The area of one cell."""
        return self.cell_m * self.cell_m


def frame_around(east: ArrayLike, north: ArrayLike, *, margin_m: float, cell_m: float) -> GridFrame:
    """The smallest frame, aligned to whole cells from the plane's origin, that holds all places with a margin.

    Parameters
    ----------
    east
        East of the places, any shape [m]; NaN is passed over.
    north
        North of the places, same shape [m]; NaN is passed over.
    margin_m
        Ground to keep beyond the outermost places [m].
    cell_m
        Cell size [m].

    Returns
    -------
    GridFrame
        The frame; round the origin alone if no place is known.

    Raises
    ------
    ValueError
        If the cell is not positive or the margin negative.

    References
    ----------
    Derivation: floor and ceiling of the places in whole cells, so that frames of one plane share their cell borders.

    Examples
    --------
    >>> frame_around([0.05, 1.0], [0.0, 0.31], margin_m=0.0, cell_m=0.1)
    GridFrame(x0_m=0.0, y0_m=0.0, cell_m=0.1, nx=10, ny=4)
    """
    if not cell_m > 0 or margin_m < 0:
        raise ValueError(f"cell {cell_m} m must be positive and margin {margin_m} m not negative")
    x = np.asarray(east, dtype=np.float64).ravel()
    y = np.asarray(north, dtype=np.float64).ravel()
    known = np.isfinite(x) & np.isfinite(y)
    x, y = (x[known], y[known]) if known.any() else (np.zeros(1), np.zeros(1))
    first_column, columns = _whole_cells(x.min() - margin_m, x.max() + margin_m, cell_m)
    first_row, rows = _whole_cells(y.min() - margin_m, y.max() + margin_m, cell_m)
    return GridFrame(first_column * cell_m, first_row * cell_m, cell_m, columns, rows)


def _whole_cells(low: float, high: float, cell: float) -> tuple[int, int]:
    """First whole cell at or below `low` and how many reach `high`, blind to rounding of the division."""
    first = floor(low / cell + 1e-9)
    return first, max(ceil(high / cell - 1e-9) - first, 1)


def fill_cells(corners: Floats, density: Floats, frame: GridFrame) -> Floats:
    """Spread polygons of even density over the cells, each cell getting its exact share.

    Signed-area accumulation: every edge is cut at the cell borders; a piece that climbs dy in column c at the mean
    place x̄ of its cell adds density dy (1 - x̄) to that cell and density dy x̄ to the next; one cumulative sum along
    the rows then turns edges into covered fractions. What lies outside the frame is cut off at its border.

    Parameters
    ----------
    corners
        Corners of polygons of k corners each [n, k, 2], east and north [m]; all finite. A repeated corner is harmless.
    density
        Density of each polygon [n], any unit, to be given its sign by the caller: positive fills where the corners run
        anticlockwise and takes away where they run clockwise.
    frame
        The cells.

    Returns
    -------
    Floats
        Mean density in each cell [ny, nx], the unit of `density`; what only rounding left is set to 0.

    Notes
    -----
    Exact but for rounding (a few 1e-14 of the density). Without setting the rounding's residue to 0 untouched cells
    would count as touched.

    References
    ----------
    Derivation: Green's theorem cell by cell, the way coverage-accumulating font rasterisers fill outlines.

    Examples
    --------
    >>> square = np.array([[[0.5, 0.0], [2.0, 0.0], [2.0, 1.0], [0.5, 1.0]]])
    >>> fill_cells(square, np.array([1.0]), GridFrame(0.0, 0.0, 1.0, 3, 1))
    array([[0.5, 1. , 0. ]])
    """
    if not len(corners):
        return np.zeros((frame.ny, frame.nx))
    x = (corners[:, :, 0] - frame.x0_m) / frame.cell_m
    y = (corners[:, :, 1] - frame.y0_m) / frame.cell_m
    weight = _share_sides(corners, density)
    sides = np.flatnonzero(weight)
    xa, ya = x.ravel(), y.ravel()
    xb, yb = np.roll(x, -1, axis=1).ravel(), np.roll(y, -1, axis=1).ravel()
    sums = np.zeros((frame.ny, frame.nx + 1))
    for first in range(0, len(sides), BLOCK):
        block = sides[first : first + BLOCK]
        _add_edges(sums, xa[block], ya[block], xb[block], yb[block], weight.ravel()[block])
    cells = np.cumsum(sums, axis=1, out=sums)[:, : frame.nx]
    residue = RESIDUE * np.abs(density).max()
    cells[(cells <= residue) & (cells >= -residue)] = 0.0
    return cells


def _share_sides(corners: Floats, density: Floats) -> Floats:
    """Weight of each side [n, k]: where a polygon goes on where the one before ended, one side carries the difference.

    Of quadrilaterals, side 2 of one may be side 0 of the next (the swath walks on), or side 1 be side 3 of the next
    (strips lie abreast), run backwards; the first then weighs nothing and need not be cut at all.
    """
    weight = np.repeat(density[:, None], corners.shape[1], axis=1)
    if corners.shape[1] != 4:
        return weight
    for mine, start, stop, its in ((2, 2, 3, 0), (1, 1, 2, 3)):
        is_shared = (corners[:-1, start] == corners[1:, (its + 1) % 4]).all(axis=1)
        is_shared &= (corners[:-1, stop] == corners[1:, its]).all(axis=1)
        shared = np.flatnonzero(is_shared)
        weight[shared + 1, its] -= density[shared]
        weight[shared, mine] = 0.0
    return weight


def _add_edges(sums: Floats, xa: Floats, ya: Floats, xb: Floats, yb: Floats, weight: Floats) -> None:
    """Cut edges at whole rows, then at whole columns, and add their pieces to what is summed along the rows later."""
    climbs = yb > ya
    weight = np.where(climbs, -weight, weight)
    low, high = np.where(climbs, ya, yb), np.where(climbs, yb, ya)
    x_low, x_high = np.where(climbs, xa, xb), np.where(climbs, xb, xa)
    rise = high - low
    first = np.maximum(np.floor(low), 0.0)
    rows = np.where(rise > LEVEL, np.minimum(np.ceil(high), float(len(sums))) - first, 0.0)
    slope = (x_high - x_low) / np.maximum(rise, LEVEL)
    counts, row = _enumerate_pieces(rows, first)
    low, x_low, slope = np.repeat(low, counts), np.repeat(x_low, counts), np.repeat(slope, counts)
    bottom, top = np.maximum(low, row), np.minimum(np.repeat(high, counts), row + 1.0)
    mass = np.repeat(weight, counts) * (top - bottom)
    enters, leaves = x_low + (bottom - low) * slope, x_low + (top - low) * slope
    _add_rows(sums, np.minimum(enters, leaves), np.maximum(enters, leaves), mass, row)


def _add_rows(sums: Floats, left: Floats, right: Floats, mass: Floats, row: Floats) -> None:
    """Add pieces that each lie in one row, those over several columns cut at whole ones."""
    first = np.floor(left)
    wide = np.flatnonzero(right > first + 1.0)
    if not len(wide):
        _add_cells(sums, row, first, (left + right) * 0.5 - first, mass)
        return
    narrow = np.flatnonzero(right <= first + 1.0)
    _add_cells(sums, row[narrow], first[narrow], (left[narrow] + right[narrow]) * 0.5 - first[narrow], mass[narrow])
    left, right, mass, row = left[wide], right[wide], mass[wide], row[wide]
    end = float(sums.shape[1] - 1)
    first = np.clip(first[wide], -1.0, end)
    counts, column = _enumerate_pieces(np.clip(np.ceil(right), first + 1.0, end + 1.0) - first, first)
    last = np.cumsum(counts)
    start, stop = column.copy(), column + 1.0
    start[last - counts], stop[last - 1] = left, right
    share = np.repeat(mass / (right - left), counts)
    _add_cells(sums, np.repeat(row, counts), column, (start + stop) * 0.5 - column, share * (stop - start))


def _add_cells(sums: Floats, row: Floats, column: Floats, place: Floats, mass: Floats) -> None:
    """Add pieces that each lie in one cell, at a mean place in it; left of the frame counts in column 0."""
    width = sums.shape[1]
    inside = column < width - 1
    if not inside.all():
        row, column, place, mass = row[inside], column[inside], place[inside], mass[inside]
    is_left = column < 0.0
    if is_left.any():
        column, place = np.where(is_left, 0.0, column), np.where(is_left, 0.0, place)
    index = (row * width + column).astype(np.int64)
    beyond = mass * place
    cells = sums.ravel()
    np.add.at(cells, index, mass - beyond)
    np.add.at(cells, index + 1, beyond)


def _enumerate_pieces(counts: Floats, first: Floats) -> tuple[Integers, Floats]:
    """How many pieces each owner has, at least none, and the number of each piece, from the owner's first."""
    whole = np.maximum(counts, 0.0).astype(np.int64)
    ends = np.cumsum(whole)
    number: Floats = np.arange(float(ends[-1]) if len(ends) else 0.0)
    number += np.repeat(first - (ends - whole), whole)
    return whole, number
