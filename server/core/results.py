"""What a job came to: records with the names, columns and units that files, API and dashboard share.

East and north in metres on the local plane, `t` in job seconds (see `timebase`), `*_utc` seconds since 1970,
NaN where something is not known.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.core.log import Floats, Integers

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Plane:
    """The local plane's origin, degrees WGS 84."""

    lat0_deg: float
    lon0_deg: float


@dataclass(frozen=True, slots=True)
class Track:
    """The nozzle's smoothed way, a row a fix epoch, all arrays [n].

    `velocity_*` is the ground velocity; `heading_deg` is where the rig points, from true north; `quality` the fix
    code; `deviations` [draws, n, 2] are posterior samples minus the mean, metres (empty first axis: none drawn).
    """

    boot: Integers
    mono: Floats
    t: Floats
    utc: Floats
    east_m: Floats
    north_m: Floats
    sd_east_m: Floats
    sd_north_m: Floats
    velocity_east_mps: Floats
    velocity_north_mps: Floats
    heading_deg: Floats
    heading_sd_deg: Floats
    quality: Integers
    deviations_m: Floats
    is_misfit: bool = False


@dataclass(frozen=True, slots=True)
class Interval:
    """A span of job seconds in which liquid flowed, with the volume metered in it."""

    start_t: float
    end_t: float
    volume_l: float


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass: a longest spraying run on one heading, numbered in time from 1."""

    number: int
    boot: str
    start_t: float
    end_t: float
    start_utc: float
    end_utc: float
    start_mono: float
    end_mono: float
    length_m: float
    heading_deg: float
    speed_mps: float
    volume_l: float
    area_m2: float
    dose_l_per_m2: float
    dose_sd_l_per_m2: float
    percent_of_target: float
    receiver: str
    wind_mean_mps: float = float("nan")
    wind_sd_mps: float = float("nan")
    wind_gust_mps: float = float("nan")
    wind_from_deg: float = float("nan")
    wind_verdict: str = ""


@dataclass(frozen=True, slots=True)
class Pair:
    """One judged stretch of two neighbouring passes, metres along `pass_a` from its start."""

    pass_a: int
    pass_b: int
    spacing_m: float
    spacing_sd_m: float
    from_m: float
    to_m: float
    verdict: str
    probability: float


@dataclass(frozen=True, slots=True)
class Finding:
    """A place that was `missed`, `doubled`, sprayed `off_target` or in a `keep_out`; `ring_m` [k, 2] east, north."""

    kind: str
    probability: float
    area_m2: float
    volume_l: float
    ring_m: Floats


@dataclass(frozen=True, slots=True)
class DoseMap:
    """Dose on the grid, arrays [ny, nx]; cell [0, 0] has its lower left corner at (`x0_m`, `y0_m`)."""

    dose_l_per_m2: Floats
    sd_l_per_m2: Floats
    p_missed: Floats
    p_under: Floats
    p_over: Floats
    x0_m: float
    y0_m: float
    cell_m: float


@dataclass(frozen=True, slots=True)
class Totals:
    """Volumes and areas of the whole job; the four `zone_*_m2` verdict areas are NaN without a boundary."""

    volume_l: float
    volume_sd_l: float
    sprayed_s: float
    distance_m: float
    covered_area_m2: float
    zone_area_m2: float
    zone_missed_m2: float
    zone_under_m2: float
    zone_on_target_m2: float
    zone_over_m2: float
    off_target_l: float
    keep_out_l: float
    unplaced_l: float
    outside_passes_l: float
    mean_dose_l_per_m2: float
    covered_area_sd_m2: float = float("nan")
    off_target_sd_l: float = float("nan")


@dataclass(frozen=True, slots=True)
class WindSeries:
    """The wind second by second, all arrays [n]; causal but for `smooth_*`; true speeds at the reference height.

    `smooth_draws_mps` [draws, n] are possible winds of the whole job, for what concerns several seconds at once.
    """

    boot: Integers
    mono: Floats
    t: Floats
    utc: Floats
    apparent_mps: Floats
    true_mps: Floats
    true_sd_mps: Floats
    mean_60s_mps: Floats
    mean_60s_sd_mps: Floats
    from_deg: Floats
    from_sd_deg: Floats
    mean_2min_mps: Floats
    gust_3s_mps: Floats
    p_above_limit: Floats
    alarm: tuple[str, ...]
    smooth_mps: Floats
    smooth_sd_mps: Floats
    smooth_draws_mps: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    mean_2min_sd_mps: Floats = field(default_factory=lambda: np.zeros(0))
    gust_3s_sd_mps: Floats = field(default_factory=lambda: np.zeros(0))
    alarm_reason: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WindSummary:
    """The wind of the whole job, NaN where not known."""

    mean_mps: float
    max_2min_mps: float
    gust_mps: float
    from_deg: float
    sd_mps: float


@dataclass(frozen=True, slots=True)
class CupShield:
    """A side of the rig, in words and degrees clockwise from the way walked, from which the cup got less wind."""

    side: str
    side_deg: float
    loss: float
    loss_sd: float


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """A change of the alarm as it was told then, and whether it was right by what is known now.

    `before` and `level` are levels, `reason` the sentence told; `then_mps` the 60-s mean as known then, `now_mps` with
    `now_sd_mps` the same as known now; `verdict` "right", "wrong" or "unsure".
    """

    t: float
    utc: float
    before: str
    level: str
    reason: str
    then_mps: float
    now_mps: float
    now_sd_mps: float
    verdict: str


@dataclass(frozen=True, slots=True)
class Exceedance:
    """A time in which the 60-s mean was above the limit, as known now, and what was sprayed in it before the alarm.

    `alarm_t` is when stop was first told (NaN: never), `late_s` how long after the crossing; `passes` those sprayed
    meanwhile.
    """

    start_t: float
    end_t: float
    start_utc: float
    end_utc: float
    highest_mps: float
    alarm_t: float
    late_s: float
    sprayed_s: float
    volume_l: float
    passes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class WindStory:
    """What was told of the wind during the job beside what is known of it now; speeds at the limit's height.

    `known_60s_mps` [n] is the 60-s mean second by second as known now; `unwarned_passes` were above the limit without
    a stop at any second.
    """

    known_60s_mps: Floats
    changes: tuple[AlarmChange, ...]
    exceedances: tuple[Exceedance, ...]
    unwarned_passes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Ground that seems missed: `gap` between two passes, `edge` beside an edge, `patch` a whole part of the lawn.

    `lines_m` are the ways to walk, each [k, 2] from start to end (of a patch its outline), `width_m` what is missed
    across, `area_m2` the missed ground, `swept_m2` what walking them wets, `volume_l` that at the target;
    `probability` that it was missed, `place_sd_m` how well its place across is known, `gain_m2` what repeating it is
    expected to be worth. `doubt` is why it is not in the walk: "" (it is), "unsure", "unlikely", "narrow", "placing",
    "crossed" or "unplaced".
    """

    kind: str
    passes: tuple[int, ...]
    lines_m: tuple[Floats, ...]
    length_m: float
    width_m: float
    area_m2: float
    swept_m2: float
    volume_l: float
    probability: float
    gain_m2: float
    doubt: str = ""
    place_sd_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Surplus:
    """Ground to leave alone: `doubled` between two passes, a `spot`, a whole `pass`; what it got, and how sure.

    `line_m` [k, 2] is the middle of a stretch or a pass, the outline of a spot; `surplus_l` is beyond the target.
    """

    kind: str
    passes: tuple[int, ...]
    line_m: Floats
    area_m2: float
    dose_l_per_m2: float
    times_target: float
    surplus_l: float
    probability: float


