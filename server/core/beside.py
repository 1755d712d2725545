"""Two jobs on the same ground beside each other: what both missed, what both doubled, what they gave together.

Doses in litres per square metre on grids whose axes are east and north; areas in square metres.
"""

from dataclasses import dataclass

import numpy as np

from server.core.coverage import COVERED_FRACTION
from server.core.grid import GridFrame, frame_around
from server.core.log import Floats
from server.core.results import Bools

DOUBLED_FRACTION = 1.6
"""From so much of the target on ground counts as doubled, as the dashboard's drawings cross it (a definition of this
project)."""
THIRDS = 3


@dataclass(frozen=True, slots=True)
class Laid:
    """What a job laid on cells [ny, nx] of a frame, and the target that it had."""

    dose_l_per_m2: Floats
    frame: GridFrame
    target_l_per_m2: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """Areas of the wanted ground [m²]: of both jobs, of the first or the second alone, and of both together."""

    ground_m2: float
    missed_m2: tuple[float, float]
    missed_both_m2: float
    missed_by_chance_m2: float
    doubled_m2: tuple[float, float]
    doubled_both_m2: float
    doubled_by_chance_m2: float
    together_under_m2: float
    together_on_target_m2: float
    together_over_m2: float
    mean_share: tuple[float, float]
    mean_share_together: float


def overlap_frames(first: GridFrame, second: GridFrame) -> bool:
    """Whether two grids have ground in common.

    Parameters
    ----------
    first, second
        Grids on one plane.

    Returns
    -------
    bool
        Whether they do; grids that only touch do not.

    References
    ----------
    Derivation: two rectangles meet where they do along both axes.

    Examples
    --------
    >>> overlap_frames(GridFrame(0.0, 0.0, 1.0, 4, 4), GridFrame(3.5, 2.0, 0.5, 4, 4))
    True
    >>> overlap_frames(GridFrame(0.0, 0.0, 1.0, 4, 4), GridFrame(4.0, 0.0, 1.0, 4, 4))
    False
    """
    (west, south, east, north), (west_2, south_2, east_2, north_2) = _bounds(first), _bounds(second)
    return min(east, east_2) > max(west, west_2) and min(north, north_2) > max(south, south_2)


def join_frames(first: GridFrame, second: GridFrame) -> GridFrame:
    """The frame that holds two grids, with the coarser one's cells: none is shown finer than it was computed.

    Parameters
    ----------
    first, second
        Grids on one plane.

    Returns
    -------
    GridFrame
        The frame.

    References
    ----------
    Derivation: `server.core.grid.frame_around` the corners.

    Examples
    --------
    >>> join_frames(GridFrame(0.0, 0.0, 0.5, 4, 4), GridFrame(1.0, -1.0, 1.0, 4, 2))
    GridFrame(x0_m=0.0, y0_m=-1.0, cell_m=1.0, nx=5, ny=3)
    """
    corners = np.array([_bounds(first), _bounds(second)])
    cell_m = max(first.cell_m, second.cell_m)
    return frame_around(corners[:, [0, 2]], corners[:, [1, 3]], margin_m=0.0, cell_m=cell_m)


def resample_cells(values: Floats, frame: GridFrame, *, onto: GridFrame) -> Floats:
    """A quantity per area on other cells: the mean over each of them, so that no litre is lost or made.

    Parameters
    ----------
    values
        Quantity per area of each cell [ny, nx] [L/m²]; NaN would spread along its row and column and is refused.
    frame
        Its cells.
    onto
        The cells wanted, on the same plane.

    Returns
    -------
    Floats
        The quantity on those cells, 0 where they lie beyond `frame`.

    Raises
    ------
    ValueError
        If a value is not finite, or the values are not on the frame.

    Notes
    -----
    Exact for values that are even within a cell; edges are blurred by up to a cell of either grid.

    References
    ----------
    Derivation: along each axis the running sum, straight within a cell, is read at the wanted cells' edges.

    Examples
    --------
    >>> fine = GridFrame(0.0, 0.0, 0.5, 4, 2)
    >>> resample_cells(np.array([[1.0, 1.0, 0.0, 2.0]] * 2), fine, onto=GridFrame(-1.0, 0.0, 1.0, 4, 1))
    array([[0., 1., 1., 0.]])
    """
    if values.shape != (frame.ny, frame.nx) or not np.all(np.isfinite(values)):
        raise ValueError(f"finite values on {frame.ny} by {frame.nx} cells are wanted, not {values.shape}")
    east = (onto.x0_m - frame.x0_m + onto.cell_m * np.arange(onto.nx + 1)) / frame.cell_m
    north = (onto.y0_m - frame.y0_m + onto.cell_m * np.arange(onto.ny + 1)) / frame.cell_m
    # Between the edges lie onto.cell_m / frame.cell_m of the old cells: the mean is the sum divided by that.
    per_cell = (frame.cell_m / onto.cell_m) ** 2
    return per_cell * _sum_between(_sum_between(values, north).T, east).T


