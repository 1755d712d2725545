"""A rate that is linear between knots, its exact integral and the exact times at which that reaches a level."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class RateCurve:
    """Knots `t` (ascending), `rate` (≥ 0) at them, and `total`, the integral up to each knot."""

    t: Floats
    rate: Floats
    total: Floats

    def rate_at(self, t: Floats) -> Floats:
        """The rate at times t."""
        return np.interp(t, self.t, self.rate)

    def total_at(self, t: Floats) -> Floats:
        """The integral from the first knot to times t, exactly; constant beyond the ends."""
        t = np.clip(np.asarray(t, dtype=float), self.t[0], self.t[-1])
        i = np.clip(np.searchsorted(self.t, t, side="right") - 1, 0, len(self.t) - 2)
        dt = t - self.t[i]
        slope = (self.rate[i + 1] - self.rate[i]) / (self.t[i + 1] - self.t[i])
        return np.asarray(self.total[i] + dt * (self.rate[i] + 0.5 * slope * dt))

    def time_of(self, level: Floats) -> Floats:
        """The first times at which the integral reaches levels in (0, total]; NaN beyond."""
        level = np.asarray(level, dtype=float)
        i = np.clip(np.searchsorted(self.total, level, side="left") - 1, 0, len(self.t) - 2)
        step = self.t[i + 1] - self.t[i]
        slope = (self.rate[i + 1] - self.rate[i]) / step
        left = level - self.total[i]
        root = np.sqrt(np.maximum(self.rate[i] ** 2 + 2.0 * slope * left, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            dt = np.where(left > 0.0, 2.0 * left / (self.rate[i] + root), 0.0)
        return np.where(level <= self.total[-1], self.t[i] + np.clip(dt, 0.0, step), np.nan)


def integrate_rate(t: Floats, rate: Floats) -> RateCurve:
    """Make a curve from knots; raises ValueError for unsorted knots or a negative rate."""
    t, rate = np.asarray(t, dtype=float), np.asarray(rate, dtype=float)
    if len(t) < 2 or np.any(np.diff(t) <= 0.0):
        raise ValueError("knots must be at least two and ascending")
    if np.any(rate < 0.0):
        raise ValueError("the rate must not be negative")
    pieces = np.diff(t) * 0.5 * (rate[1:] + rate[:-1])
    return RateCurve(t, rate, np.concatenate(([0.0], np.cumsum(pieces))))