@dataclass(frozen=True, slots=True)
class ThinPass:
    """A pass that lies well but got too little; `lacking_l_per_m2` is what the target asks beyond that."""

    number: int
    area_m2: float
    dose_l_per_m2: float
    lacking_l_per_m2: float
    speed_mps: float
    probability: float


@dataclass(frozen=True, slots=True)
class TouchupPlan:
    """What to mend: `repeats` in the order of walking, `looks` for one's own eyes, what to leave alone, what is thin.

    `volume_l` is what the repeats take and `allowance_l` the little more to mix for them; `between_m` is walked
    without spraying; of `seams_m` of ground between passes `untold_m` cannot be told.
    """

    repeats: tuple[Stretch, ...]
    looks: tuple[Stretch, ...]
    alone: tuple[Surplus, ...]
    thin: tuple[ThinPass, ...]
    target_l_per_m2: float
    pass_l_per_m2: float
    swath_m: float
    area_m2: float
    volume_l: float
    allowance_l: float
    between_m: float
    small_count: int
    small_m2: float
    small_surplus_l: float
    seams_m: float
    untold_m: float


@dataclass(frozen=True, slots=True)
class Missing:
    """Messages that never came, by stream: gaps in the sequence numbers and samples of an outage between boots."""

    by_stream: dict[str, int] = field(default_factory=dict)

    @property
    def total(self) -> int:
        """All missing messages."""
        return sum(self.by_stream.values())


@dataclass(frozen=True, slots=True)
class JobResult:
    """Everything that a review of a job says."""

    rig: str
    boots: tuple[str, ...]
    plane: Plane
    start_utc: float
    end_utc: float
    totals: Totals
    receiver_class: str
    track_sd_m: float
    track: Track
    is_spraying: Bools
    passes: tuple[Pass, ...]
    pairs: tuple[Pair, ...]
    findings: tuple[Finding, ...]
    dose: DoseMap
    wind: WindSeries
    wind_summary: WindSummary
    climate: dict[str, dict[str, float]]
    messages: dict[str, int]
    missing: Missing
    notes: tuple[str, ...]
    cup_shield: CupShield | None = None
    wind_story: WindStory | None = None
    touchup: TouchupPlan | None = None
