"""The rig's own record of the wind, a block a minute, from what the live picture computes anyway."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, isfinite, nan

from server.core.blocks import Block, BlockSums, WindSecond, step_block
from server.core.profile import height_factor
from server.core.setup import Anemometer, Treatment
from server.core.windbound import STANDING_MPS
from server.core.windfold import Second, WindState

KEPT = 2880
"""So many blocks wait to be stored; when the rig fills in more than two days at once the oldest go."""
SAME_CLOCK_S = 1.0
AIMED_SD_DEG = 45.0
"""A direction that is less sure than this is not recorded."""
SILENT_S = 600.0
"""A receiver that told a velocity, or liquid that flowed, within this time may still be walked with."""


@dataclass(frozen=True, slots=True)
class Yard:
    """What is known beside the rig's messages: that it stands, and UTC less the monotonic clock where that is right."""

    stands: bool = False
    wall_offset_s: Callable[[], float | None] = lambda: None


UNKNOWN_YARD = Yard()


class Station:
    """Gathers seconds into blocks, at the cup's own height; `blocks` waits for whoever stores them.

    A rig that `stands` is parked: without a receiver that says otherwise its cup's reading is the wind.
    """

    def __init__(self, anemometer: Anemometer, treatment: Treatment, *, stands: bool = False) -> None:
        self._stands = stands
        self._moved_t = nan
        reference = treatment.wind_reference_height_m
        self.height_m = anemometer.height_m
        self._factor = 1.0
        if reference is not None:
            self._factor = height_factor(from_height=anemometer.height_m, to_height=reference)
        self._sums = BlockSums()
        self._offset_s = nan
        self.blocks: deque[Block] = deque(maxlen=KEPT)

    def take(self, second: Second, state: WindState, utc_offset_s: float) -> None:
        """One second: its reading, what the estimator makes of it, and UTC less job time as the receiver tells it."""
        if not isfinite(utc_offset_s):
            return
        # Each fix moves the offset by a little: a minute keeps its sixty seconds if it is held.
        if not abs(utc_offset_s - self._offset_s) < SAME_CLOCK_S:
            # Another clock: a wrong date in the future must not make everything later look old.
            self._offset_s, self._sums = utc_offset_s, BlockSums()
        self._sums, block = step_block(self._sums, self._read(second, state))
        if block is not None:
            self.blocks.append(block)

    def drain(self) -> list[Block]:
        """The blocks that wait, and none waits any longer."""
        found = list(self.blocks)
        self.blocks.clear()
        return found

    def _read(self, second: Second, state: WindState) -> WindSecond:
        """A standing rig's reading is the wind; a walking one's is what was estimated, once that can be told."""
        now = state.now
        utc = second.t + self._offset_s
        walk = hypot(second.velocity_east_mps, second.velocity_north_mps)
        if isfinite(walk) or second.is_spraying:
            self._moved_t = second.t
        elif self._stands and not second.t - self._moved_t < SILENT_S:
            # Nobody can see that it stands; whoever parked it has said so.
            walk = 0.0
        if not isfinite(walk) or now.is_cup_stuck:
            return WindSecond(utc, nan)
        if walk < STANDING_MPS:
            # What was known of the direction from walking grows old, and a standing cup tells none.
            return WindSecond(utc, second.apparent_mps, second.is_bound)
        if not now.is_settled or not isfinite(second.apparent_mps):
            return WindSecond(utc, nan)
        aim = now.from_deg if now.from_sd_deg < AIMED_SD_DEG else nan
        return WindSecond(
            utc,
            now.true_mps / self._factor,
            from_deg=aim,
            is_standing=False,
            minute_mean_mps=now.mean_60s_mps / self._factor,
            minute_gust_mps=state.gusts[-1][0] if state.gusts else nan,
        )
