"""Wind speed from one height to another over short grass.

Speeds in metres per second, heights in metres above the ground.
"""

from math import log

FAO_FACTOR = 4.87
LEAST_HEIGHT_M = 0.1


def height_factor(*, from_height: float, to_height: float) -> float:
    """The ratio of the wind at one height to that at another, over short grass in neutral air.

    Parameters
    ----------
    from_height
        Height of the reading [m].
    to_height
        Height wanted [m].

    Returns
    -------
    float
        Ratio [-].

    Raises
    ------
    ValueError
        For a height below 0.1 m, where the profile has no meaning.

    Notes
    -----
    Neutral air only: in an inversion the wind aloft says nothing about the wind below. Clipped grass of 0.12 m.

    References
    ----------
    Allen et al., FAO Irrigation and Drainage Paper 56 (1998), equation 47.

    Examples
    --------
    >>> round(3.2 * height_factor(from_height=10.0, to_height=2.0), 1)
    2.4
    """
    if min(from_height, to_height) < LEAST_HEIGHT_M:
        raise ValueError(f"heights of at least {LEAST_HEIGHT_M} m are wanted, not {from_height} and {to_height}")
    return _to_two_metres(from_height) / _to_two_metres(to_height)


def _to_two_metres(height: float) -> float:
    """u2 / uz of equation 47."""
    return FAO_FACTOR / log(67.8 * height - 5.42)
