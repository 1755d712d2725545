"""Areas freed from what an uncertain position does to them.

A track that wanders covers more scattered ground than the rig did, so areas come out biased even when the track is not.
"""

import numpy as np
from numpy.typing import ArrayLike

from server.core.coverage import COVERED_FRACTION
from server.core.dose import MAX_GAP_S, integrate_dose
from server.core.ensemble import thin_way
from server.core.grid import GridFrame
from server.core.ground import Ground
from server.core.log import Floats
from server.core.results import Track
from server.core.setup import Treatment
from server.core.swath import Pattern

ADDED_NOISE = (0.0, 0.5, 1.0, 1.5, 2.0)
"""Multiples of the track's own variance that are added to it."""


def extrapolate_noise(figures: ArrayLike, *, added: ArrayLike = ADDED_NOISE) -> float:
    """What a figure would be without the noise already in it.

    A quadratic through the figure against the added multiple λ of the variance, read off at λ = -1.

    Parameters
    ----------
    figures
        The figure at each λ [k], any unit.
    added
        The multiples λ [k].

    Returns
    -------
    float
        The figure without noise; NaN if any figure is NaN.

    Raises
    ------
    ValueError
        If there are fewer than three figures, or not as many as multiples.

    References
    ----------
    Cook and Stefanski, Simulation-extrapolation estimation in parametric measurement error models, J. Am. Stat. Assoc.
    89, 1994, 1314-1328.

    Examples
    --------
    >>> round(extrapolate_noise([0.9, 0.85, 0.8, 0.75, 0.7]), 9)
    1.0
    """
    y, x = np.asarray(figures, dtype=np.float64), np.asarray(added, dtype=np.float64)
    if y.shape != x.shape or len(y) < 3:
        raise ValueError(f"three figures at least, and one for each multiple: {y.shape} figures, {x.shape} multiples")
    if not np.isfinite(y).all():
        return float("nan")
    design = np.stack([np.ones(len(x)), x, x * x], axis=1)
    terms = np.linalg.lstsq(design, y, rcond=None)[0]
    return float(terms[0] - terms[1] + terms[2])


def correct_covered_area(
    track: Track,
    litres: Floats,
    frame: GridFrame,
    *,
    pattern: Pattern,
    treatment: Treatment,
    ground: Ground | None = None,
    draws: int = 8,
    max_gap_s: float = MAX_GAP_S,
) -> float:
    """The covered area, corrected for the track's uncertainty.

    The liquid is laid along tracks with the sampled deviations scaled by the root of λ, and the covered area, averaged
    over the draws, is extrapolated to λ = -1.

    Parameters
    ----------
    track
        The nozzle's way with `deviations_m` [draws, n, 2] of sampled tracks from it [m].
    litres
        Cumulative volume on the ground at each epoch [n] [L].
    frame
        The cells.
    pattern
        How the liquid lies across the swath.
    treatment
        Target [L/m²].
    ground
        Count only the zones less the keep-outs; None counts all ground.
    draws
        How many of the sampled tracks to use.
    max_gap_s
        A longer step between epochs leaves its liquid unplaced [s].

    Returns
    -------
    float
        Area [m²]; NaN where no tracks were sampled.

    Notes
    -----
    The smoothed track's deviations describe its posterior, which is smaller than a raw receiver's noise: part of the
    bias stays.

    References
    ----------
    Cook and Stefanski, Simulation-extrapolation estimation in parametric measurement error models, J. Am. Stat. Assoc.
    89, 1994, 1314-1328.

    Examples
    --------
    >>> n = np.zeros(2)
    >>> track = Track(n, n, np.array([0.0, 1.0]), n, np.full(2, 0.5), np.array([0.0, 1.0]), n, n, n, n, n, n, n,
    ...     np.zeros((4, 2, 2)))
    >>> round(correct_covered_area(track, np.array([0.0, 0.1]), GridFrame(0.0, 0.0, 0.5, 4, 4),
    ...     pattern=Pattern(1.0, 1.0), treatment=Treatment(target_l_per_m2=0.1)), 9)
    1.0
    """
    deviations = track.deviations_m[:draws]
    if not len(deviations):
        return float("nan")
    wanted = 1.0 if ground is None else ground.wanted
    kept = thin_way(track.t, track.east_m, track.heading_deg, litres)
    areas = []
    for added in ADDED_NOISE:
        total = 0.0
        used = deviations[:, kept] if added > 0 else np.zeros((1, len(kept), 2))
        for deviation in used * np.sqrt(added):
            deposit = integrate_dose(
                track.east_m[kept] + deviation[:, 0],
                track.north_m[kept] + deviation[:, 1],
                track.heading_deg[kept],
                litres[kept],
                t=track.t[kept],
                pattern=pattern,
                frame=frame,
                max_gap_s=max_gap_s,
            )
            covered = deposit.dose_l_per_m2 > COVERED_FRACTION * treatment.target_l_per_m2
            total += float((covered * wanted).sum()) * frame.cell_area_m2
        areas.append(total / len(used))
    return extrapolate_noise(areas)
