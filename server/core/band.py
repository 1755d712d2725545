"""Bands of ground along lines: laid beside each other, sampled, painted on the grid.

East and north in metres on the local plane; lines [k, 2].
"""

import numpy as np

from server.core.grid import GridFrame
from server.core.log import Floats, Integers
from server.core.results import Bools


def resample_line(line_m: Floats, *, step_m: float) -> Floats:
    """Points along a line at even steps, its two ends among them.

    Parameters
    ----------
    line_m
        Corners [k, 2] [m].
    step_m
        The longest step [m].

    Returns
    -------
    Floats
        Points [n, 2] [m], at least two; none of a line without corners.

    References
    ----------
    Derivation: linear interpolation over the way along the line.

    Examples
    --------
    >>> resample_line(np.array([[0.0, 0.0], [0.0, 2.0]]), step_m=1.0).tolist()
    [[0.0, 0.0], [0.0, 1.0], [0.0, 2.0]]
    """
    if not len(line_m):
        return np.zeros((0, 2))
    way = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line_m, axis=0).T))))
    places = np.linspace(0.0, way[-1], max(2, int(np.ceil(way[-1] / step_m - 1e-9)) + 1))
    return np.stack([np.interp(places, way, line_m[:, axis]) for axis in (0, 1)], axis=1)


def thin_line(line_m: Floats, *, tolerance_m: float) -> Floats:
    """A line with as few of its points as keep its shape.

    Parameters
    ----------
    line_m
        Corners [k, 2] [m].
    tolerance_m
        How far the thinned line may be from those [m].

    Returns
    -------
    Floats
        Some of the corners, the first and the last one among them.

    References
    ----------
    D. H. Douglas and T. K. Peucker, Algorithms for the reduction of the number of points required to represent a
    digitized line or its caricature, Cartographica 10 (2), 1973, 112-122.

    Examples
    --------
    >>> thin_line(np.array([[0.0, 0.0], [0.0, 1.0], [0.0, 2.0], [1.0, 2.0]]), tolerance_m=0.05).tolist()
    [[0.0, 0.0], [0.0, 2.0], [1.0, 2.0]]
    """
    kept: Floats = line_m[thin_rows(line_m, tolerance_m=tolerance_m)]
    return kept


def thin_rows(line_m: Floats, *, tolerance_m: float) -> Integers:
    """Which points of a line are enough to keep its shape: none left out lies farther away than the tolerance.

    Parameters
    ----------
    line_m
        East and north [k, 2] [m].
    tolerance_m
        How far a point may lie from the line without it [m].

    Returns
    -------
    ndarray of int
        Rows in order, the first and the last among them.

    References
    ----------
    As `thin_line`.

    Examples
    --------
    >>> thin_rows(np.array([[0.0, 0.0], [1.0, 0.01], [2.0, 0.0], [2.0, 3.0]]), tolerance_m=0.1).tolist()
    [0, 2, 3]
    """
    if len(line_m) < 3:
        return np.arange(len(line_m))
    is_kept = np.zeros(len(line_m), dtype=np.bool_)
    is_kept[[0, -1]] = True
    waiting = [(0, len(line_m) - 1)]
    while waiting:
        first, last = waiting.pop()
        if last - first < 2:
            continue
        off = _distances(line_m[first + 1 : last], line_m[first], line_m[last])
        if off.max() > tolerance_m:
            cut = first + 1 + int(off.argmax())
            is_kept[cut] = True
            waiting += [(first, cut), (cut, last)]
    return np.flatnonzero(is_kept)


def measure_line(line_m: Floats) -> float:
    """How long a line is.

    Parameters
    ----------
    line_m
        Corners [k, 2] [m].

    Returns
    -------
    float
        Length [m]; 0 of a point, or of none.

    References
    ----------
    Derivation: the sum of its straight pieces.

    Examples
    --------
    >>> measure_line(np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 5.0]]))
    6.0
    """
    return float(np.hypot(*np.diff(line_m, axis=0).T).sum()) if len(line_m) > 1 else 0.0


