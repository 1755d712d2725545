"""What is entered while a sprayer is calibrated: catches, timed walks, a row of cups, a whole check."""

from dataclasses import dataclass

from server.core.entered import Entered, Stated, entry

METHODS = ("plot", "refill")


@dataclass(frozen=True, slots=True)
class Stretch(Entered):
    """From one instant of the rig's clock to another of the same start of its program [s]."""

    rig: str
    boot: str
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Run(Entered):
    """One catch: how much, in how long, with how many pulses; `stretch`: the service counts and times it."""

    volume: Stated | None = entry("Caught", measures="catch", default=None)
    weight: Stated | None = entry("Or its weight", hint="without the vessel", measures="catch weight", default=None)
    seconds: float | None = entry("Time", limits="time", default=None)
    pulses: int | None = entry("Pulses", limits="pulses", default=None)
    stretch: Stretch | None = None


@dataclass(frozen=True, slots=True)
class CatchEntry(Entered):
    """A catch test: three runs or more at the setting of the work, with clean water."""

    runs: tuple[Run, ...] = entry("Runs", default=())
    step: Stated | None = entry("A step of the vessel's scale", measures="vessel step", default=None)
    scale_step: Stated | None = entry("A step of the scale", measures="scale step", default=None)
    error_percent: float = entry("Vessel or scale may be wrong by", limits="vessel error percent", default=1.0)
    temperature_c: float = entry("Temperature of the water", limits="water temperature", default=15.0)
    pressure: Stated | None = entry("Pressure meanwhile", measures="pressure", default=None)
    setting: str = entry("Pump setting", default="")


@dataclass(frozen=True, slots=True)
class WalkEntry(Entered):
    """Walks over a course, with the sprayer on the back and half full."""

    course: Stated = entry("Length of the course", measures="course")
    times_s: tuple[float, ...] = entry("Times", limits="time", default=())


@dataclass(frozen=True, slots=True)
class CupRow(Entered):
    """What the cups of one walk held, from left to right as one walks, all in the same unit."""

    amounts: tuple[float, ...] = entry("Caught", limits="caught in a cup")


@dataclass(frozen=True, slots=True)
class SwathEntry(Entered):
    """A row of cups square to the way, walked over once or oftener."""

    spacing: Stated = entry("From cup to cup", measures="cup spacing")
    rows: tuple[CupRow, ...] = entry("Walks", default=())
    middle: float | None = entry("Cup under the nozzle", limits="cup in the middle", default=None)


@dataclass(frozen=True, slots=True)
class RateEntry(Entered):
    """The whole check: a plot sprayed and timed and the same time caught, or an area sprayed and refilled."""

    method: str = entry("Way", choices=METHODS)
    target: Stated = entry("Wanted on an area", measures="carrier rate")
    volume: Stated = entry("Caught, or refilled", measures="catch")
    step: Stated = entry("A step of the vessel's scale", measures="vessel step")
    area: Stated | None = entry("Area", hint="nothing: 1/128 acre", measures="area", default=None)
    times_s: tuple[float, ...] = entry("Times on the plot", limits="time", default=())
    caught_s: float | None = entry("Time of the catch", hint="nothing: the mean of those", limits="time", default=None)