def compare_doses(first: Laid, second: Laid, wanted: Floats, *, under_share: float, over_share: float) -> Comparison:
    """What two jobs did to the same ground.

    Parameters
    ----------
    first, second
        Doses [L/m²] on one frame, with their targets [L/m²].
    wanted
        The share of each cell [ny, nx] that was to be treated, from 0 to 1.
    under_share, over_share
        What counts as too little and too much of the two targets' sum, as shares of it.

    Returns
    -------
    Comparison
        Areas; `*_by_chance_m2` is what both would share if the one knew nothing of the other. Mean shares are NaN
        without ground.

    Raises
    ------
    ValueError
        If the grids differ or a target is not positive.

    Notes
    -----
    Where a receiver places strips worse than a missed spot is wide, what both missed comes out too small.

    References
    ----------
    Definitions of this project (missed: below 10 % of the target; doubled: from 1.6 times). Derivation: sums over
    cells.

    Examples
    --------
    >>> frame = GridFrame(0.0, 0.0, 1.0, 4, 1)
    >>> spring = Laid(np.array([[0.0, 0.0, 1.0, 2.0]]), frame, 1.0)
    >>> summer = Laid(np.array([[0.0, 2.0, 2.0, 4.0]]), frame, 2.0)
    >>> found = compare_doses(spring, summer, np.ones((1, 4)), under_share=0.9, over_share=1.1)
    >>> found.missed_m2, found.missed_both_m2, found.missed_by_chance_m2, found.doubled_both_m2
    ((2.0, 1.0), 1.0, 0.5, 1.0)
    >>> found.together_under_m2, found.together_on_target_m2, found.together_over_m2
    (2.0, 1.0, 1.0)
    """
    if first.frame != second.frame or wanted.shape != first.dose_l_per_m2.shape:
        raise ValueError("the doses and the ground lie on different grids")
    if not (first.target_l_per_m2 > 0.0 and second.target_l_per_m2 > 0.0):
        raise ValueError("targets must be positive")
    shares = [each.dose_l_per_m2 / each.target_l_per_m2 for each in (first, second)]
    both = (first.dose_l_per_m2 + second.dose_l_per_m2) / (first.target_l_per_m2 + second.target_l_per_m2)
    weight = wanted * first.frame.cell_area_m2
    missed = _share_area([share < COVERED_FRACTION for share in shares], weight)
    doubled = _share_area([share >= DOUBLED_FRACTION for share in shares], weight)
    under, over = both < under_share, both > over_share
    return Comparison(
        ground_m2=float(weight.sum()),
        missed_m2=missed[0],
        missed_both_m2=missed[1],
        missed_by_chance_m2=missed[2],
        doubled_m2=doubled[0],
        doubled_both_m2=doubled[1],
        doubled_by_chance_m2=doubled[2],
        together_under_m2=float(weight[under].sum()),
        together_on_target_m2=float(weight[~under & ~over].sum()),
        together_over_m2=float(weight[over].sum()),
        mean_share=(_weigh(shares[0], weight), _weigh(shares[1], weight)),
        mean_share_together=_weigh(both, weight),
    )


def split_ninths(share: Floats, frame: GridFrame, *, wanted: Floats) -> Floats:
    """An area by ninths of the ground's extent, so that a place can be named: a corner, a side, the middle.

    Parameters
    ----------
    share
        Of each cell [ny, nx] the share that counts, from 0 to 1.
    frame
        The cells.
    wanted
        The share of each cell that was to be treated; the ninths divide what holds all of it.

    Returns
    -------
    Floats
        Areas [3, 3] [m²], south first, west first; zeros without ground.

    References
    ----------
    Derivation: thirds of the extent along both axes, cells belonging to where their middle lies.

    Examples
    --------
    >>> ground = np.ones((3, 3))
    >>> split_ninths(np.eye(3), GridFrame(0.0, 0.0, 2.0, 3, 3), wanted=ground)
    array([[4., 0., 0.],
           [0., 4., 0.],
           [0., 0., 4.]])
    """
    found = np.zeros((THIRDS, THIRDS))
    rows, columns = (np.flatnonzero((wanted > 0.0).any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return found
    places = [_third(np.arange(n), span) for n, span in ((frame.ny, rows), (frame.nx, columns))]
    np.add.at(found, (places[0][:, None], places[1][None, :]), share * wanted * frame.cell_area_m2)
    return found


def _share_area(cells: list[Bools], weight: Floats) -> tuple[tuple[float, float], float, float]:
    """The areas of two sets of cells, of what both have, and of what they would share by chance."""
    first, second = (float(weight[each].sum()) for each in cells)
    ground = float(weight.sum())
    both = float(weight[cells[0] & cells[1]].sum())
    return (first, second), both, first * second / ground if ground > 0.0 else 0.0


def _weigh(share: Floats, weight: Floats) -> float:
    """The mean over the ground, NaN without any."""
    ground = float(weight.sum())
    return float((weight * share).sum()) / ground if ground > 0.0 else float("nan")


def _bounds(frame: GridFrame) -> tuple[float, float, float, float]:
    """West, south, east, north of a grid, m."""
    east, north = frame.x0_m + frame.nx * frame.cell_m, frame.y0_m + frame.ny * frame.cell_m
    return frame.x0_m, frame.y0_m, east, north


def _sum_between(values: Floats, edges: Floats) -> Floats:
    """Sums over rows between edges that are counted in rows."""
    running = np.concatenate((np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)))
    at = np.clip(edges, 0.0, len(values))
    below = np.minimum(at.astype(np.int64), len(values) - 1)
    part = (at - below)[:, None]
    found: Floats = np.diff(running[below] * (1.0 - part) + running[below + 1] * part, axis=0)
    return found


def _third(cells: np.typing.NDArray[np.int64], span: np.typing.NDArray[np.int64]) -> np.typing.NDArray[np.int64]:
    """The third of a span of cells in which each cell's middle lies."""
    low, count = int(span[0]), int(span[-1]) - int(span[0]) + 1
    found: np.typing.NDArray[np.int64] = np.clip(THIRDS * (2 * (cells - low) + 1) // (2 * count), 0, THIRDS - 1)
    return found
