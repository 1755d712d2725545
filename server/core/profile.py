"""Wind speed from one height to another over short grass.

Speeds in metres per second, heights in metres above the ground.
"""

from math import log

FAO_FACTOR = 4.87
LEAST_HEIGHT_M = 0.1
VALID_M = (0.5, 10.0)
"""Heights between which the equation is used (FAO-56 tabulates it from 1 to 10 m, from memory)."""


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


def tell_conversion(*, from_height: float, to_height: float) -> str:
    """What a conversion from one height to another does to the wind, and where it does not hold, as one sentence.

    Parameters
    ----------
    from_height
        Height of the cup [m].
    to_height
        Height that the limit is meant for [m].

    Returns
    -------
    str
        The sentence; "" where both heights are the same.

    Raises
    ------
    ValueError
        As `height_factor`.

    References
    ----------
    Allen et al., FAO Irrigation and Drainage Paper 56 (1998), equation 47.

    Examples
    --------
    >>> tell_conversion(from_height=2.0, to_height=10.0)[:83]
    'The limit is meant for 10 m, the cup is at 2 m: the wind is told 1.34 times as fast'
    """
    if from_height == to_height:
        return ""
    factor = height_factor(from_height=from_height, to_height=to_height)
    holds = "which holds over short grass in neutral air, not in an inversion and not beside hedges or walls"
    low, high = VALID_M
    beyond = min(from_height, to_height) < low or max(from_height, to_height) > high
    doubt = f"; at heights below {low:g} or above {high:g} m it is a guess" if beyond else ""
    heights = f"The limit is meant for {to_height:g} m, the cup is at {from_height:g} m"
    return f"{heights}: the wind is told {factor:.2f} times as fast as at the cup, {holds}{doubt}."


def _to_two_metres(height: float) -> float:
    """u2 / uz of equation 47."""
    return FAO_FACTOR / log(67.8 * height - 5.42)
