"""Areas freed from what an uncertain position does to them.

A track that wanders covers more scattered ground than the rig did, so areas come out biased even when the track is not.
"""

from dataclasses import replace
from math import sqrt

import numpy as np

from server.core.coverage import read_figures
from server.core.dose import MAX_GAP_S
from server.core.ensemble import lay_draw, thin_way
from server.core.ground import Ground
from server.core.log import Floats
from server.core.results import Totals, Track
from server.core.setup import Treatment
from server.core.swath import Pattern

BLUNT_M = 0.2
"""For passes as they are walked; found on simulated jobs."""
LEAST_SD_M = 1e-4
_CORRECTED = (
    "zone_missed_m2", "zone_under_m2", "zone_on_target_m2", "zone_over_m2", "covered_area_m2", "off_target_l",
    "keep_out_l",
)  # fmt: skip
_IN_ZONES = slice(0, 4)


def find_reach(bluntness: float) -> float:
    """How many times what doubling a noise's variance did to a figure is to be taken off again, to be rid of the noise.

    The figure is taken to go as u(v) = √(k + v), v the variance against the track's own: far below a corner's bluntness
    k areas grow with the variance, far above it with its root, as the mean of |x| does. Known at v = 1 and 2, it is
    read off at 0: (u(1) - u(0)) / (u(2) - u(1)).

    Parameters
    ----------
    bluntness
        k: how blunt the corner is against the noise, as a ratio of squares [-]; 0 is a sharp one.

    Returns
    -------
    float
        1 + √2 for a sharp corner, 1 for a blunt one.

    Raises
    ------
    ValueError
        If bluntness is not 0 or more.

    References
    ----------
    Cook and Stefanski, Simulation-extrapolation estimation in parametric measurement error models, J. Am. Stat. Assoc.
    89, 1994, 1314-1328. The curve is our own: mean |x| of a Gaussian is its sd times √(2/π).

    Examples
    --------
    >>> round(find_reach(0.0), 6), round(find_reach(1e6), 6)
    (2.414214, 1.0)
    """
    if not bluntness >= 0.0:
        raise ValueError(f"bluntness must be 0 or more, not {bluntness}")
    k = np.sqrt(bluntness + np.arange(3.0))
    return float((k[2] + k[1]) / (k[1] + k[0]))


