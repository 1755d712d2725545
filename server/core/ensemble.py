"""How sure each cell's dose is: the same liquid laid along many ways that the rig may as well have gone.

East, north in metres, dose in litres per square metre, arrays [ny, nx].
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from server.core.coverage import COVERED_FRACTION
from server.core.dose import MAX_GAP_S, Deposit, integrate_dose
from server.core.grid import GridFrame
from server.core.log import Floats, Integers
from server.core.results import DoseMap, Track
from server.core.setup import Treatment
from server.core.swath import Pattern

SHIFT_SHARE = 0.5
"""How much of the square of the draws' mean shift from the map's dose counts as variance; found on simulated jobs."""
_THIN_S = 1.0
_THIN_DEG = 8.0
_ROWS = 64
"""So many rows are counted at once: they stay in the cache."""


def map_dose(
    track: Track,
    litres: Floats,
    deposit: Deposit,
    *,
    pattern: Pattern,
    treatment: Treatment,
    volume_sd_fraction: float,
    rng: np.random.Generator,
    max_gap_s: float = MAX_GAP_S,
    watch: Callable[[Deposit], None] = lambda laid: None,
) -> DoseMap:
    """The dose of the mean track, with what its uncertainty makes of each cell.

    The liquid is laid again along each sampled track, scaled by a sampled error of the meter, and each cell's sd and
    the shares of draws in which it is missed, under or over are taken. Where the draws say less on the whole than the
    mean track, as between passes that it has too near each other, half of that counts as uncertainty too. Draws walk a
    thinned way: one epoch a second on the straight, more in turns and where the flow starts or stops.

    Parameters
    ----------
    track
        The nozzle's way with `deviations_m` [draws, n, 2] of sampled tracks from it [m].
    litres
        Cumulative volume on the ground at each epoch [n] [L].
    deposit
        The dose of the mean track.
    pattern
        How the liquid lies across the swath.
    treatment
        Target [L/m²] and what counts as under and over.
    volume_sd_fraction
        Standard deviation of the meter's factor, as a fraction.
    rng
        Seeded generator for the meter's factor.
    max_gap_s
        A longer step between epochs leaves its liquid unplaced [s].
    watch
        Shown the deposit of each sampled track, before the meter's error.

    Returns
    -------
    DoseMap
        Dose, sd and probabilities, NaN (but for the dose) where no tracks were sampled.

    Notes
    -----
    Probabilities are shares of draws (steps of 1/64) for single cells; a missed or doubled strip is judged better from
    pairs of passes, because the wander of a receiver moves the whole map.

    References
    ----------
    Derivation: Monte Carlo propagation (JCGM 101:2008, section 7) of the track's posterior.

    Examples
    --------
    >>> from server.core.grid import GridFrame
    >>> n = np.zeros(2)
    >>> track = Track(n, n, np.array([0.0, 1.0]), n, np.full(2, 0.5), np.array([0.0, 1.0]), n, n, n, n, n, n, n,
    ...     np.zeros((4, 2, 2)))
    >>> frame, flat = GridFrame(0.0, 0.0, 1.0, 1, 1), Pattern(1.0, 1.0)
    >>> litres = np.array([0.0, 0.1])
    >>> deposit = integrate_dose(track.east_m, track.north_m, n, litres, t=track.t, pattern=flat, frame=frame)
    >>> found = map_dose(track, litres, deposit, pattern=flat, treatment=Treatment(target_l_per_m2=0.1),
    ...     volume_sd_fraction=0.0, rng=np.random.default_rng(1))
    >>> float(found.sd_l_per_m2[0, 0]), float(found.p_missed[0, 0])
    (0.0, 0.0)
    """
    draws = len(track.deviations_m)
    errors = rng.standard_normal(draws)
    # Their mean and spread made exact: few draws would make a meter's error of their own.
    errors = (errors - errors.mean()) / errors.std(ddof=1) if draws > 1 else errors
    scales = 1.0 + volume_sd_fraction * errors
    tally = _tally_draws(track, litres, deposit, scales, pattern, treatment, max_gap_s, watch)
    known = np.float32(draws if draws > 1 else np.nan)
    variance = (tally.squares - np.float32(1.0 - SHIFT_SHARE) * tally.total**2 / known) / (known - np.float32(1.0))
    return DoseMap(
        dose_l_per_m2=deposit.dose_l_per_m2,
        sd_l_per_m2=np.sqrt(np.maximum(variance, 0.0)),
        p_missed=tally.missed / known,
        p_under=tally.under / known,
        p_over=tally.over / known,
        x0_m=deposit.frame.x0_m,
        y0_m=deposit.frame.y0_m,
        cell_m=deposit.frame.cell_m,
    )


@dataclass(frozen=True, slots=True)
class _Tally:
    """Over all draws of each cell [ny, nx]: sum and squares of what the dose is off, and counts; single precision."""

    mean: Floats
    total: Floats
    squares: Floats
    missed: Floats
    under: Floats
    over: Floats


def _tally_draws(
    track: Track,
    litres: Floats,
    deposit: Deposit,
    scales: Floats,
    pattern: Pattern,
    treatment: Treatment,
    max_gap_s: float,
    watch: Callable[[Deposit], None],
) -> _Tally:
    """Lay each draw and count its cells."""
    frame, target, shape = deposit.frame, treatment.target_l_per_m2, deposit.dose_l_per_m2.shape
    sums = (np.zeros(shape, dtype=np.float32) for _ in range(2))
    counts = (np.zeros(shape, dtype=np.min_scalar_type(len(scales))) for _ in range(3))
    tally = _Tally(deposit.dose_l_per_m2.astype(np.float32), *sums, *counts)
    fractions = COVERED_FRACTION, treatment.under_fraction, treatment.over_fraction
    levels = [np.float32(fraction * target) for fraction in fractions]
    chosen = thin_way(track.t, track.east_m, track.heading_deg, litres)
    for deviation, scale in zip(track.deviations_m, scales.astype(np.float32), strict=True):
        # One draw at a time: a large lawn's cells are many.
        laid = lay_draw(track, litres, chosen, deviation[chosen], pattern=pattern, frame=frame, max_gap_s=max_gap_s)
        watch(laid)
        for row in range(0, frame.ny, _ROWS):
            _count_rows(tally, slice(row, row + _ROWS), laid.dose_l_per_m2, scale, levels)
        del laid
    return tally


def _count_rows(tally: _Tally, rows: slice, doses: Floats, scale: np.float32, levels: list[np.float32]) -> None:
    """Add some rows of a draw."""
    dose = doses[rows].astype(np.float32)
    dose *= scale
    is_missed = dose <= levels[0]
    tally.missed[rows] += is_missed
    tally.under[rows] += ~is_missed & (dose < levels[1])
    tally.over[rows] += dose > levels[2]
    dose -= tally.mean[rows]
    tally.total[rows] += dose
    dose *= dose
    tally.squares[rows] += dose


def lay_draw(
    track: Track,
    litres: Floats,
    chosen: Integers,
    deviation: Floats,
    *,
    pattern: Pattern,
    frame: GridFrame,
    max_gap_s: float = MAX_GAP_S,
) -> Deposit:
    """The liquid laid along a way that the rig may as well have gone.

    Parameters
    ----------
    track
        The nozzle's way.
    litres
        Cumulative volume on the ground at each epoch [n] [L].
    chosen
        Indices of the epochs to walk by [k].
    deviation
        How far each chosen epoch is moved [k, 2] [m]; where it is NaN the liquid is unplaced.
    pattern
        How the liquid lies across the swath.
    frame
        The cells.
    max_gap_s
        A longer step between epochs leaves its liquid unplaced [s].

    Returns
    -------
    Deposit
        Dose [L/m²], with the liquid off the grid and unplaced.

    References
    ----------
    Derivation: `integrate_dose` of the moved way.

    Examples
    --------
    >>> from server.core.grid import GridFrame
    >>> n, t = np.zeros(2), np.array([0.0, 1.0])
    >>> track = Track(n, n, t, n, np.full(2, 0.5), t, n, n, n, n, n, n, n, np.zeros((0, 2, 2)))
    >>> laid = lay_draw(track, 0.1 * t, np.array([0, 1]), np.full((2, 2), [1.0, 0.0]), pattern=Pattern(1.0, 1.0),
    ...     frame=GridFrame(0.0, 0.0, 1.0, 2, 1))
    >>> laid.dose_l_per_m2.tolist()
    [[0.0, 0.1]]
    """
    return integrate_dose(
        track.east_m[chosen] + deviation[:, 0],
        track.north_m[chosen] + deviation[:, 1],
        track.heading_deg[chosen],
        litres[chosen],
        t=track.t[chosen],
        pattern=pattern,
        frame=frame,
        max_gap_s=max_gap_s,
    )


def thin_way(t: Floats, east: Floats, heading: Floats, litres: Floats) -> Integers:
    """Epochs enough to draw the way with: each second, each 8 degrees of turn, each start and stop of the flow.

    Parameters
    ----------
    t
        Job seconds [n] [s].
    east
        Nozzle's east [n] [m]; NaN where the position is not known, such epochs and their neighbours are kept.
    heading
        Where the rig points [n] [deg].
    litres
        Cumulative volume [n] [L].

    Returns
    -------
    Integers
        Indices of the epochs to keep, ascending.

    References
    ----------
    Derivation: in 8 degrees of a turn the chord leaves the arc by 0.06 % of the radius.

    Examples
    --------
    >>> t = np.arange(0.0, 2.2, 0.2)
    >>> thin_way(t, np.zeros(11), np.zeros(11), 0.1 * t)
    array([ 0,  5, 10])
    """
    n = len(t)
    known = np.isfinite(east) & np.isfinite(heading) & np.isfinite(litres)
    flows = np.diff(litres) > 0
    marked = np.zeros(n, dtype=np.bool_)
    marked[1:-1] = flows[1:] != flows[:-1]
    marked[1:] |= ~known[:-1]
    marked[:-1] |= ~known[1:]
    marked |= ~known
    kept: list[int] = []
    last_t, last_heading = -np.inf, 0.0
    for index, (at, angle, must) in enumerate(zip(t.tolist(), heading.tolist(), marked.tolist(), strict=True)):
        turned = abs((angle - last_heading + 180.0) % 360.0 - 180.0)
        if must or index == n - 1 or not (at - last_t < _THIN_S - 1e-6 and turned < _THIN_DEG):
            kept.append(index)
            last_t, last_heading = at, angle
    return np.array(kept, dtype=np.int64)
