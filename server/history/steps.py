"""Steps of the history by the clocks of a place: days begin at its midnight, weeks on its Monday.

Steps of an hour or less lie on UTC, where clocks that change cannot make one of them come twice.
"""

from datetime import timedelta
from zoneinfo import ZoneInfo

from server.core.blocks import MINUTE_S
from server.history.zone import START

LONGEST_PLAIN_S = 3600
DAY_S = 86_400
WEEK_S = 7 * DAY_S
WEEK_SHIFT_S = 3 * DAY_S
"""1 January 1970 was a Thursday; weeks begin on Monday (ISO 8601)."""
Shifts = tuple[tuple[int, int], ...]
"""From which minute on, and how many minutes local steps are ahead of UTC's; the first holds for all before, too."""


class Grid:
    """The steps of one length in one place."""

    def __init__(self, step_s: int, zone: ZoneInfo | float = 0.0) -> None:
        self.step_s = step_s
        is_local = step_s > LONGEST_PLAIN_S and (DAY_S % step_s == 0 or step_s % DAY_S == 0)
        self._zone = zone if is_local else 0.0
        self._shift_s = WEEK_SHIFT_S if is_local and step_s % WEEK_S == 0 else 0

    def find_shifts(self, from_utc: float, to_utc: float) -> Shifts:
        """What to add to minutes of UTC so that division by the step numbers the steps."""
        if not isinstance(self._zone, ZoneInfo):
            return ((0, round((self._zone + self._shift_s) / MINUTE_S)),)
        found: list[tuple[int, float]] = []
        low = int(from_utc) // DAY_S * DAY_S
        for begin in range(low, int(to_utc) + DAY_S, DAY_S):
            ahead = self._ahead_s(begin)
            if found and ahead == found[-1][1]:
                continue
            found.append((begin if not found else self._find_change(begin - DAY_S, begin), ahead))
        return tuple([(at // MINUTE_S, round((ahead + self._shift_s) / MINUTE_S)) for at, ahead in found])

    def begin_of(self, number: int) -> float:
        """When a step begins, seconds since 1970 UTC; where clocks show that time twice the first counts."""
        local = number * self.step_s - self._shift_s
        if not isinstance(self._zone, ZoneInfo):
            return local - self._zone
        naive = (START + timedelta(seconds=local)).replace(tzinfo=self._zone)
        return naive.timestamp()

    def _find_change(self, low: int, high: int) -> int:
        """The first instant within a day at which clocks go as at its end, to the minute."""
        after = self._ahead_s(high)
        while high - low > MINUTE_S:
            middle = (low + high) // 2 // MINUTE_S * MINUTE_S
            low, high = (low, middle) if self._ahead_s(middle) == after else (middle, high)
        return high

    def _ahead_s(self, utc: int) -> float:
        """How far the place's clocks are ahead of UTC then."""
        if not isinstance(self._zone, ZoneInfo):
            return self._zone
        offset = (START + timedelta(seconds=utc)).astimezone(self._zone).utcoffset()
        return 0.0 if offset is None else offset.total_seconds()
