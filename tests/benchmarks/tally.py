"""What came of many jobs: counts, shares with their 99 % bounds, and how often intervals hold."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from math import sqrt

import numpy as np

RESAMPLES = 2000
Z90, Z99 = 1.645, 2.576


@dataclass
class Tally:
    """What came of one or many jobs of a class: counts by name, and figures by name; `jobs` keeps each one's counts."""

    counts: Counter[str] = field(default_factory=Counter)
    figures: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    jobs: list[Counter[str]] = field(default_factory=list)

    def add(self, other: "Tally") -> None:
        """Put another one in."""
        self.counts.update(other.counts)
        self.jobs.append(other.counts)
        for name, values in other.figures.items():
            self.figures[name] += values

    def note_interval(self, name: str, miss: float, sd: float) -> None:
        """Count one interval, and whether it held."""
        self.counts[name] += 1
        self.counts[f"{name} held"] += abs(miss) <= Z90 * sd
        if sd > 0:
            self.figures[f"{name} z"].append(miss / sd)

    def held(self, name: str) -> str:
        """In how many per cent an interval held, with 99 % bounds over resampled jobs, and the errors over their sd."""
        counted = np.array([(job[f"{name} held"], job[name]) for job in self.jobs], dtype=float)
        if not counted[:, 1].sum():
            return f"{name} –"
        chosen = np.random.default_rng(1).integers(0, len(counted), (RESAMPLES, len(counted)))
        sums = counted[chosen].sum(axis=1)
        low, high = np.quantile(sums[:, 0] / np.maximum(sums[:, 1], 1.0), (0.005, 0.995))
        share, z = counted[:, 0].sum() / counted[:, 1].sum(), np.array(self.figures[f"{name} z"])
        return f"{name} {100 * share:.1f} [{100 * low:.1f}–{100 * high:.1f}] z {sqrt((z**2).mean()):.2f}"

    def share(self, name: str, of: str) -> str:
        """A share in per cent with its 99 % bounds."""
        return bound_share(self.counts[name], self.counts[of])


def bound_share(count: int, of: int) -> str:
    """A share in per cent with Wilson's 99 % interval."""
    if not of:
        return "–"
    p, z2 = count / of, Z99**2
    middle, reach = p + z2 / (2 * of), Z99 * sqrt(p * (1 - p) / of + z2 / (4 * of * of))
    low, high = ((middle - reach) / (1 + z2 / of), (middle + reach) / (1 + z2 / of))
    return f"{100 * p:.1f} [{100 * max(low, 0.0):.1f}–{100 * min(high, 1.0):.1f}]"
