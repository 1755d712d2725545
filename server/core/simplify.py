"""Rings of many places with fewer corners, and rings moved evenly outward or inward; metres on the local plane."""

import numpy as np

from server.core.band import thin_rows
from server.core.geodesy import signed_area
from server.core.log import Floats

LONGEST_MITRE = 3.0
"""A pointed corner moves at most so many times as far as the sides do."""


def simplify_ring(ring: Floats, *, tolerance_m: float) -> Floats:
    """The corners of a ring that matter: none that was left out lies farther than the tolerance from the new sides.

    Parameters
    ----------
    ring
        Places in order [k, 2], not closed [m].
    tolerance_m
        How far a place may lie from the new sides [m].

    Returns
    -------
    Floats
        Some of the places in order [j, 2].

    References
    ----------
    D. H. Douglas, T. K. Peucker, Algorithms for the reduction of the number of points required to represent a
    digitized line, The Canadian Cartographer 10, 1973, 112-122; begun at the two places farthest from the middle and
    from each other.

    Examples
    --------
    >>> ring = np.array([[0.0, 0.0], [1.0, 0.01], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> simplify_ring(ring, tolerance_m=0.05).tolist()
    [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]
    """
    if len(ring) < 4:
        return ring
    first = int(np.hypot(*(ring - ring.mean(axis=0)).T).argmax())
    turned = np.roll(ring, -first, axis=0)
    far = int(np.hypot(*(turned - turned[0]).T).argmax())
    closed = np.concatenate([turned, turned[:1]])
    halves = [
        begin + thin_rows(closed[begin : end + 1], tolerance_m=tolerance_m)
        for begin, end in ((0, far), (far, len(turned)))
    ]
    kept = np.unique(np.concatenate(halves) % len(ring))
    rows = np.sort((kept + first) % len(ring))
    corners: Floats = ring[rows]
    return corners


def move_ring(ring: Floats, *, outward_m: float) -> Floats:
    """A ring whose sides all lie so much farther out, parallel to where they were.

    Parameters
    ----------
    ring
        Corners in order, anticlockwise [k, 2], not closed [m].
    outward_m
        How far; negative is inward [m].

    Returns
    -------
    Floats
        The same number of corners [k, 2].

    Notes
    -----
    Where the ring has details finer than the way it is moved, it can come to cross itself.

    References
    ----------
    Derivation: a corner moves along the bisector by outward_m / cos(half the turn).

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> move_ring(square, outward_m=0.5).tolist()
    [[-0.5, -0.5], [2.5, -0.5], [2.5, 2.5], [-0.5, 2.5]]
    """
    side = np.roll(ring, -1, axis=0) - ring
    length = np.maximum(np.hypot(*side.T), 1e-9)
    normal = np.stack([side[:, 1], -side[:, 0]], axis=1) / length[:, None]
    before = np.roll(normal, 1, axis=0)
    mitre = (normal + before) / np.maximum(1.0 + (normal * before).sum(axis=1), 2.0 / LONGEST_MITRE**2)[:, None]
    moved: Floats = ring + outward_m * mitre
    return moved


def scale_area(ring: Floats, *, area_m2: float) -> Floats:
    """A ring moved evenly outward or inward until it has a wanted area.

    Parameters
    ----------
    ring
        Corners in order, anticlockwise [k, 2], not closed [m].
    area_m2
        The area wanted [m²].

    Returns
    -------
    Floats
        The same number of corners [k, 2].

    References
    ----------
    Derivation: the area grows by the length of the edge times the way moved; repeated, for corners add their part.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> round(signed_area(*scale_area(square, area_m2=4.41).T), 6)
    4.41
    """
    for _ in range(4):
        length = float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())
        ring = move_ring(ring, outward_m=(area_m2 - signed_area(*ring.T)) / max(length, 1e-9))
    return ring
