"""The swath from a measured pattern: catches in a row across the way, and how even passes side by side would be.

Metres across, offsets to the right; amounts in any one unit. Shape [n] unless said.
"""

from dataclasses import dataclass

import numpy as np

from server.core.errors import EntryError
from server.core.log import Floats

FEWEST_SPOTS = 5
FINE = 400
"""Places within one spacing at which the dose of passes side by side is looked at."""
STEPS, ROUNDS = 4, 16
LEAST_BASE = 0.05
"""How finely the best trapezoid is looked for, and the least base as a share of the row of catches."""
GOOD_CV = 0.10
"""Share up to which in-use inspections call a boom even (EN 13790 and ISO 16122-2, from memory)."""


@dataclass(frozen=True, slots=True)
class Swath:
    """Effective width and offsets of the half-rate points [m], with the trapezoid that fits the catches best.

    `base_m` and `top_m` are the trapezoid's [m], `misfit` what it leaves, root mean square, as a share of its height.
    """

    swath_m: float
    left_m: float
    right_m: float
    base_m: float
    top_m: float
    misfit: float

    @property
    def centre_m(self) -> float:
        """Middle of the two points: not 0 if the pattern lies to one side."""
        return (self.left_m + self.right_m) / 2.0


def find_swath(offsets: Floats, amounts: Floats) -> Swath:
    """The effective width of a pattern: between the points where it falls to half of its full rate.

    The full rate is the height of the trapezoid (a triangle and a rectangle are such) that fits all catches best, for
    the largest single one is the one that chance favoured most. Between catches the pattern is taken as straight.

    Parameters
    ----------
    offsets
        Places of the catches across the way, increasing [m].
    amounts
        Caught there [any unit].

    Returns
    -------
    Swath
        Outermost half-rate points: a pattern with a dip in its middle still counts as one.

    Raises
    ------
    EntryError
        If there are fewer than five catches, offsets do not increase, an amount is negative or not finite, all are
        nought, or the pattern goes on past an outermost catch: lay out more.

    Notes
    -----
    A single catch scatters; catch several walks together. Base and top are told only with two catches on each slope;
    the swath does not depend on them. A misfit above a tenth says that the pattern is no trapezoid;
    then `overlap_spread` judges it better.

    References
    ----------
    Ohio State University Extension, Bulletin 817 (effective swath = twice the distance to the half-rate point).

    Examples
    --------
    >>> found = find_swath(np.arange(-1.0, 1.1, 0.25), np.array([0, 25, 50, 75, 100, 75, 50, 25, 0.0]))
    >>> round(found.swath_m, 2), round(found.base_m, 2), round(found.top_m, 2)
    (1.0, 2.0, 0.0)
    """
    _check_pattern(offsets, amounts)
    base, top, height, misfit = _fit_trapezoid(offsets, amounts)
    half = height / 2.0
    if max(amounts[0], amounts[-1]) >= half:
        raise EntryError("pattern", "it goes on past an outermost catch: lay out more on that side")
    above = np.flatnonzero(amounts >= half)
    left = _cross(offsets, amounts, int(above[0]) - 1, half)
    right = _cross(offsets, amounts, int(above[-1]), half)
    return Swath(right - left, left, right, base, top, misfit)


def overlap_spread(offsets: Floats, amounts: Floats, *, spacing_m: float, is_turned: bool = True) -> float:
    """How uneven the dose is where passes of a pattern lie side by side: its coefficient of variation.

    Parameters
    ----------
    offsets
        Places of the catches across the way, increasing [m].
    amounts
        Caught there [any unit].
    spacing_m
        Spacing of the passes [m].
    is_turned
        Whether each next pass comes back the other way, with the pattern's right on the left.

    Returns
    -------
    float
        Standard deviation over mean of the sum of all passes [-]; 0 is even.

    Raises
    ------
    EntryError
        If the pattern cannot be one (see `find_swath`), or the spacing is not between a hundredth of its base and ten
        times it.

    References
    ----------
    Derivation: the sum of the pattern repeated each spacing; the coefficient of variation as measure of evenness: Ooms
    et al., Crop Protection 22 (2003) 813.

    Examples
    --------
    >>> x, triangle = np.arange(-1.0, 1.1, 0.25), np.array([0, 25, 50, 75, 100, 75, 50, 25, 0.0])
    >>> round(overlap_spread(x, triangle, spacing_m=1.0), 6), round(overlap_spread(x, triangle, spacing_m=1.5), 2)
    (0.0, 0.25)
    """
    _check_pattern(offsets, amounts)
    base = float(offsets[-1] - offsets[0])
    if not base / 100.0 <= spacing_m <= 10.0 * base:
        raise EntryError("spacing", f"{spacing_m:g} m is outside {base / 100.0:g} to {10.0 * base:g} m")
    reach = int(np.ceil(float(np.abs(offsets).max()) / spacing_m)) + 2
    period = 2.0 * spacing_m if is_turned else spacing_m
    places = (np.arange(2 * FINE) + 0.5) / (2 * FINE) * period
    total = np.zeros(len(places))
    for k in range(-reach, reach + 3):
        side = places - k * spacing_m
        total += np.interp(-side if is_turned and k % 2 else side, offsets, amounts, left=0.0, right=0.0)
    return float(total.std() / total.mean())