def shift_line(line_m: Floats, *, right_m: float) -> Floats:
    """The line beside a line, each corner moved across the way there.

    Parameters
    ----------
    line_m
        Corners [k, 2] [m], at least two.
    right_m
        How far to the right of its direction [m]; negative: to the left.

    Returns
    -------
    Floats
        As many corners [k, 2] [m].

    Notes
    -----
    Made for lines that bend gently; inside a bend tighter than the shift it crosses itself.

    References
    ----------
    Derivation: each corner moves along the normal of the mean direction of its two pieces.

    Examples
    --------
    >>> shift_line(np.array([[0.0, 0.0], [0.0, 9.0]]), right_m=0.5).tolist()
    [[0.5, 0.0], [0.5, 9.0]]
    """
    ahead = np.gradient(line_m, axis=0)
    ahead /= np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-12)[:, None]
    shifted: Floats = line_m + right_m * np.stack([ahead[:, 1], -ahead[:, 0]], axis=1)
    return shifted


def spread_band(line_m: Floats, *, width_m: float, step_m: float) -> Floats:
    """Places that fill a band about a line.

    Parameters
    ----------
    line_m
        Corners of its middle [k, 2] [m].
    width_m
        Its width [m].
    step_m
        The longest step between places, along and across [m].

    Returns
    -------
    Floats
        Places [n, 2] [m], each standing for as much of the band as any other.

    References
    ----------
    Derivation: rows along the line, each in the middle of its share of the width.

    Examples
    --------
    >>> spread_band(np.array([[0.0, 0.0], [0.0, 1.0]]), width_m=1.0, step_m=0.5)[:, 0].tolist()
    [-0.25, -0.25, 0.25, 0.25]
    """
    corners = resample_line(line_m, step_m=step_m)
    if not len(corners):
        return corners
    middle = (corners[1:] + corners[:-1]) / 2.0
    middle = np.concatenate((middle, middle)) if len(middle) == 1 else middle
    rows = max(1, int(np.ceil(width_m / step_m - 1e-9)))
    offsets = width_m * ((np.arange(rows) + 0.5) / rows - 0.5)
    return np.concatenate([shift_line(middle, right_m=float(offset)) for offset in offsets])


def read_cells(values: Floats, places_m: Floats, frame: GridFrame) -> Floats:
    """What a map says at given places.

    Parameters
    ----------
    values
        A figure a cell [ny, nx], in any unit.
    places_m
        East and north [n, 2] [m].
    frame
        Where the cells lie.

    Returns
    -------
    Floats
        The figures [n] of the cells that the places lie in, NaN off the grid.

    References
    ----------
    Derivation: none, it is a lookup.

    Examples
    --------
    >>> read_cells(np.array([[1.0, 2.0]]), np.array([[1.5, 0.5], [9.0, 9.0]]), GridFrame(0.0, 0.0, 1.0, 2, 1)).tolist()
    [2.0, nan]
    """
    column, row = _find_cells(places_m, frame)
    inside = (column >= 0) & (column < frame.nx) & (row >= 0) & (row < frame.ny)
    found = np.full(len(places_m), np.nan)
    found[inside] = values[row[inside], column[inside]]
    return found


def paint_band(mask: Bools, line_m: Floats, *, width_m: float, frame: GridFrame) -> None:
    """Mark the cells that a band touches, in place.

    Parameters
    ----------
    mask
        Cells [ny, nx]; those of the band become true.
    line_m
        Corners of the band's middle [k, 2] [m].
    width_m
        Its width [m].
    frame
        Where the cells lie.

    References
    ----------
    Derivation: places half a cell apart.

    Examples
    --------
    >>> cells = np.zeros((1, 3), dtype=np.bool_)
    >>> paint_band(cells, np.array([[0.5, 0.5], [1.5, 0.5]]), width_m=0.5, frame=GridFrame(0.0, 0.0, 1.0, 3, 1))
    >>> cells.tolist()
    [[True, True, False]]
    """
    places = spread_band(line_m, width_m=width_m, step_m=frame.cell_m / 2.0)
    column, row = _find_cells(places, frame)
    inside = (column >= 0) & (column < frame.nx) & (row >= 0) & (row < frame.ny)
    mask[row[inside], column[inside]] = True


def _distances(places: Floats, start: Floats, end: Floats) -> Floats:
    """How far places lie from the straight way between two others."""
    ahead = end - start
    share = np.clip((places - start) @ ahead / max(float(ahead @ ahead), 1e-18), 0.0, 1.0)
    found: Floats = np.hypot(*(places - start - share[:, None] * ahead).T)
    return found


def _find_cells(places_m: Floats, frame: GridFrame) -> tuple[np.ndarray, np.ndarray]:
    """Column and row of each place."""
    column = np.floor((places_m[:, 0] - frame.x0_m) / frame.cell_m).astype(np.int64)
    row = np.floor((places_m[:, 1] - frame.y0_m) / frame.cell_m).astype(np.int64)
    return column, row
