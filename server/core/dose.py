"""Litres along a way to litres per square metre on a grid, exact and with nothing lost.

East, north in metres, headings in degrees from true north, dose in litres per square metre, arrays [ny, nx].
"""

from dataclasses import dataclass
from math import ceil, isfinite

import numpy as np

from server.core.grid import GridFrame, fill_cells, frame_around
from server.core.log import Floats, Integers
from server.core.results import Bools
from server.core.stroke import Corners, Fix, Window, bound_window, fill_window, straight_quad
from server.core.swath import Patches, Pattern, sweep_patches

__all__ = ["Changes", "Deposit", "DoseGrid", "GridFrame", "deposit_patches", "frame_around", "integrate_dose"]

MAX_GAP_S = 5.0
"""Without a position for longer than this nobody can say where the liquid went."""
_SMALL = 20_000
"""Plain Python lays windows of up to so many cells faster than arrays would, or fast enough."""


@dataclass(frozen=True, slots=True)
class Deposit:
    """What fell where: dose [ny, nx] in the frame, litres beside it and litres that no place can be given for."""

    dose_l_per_m2: Floats
    frame: GridFrame
    off_grid_l: float
    unplaced_l: float

    @property
    def placed_l(self) -> float:
        """The liquid on the grid."""
        return float(self.dose_l_per_m2.sum()) * self.frame.cell_area_m2


def integrate_dose(
    east: Floats,
    north: Floats,
    heading: Floats,
    litres: Floats,
    *,
    t: Floats,
    pattern: Pattern,
    frame: GridFrame,
    max_gap_s: float = MAX_GAP_S,
    start_l: float | None = None,
    end_l: float | None = None,
) -> Deposit:
    """Lay the liquid of a whole way on the grid.

    Between two epochs the swath sweeps a quadrilateral that takes the liquid let out between them; `sweep_patches`
    says how it is cut, `fill_cells` gives every cell its exact share. Dose x area + off the grid + unplaced is the
    liquid metered.

    Parameters
    ----------
    east
        Nozzle's east at each epoch [n] [m]; NaN where the position is not known.
    north
        Nozzle's north [n] [m]; NaN likewise.
    heading
        Where the rig points [n] [deg]; NaN likewise.
    litres
        Cumulative volume on the ground at each epoch [n] [L]; an epoch with NaN is passed over.
    t
        Job seconds of the epochs [n] [s], not falling.
    pattern
        How the liquid lies across the swath.
    frame
        The cells.
    max_gap_s
        A longer step between epochs leaves its liquid unplaced [s].
    start_l
        Cumulative volume at the job's start [L]; what came before the first epoch is unplaced. None: none did.
    end_l
        Cumulative volume at the job's end [L]; what came after the last epoch is unplaced. None: none did.

    Returns
    -------
    Deposit
        Dose [L/m²], 0 where nothing fell, with the liquid off the grid and unplaced.

    Raises
    ------
    ValueError
        If the arrays differ in length or the cumulative volume falls.

    Notes
    -----
    Exact for the way given, so the accuracy is the track's and the pattern's. Liquid spreads evenly over its step: put
    an epoch at each opening and closing of the valve where that matters. A standing rig's dose depends on the length of
    the footprint (0.10 m).

    References
    ----------
    Derivation: Green's theorem cell by cell; see `fill_cells`.

    Examples
    --------
    >>> deposit = integrate_dose(np.full(2, 0.5), np.array([0.0, 2.0]), np.zeros(2), np.array([0.0, 0.2]),
    ...     t=np.array([0.0, 2.0]), pattern=Pattern(1.0, 1.0), frame=GridFrame(0.0, 0.0, 1.0, 2, 2))
    >>> deposit.dose_l_per_m2
    array([[0.1, 0. ],
           [0.1, 0. ]])
    """
    columns = np.stack(_same_length(east, north, heading, litres, t))
    columns = columns[:, np.isfinite(columns[3])]
    steps = np.stack([columns[:, :-1], columns[:, 1:]], axis=2)
    liquid = steps[3, :, 1] - steps[3, :, 0]
    if (liquid < 0).any():
        raise ValueError("the cumulative litres fall: give the meter's running total, which never does")
    flows = liquid > 0
    is_placed = flows & np.isfinite(steps[:3]).all(axis=(0, 2)) & (steps[4, :, 1] - steps[4, :, 0] <= max_gap_s)
    unplaced = float(liquid[flows & ~is_placed].sum()) + _outside_volume(columns[3], start_l, end_l)
    chosen = steps[:, is_placed]
    patches = sweep_patches(chosen[0], chosen[1], chosen[2], liquid[is_placed], pattern=pattern, cell_m=frame.cell_m)
    dose, off_grid = deposit_patches(patches, frame)
    return Deposit(dose, frame, off_grid, unplaced)


