"""One step of the swath laid on a few cells, in plain Python: for figures as they come, a fix at a time.

The same arithmetic as `swath` and `grid`, without their arrays, which cost more than they save on one quadrilateral.
"""

from math import ceil, cos, floor, hypot, radians, sin

import numpy as np

from server.core.grid import RESIDUE
from server.core.log import Floats
from server.core.swath import STANDSTILL_M, STRAIGHT, Pattern

Fix = tuple[float, float, float]
Corners = list[list[float]]
Window = tuple[int, int, int, int]


def straight_quad(before: Fix, after: Fix, *, pattern: Pattern) -> tuple[Corners, float] | None:
    """The quadrilateral that a flat swath sweeps in a straight step.

    Parameters
    ----------
    before
        Nozzle's east and north [m] and heading [deg] at the start of the step.
    after
        The same at its end.
    pattern
        How the liquid lies across the swath.

    Returns
    -------
    tuple[Corners, float] | None
        Four corners, east and north [m], and the signed area [m²]; None where the step has to be cut in strips or
        stands: then `sweep_patches` knows what to do.

    References
    ----------
    Derivation: the single-strip case of `sweep_patches`.

    Examples
    --------
    >>> straight_quad((0.0, 0.0, 0.0), (0.0, 2.0, 0.0), pattern=Pattern(1.0, 1.0))
    ([[-0.5, 0.0], [0.5, 0.0], [0.5, 2.0], [-0.5, 2.0]], 2.0)
    """
    turn = abs((after[2] - before[2] + 180.0) % 360.0 - 180.0)
    half = pattern.base_m / 2
    way = hypot(after[0] - before[0], after[1] - before[1])
    if not pattern.is_flat or radians(turn) * half > STRAIGHT * way:
        return None
    (xa, ya), (dxa, dya) = before[:2], _half_line(before[2], half)
    (xb, yb), (dxb, dyb) = after[:2], _half_line(after[2], half)
    corners = [[xa - dxa, ya - dya], [xa + dxa, ya + dya], [xb + dxb, yb + dyb], [xb - dxb, yb - dyb]]
    p, q, r, s = corners
    area = ((r[0] - p[0]) * (s[1] - q[1]) - (r[1] - p[1]) * (s[0] - q[0])) / 2
    if abs(area) < STANDSTILL_M * pattern.base_m or _crosses(p, q, r, s) or _crosses(q, r, s, p):
        return None
    return corners, area


def bound_window(polygons: list[Corners], *, cell_m: float) -> Window:
    """The cells about some polygons.

    Parameters
    ----------
    polygons
        Corners of each polygon, east and north [m].
    cell_m
        Cell size [m].

    Returns
    -------
    Window
        Columns from, rows from, columns to and rows to, counted from the plane's origin, the last two exclusive.

    References
    ----------
    Derivation: floor and ceiling of the outermost corners.

    Examples
    --------
    >>> bound_window([[[0.5, 1.0], [2.0, 1.0], [2.0, 2.0]]], cell_m=1.0)
    (0, 1, 2, 2)
    """
    east = [corner[0] / cell_m for corners in polygons for corner in corners]
    north = [corner[1] / cell_m for corners in polygons for corner in corners]
    west, south = floor(min(east)), floor(min(north))
    return west, south, max(ceil(max(east)), west + 1), max(ceil(max(north)), south + 1)


def fill_window(polygons: list[Corners], densities: list[float], *, window: Window, cell_m: float) -> Floats:
    """Spread polygons of even density over the cells about them.

    Parameters
    ----------
    polygons
        Corners of each polygon, east and north [m].
    densities
        Density of each, any unit, negative where its corners run clockwise.
    window
        The cells about them, as `bound_window` gives it.
    cell_m
        Cell size [m].

    Returns
    -------
    Floats
        Mean densities [rows, columns] of the window.

    Notes
    -----
    Equal to `fill_cells` to rounding.

    References
    ----------
    Derivation: signed-area accumulation, see `fill_cells`.

    Examples
    --------
    >>> square = [[0.5, 1.0], [2.0, 1.0], [2.0, 2.0], [0.5, 2.0]]
    >>> fill_window([square], [1.0], window=(0, 1, 2, 2), cell_m=1.0)
    array([[0.5, 1. ]])
    """
    west, south, columns, rows = window[0], window[1], window[2] - window[0], window[3] - window[1]
    width = columns + 2
    sums = [0.0] * (width * (rows + 1))
    for corners, density in zip(polygons, densities, strict=True):
        placed = [(corner[0] / cell_m - west, corner[1] / cell_m - south) for corner in corners]
        for (xa, ya), (xb, yb) in zip(placed, placed[1:] + placed[:1], strict=True):
            if yb > ya:
                _cut_side(xa, ya, xb, yb, -density, sums, width)
            elif yb < ya:
                _cut_side(xb, yb, xa, ya, density, sums, width)
    cells: Floats = np.array(sums).reshape(rows + 1, width).cumsum(axis=1)[:rows, :columns]
    cells[np.abs(cells) <= RESIDUE * max(map(abs, densities))] = 0.0
    return cells


def _cut_side(xa: float, ya: float, xb: float, yb: float, weight: float, sums: list[float], width: int) -> None:
    """Cut one climbing side at whole rows and columns and add its pieces to the sums."""
    slope = (xb - xa) / (yb - ya)
    row, x, y = int(ya), xa, ya
    while y < yb:
        ends_here = row + 1 >= yb
        top = yb if ends_here else row + 1.0
        then = xb if ends_here else xa + (top - ya) * slope
        mass = weight * (top - y)
        left, right = (x, then) if x < then else (then, x)
        column = int(left)
        index = row * width + column
        if right <= column + 1:
            beyond = mass * ((left + right) / 2 - column)
            sums[index] += mass - beyond
            sums[index + 1] += beyond
        else:
            per_cell = mass / (right - left)
            while left < right:
                stop = column + 1.0 if column + 1 < right else right
                part = per_cell * (stop - left)
                beyond = part * ((left + stop) / 2 - column)
                sums[index] += part - beyond
                sums[index + 1] += beyond
                left, column, index = stop, column + 1, index + 1
        row, x, y = row + 1, then, top


def _half_line(heading: float, half: float) -> tuple[float, float]:
    """From the nozzle to the right end of its line."""
    angle = radians(heading)
    return cos(angle) * half, -sin(angle) * half


def _crosses(a: list[float], b: list[float], c: list[float], d: list[float]) -> bool:
    """Whether the side from a to b crosses that from c to d."""
    return _side(a, b, c) * _side(a, b, d) < 0 and _side(c, d, a) * _side(c, d, b) < 0


def _side(a: list[float], b: list[float], c: list[float]) -> float:
    """Twice the signed area of a triangle."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
