"""In which order to walk some lines on the ground, and from which end, so that little is walked between them."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from server.core.log import Floats

ROUNDS = 40
"""Improvements come to rest long before; a bound, so that no odd input can take for ever."""


def order_walk(ends_m: Floats, *, start_m: tuple[float, float]) -> list[tuple[int, bool]]:
    """A short way over all lines: the nearest first, then parts reversed and lines moved as long as that shortens it.

    Parameters
    ----------
    ends_m
        First and last point of each line [n, 2, 2] [m].
    start_m
        Where the walk begins: east, north [m]; NaN: at the first line.

    Returns
    -------
    list[tuple[int, bool]]
        Each line's place in `ends_m` in the order of walking, and whether it is walked from its last point.

    Notes
    -----
    Not always the shortest way of all, but never longer than from each line to the nearest one.

    References
    ----------
    G. A. Croes, A method for solving traveling-salesman problems, Operations Research 6 (6), 1958, 791-812 (reversing
    parts of a tour).

    Examples
    --------
    >>> ends = np.array([[[0.0, 0.0], [0.0, 9.0]], [[4.0, 0.0], [4.0, 9.0]], [[2.0, 0.0], [2.0, 9.0]]])
    >>> order_walk(ends, start_m=(0.0, -1.0))
    [(0, False), (2, True), (1, False)]
    """
    here = np.array(start_m) if np.isfinite(start_m).all() else ends_m[0, 0] if len(ends_m) else np.zeros(2)
    order = _walk_to_nearest(ends_m, here)
    for _ in range(ROUNDS):
        better = _shorten(order, ends_m, here)
        if better is None:
            break
        order = better
    return order


def measure_between(order: list[tuple[int, bool]], ends_m: Floats, *, start_m: tuple[float, float]) -> float:
    """How far is walked without spraying: to the first line and from each line to the next.

    Parameters
    ----------
    order
        Lines and ends, as `order_walk` gives them.
    ends_m
        First and last point of each line [n, 2, 2] [m].
    start_m
        Where the walk begins: east, north [m]; NaN: at the first line.

    Returns
    -------
    float
        Metres [m].

    References
    ----------
    Derivation: straight ways from end to beginning.

    Examples
    --------
    >>> ends = np.array([[[0.0, 0.0], [0.0, 9.0]], [[2.0, 0.0], [2.0, 9.0]]])
    >>> measure_between([(0, False), (1, True)], ends, start_m=(0.0, -1.0))
    3.0
    """
    here = np.array(start_m) if np.isfinite(start_m).all() else None
    return _sum_way(order, ends_m, here)


def _walk_to_nearest(ends: Floats, here: Floats) -> list[tuple[int, bool]]:
    """From each line to the nearest one that is left."""
    order: list[tuple[int, bool]] = []
    left = list(range(len(ends)))
    while left:
        away = np.hypot(*(ends[left] - here).transpose(2, 0, 1))
        place, end = np.unravel_index(int(away.argmin()), away.shape)
        line = left.pop(int(place))
        order.append((line, bool(end)))
        here = ends[line, 1 - int(end)]
    return order


def _shorten(order: list[tuple[int, bool]], ends: Floats, here: Floats) -> list[tuple[int, bool]] | None:
    """The order with the one change that shortens the way most; None where none does."""
    least, best = _sum_way(order, ends, here) - 1e-6, None
    for tried in (*_reverse_parts(order), *_move_lines(order)):
        way = _sum_way(tried, ends, here)
        if way < least:
            least, best = way, tried
    return best


def _reverse_parts(order: list[tuple[int, bool]]) -> Iterator[list[tuple[int, bool]]]:
    """Every order in which one part is walked backwards."""
    for first in range(len(order)):
        for last in range(first, len(order)):
            part = [(line, not is_back) for line, is_back in reversed(order[first : last + 1])]
            yield [*order[:first], *part, *order[last + 1 :]]


def _move_lines(order: list[tuple[int, bool]]) -> Iterator[list[tuple[int, bool]]]:
    """Every order in which one line stands elsewhere, walked from either end."""
    for place, (line, is_back) in enumerate(order):
        rest = [*order[:place], *order[place + 1 :]]
        for goal in range(len(order)):
            for turn in (is_back, not is_back):
                yield [*rest[:goal], (line, turn), *rest[goal:]]


def _sum_way(order: list[tuple[int, bool]], ends: Floats, here: Floats | None) -> float:
    """Metres walked between lines."""
    points = [] if here is None else [(here, here)]
    points += [(ends[line, int(is_back)], ends[line, 1 - int(is_back)]) for line, is_back in order]
    return float(sum(np.hypot(*(after[0] - before[1])) for before, after in pairwise(points)))
