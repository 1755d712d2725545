"""The live picture as the dashboard gets it: figures with units in their names, None where not known."""

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from functools import cache
from math import isfinite
from operator import attrgetter
from typing import Any

from server.core.setup import Setup
from server.core.windfold import WindNow

PARTS = ("rig", "receiver", "counts", "position", "reach", "wind", "alarm", "job", "messages")
"""The figures of a snapshot that are groups of figures."""


@dataclass(frozen=True, slots=True)
class RigPart:
    """The rig: its name, start, link, how old its newest sample is, how many seconds of samples it is behind."""

    name: str | None = None
    boot: str | None = None
    link: str = "unknown"
    age_s: float | None = None
    spool_s: float | None = None


@dataclass(frozen=True, slots=True)
class ReceiverPart:
    """The receiver's newest fix."""

    fix: str | None = None
    sats: int | None = None
    hdop: float | None = None
    sd_m: float | None = None
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class CountsPart:
    """Pulses since the rig was heard, how long ago the last came, and the flow meter's rate while it last ran."""

    flow_pulses: int | None = None
    flow_ago_s: float | None = None
    flow_hz: float | None = None
    cup_pulses: int | None = None
    cup_ago_s: float | None = None


@dataclass(frozen=True, slots=True)
class PositionPart:
    """Where the nozzle is."""

    east_m: float
    north_m: float
    heading_deg: float | None
    lat_deg: float
    lon_deg: float


@dataclass(frozen=True, slots=True)
class ReachPart:
    """How far the tank goes: sprayed way, strips done before the one in which it ends, where, and the way to the peg.

    Without `into_m` it cannot be told where; `is_enough`: the strips to come end before the tank does.
    """

    way_m: float
    way_sd_m: float
    is_between: bool
    is_enough: bool
    lanes: int
    into_m: float | None
    lane_m: float | None
    east_m: float | None
    north_m: float | None
    heading_deg: float | None
    peg: str | None
    back_m: float | None


@dataclass(frozen=True, slots=True)
class WindPart:
    """The wind, and what it is held against."""

    apparent_mps: float | None = None
    true_mps: float | None = None
    true_sd_mps: float | None = None
    mean_60s_mps: float | None = None
    mean_60s_sd_mps: float | None = None
    mean_2min_mps: float | None = None
    mean_2min_sd_mps: float | None = None
    gust_3s_mps: float | None = None
    gust_3s_sd_mps: float | None = None
    from_deg: float | None = None
    from_sd_deg: float | None = None
    p_above_limit: float | None = None
    limit_mps: float | None = None
    notice_mps: float | None = None
    height_m: float | None = None
    limit_stated: str | None = None


@dataclass(frozen=True, slots=True)
class AlarmPart:
    """The alarm as it stands."""

    level: str
    reason: str
    since_utc: float | None


@dataclass(frozen=True, slots=True)
class JobPart:
    """The job under way."""

    id: int
    name: str
    state: str
    started_at: str | None


@dataclass(frozen=True, slots=True)
class MessagesPart:
    """What became of the messages since the service started."""

    read: int = 0
    refused: int = 0
    duplicate: int = 0
    missing: int = 0
    unknown_stream: int = 0
    backlog: int = 0


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All figures of one instant."""

    at_utc: float | None
    sequence: int
    rig: RigPart
    receiver: ReceiverPart
    counts: CountsPart
    position: PositionPart | None
    speed_mps: float | None
    wanted_speed_mps: float | None
    flow_l_per_min: float | None
    is_spraying: bool
    rate_l_per_m2: float | None
    rate_percent: float | None
    target_l_per_m2: float
    pass_l_per_m2: float
    swath_m: float
    volume_l: float
    tank_l: float
    tank_left_l: float
    tank_left_sd_l: float
    is_tank_assumed: bool
    reach: ReachPart | None
    covered_area_m2: float
    area_left_m2: float | None
    zone_area_m2: float | None
    wind: WindPart
    alarm: AlarmPart | None
    job: JobPart | None
    passes_done: int
    messages: MessagesPart
    faults: tuple[str, ...] = field(default_factory=tuple)

    def as_object(self) -> dict[str, Any]:
        """Plain values for JSON."""
        found = _lay_out(self)
        for name in PARTS:
            if found[name] is not None:
                found[name] = _lay_out(found[name])
        return found


def _lay_out(part: Any) -> dict[str, Any]:
    """A part's figures by their names; none of them is changed afterwards, so none is copied."""
    names, read = _reader_of(part.__class__)
    return dict(zip(names, read(part), strict=True))


@cache
def _reader_of(kind: Any) -> tuple[tuple[str, ...], Callable[[Any], tuple[Any, ...]]]:
    names = tuple(field.name for field in fields(kind))
    return names, attrgetter(*names)


def known(value: float | None, digits: int = 4) -> float | None:
    """A figure rounded for the wire; None where it is not known."""
    return round(value, digits) if value is not None and isfinite(value) else None


def tell_wind(now: WindNow, setup: Setup) -> WindPart:
    """The wind as it is told now, beside the limit of the job's settings."""
    names = (
        "apparent_mps", "true_mps", "true_sd_mps", "mean_60s_mps", "mean_60s_sd_mps", "mean_2min_mps",
        "mean_2min_sd_mps", "gust_3s_mps", "gust_3s_sd_mps", "from_deg", "from_sd_deg", "p_above_limit",
    )  # fmt: skip
    treatment = setup.treatment
    limit = treatment.wind_limit_mps
    notice = treatment.wind_notice_mps or (0.8 * limit if limit is not None else None)
    height = treatment.wind_reference_height_m or setup.anemometer.height_m
    figures = {name: known(getattr(now, name), 3) for name in names}
    stated = treatment.wind_limit_stated
    return WindPart(**figures, limit_mps=limit, notice_mps=known(notice, 3), height_m=height, limit_stated=stated)
