"""Cells that hang together, and their outlines.

Masks [ny, nx] over a grid frame; outlines in metres on the local plane, anticlockwise.
"""

import numpy as np

from server.core.geodesy import signed_area
from server.core.grid import GridFrame
from server.core.log import Floats, Integers
from server.core.results import Bools


def label_regions(mask: Bools) -> tuple[Integers, int]:
    """Number the regions of cells that share sides.

    Rows are cut in runs; runs of neighbouring rows that share a column are joined.

    Parameters
    ----------
    mask
        Cells that belong to any region [ny, nx].

    Returns
    -------
    tuple[Integers, int]
        The region's number of each cell [ny, nx], 0 where there is none, numbered from 1 in the order of their first
        cells from the south-west; and how many there are.

    References
    ----------
    Derivation: union of runs, the classical two-pass labelling of connected components.

    Examples
    --------
    >>> label_regions(np.array([[True, False, True], [True, False, False]]))[0]
    array([[1, 0, 2],
           [1, 0, 0]])
    """
    padded = np.zeros((mask.shape[0], mask.shape[1] + 2), dtype=np.int8)
    padded[:, 1:-1] = mask
    change = np.diff(padded, axis=1)
    row, start = np.nonzero(change == 1)
    stop = np.nonzero(change == -1)[1]
    owner = list(range(len(row)))
    _join_runs(row.tolist(), start.tolist(), stop.tolist(), owner)
    roots = np.array([_find_root(owner, run) for run in range(len(row))], dtype=np.int64)
    order, numbers = np.unique(roots, return_inverse=True)
    labels = np.zeros(mask.shape, dtype=np.int64)
    labels[mask] = np.repeat(numbers.ravel() + 1, stop - start)
    return labels, len(order)


def _join_runs(row: list[int], start: list[int], stop: list[int], owner: list[int]) -> None:
    """Join each run to those of the row below that share a column with it; both lists run in reading order."""
    below = 0
    for run in range(len(row)):
        while row[below] < row[run] - 1 or (row[below] == row[run] - 1 and stop[below] <= start[run]):
            below += 1
        other = below
        while row[other] == row[run] - 1 and start[other] < stop[run]:
            one, two = _find_root(owner, run), _find_root(owner, other)
            owner[max(one, two)] = min(one, two)
            other += 1


def _find_root(owner: list[int], run: int) -> int:
    """The first run of the region that a run belongs to, shortening the way for the next time."""
    while owner[run] != run:
        owner[run] = owner[owner[run]]
        run = owner[run]
    return run


def trace_outline(mask: Bools, frame: GridFrame) -> Floats:
    """The outside ring of one region of cells.

    Sides between a cell of the region and one outside are strung together, the region on their left. Where two cells
    touch at a corner only, the ring goes over from one to the other: the region joins them elsewhere, so that what lies
    on one side of the corner is a hole, and the ring never meets itself.

    Parameters
    ----------
    mask
        Cells of one region, joined by their sides [ny, nx].
    frame
        Where the cells lie.

    Returns
    -------
    Floats
        Closed ring [k, 2], east and north [m], anticlockwise, corners only; empty for an empty mask.

    Notes
    -----
    Holes of the region are left out: its area is that of its cells, not of the ring.

    References
    ----------
    Derivation: boundary following on the dual graph of cell corners.

    Examples
    --------
    >>> trace_outline(np.array([[True, True]]), GridFrame(0.0, 0.0, 0.5, 2, 1)).tolist()
    [[0.0, 0.0], [1.0, 0.0], [1.0, 0.5], [0.0, 0.5], [0.0, 0.0]]
    """
    leaves = _collect_sides(mask)
    rings = []
    while leaves:
        ring = _follow_ring(leaves)
        rings.append(np.array(ring, dtype=np.float64))
    if not rings:
        return np.zeros((0, 2))
    outside = max(rings, key=lambda ring: signed_area(ring[:, 0], ring[:, 1]))
    corners = outside * frame.cell_m + np.array([frame.x0_m, frame.y0_m])
    return np.concatenate([corners, corners[:1]])


def _collect_sides(mask: Bools) -> dict[tuple[int, int], list[tuple[int, int]]]:
    """For each corner of cells the directions in which the region's sides leave it, the region on their left."""
    padded = np.zeros((mask.shape[0] + 2, mask.shape[1] + 2), dtype=np.bool_)
    padded[1:-1, 1:-1] = mask
    here = padded[1:-1, 1:-1]
    sides = (
        (here & ~padded[:-2, 1:-1], (0, 0), (1, 0)),
        (here & ~padded[1:-1, 2:], (1, 0), (0, 1)),
        (here & ~padded[2:, 1:-1], (1, 1), (-1, 0)),
        (here & ~padded[1:-1, :-2], (0, 1), (0, -1)),
    )
    leaves: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for open_side, (dx, dy), direction in sides:
        rows, columns = np.nonzero(open_side)
        for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
            leaves.setdefault((column + dx, row + dy), []).append(direction)
    return leaves


def _follow_ring(leaves: dict[tuple[int, int], list[tuple[int, int]]]) -> list[tuple[int, int]]:
    """Take one ring out of the sides, its corners in order, from its westmost, where no two cells touch by a corner."""
    first = min(leaves)
    place, heading = first, (0, 0)
    corners: list[tuple[int, int]] = []
    while True:
        directions = leaves[place]
        right = (heading[1], -heading[0])
        turn = right if right in directions else directions[0]
        if turn != heading:
            corners.append(place)
        directions.remove(turn)
        if not directions:
            del leaves[place]
        heading = turn
        place = (place[0] + heading[0], place[1] + heading[1])
        if place == first:
            return corners
