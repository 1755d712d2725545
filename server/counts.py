"""What the pulse lines counted since the rig was heard, and when they last did: is there a meter, does the cup turn."""

from math import isfinite, nan

from rig import wire
from server.snapshot import CountsPart, known

RUN_ENDS_S = 1.5
"""So long without a pulse ends a squeeze of the trigger."""
RATE_AFTER_S = 2.0
"""A squeeze must last so long before its rate is told."""


class Line:
    """One pulse line, over several starts of the device."""

    def __init__(self) -> None:
        self.total: int | None = None
        self.last_t = self.rate_hz = nan
        self._boot = ""
        self._pulses = 0
        self._run = (nan, 0)

    def take(self, t: float, boot: str, pulses: int) -> None:
        """One cumulative count."""
        if self.total is None:
            self.total, self._boot, self._pulses = 0, boot, pulses
            return
        fresh = pulses - (self._pulses if boot == self._boot else 0)
        self._boot, self._pulses = boot, pulses
        if fresh <= 0:
            return
        if not t - self.last_t <= RUN_ENDS_S:
            # The first count's pulses came over an unknown time: the rate is that of those after it.
            self._run = (t, self.total + fresh)
        self.total, self.last_t = self.total + fresh, t
        since, before = self._run
        if t - since >= RATE_AFTER_S:
            self.rate_hz = (self.total - before) / (t - since)

    def turn(self, t: float) -> None:
        """An instrument without pulses that tells wind."""
        self.last_t = t


class Counts:
    """Flow meter and cup of the rig that is followed."""

    def __init__(self) -> None:
        self._flow = Line()
        self._cup = Line()

    def take(self, t: float, message: wire.Data) -> None:
        """A message that comes next, at a job's second."""
        if isinstance(message, wire.Flow):
            self._flow.take(t, message.boot, message.pulses)
        elif isinstance(message, wire.Wind) and message.pulses is not None:
            self._cup.take(t, message.boot, message.pulses)
        elif isinstance(message, wire.Wind) and (message.speed or 0.0) > 0.0:
            self._cup.turn(t)

    def tell(self, now: float) -> CountsPart:
        """As of a job's second."""
        flow, cup = self._flow, self._cup
        return CountsPart(flow.total, _ago(now, flow), known(flow.rate_hz, 2), cup.total, _ago(now, cup))


def _ago(now: float, line: Line) -> float | None:
    return known(max(0.0, now - line.last_t), 1) if isfinite(line.last_t) else None
