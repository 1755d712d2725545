"""For how many minutes it must stay calm: what is left of the job, what the lawn takes, or what somebody chose."""

from dataclasses import dataclass
from math import ceil, isfinite, nan

from server.core.duration import JobTime, estimate_duration
from server.core.geodesy import plane_at
from server.core.outlook import HORIZONS_MIN
from server.core.setup import Setup, Zone
from server.live import Live
from server.liveway import measure_zones

SHORTEST_MIN, LONGEST_MIN = HORIZONS_MIN[0], HORIZONS_MIN[-1]
USUAL_MIN = 30
"""Where neither lawn nor wish is known."""
PACE_MPS = 1.0
"""A walk with the spray on, until the rig has shown another pace (common practice, no source)."""
PACES_MPS = (0.4, 2.2)
"""A wanted pace outside these is a meter or a target gone wrong."""
CELLS = 200.0
"""A lawn of so many cells is measured in a millisecond, to a per cent."""
NO_TIME = JobTime(nan, nan, nan, 0, 0)


@dataclass(frozen=True, slots=True)
class Need:
    """The minutes asked for and where they come from: "left" of the job, the "lawn", "chosen", or "usual".

    `time` is what the lawn or the rest of it takes by itself; NaN where its size is not known.
    """

    minutes: int
    origin: str
    time: JobTime
    area_m2: float
    pace_mps: float
    is_pace_known: bool


class NeedFinder:
    """Remembers what is dear to find out: the lawn's size, and the pace that the job wanted last."""

    def __init__(self) -> None:
        self.chosen: int | None = None
        self._pace_mps = nan
        self._zones: tuple[tuple[Zone, ...], float] = ((), nan)

    def find(self, live: Live, setup: Setup, *, wall_utc: float) -> Need:
        """The need of this instant; `setup` is the running job's, or the next one's."""
        self._note_pace(live)
        job, treatment, sprayer = live.job, setup.treatment, setup.sprayer
        area = self._measure(setup)
        still = live.way.areas().left_m2
        left = still if job is not None and still is not None else nan
        pace = self._pace_mps if isfinite(self._pace_mps) else PACE_MPS
        time = estimate_duration(
            (left if isfinite(left) else area) * (treatment.directions or 1.0),
            swath_m=sprayer.swath_m,
            pace_mps=pace,
            target_l_per_m2=treatment.pass_l_per_m2,
            tank_l=sprayer.tank_l,
            tank_left_l=sprayer.tank_l - live.way.tank_used_l if job is not None else sprayer.tank_l,
        )
        minutes, origin = float(USUAL_MIN), "usual"
        if job is not None and isfinite(left):
            minutes, origin = time.total_min, "left"
        elif self.chosen is not None:
            gone = (wall_utc - job.created_utc) / 60.0 if job is not None else 0.0
            minutes, origin = self.chosen - max(gone, 0.0), "chosen"
        elif isfinite(time.total_min):
            minutes, origin = time.total_min, "lawn"
        whole = min(max(ceil(minutes - 1e-9), SHORTEST_MIN), LONGEST_MIN)
        return Need(whole, origin, time, left if isfinite(left) else area, pace, isfinite(self._pace_mps))

    def _note_pace(self, live: Live) -> None:
        """Keep the pace that gives the target at the flow of now."""
        flow = live.way.flow
        if flow.is_spraying:
            pace = flow.flow_l_per_min / 60.0 / (live.setup.treatment.pass_l_per_m2 * live.setup.sprayer.swath_m)
            if PACES_MPS[0] <= pace <= PACES_MPS[1]:
                self._pace_mps = pace

    def _measure(self, setup: Setup) -> float:
        """The lawn's size [m²]; NaN without an outline."""
        if setup.zones is not self._zones[0] and setup.zones != self._zones[0]:
            lon, lat = setup.zones[0].rings[0][0] if setup.zones else (0.0, 0.0)
            self._zones = (setup.zones, measure_zones(setup, plane_at(lat, lon), cells=CELLS) if setup.zones else nan)
        return self._zones[1]
