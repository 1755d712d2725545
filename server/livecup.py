"""The air past the rig second by second while it happens, from the wind messages as they come."""

from dataclasses import dataclass
from math import atan2, cos, degrees, floor, nan, radians, sin

from rig import wire
from server.core.cup import FROZEN_S, FROZEN_VANE_S, speed_of_rate
from server.core.setup import Anemometer

SILENCE_S = 1.5


@dataclass(frozen=True, slots=True)
class Air:
    """The mean speed past the rig in the second up to `t`; NaN where not known, a bound where the cup did not turn.

    `from_bow_deg` is where it comes from as a vane says, clockwise from the bow; NaN without one.
    """

    t: float
    mps: float
    is_bound: bool
    from_bow_deg: float = nan


class LiveCup:
    """Turns counts or an instrument's speeds into one reading a second, as the review's `apparent_by_second` does."""

    is_frozen: bool
    """Whether an instrument has told the very same speed for too long."""

    def __init__(self, anemometer: Anemometer) -> None:
        self._anemometer = anemometer
        self.restart()

    def restart(self) -> None:
        """The device began anew: its count starts at 0."""
        self._due: float | None = None
        self._last: tuple[float, wire.Wind] | None = None
        self._start: tuple[float | None, int | None] = (None, None)
        self._speeds: list[float] = []
        self._bearings: list[float] = []
        self._told: tuple[float | None, float] = (None, nan)
        self._aimed: tuple[float | None, float] = (None, nan)
        self.is_frozen = False

    def take(self, t: float, shift_s: float, message: wire.Wind) -> list[Air]:
        """Take one message at job time t; gives the seconds that it completes."""
        found: list[Air] = []
        is_first = self._due is None
        if self._due is None:
            self._due = floor(t) + 1.0
            self._start = _edge_of(message, shift_s)
        while self._due < t - 1e-6:
            found.append(self._close(self._due, shift_s, None))
            self._due += 1.0
        self._note(t, message)
        if is_first and t < self._due - 1.0 + 1e-6:
            # What comes on the whole second belongs to the second that it ends.
            self._speeds, self._bearings = [], []
        if t >= self._due - 1e-6:
            found.append(self._close(self._due, shift_s, message))
            self._due += 1.0
        self._last = (t, message)
        return found

    def _note(self, t: float, message: wire.Wind) -> None:
        """Keep what an instrument and a vane say until the second ends."""
        speed, bearing = message.speed, message.from_
        if bearing is None or bearing != self._aimed[0]:
            self._aimed = (bearing, t)
        if bearing is not None and t - self._aimed[1] < FROZEN_VANE_S:
            self._bearings.append(bearing)
        if speed is None or speed != self._told[0]:
            self._told = (speed, t)
        is_moving = speed is not None and speed >= self._anemometer.threshold_mps
        self.is_frozen = is_moving and t - self._told[1] >= FROZEN_S
        if speed is not None and not self.is_frozen:
            self._speeds.append(speed)

    def _close(self, at: float, shift_s: float, current: wire.Wind | None) -> Air:
        """End one second with the newest message up to it."""
        newest = current or (self._last[1] if self._last is not None else None)
        age = 0.0 if current is not None or self._last is None else at - self._last[0]
        bow, self._bearings = _average(self._bearings), []
        speeds, self._speeds = self._speeds, []
        if newest is None or age > SILENCE_S:
            return Air(at, nan, is_bound=False)
        if newest.pulses is None:
            return self._tell(at, speeds, bow)
        before, self._start = self._start, _edge_of(newest, shift_s)
        edge, pulses = self._start
        if edge is None or before[1] is None or pulses is None or before[0] is None or pulses <= before[1]:
            return Air(at, self._bound(at - edge if edge is not None else 60.0), is_bound=True, from_bow_deg=bow)
        rate = (pulses - before[1]) / max(edge - before[0], 1e-3)
        return Air(at, speed_of_rate(rate, anemometer=self._anemometer), is_bound=False, from_bow_deg=bow)

    def _tell(self, at: float, speeds: list[float], bow: float) -> Air:
        """A second of an instrument that tells speeds: the cup's line does not concern it, its threshold does."""
        mean, least = sum(speeds) / len(speeds) if speeds else nan, self._anemometer.threshold_mps
        return Air(at, least, is_bound=True, from_bow_deg=bow) if mean < least else Air(at, mean, False, bow)

    def _bound(self, silent_s: float) -> float:
        """What a cup that has not turned for so long says: slower than this."""
        return max(speed_of_rate(1.0 / max(silent_s, 0.2), anemometer=self._anemometer), self._anemometer.threshold_mps)


def _average(bearings: list[float]) -> float:
    """The mean of bearings by unit vectors."""
    if not bearings:
        return nan
    ahead, aside = (sum(part(radians(each)) for each in bearings) for part in (cos, sin))
    return degrees(atan2(aside, ahead)) % 360.0


def _edge_of(message: wire.Wind, shift_s: float) -> tuple[float | None, int | None]:
    """The last edge in job seconds, and the count at it."""
    return (None if message.edge is None else message.edge + shift_s, message.pulses)
