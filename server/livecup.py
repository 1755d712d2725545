"""The air past the rig second by second while it happens, from the wind messages as they come."""

from dataclasses import dataclass
from math import floor, nan

from rig import wire
from server.core.cup import speed_of_rate
from server.core.setup import Anemometer

SILENCE_S = 1.5


@dataclass(frozen=True, slots=True)
class Air:
    """The mean speed past the rig in the second up to `t`; NaN where not known, a bound where the cup did not turn."""

    t: float
    mps: float
    is_bound: bool


class LiveCup:
    """Turns counts into one reading a second, as the review's `apparent_by_second` does."""

    def __init__(self, anemometer: Anemometer) -> None:
        self._anemometer = anemometer
        self._due: float | None = None
        self._last: tuple[float, wire.Wind] | None = None
        self._start: tuple[float | None, int | None] = (None, None)
        self._speeds: list[float] = []

    def restart(self) -> None:
        """The device began anew: its count starts at 0."""
        self._due = self._last = None
        self._start = (None, None)
        self._speeds = []

    def take(self, t: float, shift_s: float, message: wire.Wind) -> list[Air]:
        """Take one message at job time t; gives the seconds that it completes."""
        found: list[Air] = []
        if self._due is None:
            self._due = floor(t) + 1.0
            self._start = _edge_of(message, shift_s)
        while self._due < t + 1e-6:
            found.append(self._close(self._due, shift_s, message if t <= self._due + 1e-6 else None))
            self._due += 1.0
        if message.speed is not None:
            self._speeds.append(message.speed)
        self._last = (t, message)
        return found

    def _close(self, at: float, shift_s: float, current: wire.Wind | None) -> Air:
        """End one second with the newest message up to it."""
        newest = current or (self._last[1] if self._last is not None else None)
        age = 0.0 if current is not None or self._last is None else at - self._last[0]
        if newest is None or age > SILENCE_S:
            return Air(at, nan, is_bound=False)
        if newest.pulses is None:
            speeds, self._speeds = self._speeds, []
            return Air(at, sum(speeds) / len(speeds) if speeds else nan, is_bound=False)
        before, self._start = self._start, _edge_of(newest, shift_s)
        edge, pulses = self._start
        if edge is None or before[1] is None or pulses is None or before[0] is None or pulses <= before[1]:
            return Air(at, self._bound(at - edge if edge is not None else 60.0), is_bound=True)
        rate = (pulses - before[1]) / max(edge - before[0], 1e-3)
        return Air(at, speed_of_rate(rate, anemometer=self._anemometer), is_bound=False)

    def _bound(self, silent_s: float) -> float:
        """What a cup that has not turned for so long says: slower than this."""
        return max(speed_of_rate(1.0 / max(silent_s, 0.2), anemometer=self._anemometer), self._anemometer.threshold_mps)


def _edge_of(message: wire.Wind, shift_s: float) -> tuple[float | None, int | None]:
    """The last edge in job seconds, and the count at it."""
    return (None if message.edge is None else message.edge + shift_s, message.pulses)
