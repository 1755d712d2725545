"""A value with how well it is known, as the GUM combines them.

`sd` is the standard uncertainty, `freedom` its degrees of freedom: infinite where it is not from few readings. With
three runs, intervals that are meant to hold 95 % hold 93 to 95 %, for Welch and Satterthwaite's formula takes the few
readings' scatter as it happened to be.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan, cos, fsum, inf, isfinite, nan, pi, sin, sqrt

COVERAGE = 0.95
_MOST_FREEDOM = 200
"""From here on Student's distribution is taken as at this number: 1.972 instead of 1.960."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value, its standard uncertainty in the same unit, and its degrees of freedom."""

    value: float
    sd: float = 0.0
    freedom: float = inf

    @property
    def share(self) -> float:
        """The standard uncertainty as a share of the value; NaN of nought."""
        return self.sd / abs(self.value) if self.value else nan

    @property
    def margin(self) -> float:
        """Half the width of the interval that is meant to hold 95 %."""
        return coverage_factor(self.freedom) * self.sd


def average_runs(values: Sequence[float]) -> Estimate:
    """The mean of repeated readings with what their scatter says about it (type A).

    Parameters
    ----------
    values
        Readings of one quantity, two or more [any unit].

    Returns
    -------
    Estimate
        Mean, scatter over the root of the number, degrees of freedom one less than the number.

    Raises
    ------
    ValueError
        If there are fewer than two, or one is not finite.

    References
    ----------
    JCGM 100:2008 (GUM), 4.2.1 to 4.2.3, equations 3 and 5.

    Examples
    --------
    >>> found = average_runs([77.0, 79.0, 78.0])
    >>> found.value, round(found.sd, 4), found.freedom
    (78.0, 0.5774, 2)
    """
    if len(values) < 2 or not all(isfinite(value) for value in values):
        raise ValueError(f"two or more finite readings are wanted, not {list(values)}")
    count = len(values)
    mean = fsum(values) / count
    variance = fsum((value - mean) ** 2 for value in values) / (count - 1)
    return Estimate(mean, sqrt(variance / count), count - 1)


def add_doubt(estimate: Estimate, sds: Sequence[float]) -> Estimate:
    """The same value with further, independent doubts that no repetition shows (type B).

    Parameters
    ----------
    estimate
        What is known so far.
    sds
        Standard uncertainties in the unit of the value [same].

    Returns
    -------
    Estimate
        Doubts added as squares; degrees of freedom after Welch and Satterthwaite.

    References
    ----------
    JCGM 100:2008 (GUM), equations 10 and G.2b.

    Examples
    --------
    >>> found = add_doubt(Estimate(10.0, 0.3, 2), [0.4])
    >>> found.sd, round(found.freedom, 1)
    (0.5, 15.4)
    """
    total = sqrt(fsum([estimate.sd**2, *(sd**2 for sd in sds)]))
    if estimate.sd == 0.0 or not isfinite(estimate.freedom):
        return Estimate(estimate.value, total)
    return Estimate(estimate.value, total, estimate.freedom * (total / estimate.sd) ** 4)


def multiply_powers(factors: Sequence[tuple[Estimate, float]]) -> Estimate:
    """A product of independent quantities, each to a power, with its uncertainty.

    Parameters
    ----------
    factors
        Each quantity and its power [-]; of a quotient the power is -1.

    Returns
    -------
    Estimate
        The product; relative uncertainties times powers, added as squares; degrees of freedom after Welch and
        Satterthwaite.

    Raises
    ------
    ValueError
        If a quantity is not above 0.

    References
    ----------
    JCGM 100:2008 (GUM), equations 12 and G.2b.

    Examples
    --------
    >>> found = multiply_powers([(Estimate(2.0, 0.06), 1.0), (Estimate(4.0, 0.16), -1.0)])
    >>> found.value, round(found.share, 4)
    (0.5, 0.05)
    """
    if any(not part.value > 0.0 for part, _ in factors):
        raise ValueError(f"quantities above 0 are wanted, not {[part.value for part, _ in factors]}")
    value = 1.0
    for part, power in factors:
        value *= part.value**power
    shares = [(power * part.share, part.freedom) for part, power in factors]
    total = sqrt(fsum(share**2 for share, _ in shares))
    spent = fsum(share**4 / freedom for share, freedom in shares)
    return Estimate(value, value * total, total**4 / spent if spent > 0.0 else inf)


def coverage_factor(freedom: float, *, coverage: float = COVERAGE) -> float:
    """By how much a standard uncertainty is multiplied so that the interval holds that often: Student's t.

    Parameters
    ----------
    freedom
        Degrees of freedom, taken down to a whole number [-]; at least 1.
    coverage
        How often the interval is to hold, two-sided [-]; above 0, below 1.

    Returns
    -------
    float
        The factor [-].

    Raises
    ------
    ValueError
        If there is less than one degree of freedom, or the coverage is not between 0 and 1.

    Notes
    -----
    Above 200 degrees of freedom that of 200 is given, within 0.7 % of the normal distribution's.

    References
    ----------
    JCGM 100:2008 (GUM), G.3 and table G.2; the distribution in closed form: Abramowitz and Stegun, Handbook of
    Mathematical Functions, 26.7.3 and 26.7.4 (from memory, checked against the table).

    Examples
    --------
    >>> [round(coverage_factor(freedom), 2) for freedom in (1, 2, 10)]
    [12.71, 4.3, 2.23]
    """
    if not freedom >= 1.0 or not 0.0 < coverage < 1.0:
        raise ValueError(f"degrees of freedom {freedom:g}, coverage {coverage:g}: at least 1, and between 0 and 1")
    whole = int(min(freedom, _MOST_FREEDOM))
    low, high = 0.0, pi / 2.0
    for _ in range(60):
        angle = (low + high) / 2.0
        low, high = (angle, high) if _student_coverage(angle, whole) < coverage else (low, angle)
    return sqrt(whole) * sin(low) / cos(low)


def _student_coverage(angle: float, freedom: int) -> float:
    """How much of Student's distribution lies within t = tan(angle) times the root of the degrees of freedom."""
    odd = freedom % 2
    term, total = (cos(angle) if odd else 1.0), 0.0
    for step in range(2 if odd else 1, freedom, 2):
        total += term
        term *= cos(angle) ** 2 * step / (step + 1)
    return (angle + sin(angle) * total) * 2.0 / pi if odd else sin(angle) * total


def coverage_of(factor: float, *, freedom: float) -> float:
    """How often an interval of that many standard uncertainties holds.

    Parameters
    ----------
    factor
        Multiple of the standard uncertainty [-].
    freedom
        Degrees of freedom, taken down to a whole number [-]; at least 1.

    Returns
    -------
    float
        Two-sided probability [-].

    Raises
    ------
    ValueError
        If there is less than one degree of freedom.

    References
    ----------
    As `coverage_factor`.

    Examples
    --------
    >>> round(coverage_of(12.706, freedom=1), 3)
    0.95
    """
    if not freedom >= 1.0:
        raise ValueError(f"degrees of freedom {freedom:g}: at least 1 is wanted")
    whole = int(min(freedom, _MOST_FREEDOM))
    return _student_coverage(atan(abs(factor) / sqrt(whole)), whole)
