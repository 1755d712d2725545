"""What a scenario or a recording gives to the device's inputs: bytes with their times, edges with theirs, buttons."""

from collections.abc import Callable
from dataclasses import dataclass

from firmware_sim.curve import Floats
from firmware_sim.world.operator import Press


@dataclass(frozen=True, slots=True)
class Feed:
    """Inputs over scenario time: `bursts` (seconds, receiver bytes) in order, edges with bounce, buttons, air.

    `climate` gives temperature (°C) and humidity (%) at a time; None where no such sensor is fitted. `air` gives the
    speed of an instrument (None: a cup counts) and the bearing of a vane (None: there is none) at a time.
    """

    duration_s: float
    utc_start: float
    bursts: list[tuple[float, bytes]]
    flow_edges: Floats
    cup_edges: Floats
    presses: tuple[Press, ...]
    climate: Callable[[float], tuple[float, float]] | None
    air: Callable[[float], tuple[float | None, float | None]] | None = None