def deposit_patches(patches: Patches, frame: GridFrame) -> tuple[Floats, float]:
    """Lay swept polygons on the grid.

    Each polygon's litres over its area is its density; where it runs clockwise the kernel's sign is turned.

    Parameters
    ----------
    patches
        Polygons with litres.
    frame
        The cells.

    Returns
    -------
    tuple[Floats, float]
        Dose [ny, nx] [L/m²] and the liquid beside the grid [L], exactly 0 where every polygon lies inside.

    References
    ----------
    Derivation: what a polygon lays is its density times the area that a cell cuts from it.

    Examples
    --------
    >>> square = np.array([[[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]]])
    >>> deposit_patches(Patches(square, np.array([2.0]), np.array([1.0])), GridFrame(0.0, 0.0, 1.0, 1, 1))
    (array([[0.5]]), 0.5)
    """
    if not len(patches.litres):
        return np.zeros((frame.ny, frame.nx)), 0.0
    dose = fill_cells(patches.corners, patches.litres / patches.area_m2, frame)
    low = np.array([frame.x0_m, frame.y0_m])
    high = low + frame.cell_m * np.array([frame.nx, frame.ny])
    if (patches.corners >= low).all() and (patches.corners <= high).all():
        return dose, 0.0
    return dose, max(float(patches.litres.sum()) - float(dose.sum()) * frame.cell_area_m2, 0.0)


def _same_length(*columns: Floats) -> list[Floats]:
    """The columns as float arrays, or a complaint that they do not belong together."""
    arrays: list[Floats] = [np.asarray(column, dtype=np.float64) for column in columns]
    if any(array.shape != arrays[0].shape for array in arrays) or arrays[0].ndim != 1:
        raise ValueError(f"east, north, heading, litres and t must be as long: {[a.shape for a in arrays]}")
    return arrays


def _outside_volume(litres: Floats, start_l: float | None, end_l: float | None) -> float:
    """The liquid before the first epoch and after the last."""
    if not len(litres):
        return (end_l or 0.0) - (start_l or 0.0)
    before = 0.0 if start_l is None else float(litres[0]) - start_l
    after = 0.0 if end_l is None else end_l - float(litres[-1])
    return before + after


@dataclass(frozen=True, slots=True)
class Changes:
    """Cells whose dose changed since last asked: row-major numbers and doses; all cells anew if the frame changed."""

    is_reset: bool
    frame: GridFrame
    cells: Integers
    l_per_m2: Floats


