"""The ground that the swath sweeps between fixes, strip by strip.

East, north in metres, headings in degrees clockwise from true north; the nozzle line lies square to the heading,
centred on the nozzle, offsets along it positive to the right.
"""

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import ArrayLike

from server.core.log import Floats, Integers
from server.core.setup import Sprayer

STANDSTILL_M = 0.01
"""A strip that moves less than this did not move."""
FOOTPRINT_M = 0.10
"""How far along the heading a standing nozzle wets the ground; the dose at a standstill depends on it."""
STRAIGHT = 0.02
"""In one strip of a flat pattern the density may differ by this fraction from centre to end."""
FEW = (1, 2, 4)
"""In so many strips a flat pattern is cut where they are enough."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """How the liquid lies across the swath: a trapezoid of this base and top, metres; base = top is flat."""

    base_m: float
    top_m: float

    @property
    def is_flat(self) -> bool:
        """Whether the liquid lies evenly."""
        return self.top_m >= self.base_m


@dataclass(frozen=True, slots=True)
class Patches:
    """Polygons swept, corners [n, 4, 2] anticlockwise or clockwise, their signed areas [n] and litres [n]."""

    corners: Floats
    area_m2: Floats
    litres: Floats


def pattern_from_sprayer(sprayer: Sprayer) -> Pattern:
    """The pattern that a sprayer's settings describe.

    The swath is the width between the half-rate points, so a triangle's base is 2 swath and a trapezoid's
    2 swath - top: whatever the shape, passes one swath apart add up evenly.

    Parameters
    ----------
    sprayer
        Swath, pattern and, for a trapezoid, its top [m]; no top given means half the swath.

    Returns
    -------
    Pattern
        Base and top [m].

    Raises
    ------
    ValueError
        If the pattern's name is not known or the top is wider than the swath.

    References
    ----------
    Ohio State University Extension, Bulletin 817 (effective swath = twice the distance to the half-rate point).

    Examples
    --------
    >>> pattern_from_sprayer(Sprayer(swath_m=1.5, pattern="trapezoid", pattern_top_m=1.0))
    Pattern(base_m=2.0, top_m=1.0)
    """
    swath = sprayer.swath_m
    if sprayer.pattern == "flat":
        return Pattern(swath, swath)
    if sprayer.pattern == "triangle":
        return Pattern(2 * swath, 0.0)
    if sprayer.pattern != "trapezoid":
        raise ValueError(f"pattern {sprayer.pattern!r} is not known: give flat, trapezoid or triangle")
    top = swath / 2 if sprayer.pattern_top_m is None else sprayer.pattern_top_m
    if not 0 <= top <= swath:
        raise ValueError(f"the pattern's top {top} m must lie between 0 and the swath {swath} m")
    return Pattern(2 * swath - top, top)


def share_left_of(offset: ArrayLike, *, pattern: Pattern) -> Floats:
    """What share of the liquid falls left of places across the swath.

    The integral of the trapezoid from its left end, 1 over its whole base.

    Parameters
    ----------
    offset
        Places across the swath, positive to the right of the nozzle, any shape [m].
    pattern
        Base and top of the pattern.

    Returns
    -------
    Floats
        Shares from 0 to 1, NaN for NaN.

    References
    ----------
    Derivation: a trapezoid of area 1 has the height 2 / (base + top); its ramps integrate to parabolas.

    Examples
    --------
    >>> share_left_of([-1.0, -0.5, 0.0, 1.0], pattern=Pattern(2.0, 0.0))
    array([0.   , 0.125, 0.5  , 1.   ])
    """
    x = np.asarray(offset, dtype=np.float64)
    half_base, half_top = pattern.base_m / 2, pattern.top_m / 2
    ramp, height = half_base - half_top, 1.0 / (half_base + half_top)
    from_end = np.clip(half_base - np.abs(x), 0.0, half_base)
    sloped = np.minimum(from_end, ramp)
    outer = height * (from_end - sloped) + (height * sloped**2 / (2 * ramp) if ramp > 0 else 0.0)
    return np.where(x < 0, outer, 1.0 - outer)


def sweep_patches(
    east: Floats, north: Floats, heading: Floats, litres: Floats, *, pattern: Pattern, cell_m: float
) -> Patches:
    """The polygons that the swath sweeps between pairs of nozzle positions, each with its litres.

    A straight step with a flat pattern is one quadrilateral. Any other is cut in S strips along the nozzle line, each
    taking the pattern's share of the litres, since the outside of a turn gets less a square metre than the inside: 2 or
    4 for a flat pattern in a gentle bend, if a strip's density then differs by no more than 2 % from its centre to its
    end, else about base / cell, at least 8. A strip whose quadrilateral crosses itself is two triangles; one that moved
    less than 1 cm is a footprint 0.10 m long about the middle of the step.

    Parameters
    ----------
    east
        Nozzle's east at the start and end of each step [n, 2] [m]; all finite.
    north
        Nozzle's north, likewise [n, 2] [m].
    heading
        Where the rig points, likewise [n, 2] [deg].
    litres
        Liquid let out in each step [n] [L].
    pattern
        Base and top of the pattern.
    cell_m
        Cell size of the grid that the patches are for [m].

    Returns
    -------
    Patches
        The polygons; their litres sum to those given.

    Notes
    -----
    In a turn of 1 m radius a 1 m swath at 10 Hz in 8 strips has cells right to 2.3 % rms, at 3 m radius to 0.7 %. What
    a standing rig lays depends on the footprint's length.

    References
    ----------
    Derivation: the swept quadrilateral's density is its litres over its area; see DEVELOPERS.md, dose.

    Examples
    --------
    >>> step = sweep_patches(np.array([[0.0, 0.0]]), np.array([[0.0, 2.0]]), np.zeros((1, 2)), np.array([0.1]),
    ...     pattern=Pattern(1.0, 1.0), cell_m=0.1)
    >>> step.area_m2
    array([2.])
    """
    strips = max(8, ceil(pattern.base_m / cell_m - 1e-9))
    turn = np.abs((heading[:, 1] - heading[:, 0] + 180.0) % 360.0 - 180.0)
    way = np.hypot(east[:, 1] - east[:, 0], north[:, 1] - north[:, 0])
    wanted = np.full(len(litres), strips)
    if pattern.is_flat:
        wanted = _count_strips(np.radians(turn) * pattern.base_m / 2, way, strips)
    batches = []
    for count in np.unique(wanted).tolist():
        chosen = wanted == count
        offsets = np.linspace(-pattern.base_m / 2, pattern.base_m / 2, count + 1)
        shares = np.diff(share_left_of(offsets, pattern=pattern))
        batches.append(_sweep_strips(east[chosen], north[chosen], heading[chosen], litres[chosen], offsets, shares))
    if not batches:
        return Patches(np.zeros((0, 4, 2)), np.zeros(0), np.zeros(0))
    return _join_patches(batches)


def _count_strips(lead: Floats, way: Floats, most: int) -> Integers:
    """How many strips of a flat pattern [n] are enough, given how far its end gets ahead of its middle and the way."""
    wanted = np.full(len(way), most)
    for count in reversed(FEW):
        part = lead / count
        # The innermost strip turns about the nearest centre.
        wanted[part <= STRAIGHT * (way - lead + part)] = count
    return wanted


def swept_area(east: Floats, north: Floats, heading: Floats, *, swath_m: float) -> float:
    """The area that a swath sweeps along a way, ground swept twice counted twice.

    Parameters
    ----------
    east
        Nozzle's east [n] [m]; steps with NaN at an end sweep nothing.
    north
        Nozzle's north [n] [m].
    heading
        Where the rig points [n] [deg].
    swath_m
        Effective width [m].

    Returns
    -------
    float
        Area [m²]; a standing rig sweeps none.

    References
    ----------
    Derivation: the sum of the quadrilaterals between consecutive nozzle lines, self-crossing ones as two triangles.

    Examples
    --------
    >>> swept_area(np.zeros(3), np.array([0.0, 1.0, 2.0]), np.zeros(3), swath_m=1.5)
    3.0
    """
    ends = np.stack([east, north, heading])
    steps = np.stack([ends[:, :-1], ends[:, 1:]], axis=2)
    steps = steps[:, np.isfinite(steps).all(axis=(0, 2))]
    quads = _form_quads(steps[0], steps[1], steps[2], np.array([-swath_m / 2, swath_m / 2])).reshape(-1, 4, 2)
    first, second = _cut_bow_ties(quads, _find_crossings(quads))
    return float(np.abs(_areas(quads)[_find_crossings(quads) == 0]).sum()) + float(
        np.abs(_areas(first)).sum() + np.abs(_areas(second)).sum()
    )


def _sweep_strips(
    east: Floats, north: Floats, heading: Floats, litres: Floats, offsets: Floats, shares: Floats
) -> Patches:
    """Patches of steps that are all cut at the same offsets."""
    quads = _form_quads(east, north, heading, offsets).reshape(-1, 4, 2)
    liquid = (litres[:, None] * shares).ravel()
    width = np.tile(np.diff(offsets), len(east))
    crossing = _find_crossings(quads)
    first, second = _cut_bow_ties(quads, crossing)
    area = _areas(quads)
    tie_areas = np.stack([_areas(first), _areas(second)])
    swept = np.abs(area)
    swept[crossing > 0] = np.abs(tie_areas).sum(axis=0)
    stands = swept < STANDSTILL_M * width
    quads[stands] = _form_footprints(east, north, heading, offsets).reshape(-1, 4, 2)[stands]
    area[stands] = FOOTPRINT_M * width[stands]
    is_tie = (crossing > 0) & ~stands
    moving = is_tie[crossing > 0]
    whole = Patches(quads[~is_tie], area[~is_tie], liquid[~is_tie])
    if not is_tie.any():
        return whole
    part = np.abs(tie_areas[:, moving]) / swept[is_tie]
    halves = [
        Patches(half[moving], tie_areas[side, moving], liquid[is_tie] * part[side])
        for side, half in enumerate((first, second))
    ]
    joined = _join_patches([whole, *halves])
    touched = joined.area_m2 != 0.0
    return Patches(joined.corners[touched], joined.area_m2[touched], joined.litres[touched])


def _join_patches(batches: list[Patches]) -> Patches:
    """One batch of many."""
    return Patches(
        np.concatenate([batch.corners for batch in batches]),
        np.concatenate([batch.area_m2 for batch in batches]),
        np.concatenate([batch.litres for batch in batches]),
    )


def _form_quads(east: Floats, north: Floats, heading: Floats, offsets: Floats) -> Floats:
    """Corners [n, S, 4, 2] of the strips between two nozzle lines: left and right before, right and left after."""
    angle = np.radians(heading)
    x = east[:, :, None] + np.cos(angle)[:, :, None] * offsets
    y = north[:, :, None] - np.sin(angle)[:, :, None] * offsets
    line = np.stack([x, y], axis=-1)
    before, after = line[:, 0], line[:, 1]
    return np.stack([before[:, :-1], before[:, 1:], after[:, 1:], after[:, :-1]], axis=2)


def _form_footprints(east: Floats, north: Floats, heading: Floats, offsets: Floats) -> Floats:
    """Corners [n, S, 4, 2] of what strips wet that stand still in the middle of their step, on its mean heading."""
    angle = np.radians(heading)
    forward = np.stack([np.sin(angle).sum(axis=1), np.cos(angle).sum(axis=1)], axis=1)
    length = np.hypot(forward[:, 0], forward[:, 1])
    opposed = length < 1e-9
    forward[opposed] = np.stack([np.sin(angle[opposed, 0]), np.cos(angle[opposed, 0])], axis=1)
    forward /= np.where(opposed, 1.0, length)[:, None]
    right = np.stack([forward[:, 1], -forward[:, 0]], axis=1)
    middle = np.stack([east.mean(axis=1), north.mean(axis=1)], axis=1)
    line = middle[:, None, :] + right[:, None, :] * offsets[:, None]
    back = line - forward[:, None, :] * (FOOTPRINT_M / 2)
    front = line + forward[:, None, :] * (FOOTPRINT_M / 2)
    return np.stack([back[:, :-1], back[:, 1:], front[:, 1:], front[:, :-1]], axis=2)


def _areas(corners: Floats) -> Floats:
    """Signed areas [n] of quadrilaterals [n, 4, 2] by their diagonals."""
    one, two = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    area: Floats = (one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]) / 2
    return area


def _side(a: Floats, b: Floats, c: Floats) -> Floats:
    """Twice the signed area of triangles [n]: positive where c lies left of the way from a to b."""
    twice: Floats = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    return twice


def _find_crossings(quads: Floats) -> Floats:
    """Which sides of each quadrilateral cross: 0 none, 1 the nozzle lines, 2 the ways of their ends."""
    p, q, r, s = quads[:, 0], quads[:, 1], quads[:, 2], quads[:, 3]
    lines = (_side(p, q, r) * _side(p, q, s) < 0) & (_side(r, s, p) * _side(r, s, q) < 0)
    ways = (_side(q, r, s) * _side(q, r, p) < 0) & (_side(s, p, q) * _side(s, p, r) < 0)
    return np.where(lines, 1.0, np.where(ways, 2.0, 0.0))


def _cut_bow_ties(quads: Floats, crossing: Floats) -> tuple[Floats, Floats]:
    """The two triangles [m, 4, 2] (last corner twice) of each quadrilateral that crosses itself."""
    ties = quads[crossing > 0]
    turned = np.where((crossing[crossing > 0] == 1)[:, None, None], ties, np.roll(ties, -1, axis=1))
    p, q, r, s = turned[:, 0], turned[:, 1], turned[:, 2], turned[:, 3]
    before, after = _side(r, s, p), _side(r, s, q)
    meet = p + (q - p) * (before / (before - after))[:, None]
    return np.stack([meet, q, r, r], axis=1), np.stack([meet, s, p, p], axis=1)