def widest_spacing(offsets: Floats, amounts: Floats, *, most_cv: float = GOOD_CV, is_turned: bool = True) -> float:
    """The widest spacing of passes, from the swath outward, up to which the dose is even enough.

    Parameters
    ----------
    offsets
        Places of the catches across the way, increasing [m].
    amounts
        Caught there [any unit].
    most_cv
        Coefficient of variation allowed [-].
    is_turned
        Whether each next pass comes back the other way.

    Returns
    -------
    float
        Spacing [m], in steps of a hundredth of the swath, at most twice it; NaN if the swath itself is not even enough.

    Raises
    ------
    EntryError
        If the pattern cannot be one (see `find_swath`).

    References
    ----------
    As `overlap_spread`.

    Examples
    --------
    >>> x = np.arange(-1.0, 1.01, 0.25)
    >>> round(widest_spacing(x, np.array([0, 25, 50, 75, 100, 75, 50, 25, 0.0])), 2)
    1.25
    """
    swath = find_swath(offsets, amounts).swath_m
    widest = float("nan")
    for step in range(100, 201):
        if overlap_spread(offsets, amounts, spacing_m=step / 100.0 * swath, is_turned=is_turned) > most_cv:
            break
        widest = step / 100.0 * swath
    return widest


def _check_pattern(offsets: Floats, amounts: Floats) -> None:
    """Refuse catches that make no pattern."""
    if len(offsets) != len(amounts) or len(offsets) < FEWEST_SPOTS:
        raise EntryError("pattern", f"{FEWEST_SPOTS} or more places are wanted, each with its amount")
    if not (np.isfinite(offsets).all() and (np.diff(offsets) > 0.0).all()):
        raise EntryError("pattern", "places must go on to the right, each further than the last")
    if not (np.isfinite(amounts).all() and (amounts >= 0.0).all() and amounts.any()):
        raise EntryError("pattern", "amounts must be numbers from 0 up, and not all 0")


def _cross(offsets: Floats, amounts: Floats, k: int, level: float) -> float:
    """Where the pattern passes a level between a catch and the next."""
    share = (level - amounts[k]) / (amounts[k + 1] - amounts[k])
    return float(offsets[k] + share * (offsets[k + 1] - offsets[k]))


def _fit_trapezoid(offsets: Floats, amounts: Floats) -> tuple[float, float, float, float]:
    """Base, top and height of the trapezoid nearest to the catches by least squares, and its misfit.

    A search over centre, base and top from coarse to fine; the height of each is the best one for it.
    """
    span = float(offsets[-1] - offsets[0])
    middle = float((offsets * amounts).sum() / amounts.sum())
    best, reach = np.array([middle, span / 2.0, span / 4.0]), np.array([span / 4.0, span / 2.0, span / 2.0])
    steps = np.linspace(-1.0, 1.0, 2 * STEPS + 1)
    mesh = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    for _ in range(ROUNDS):
        tried = best + mesh * reach
        base = np.maximum(tried[:, 1], span * LEAST_BASE)
        top = np.clip(tried[:, 2], 0.0, base * (1.0 - 1e-6))
        apart = np.abs(offsets - tried[:, :1])
        shapes = np.clip((base[:, None] / 2.0 - apart) / (base - top)[:, None] * 2.0, 0.0, 1.0)
        power = (shapes**2).sum(axis=1)
        heights = (shapes @ amounts) / np.where(power > 0.0, power, 1.0)
        losses = ((amounts - heights[:, None] * shapes) ** 2).mean(axis=1)
        k = int(losses.argmin())
        best, reach = np.array([tried[k, 0], base[k], top[k]]), reach / 2.0
    return float(base[k]), float(top[k]), float(heights[k]), float(np.sqrt(losses[k]) / heights[k])
