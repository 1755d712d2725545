"""A sprayer as its owner describes it: what it is, its swath, its tank, its flow meter, its nozzle."""

from dataclasses import dataclass
from itertools import pairwise

from server.core.entered import Entered, Stated, entry, in_si
from server.core.errors import EntryError

KINDS = ("hand_pump", "battery_pump", "walk_behind")
PATTERNS = ("flat", "trapezoid", "triangle")


@dataclass(frozen=True, slots=True)
class SprayerCard(Entered):
    """One sprayer; each has a calibration of its own."""

    name: str = entry("Name", text="name")
    swath: Stated = entry("Width of a pass, line to line", measures="swath")
    pulses_per_l: tuple[float, ...] = entry("Pulses a litre", hint="one, or one for each flow", limits="pulses a litre")
    kind: str = entry("Kind", choices=KINDS, default="battery_pump")
    tank: Stated = entry("Tank, when full", measures="tank", default=Stated(15.0, "L"))
    flow_l_per_min: tuple[float, ...] = entry("Flows of those, rising", limits="flow", default=())
    meter_sd_percent: float = entry("Uncertainty of the flow meter", limits="uncertainty", default=2.0)
    pattern: str = entry("Shape of the spray across the pass", choices=PATTERNS, default="flat")
    pattern_top: Stated | None = entry("Width of the even middle", measures="swath", default=None)
    nozzle_forward: Stated | None = entry("Nozzle ahead of the antenna", measures="offset", default=None)
    nozzle_right: Stated | None = entry("Nozzle to the right of the antenna", measures="offset", default=None)
    delay_s: float = entry("Time from flow meter to ground", limits="delay", default=0.0)
    nozzle: str = entry("Nozzle", hint="its size and kind, as stamped on it", default="")
    rated_flow: Stated | None = entry("Flow of a new nozzle", measures="flow", default=None)
    rated_pressure: Stated | None = entry("At the pressure", measures="pressure", default=None)
    pressure: Stated | None = entry("Pressure while spraying", measures="pressure", default=None)
    setting: str = entry("Pump setting", hint="what the dial or switch says", default="")
    due_days: float = entry("Calibrate again after", hint="days", limits="days", default=180.0)
    due_volume: Stated = entry("Or after so much sprayed", measures="tank", default=Stated(500.0, "L"))
    note: str = entry("Note", text="note", default="")

    def __post_init__(self) -> None:
        """Check each field, then what concerns two of them; raises EntryError."""
        Entered.__post_init__(self)
        if len(self.flow_l_per_min) != (len(self.pulses_per_l) if len(self.pulses_per_l) != 1 else 0):
            raise EntryError("flow_l_per_min", "give one flow for each figure of pulses a litre, none for a single one")
        if not self.pulses_per_l:
            raise EntryError("pulses_per_l", "at least one figure is wanted")
        if any(b <= a for a, b in pairwise(self.flow_l_per_min)):
            raise EntryError("flow_l_per_min", "must rise from value to value")
        top = self.pattern_top
        if top is not None and in_si(top, measures="swath") > in_si(self.swath, measures="swath"):
            raise EntryError("pattern_top", "the even middle cannot be wider than the pass")
        if (self.rated_pressure is not None) and self.rated_flow is None:
            raise EntryError("rated_flow", "is needed where its pressure is given")
