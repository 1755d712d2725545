"""The scenario's clock: seconds since the scenario began, scaled from real time or stepped by hand."""

import asyncio
import time


class ScaledClock:
    """Scenario seconds that run `pace` times as fast as real time, starting at `start_s` (asyncio sleeps included)."""

    def __init__(self, pace: float = 1.0, start_s: float = 0.0) -> None:
        if not pace > 0:
            raise ValueError(f"pace {pace}: must be above 0")
        self.pace = pace
        self._start_s = start_s
        self._real_start_s = time.monotonic()

    def now(self) -> float:
        """Tell the scenario's time in seconds."""
        return self._start_s + (time.monotonic() - self._real_start_s) * self.pace

    async def sleep(self, seconds: float) -> None:
        """Wait for so many scenario seconds."""
        await asyncio.sleep(max(seconds, 0.0) / self.pace)

    async def wait_until(self, at_s: float) -> None:
        """Wait until the scenario's time is `at_s`."""
        await self.sleep(at_s - self.now())


class SteppedClock:
    """Scenario seconds that move only when told to, so that work runs as fast as the machine allows."""

    def __init__(self, start_s: float = 0.0) -> None:
        self._now_s = start_s

    def now(self) -> float:
        """Tell the scenario's time in seconds."""
        return self._now_s

    def step_to(self, at_s: float) -> None:
        """Move on to `at_s`; raises ValueError for a step back."""
        if at_s < self._now_s:
            raise ValueError(f"clock at {self._now_s} s cannot step back to {at_s} s")
        self._now_s = at_s