class DoseGrid:
    """The dose of a way that is still being walked: the same figures as `integrate_dose`, fix by fix."""

    def __init__(
        self,
        *,
        pattern: Pattern,
        cell_m: float,
        max_gap_s: float = MAX_GAP_S,
        grow_m: float = 10.0,
        max_cells: int = 4_000_000,
    ) -> None:
        self.pattern = pattern
        self.max_gap_s = max_gap_s
        self.off_grid_l = 0.0
        self.unplaced_l = 0.0
        self.frame = GridFrame(0.0, 0.0, cell_m, 1, 1)
        self.dose: Floats = np.zeros((1, 1))
        self._grow = max(ceil(grow_m / cell_m), 1)
        self._max_cells = max_cells
        self._last: tuple[float, float, float, float, float] | None = None
        self._changed: Bools = np.zeros((1, 1), dtype=np.bool_)
        self._rows = (0, 0)
        self._is_new = True
        self._watched: tuple[int, int] | None = None

    def add(self, *, t: float, east: float, north: float, heading: float, litres: float) -> None:
        """Lay what was let out since the last fix, given the nozzle, the heading and the cumulative litres now.

        Parameters
        ----------
        t
            Job seconds [s].
        east
            Nozzle's east [m]; NaN where it is not known.
        north
            Nozzle's north [m]; NaN likewise.
        heading
            Where the rig points [deg]; NaN likewise.
        litres
            Cumulative volume on the ground [L]; a fix with NaN is passed over.

        Raises
        ------
        ValueError
            If the cumulative volume falls.

        References
        ----------
        Derivation: one step of `integrate_dose` on the few cells about it.

        Examples
        --------
        >>> grid = DoseGrid(pattern=Pattern(1.0, 1.0), cell_m=0.5)
        >>> for second in range(3):
        ...     grid.add(t=float(second), east=0.0, north=float(second), heading=0.0, litres=0.1 * second)
        >>> round(float(grid.dose.sum()) * grid.frame.cell_area_m2, 12), float(grid.dose.max())
        (0.2, 0.1)
        """
        if not isfinite(litres):
            return
        last, now = self._last, (t, east, north, heading, litres)
        self._last = now
        if last is None or litres == last[4]:
            return
        liquid = litres - last[4]
        if liquid < 0:
            raise ValueError("the cumulative litres fall: give the meter's running total, which never does")
        if not all(map(isfinite, (*last, *now))) or t - last[0] > self.max_gap_s:
            self.unplaced_l += liquid
            return
        self._deposit(*self._sweep(last[1:4], now[1:4], liquid), liquid)

    @property
    def has_changes(self) -> bool:
        """Whether a cell's dose or the frame changed since `take_changes` was last asked."""
        return self._is_new or self._rows[1] > 0

    def take_changes(self) -> Changes:
        """The cells whose dose changed since this was last asked.

        Returns
        -------
        Changes
            Numbers and doses of the cells; if the frame changed, every cell that has a dose.

        References
        ----------
        Derivation: a mark on every touched cell, wiped here; only rows that were touched are looked through.

        Examples
        --------
        >>> grid = DoseGrid(pattern=Pattern(1.0, 1.0), cell_m=1.0)
        >>> grid.take_changes().is_reset, len(grid.take_changes().cells)
        (True, 0)
        """
        first, last = (0, self.frame.ny) if self._is_new else self._rows
        marked = self.dose > 0 if self._is_new else self._changed[first:last]
        cells = np.flatnonzero(marked) + first * self.frame.nx
        changes = Changes(self._is_new, self.frame, cells, self.dose.ravel()[cells])
        self._changed[first:last] = False
        self._rows, self._is_new = (0, 0), False
        return changes

    def take_rows(self) -> tuple[int, int] | None:
        """The rows in which a dose changed since this was last asked, for who counts cells.

        Returns
        -------
        tuple[int, int] | None
            The first row and the one behind the last; None where the frame changed.

        References
        ----------
        Derivation: the reach of the windows that were touched.

        Examples
        --------
        >>> grid = DoseGrid(pattern=Pattern(1.0, 1.0), cell_m=1.0)
        >>> grid.take_rows() is None, grid.take_rows()
        (True, (0, 0))
        """
        rows, self._watched = self._watched, (0, 0)
        return rows

    def _sweep(self, before: Fix, after: Fix, liquid: float) -> tuple[list[Corners], list[float]]:
        """The polygons of one step and their densities."""
        quad = straight_quad(before, after, pattern=self.pattern)
        if quad is not None:
            return [quad[0]], [liquid / quad[1]]
        ends = np.array([before, after]).T[:, None, :]
        patches = sweep_patches(
            ends[0], ends[1], ends[2], np.array([liquid]), pattern=self.pattern, cell_m=self.frame.cell_m
        )
        return patches.corners.tolist(), (patches.litres / patches.area_m2).tolist()

    def _deposit(self, polygons: list[Corners], densities: list[float], liquid: float) -> None:
        """Lay polygons on the window of cells about them."""
        cell = self.frame.cell_m
        window = bound_window(polygons, cell_m=cell)
        if not self._reach(window):
            self.off_grid_l += liquid
            return
        width, height = window[2] - window[0], window[3] - window[1]
        if width * height <= _SMALL:
            dose = fill_window(polygons, densities, window=window, cell_m=cell)
        else:
            frame = GridFrame(window[0] * cell, window[1] * cell, cell, width, height)
            dose = fill_cells(np.array(polygons), np.array(densities), frame)
        column, row = window[0] - round(self.frame.x0_m / cell), window[1] - round(self.frame.y0_m / cell)
        here = (slice(row, row + height), slice(column, column + width))
        self.dose[here] += dose
        self._changed[here] |= dose > 0
        touched = (row, row + height)
        self._rows = _join_rows(self._rows, touched)
        self._watched = self._watched and _join_rows(self._watched, touched)

    def _reach(self, window: Window) -> bool:
        """Grow the frame, in steps, until it holds the window; False if it would be too large to keep."""
        cell = self.frame.cell_m
        x0, y0 = round(self.frame.x0_m / cell), round(self.frame.y0_m / cell)
        x1, y1 = x0 + self.frame.nx, y0 + self.frame.ny
        if window[0] >= x0 and window[1] >= y0 and window[2] <= x1 and window[3] <= y1:
            return True
        step = self._grow
        is_first = not self.dose.any()
        west = (window[0] if is_first else min(x0, window[0])) // step * step
        south = (window[1] if is_first else min(y0, window[1])) // step * step
        east = -(-(window[2] if is_first else max(x1, window[2])) // step) * step
        north = -(-(window[3] if is_first else max(y1, window[3])) // step) * step
        if (east - west) * (north - south) > self._max_cells:
            return False
        dose = np.zeros((north - south, east - west))
        if not is_first:
            dose[y0 - south : y1 - south, x0 - west : x1 - west] = self.dose
        self.frame = GridFrame(west * cell, south * cell, cell, east - west, north - south)
        self.dose, self._changed, self._is_new = dose, np.zeros(dose.shape, dtype=np.bool_), True
        self._rows, self._watched = (0, 0), None
        return True


def _join_rows(rows: tuple[int, int], more: tuple[int, int]) -> tuple[int, int]:
    """The span of rows that holds both; (0, 0) is none."""
    return (min(rows[0], more[0]), max(rows[1], more[1])) if rows[1] else more
