"""Probabilities of the normal distribution."""

from math import erf, erfc, isfinite, nan, sqrt

Z90 = 1.645
"""± so many standard deviations hold 90 %."""


def chance_above(mean: float, sd: float, limit: float) -> float:
    """The probability that a speed is above a limit.

    Parameters
    ----------
    mean
        Estimate [m/s]; NaN: not known.
    sd
        Standard deviation [m/s].
    limit
        Limit [m/s].

    Returns
    -------
    float
        0 to 1 [-]; NaN where the speed is not known.

    References
    ----------
    Derivation: the normal distribution.

    Examples
    --------
    >>> chance_above(4.0, 1.0, 4.0)
    0.5
    """
    if not isfinite(mean):
        return nan
    return 0.5 * (1.0 + erf((mean - limit) / max(sd, 1e-6) / sqrt(2.0)))


def chance_of_ratio(ratio: float, above: float, below: float) -> float:
    """The probability that a ratio of two mean squares is at least so large by chance (Fisher's F).

    Parameters
    ----------
    ratio
        Mean square over mean square [-]; NaN: not known.
    above, below
        Their degrees of freedom [-]; `below` may be infinite: chi-square over its degrees of freedom.

    Returns
    -------
    float
        0 to 1 [-]; NaN where the ratio is not known.

    Notes
    -----
    Paulson's approximation by cube roots: in the upper tail right to a few per cent of the probability for 3 degrees of
    freedom or more below, and for 1 above still to a fifth.

    References
    ----------
    Paulson, Annals of Mathematical Statistics 13 (1942) 233; for infinite `below` Wilson, Hilferty, Proceedings of the
    National Academy of Sciences 17 (1931) 684. From memory.

    Examples
    --------
    >>> round(chance_of_ratio(3.33, 5, 10), 3), round(chance_of_ratio(15.09 / 5, 5, float("inf")), 3)
    (0.05, 0.01)
    """
    if not isfinite(ratio):
        return nan
    root, top, low = max(ratio, 0.0) ** (1.0 / 3.0), 2.0 / (9.0 * above), 2.0 / (9.0 * below)
    z = ((1.0 - low) * root - (1.0 - top)) / sqrt(low * root * root + top)
    return 0.5 * erfc(z / sqrt(2.0))
