"""Where the rig is and what fell where, while it happens: fixes and counts folded through core."""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, inf, isfinite, nan
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from rig import wire
from server.core.dose import DoseGrid
from server.core.geodesy import degrees_from_plane, plane_at, plane_from_degrees
from server.core.grid import GridFrame, frame_around
from server.core.ground import Ground, lay_ground
from server.core.meter import FlowMeterState, step_flow
from server.core.mix import TankLevel
from server.core.receiver import MODELS
from server.core.results import Plane
from server.core.setup import Setup
from server.core.swath import pattern_from_sprayer
from server.core.tank import assume_full, fill_tank, level_of, number_of
from server.core.tracker import LiveFix, TrackFilter, step_track
from server.livereach import LiveReach

COVERED_FRACTION = 0.1
WAIT_FOR_COUNT_S = 1.0
LEAST_PASS_M = 2.0
TURNED_DEG = 60.0
"""Another heading than this from where a pass began ends it, with the spray on."""
COUNT_EVERY_S = 1.0
NOTHING_TOLD: Final[Mapping[str, Any]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Areas:
    """Ground that got more than a tenth of the target; of the zones, all and what is still to do (None: no zones)."""

    covered_m2: float = 0.0
    zone_m2: float | None = None
    left_m2: float | None = None


class LiveWay:
    """The way, the volume and the dose of one job so far."""

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self.plane: Plane | None = None
        self.track = TrackFilter()
        self.flow = FlowMeterState()
        self.litres = 0.0
        self.tank = assume_full(setup.sprayer.tank_l)
        self._fills_seen: set[int] = set()
        self.passes_done = 0
        self.reach = LiveReach(setup)
        self.grid = DoseGrid(pattern=pattern_from_sprayer(setup.sprayer), cell_m=setup.grid.cell_m)
        self.east_m: list[float] = []
        self.north_m: list[float] = []
        self.spraying: list[int] = []
        self._waiting: deque[TrackFilter] = deque()
        self._counts: deque[tuple[float, float]] = deque(maxlen=50)
        self._pass_from: TrackFilter | None = None
        self._ground: tuple[GridFrame, Ground] | None = None
        self._zone_m2: float | None = None
        self._areas = Areas()
        self._done_before_m2 = 0.0
        self._laid_l = 0.0
        self._counted: tuple[object, float] = (None, -inf)
        self._covered_cells, self._wanted_cells = np.zeros((2, 0))

    def restart_flow(self) -> None:
        """The device began anew: its count did, too."""
        self.flow = FlowMeterState()

    def take_fix(self, t: float, message: wire.Position) -> None:
        """Follow one fix."""
        has_place = message.lat is not None and message.lon is not None and message.fix not in ("none", "estimated")
        if has_place and self.plane is None:
            self.plane = plane_at(message.lat or 0.0, message.lon or 0.0)
        east = north = nan
        if has_place and self.plane is not None:
            places = plane_from_degrees(message.lat or 0.0, message.lon or 0.0, plane=self.plane)
            east, north = float(places[0]), float(places[1])
        fix = LiveFix(t, east, north, _number(message.speed), _number(message.course), wire.FIXES.index(message.fix))
        before = self.track
        self.track = step_track(before, fix, sprayer=self._setup.sprayer, models=MODELS)
        if self.track is before:
            return
        self._waiting.append(self.track)
        self._note_turn()
        self._lay(until=self._counts[-1][0] if self._counts else -inf, now=t)

    def take_flow(self, t: float, message: wire.Flow) -> None:
        """Follow one count."""
        if self.flow.pulses is None and message.seq == 0:
            self.flow = FlowMeterState(pulses=0)
        before = self.flow
        self.flow = step_flow(before, message.pulses, message.edge, message.mono, self._setup.flow_meter)
        if self.flow is before:
            return
        gained = self.flow.litres - before.litres
        self.litres += gained
        if gained > 0.0:
            # At the time of an edge the volume is known exactly; a message may come up to a pulse later.
            edge = t if message.edge is None else min(t, message.edge + t - message.mono)
            self._counts.append((edge + self._setup.sprayer.delay_s, self.litres))
        self._note_pass(was_spraying=before.is_spraying)
        self._lay(until=self._counts[-1][0] if self._counts else -inf, now=t)

    def press(self, button: str | None, detail: Mapping[str, Any], *, is_now: bool) -> None:
        """What was pressed for the tank, or at a peg: of one heard late nobody knows where it was."""
        if button == "refill":
            self.refill(detail)
        elif button == "peg" and is_now:
            self.reach.press_peg(detail, self.track)

    def refill(self, detail: Mapping[str, Any] = NOTHING_TOLD) -> None:
        """The tank is full again, or got or holds as much as was told; one fill that is heard twice counts once."""
        number = number_of(detail)
        if number in self._fills_seen:
            return
        if number is not None:
            self._fills_seen.add(number)
        self.tank = fill_tank(
            self.tank, detail, sprayed_l=self.litres, meter_share=self.meter_share, tank_l=self._setup.sprayer.tank_l
        )

    @property
    def meter_share(self) -> float:
        """The uncertainty of the flow meter as a share."""
        return self._setup.flow_meter.sd_percent / 100.0

    @property
    def tank_level(self) -> TankLevel:
        """What is in the tank now."""
        return level_of(self.tank, sprayed_l=self.litres, meter_share=self.meter_share)

    @property
    def tank_used_l(self) -> float:
        """How much is missing in a full tank."""
        return self._setup.sprayer.tank_l - self.tank_level.left_l.value

    def areas(self) -> Areas:
        """How much is covered and left, counted anew at most once a second."""
        laid = self.grid.off_grid_l, self._laid_l, self.plane
        if laid != self._counted[0] and not self.track.t - self._counted[1] < COUNT_EVERY_S:
            self._areas = self._count_areas()
            self._counted = laid, self.track.t
        return self._areas

    @property
    def done_m2(self) -> float:
        """Of the zones what is done, with the parts of the job before this one."""
        areas = self.areas()
        return 0.0 if areas.zone_m2 is None or areas.left_m2 is None else areas.zone_m2 - areas.left_m2

    def go_on(self, done_m2: float) -> None:
        """So much of the zones earlier parts of the job have done, with other sprayers."""
        self._done_before_m2 = done_m2

    def _count_areas(self) -> Areas:
        """Look through the rows that were sprayed since, all of them where the grid has grown."""
        grid, ground = self.grid, self._find_ground()
        rows = grid.take_rows()
        if rows is None:
            self._covered_cells, self._wanted_cells = np.zeros((2, grid.frame.ny))
            rows = (0, grid.frame.ny)
        part = slice(*rows)
        treatment = self._setup.treatment
        is_covered = grid.dose[part] > COVERED_FRACTION * treatment.target_l_per_m2
        self._covered_cells[part] = np.count_nonzero(is_covered, axis=1)
        covered = float(self._covered_cells.sum()) * grid.frame.cell_area_m2
        if ground is None:
            return Areas(covered)
        times = int(treatment.directions or 1)
        laid = grid.dose[part] - COVERED_FRACTION * treatment.target_l_per_m2
        done = np.clip(np.ceil(laid / treatment.pass_l_per_m2), 0, times) / times
        self._wanted_cells[part] = (ground.wanted[part] * done).sum(axis=1)
        zone = self._zone_m2 or 0.0
        done = self._done_before_m2 + float(self._wanted_cells.sum()) * grid.frame.cell_area_m2
        return Areas(covered, zone, max(0.0, zone - done))

    def degrees(self) -> tuple[float, float]:
        """Latitude and longitude of the nozzle."""
        assert self.plane is not None
        lat, lon = degrees_from_plane(self.track.east_m, self.track.north_m, plane=self.plane)
        return float(lat), float(lon)

    def _find_ground(self) -> Ground | None:
        """What each cell is for, laid again only when the grid has grown."""
        if not self._setup.zones or self.plane is None:
            return None
        if self._ground is None or self._ground[0] != self.grid.frame:
            self._ground = (self.grid.frame, lay_ground(self._setup.zones, plane=self.plane, frame=self.grid.frame))
        if self._zone_m2 is None:
            self._zone_m2 = measure_zones(self._setup, self.plane)
        return self._ground[1]

    def _lay(self, *, until: float, now: float) -> None:
        """Lay the dose of the fixes whose volume is known by now."""
        while self._waiting and (self._waiting[0].t <= until or now - self._waiting[0].t > WAIT_FOR_COUNT_S):
            fix = self._waiting.popleft()
            litres = self._laid_l = self._litres_at(fix.t)
            self.reach.take(fix, litres)
            self.grid.add(t=fix.t, east=fix.east_m, north=fix.north_m, heading=fix.heading_deg, litres=litres)
            if isfinite(fix.east_m):
                self.east_m.append(round(fix.east_m, 3))
                self.north_m.append(round(fix.north_m, 3))
                self.spraying.append(int(self.flow.is_spraying))

    def _litres_at(self, t: float) -> float:
        """The volume let out until a time, straight between counts; never less than what was laid before."""
        after = (t, self.litres)
        for at, litres in reversed(self._counts):
            if at <= t:
                span = after[0] - at
                return litres + (after[1] - litres) * (t - at) / span if span > 0 else litres
            after = (at, litres)
        return self._counts[0][1] if self._counts else 0.0

    def _note_pass(self, *, was_spraying: bool) -> None:
        """Count a run of spraying of some length when it ends."""
        if self.flow.is_spraying and not was_spraying:
            self._pass_from = self.track
        elif was_spraying and not self.flow.is_spraying and self._pass_from is not None:
            self._end_pass(self._pass_from)
            self._pass_from = None

    def _note_turn(self) -> None:
        """Count a run of spraying when it goes on in another direction."""
        start = self._pass_from
        # The heading of a receiver that tells no velocity swings too much to tell a turn.
        if start is None or self.track.places:
            return
        turned = abs((self.track.heading_deg - start.heading_deg + 180.0) % 360.0 - 180.0)
        if turned > TURNED_DEG:
            self._end_pass(start)
        if not turned <= TURNED_DEG:
            self._pass_from = self.track

    def _end_pass(self, start: TrackFilter) -> None:
        """Count what was sprayed since, unless it was a step or two."""
        length = hypot(self.track.east_m - start.east_m, self.track.north_m - start.north_m)
        if not isfinite(length) or length > LEAST_PASS_M:
            self.passes_done += 1


def measure_zones(setup: Setup, plane: Plane, *, cells: float = 800.0) -> float:
    """The zones less the keep-outs, on a frame that holds them all, `cells` along two of its sides."""
    corners = [point for zone in setup.zones for ring in zone.rings for point in ring]
    east, north = plane_from_degrees(
        np.array([lat for _, lat in corners]), np.array([lon for lon, _ in corners]), plane=plane
    )
    cell = max(0.1, float(np.ptp(east) + np.ptp(north)) / cells)
    frame = frame_around(east, north, margin_m=2.0 * cell, cell_m=cell)
    return lay_ground(setup.zones, plane=plane, frame=frame).wanted_m2


def _number(value: float | None) -> float:
    return nan if value is None else value
