"""What ails the anemometer, in plain sentences: stuck, frozen, dead since long, or in air in which it may ice."""

from math import isfinite, nan

from rig import wire
from server.core.climate import is_icing_likely
from server.livecup import Air

DEAD_S = 12.0 * 3600.0
"""The longest calm of the recordings, in a sheltered orchard, had 10-min means below 0.5 m/s for 14 hours once in seven
months; mostly it is less than 12, and a cup turns in its gusts."""


class CupWatch:
    """Remembers when the cup last turned and what the air is like."""

    def __init__(self) -> None:
        self._turned_t = self._last_t = nan
        self._air: tuple[float | None, float | None] = (None, None)

    def take(self, air: Air) -> None:
        """One second's reading."""
        if not isfinite(air.mps):
            return
        if not air.is_bound or not isfinite(self._turned_t):
            self._turned_t = air.t
        self._last_t = air.t

    def take_climate(self, message: wire.Climate) -> None:
        """The air's temperature and humidity."""
        self._air = message.temperature, message.humidity

    def tell(self, *, is_stuck: bool, is_frozen: bool) -> list[str]:
        """What is wrong; a stuck cup is the estimator's finding, a frozen instrument that of the live reading."""
        found = []
        if is_stuck:
            found.append("The cup stands as no wind can explain: is it stuck? No alarm can warn of wind.")
        elif self._last_t - self._turned_t >= DEAD_S:
            hours = int((self._last_t - self._turned_t) / 3600.0)
            found.append(f"The cup has not turned for {hours} hours: does it turn when blown at, and is its cable on?")
        if is_frozen:
            found.append("The anemometer has said the very same for a minute: is it stuck? No alarm can warn of wind.")
        temperature, humidity = self._air
        if temperature is not None and humidity is not None and is_icing_likely(temperature, humidity):
            found.append(
                "Damp air near freezing: an iced cup reads too little wind. Turn it by hand before you trust it."
            )
        return found
