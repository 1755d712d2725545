"""Sets of sequence numbers that mostly come in order, kept as ranges: small however many numbers there are."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable


class Numbers:
    """Whole numbers from 0, as disjoint ranges in order."""

    def __init__(self, ranges: Iterable[tuple[int, int]] = ()) -> None:
        self._lows: list[int] = []
        self._highs: list[int] = []
        self._count = 0
        for low, high in ranges:
            self.add(low, high)

    def __contains__(self, number: int) -> bool:
        place = bisect_right(self._lows, number) - 1
        return place >= 0 and number <= self._highs[place]

    @property
    def count(self) -> int:
        """How many numbers there are."""
        return self._count

    @property
    def settled(self) -> int:
        """The highest number with everything from 0 up to it in the set; -1 for none."""
        return self._highs[0] if self._lows and self._lows[0] == 0 else -1

    @property
    def highest(self) -> int:
        """The highest number; -1 for none."""
        return self._highs[-1] if self._highs else -1

    @property
    def missing(self) -> int:
        """How many numbers between the lowest and the highest are not in the set."""
        return self._highs[-1] - self._lows[0] + 1 - self._count if self._lows else 0

    def add(self, low: int, high: int | None = None) -> None:
        """Put in one number, or a range with both its ends."""
        high = low if high is None else high
        if self._highs and low == self._highs[-1] + 1:
            self._highs[-1] = high
            self._count += high - low + 1
            return
        first = bisect_left(self._highs, low - 1)
        last = bisect_right(self._lows, high + 1)
        gone = sum(b - a + 1 for a, b in zip(self._lows[first:last], self._highs[first:last], strict=True))
        if first < last:
            low, high = min(low, self._lows[first]), max(high, self._highs[last - 1])
        self._lows[first:last], self._highs[first:last] = [low], [high]
        self._count += high - low + 1 - gone
