"""The grid of cells on the local plane, and the signed-area kernel that fills it exactly.

East, north in metres; cell coordinates in cells from the frame's lower left corner; arrays [ny, nx], row 0 southmost.
"""

from dataclasses import dataclass
from math import ceil, floor

import numpy as np
from numpy.typing import ArrayLike

from server.core.log import Floats, Integers

BLOCK = 1024
"""So many sides are cut at once: their pieces stay in the cache."""
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
    first = np.maximum(np.floor(low), 0.0)
    rows = np.minimum(np.ceil(high), float(len(sums))) - first
    edge, step = _enumerate_pieces(np.where(high > low, rows, 0.0))
    row = first[edge] + step
    bottom, top = np.maximum(low[edge], row), np.minimum(high[edge], row + 1.0)
    slope = (x_high[edge] - x_low[edge]) / (high[edge] - low[edge])
    enters = np.where(bottom > low[edge], x_low[edge] + (bottom - low[edge]) * slope, x_low[edge])
    leaves = np.where(top < high[edge], x_low[edge] + (top - low[edge]) * slope, x_high[edge])
    _add_rows(sums, enters, leaves, weight[edge] * (top - bottom), row)


def _add_rows(sums: Floats, enters: Floats, leaves: Floats, mass: Floats, row: Floats) -> None:
    """Cut pieces that each lie in one row at whole columns and add them; left of the frame counts in column 0."""
    width = sums.shape[1]
    left, right = np.minimum(enters, leaves), np.maximum(enters, leaves)
    first = np.clip(np.floor(left), -1.0, float(width - 1))
    last = np.clip(np.ceil(right) - 1.0, first, float(width - 1))
    piece, step = _enumerate_pieces(last - first + 1.0)
    column = first[piece] + step
    left, right, span = left[piece], right[piece], (right - left)[piece]
    start = np.where(column > first[piece], column, left)
    stop = np.where(column < last[piece], column + 1.0, right)
    share = np.where(span > 0.0, (stop - start) / np.where(span > 0.0, span, 1.0), 1.0)
    mass = mass[piece] * share
    beyond = np.where(column < 0.0, 0.0, (start + stop) / 2.0 - column)
    inside = column < width - 1
    index = (row[piece] * width + np.maximum(column, 0.0))[inside].astype(np.int64)
    mass, beyond = mass[inside], beyond[inside]
    cells = sums.ravel()
    np.add.at(cells, index, mass * (1.0 - beyond))
    np.add.at(cells, index + 1, mass * beyond)


def _enumerate_pieces(counts: Floats) -> tuple[Integers, Floats]:
    """For each of `counts` pieces its owner's index and its number within the owner, from 0."""
    whole = np.maximum(counts, 0.0).astype(np.int64)
    owner = np.repeat(np.arange(len(whole)), whole)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(whole) - whole, whole)
    return owner, step.astype(np.float64)
