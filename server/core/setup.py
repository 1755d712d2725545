"""The settings of a job: lawn, sprayer, meters, receiver, treatment. SI, the unit in each name.

One `Setup` serves the settings file, the store and the dashboard's form; `tables` reads and writes it.
"""

from dataclasses import dataclass, field

Ring = tuple[tuple[float, float], ...]
"""Closed ring of (longitude, latitude) in degrees, as in RFC 7946."""


@dataclass(frozen=True, slots=True)
class Zone:
    """One polygon of the site: rings, the first the outside, the others holes; `kind` "zone" or "keep_out"."""

    name: str
    kind: str
    rings: tuple[Ring, ...]


@dataclass(frozen=True, slots=True)
class Sprayer:
    """Swath, pattern and where the nozzle sits, seen from the antenna."""

    swath_m: float
    pattern: str = "flat"
    pattern_top_m: float | None = None
    nozzle_forward_m: float = 0.0
    nozzle_right_m: float = 0.0
    delay_s: float = 0.0
    tank_l: float = 15.0


@dataclass(frozen=True, slots=True)
class FlowMeter:
    """Pulses per litre, one figure or a table over the flow, with its standard uncertainty."""

    pulses_per_l: float | tuple[float, ...]
    flow_l_per_min: tuple[float, ...] | None = None
    sd_percent: float = 2.0


@dataclass(frozen=True, slots=True)
class Anemometer:
    """The cup's line speed = offset + slope × frequency, its threshold, distance constant and height.

    `scale_sd_percent` is the standard uncertainty of the speeds that the line tells, by its calibration of the day
    `calibrated_on`; None: not calibrated, 3 % is assumed.
    """

    mps_per_hz: float | None = None
    offset_mps: float = 0.2
    threshold_mps: float = 0.5
    distance_constant_m: float = 2.5
    height_m: float = 2.0
    scale_sd_percent: float | None = None
    calibrated_on: str | None = None


@dataclass(frozen=True, slots=True)
class Receiver:
    """What to believe of the receiver: its class, or "auto", and how late its fixes come."""

    klass: str = "auto"
    latency_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Treatment:
    """The rate wanted, in how many directions, what counts as under and over, and the wind limit with its height.

    `directions` 2: all of the ground is walked twice, crosswise, with half the rate each time; None: once.
    `wind_limit_stated` is the limit as the label has it ("10 mph"), `wind_averaging_s` the time over which the label or
    the law means it to be averaged.
    """

    target_l_per_m2: float
    under_fraction: float = 0.9
    over_fraction: float = 1.1
    wind_limit_mps: float | None = None
    wind_notice_mps: float | None = None
    wind_reference_height_m: float | None = None
    wind_limit_stated: str | None = None
    wind_averaging_s: float | None = None
    directions: float | None = None

    @property
    def pass_l_per_m2(self) -> float:
        """What one pass is to lay: the target, or half of it where the ground is walked in two directions."""
        return self.target_l_per_m2 / (self.directions or 1.0)


@dataclass(frozen=True, slots=True)
class Grid:
    """The dose map's cell."""

    cell_m: float = 0.1


@dataclass(frozen=True, slots=True)
class Span:
    """Which part of a raw log is the job; None: one rig, the whole log."""

    rig: str | None = None
    start: tuple[str, float] | None = None
    end: tuple[str, float] | None = None


@dataclass(frozen=True, slots=True)
class Peg:
    """A stake in the ground that the operator returns to; position unknown (None) or surveyed."""

    name: str
    lat: float | None = None
    lon: float | None = None
    sd_m: float | None = None


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything that a job's figures depend on, besides its raw log."""

    sprayer: Sprayer
    flow_meter: FlowMeter
    treatment: Treatment
    anemometer: Anemometer = field(default_factory=Anemometer)
    receiver: Receiver = field(default_factory=Receiver)
    grid: Grid = field(default_factory=Grid)
    job: Span = field(default_factory=Span)
    pegs: tuple[Peg, ...] = ()
    zones: tuple[Zone, ...] = ()


RANGES: dict[str, tuple[float, float]] = {
    "sprayer.swath_m": (0.1, 20.0),
    "sprayer.pattern_top_m": (0.0, 40.0),
    "sprayer.nozzle_forward_m": (-5.0, 5.0),
    "sprayer.nozzle_right_m": (-5.0, 5.0),
    "sprayer.delay_s": (0.0, 10.0),
    "sprayer.tank_l": (0.1, 2000.0),
    "flow_meter.pulses_per_l": (1.0, 1e6),
    "flow_meter.flow_l_per_min": (0.0, 1000.0),
    "flow_meter.sd_percent": (0.0, 50.0),
    "anemometer.mps_per_hz": (0.001, 10.0),
    "anemometer.offset_mps": (-1.0, 3.0),
    "anemometer.threshold_mps": (0.0, 3.0),
    "anemometer.distance_constant_m": (0.1, 20.0),
    "anemometer.height_m": (0.1, 30.0),
    "anemometer.scale_sd_percent": (0.1, 30.0),
    "receiver.latency_s": (0.0, 5.0),
    "treatment.target_l_per_m2": (1e-5, 50.0),
    "treatment.under_fraction": (0.1, 1.0),
    "treatment.over_fraction": (1.0, 5.0),
    "treatment.wind_limit_mps": (0.1, 40.0),
    "treatment.wind_notice_mps": (0.1, 40.0),
    "treatment.wind_reference_height_m": (0.2, 30.0),
    "treatment.wind_averaging_s": (1.0, 3600.0),
    "treatment.directions": (1.0, 2.0),
    "grid.cell_m": (0.02, 2.0),
    "peg.lat": (-90.0, 90.0),
    "peg.lon": (-180.0, 180.0),
    "peg.sd_m": (0.001, 100.0),
}
CHOICES: dict[str, tuple[str, ...]] = {
    "sprayer.pattern": ("flat", "trapezoid", "triangle"),
    "receiver.class": ("auto", "single", "differential", "float", "fixed"),
}
TEXTS: dict[str, str] = {
    "anemometer.calibrated_on": "date",
    "treatment.wind_limit_stated": "speed",
}
"""Settings that are texts, and what each says: a "date" as in 2027-05-31, a "speed" with its unit as in 10 mph."""
