"""Probabilities of the normal distribution."""

from math import erf, isfinite, nan, sqrt

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
