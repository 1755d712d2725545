"""A straight line through points that are unsure in both co-ordinates."""

from dataclasses import dataclass

import numpy as np

from server.core.log import Floats

_ROUNDS = 200
_NEAR = 1e-14


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope x with standard uncertainties, their covariance, and the chi-square of the points."""

    intercept: float
    slope: float
    intercept_sd: float
    slope_sd: float
    covariance: float
    chi2: float
    freedom: int

    def variance_at(self, x: float) -> float:
        """The variance of the line's y at x."""
        return self.intercept_sd**2 + 2.0 * x * self.covariance + (x * self.slope_sd) ** 2


def fit_line(x: Floats, y: Floats, *, x_sd: Floats, y_sd: Floats) -> Line:
    """The likeliest straight line through points with independent normal errors in both co-ordinates.

    Parameters
    ----------
    x, y
        Points [n], any units [-].
    x_sd, y_sd
        Standard uncertainties [n] in the same units [-]; for each point at most one of the two is 0.

    Returns
    -------
    Line
        Slope, intercept and their standard uncertainties at the stated uncertainties (not scaled by the scatter).

    Raises
    ------
    ValueError
        For fewer than 3 points, or points that all lie at one x.

    References
    ----------
    York, Evensen, Lopez Martinez, De Basabe Delgado, American Journal of Physics 72 (2004) 367, equations 13 (from
    memory), with errors of x and y independent; uncertainties at the adjusted points.

    Examples
    --------
    >>> line = fit_line(np.array([1.0, 2.0, 3.0]), np.array([2.1, 4.0, 5.9]), x_sd=np.zeros(3), y_sd=0.1 * np.ones(3))
    >>> round(line.slope, 6), round(line.intercept, 6), round(line.slope_sd, 4)
    (1.9, 0.2, 0.0707)
    """
    if len(x) < 3 or float(np.ptp(x)) <= 0.0:
        raise ValueError("a line needs three points that do not lie at one x")
    slope = float(np.polyfit(x, y, 1)[0])
    for _ in range(_ROUNDS):
        weight = _weigh(slope, x_sd, y_sd)
        u, v = x - float(np.average(x, weights=weight)), y - float(np.average(y, weights=weight))
        beta = weight * (u * y_sd**2 + slope * v * x_sd**2)
        before, slope = slope, float((weight * beta) @ v / ((weight * beta) @ u))
        if abs(slope - before) <= _NEAR * abs(slope):
            break
    weight = _weigh(slope, x_sd, y_sd)
    middle = float(np.average(x, weights=weight))
    u, v = x - middle, y - float(np.average(y, weights=weight))
    intercept = float(np.average(y, weights=weight)) - slope * middle
    adjusted = middle + weight * (u * y_sd**2 + slope * v * x_sd**2)
    centre = float(np.average(adjusted, weights=weight))
    variance = 1.0 / float(weight @ (adjusted - centre) ** 2)
    return Line(
        intercept,
        slope,
        float(np.sqrt(1.0 / weight.sum() + centre**2 * variance)),
        float(np.sqrt(variance)),
        -centre * variance,
        float(weight @ (y - intercept - slope * x) ** 2),
        len(x) - 2,
    )


def _weigh(slope: float, x_sd: Floats, y_sd: Floats) -> Floats:
    """One over the variance of each point's distance in y from a line of that slope."""
    weight: Floats = 1.0 / (y_sd**2 + (slope * x_sd) ** 2)
    return weight