def correct_totals(
    totals: Totals,
    track: Track,
    litres: Floats,
    ground: Ground,
    *,
    pattern: Pattern,
    treatment: Treatment,
    drawn: Floats | None = None,
    max_gap_s: float = MAX_GAP_S,
) -> Totals:
    """A job's areas and its liquid off target, corrected for the track's uncertainty.

    The liquid is laid along the mean track and along the sampled ones, which have the noise twice; what that does to
    each figure, times `find_reach`, is taken off the figure of the whole track. The areas within the zones keep their
    sum.

    Parameters
    ----------
    totals
        The figures of the mean track.
    track
        The nozzle's way with `deviations_m` [draws, n, 2] of sampled tracks from it [m].
    litres
        Cumulative volume on the ground at each epoch [n] [L].
    ground
        What each cell is for.
    pattern
        How the liquid lies across the swath.
    treatment
        Target [L/m²] and what counts as under and over.
    drawn
        What `read_figures` says of all sampled tracks [all draws, 7], where they have been laid already.
    max_gap_s
        A longer step between epochs leaves its liquid unplaced [s].

    Returns
    -------
    Totals
        The figures corrected, never below 0, and the standard deviations of covered area and of liquid off target;
        as they were where no tracks were sampled.

    Notes
    -----
    Reading the curve beyond its ends enlarges what the tracks leave open of the covered area by the same reach. Liquid
    off target is as sure as it looks on the mean track: a draw has the noise twice, so that its spread is up to √2 too
    large, and not where noise is far below the corner's bluntness. The area that liquid without a position would have
    covered counts as doubt too.

    References
    ----------
    Cook and Stefanski, Simulation-extrapolation estimation in parametric measurement error models, J. Am. Stat. Assoc.
    89, 1994, 1314-1328.

    Examples
    --------
    >>> from server.core.coverage import total_job
    >>> from server.core.dose import integrate_dose
    >>> from server.core.grid import GridFrame
    >>> n = np.zeros(2)
    >>> track = Track(n, n, np.array([0.0, 1.0]), n, np.full(2, 0.5), np.array([0.0, 1.0]), n, n, n, n, n, n, n,
    ...     np.zeros((4, 2, 2)))
    >>> litres, frame, flat = np.array([0.0, 0.1]), GridFrame(0.0, 0.0, 0.5, 4, 4), Pattern(1.0, 1.0)
    >>> ground = Ground(frame, np.zeros((4, 4)), np.zeros((4, 4)), False, False)
    >>> rest = {"volume_l": 0.1, "volume_sd_l": 0.0, "sprayed_s": 1.0, "distance_m": 1.0, "outside_passes_l": 0.0}
    >>> treatment = Treatment(target_l_per_m2=0.1)
    >>> deposit = integrate_dose(track.east_m, track.north_m, n, litres, t=track.t, pattern=flat, frame=frame)
    >>> totals = total_job(deposit, ground, treatment=treatment, **rest)
    >>> round(correct_totals(totals, track, litres, ground, pattern=flat, treatment=treatment).covered_area_m2, 9)
    1.0
    """
    deviations = track.deviations_m
    if not len(deviations):
        return totals
    kept = thin_way(track.t, track.east_m, track.heading_deg, litres)

    def figure(deviation: Floats) -> list[float]:
        deposit = lay_draw(track, litres, kept, deviation, pattern=pattern, frame=ground.frame, max_gap_s=max_gap_s)
        return read_figures(deposit, ground, treatment=treatment)

    if drawn is None:
        drawn = np.array([figure(deviation[kept]) for deviation in deviations])
    reach = find_reach(_measure_bluntness(pattern, deviations, litres))
    gained = reach * (np.array(figure(0.0 * deviations[0, kept])) - drawn.mean(axis=0))
    corrected = np.maximum(_list_figures(totals) + gained, 0.0)
    if totals.zone_area_m2 > 0.0:
        corrected[_IN_ZONES] *= totals.zone_area_m2 / corrected[_IN_ZONES].sum()
    spread = dict(zip(_CORRECTED, drawn.std(axis=0).tolist(), strict=True))
    unplaced_m2 = totals.unplaced_l / treatment.target_l_per_m2
    metered = totals.off_target_l * totals.volume_sd_l / totals.volume_l if totals.volume_l > 0 else 0.0
    return replace(
        totals,
        **dict(zip(_CORRECTED, corrected.tolist(), strict=True)),
        covered_area_sd_m2=float(np.hypot(reach * spread["covered_area_m2"], unplaced_m2)),
        off_target_sd_l=float(np.hypot(spread["off_target_l"] / min(reach, sqrt(2.0)), metered)),
    )


def _measure_bluntness(pattern: Pattern, deviations: Floats, litres: Floats) -> float:
    """How far ground may shift before it is uncovered, against the track's own noise, squared.

    Passes do not lie one swath apart to the centimetre, and share a part of their noise; and a pattern that thins out
    to its ends covers 0.4 (base - top) more than the swath, half of it on either side.
    """
    is_laid = np.diff(litres, prepend=litres[:1]) > 0.0
    laid = deviations[:, is_laid]
    known = laid[np.isfinite(laid)]
    sd_m = float(np.sqrt(np.mean(known**2))) if len(known) else 0.0
    return float(np.hypot(BLUNT_M, 0.2 * (pattern.base_m - pattern.top_m)) / max(sd_m, LEAST_SD_M)) ** 2


def _list_figures(totals: Totals) -> Floats:
    return np.array([getattr(totals, name) for name in _CORRECTED])
