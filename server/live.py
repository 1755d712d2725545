"""The live picture: every message folded through the causal half of core, in the order it comes.

Job seconds `t` lie on the service's monotonic clock: mono + the offset of each start's first message. What is filled in
later moves the totals, but the alarm is taken over from live messages only.
"""

from collections import deque
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from math import isfinite, nan
from typing import Any

from rig import wire
from server.arrivals import LIVE_WITHIN_S, Arrival, Arrivals, Order
from server.core.alarm import AlarmState
from server.core.setup import Setup
from server.core.vane import face_air
from server.core.windfold import Second, WindFold, WindNow
from server.counts import Counts
from server.cupwatch import CupWatch
from server.intake import Fresh
from server.livecup import Air, LiveCup
from server.liveway import NOTHING_TOLD, LiveWay
from server.snapshot import (
    AlarmPart,
    JobPart,
    MessagesPart,
    PositionPart,
    ReceiverPart,
    RigPart,
    Snapshot,
    known,
    tell_wind,
)
from server.station import UNKNOWN_YARD, Station, Yard
from server.store.jobs import Job

STALE_S = 5.0
TOLD_FOR_S = 120.0
FLOW_SILENT_S = 3.0
FIX_SILENT_S = 3.0
RATE_SPEED_MPS = 0.2
NO_FIX = "No fix from the receiver: what is sprayed now cannot be placed. Wait under open sky."
VELOCITY_SD = (0.05, 0.15)


class Live:
    """Folds messages of the rig that is followed; gives snapshots."""

    def __init__(self, setup: Setup, *, now: Callable[[], float], yard: Yard = UNKNOWN_YARD) -> None:
        self._now = now
        self._yard = yard
        self._sequence = 0
        self._alarm: AlarmState | None = None
        self.alarm_since_utc = nan
        self._fix: wire.Position | None = None
        self.rig: str | None = None
        self.job: Job | None = None
        self._hear_anew()
        self._follow(setup)
        self._measure_anew()

    @property
    def setup(self) -> Setup:
        """The setup of the job, or the one that the next job starts from."""
        return self._setup

    @property
    def sequence(self) -> int:
        """Counts up with every change."""
        return self._sequence

    @property
    def alarm(self) -> AlarmState | None:
        """The alarm as of the newest live message; None until one came that can be trusted to be live."""
        return self._alarm

    @property
    def wind_now(self) -> WindNow:
        """The wind as of the newest second."""
        return self._wind_now

    @property
    def missing(self) -> int:
        """How many messages of the rig are missing."""
        return self._arrivals.missing

    def begin(self, job: Job | None, setup: Setup) -> None:
        """Follow a job from its beginning, or no job."""
        has_changed = (setup.anemometer, setup.treatment) != (self._setup.anemometer, self._setup.treatment)
        if job is not None and job.rig and self.rig not in (None, job.rig):
            self._switch(job.rig)
        self.job = job
        self._follow(setup)
        if has_changed:
            self._measure_anew()
        self._sequence += 1

    def update(self, job: Job) -> None:
        """The job's name or state changed; what was computed stays."""
        self.job = job
        self._sequence += 1

    def end(self) -> None:
        """The job is finished; its picture stays until another one begins."""
        self.job = None
        self._sequence += 1

    def take(self, fresh: Fresh, *, is_stored: bool = False) -> bool:
        """Fold one message in, one from the store where it was before a restart; tells whether it was live."""
        if not self._follows(fresh.rig):
            return False
        if isinstance(fresh.message, wire.State):
            self.link = fresh.message.state
            self._sequence += 1
            return False
        arrival = self._arrivals.place(fresh.message, fresh.arrived_mono, is_stored=is_stored)
        if arrival is None:
            if isinstance(fresh.message, wire.Operator) and fresh.message.kind == "refill":
                self.way.refill(fresh.message.detail)  # read from the store before the job's first sample
            return False
        self.behind_s = arrival.behind_s
        if arrival.is_live:
            self.last_live_mono = self._now()
            self.link = "online"
        if not self._is_before_job(fresh.message):
            self._fold(fresh.message, arrival)
        if arrival.is_steady:
            self._note_alarm(self._wind_now.alarm)
        self._sequence += 1
        return arrival.is_live and arrival.order is not Order.REPEAT

    def _note_alarm(self, alarm: AlarmState) -> None:
        """Take the alarm up; the clock, which every fix fits anew, does not move its beginning."""
        if self._alarm is None or alarm.since_t != self._alarm.since_t or not isfinite(self.alarm_since_utc):
            self.alarm_since_utc = alarm.since_t + self.utc_offset_s
        self._alarm = alarm

    def device_clock(self) -> tuple[str, str, float, float | None] | None:
        """Rig, start, the device's monotonic clock now, and UTC: for what is pressed on the dashboard."""
        start = self._arrivals.current
        if start is None or self.rig is None:
            return None
        mono = self._now() - start.smallest_s
        utc = mono + start.offset_s + self.utc_offset_s
        return self.rig, start.boot, max(mono, 0.0), utc if isfinite(utc) else None

    def refill(self, detail: Mapping[str, Any] = NOTHING_TOLD) -> None:
        """The tank is full again, or got or holds as much as was told."""
        self.way.refill(detail)
        self._sequence += 1

    def _hear_anew(self) -> None:
        """Know nothing of any rig."""
        self._arrivals = Arrivals()
        self._counts = Counts()
        self._alarm = None
        self.link = "unknown"
        self.utc_offset_s = self.last_live_mono = nan
        self.behind_s = 0.0
        self._told: tuple[str, float] | None = None

    def _switch(self, rig: str) -> None:
        """Follow another rig."""
        self.rig = rig
        self._hear_anew()
        self._follow(self._setup)
        self._measure_anew()

    def _follow(self, setup: Setup) -> None:
        """Begin the way and the volume anew."""
        self._setup = setup
        self.way = LiveWay(setup)
        self._fix = None
        self._fix_times: deque[float] = deque(maxlen=20)
        self._flow_at = self._t = nan

    def _measure_anew(self) -> None:
        """Begin the wind anew: another rig or another cup, but not another job, for the wind knows nothing of jobs."""
        self._wind = WindFold(anemometer=self._setup.anemometer, treatment=self._setup.treatment)
        self._cup = LiveCup(self._setup.anemometer)
        self._cup_watch = CupWatch()
        self.station = Station(self._setup.anemometer, self._setup.treatment, stands=self._yard.stands)
        self._wind_now = WindNow(nan)
        self._velocities: deque[tuple[float, float, float]] = deque(maxlen=60)
        self._wind_at = nan

    def _follows(self, rig: str) -> bool:
        """Whether messages of this rig are followed: the job's rig, else the first heard until it has gone silent."""
        wanted = self.job.rig if self.job is not None and self.job.rig else None
        if rig == (wanted or self.rig):
            self.rig = rig
            return True
        if wanted is not None:
            return False
        if self.rig is None:
            self.rig = rig
            return True
        if self._now() - self.last_live_mono < STALE_S:
            return False
        self._switch(rig)
        return True

    def _is_before_job(self, message: wire.Data) -> bool:
        """Whether a sample was taken in the job's first start, but before the job began."""
        start = self.job.span.start if self.job is not None else None
        return start is not None and message.boot == start[0] and message.mono < start[1]

    def _fold(self, message: wire.Data, arrival: Arrival) -> None:
        """One message of the rig that is followed; what comes late or again has nothing to add but a button."""
        if arrival.is_new_start:
            self.way.restart_flow()
            self._cup.restart()
            if isfinite(self._t):
                self._told = ("The device program on the rig has started anew.", arrival.t)
        elif isinstance(message, wire.Event) and arrival.order is Order.NEXT:
            self._note_trouble(arrival.t, message)
        if arrival.order is not Order.REPEAT:
            told = message.detail if isinstance(message, wire.Operator) else NOTHING_TOLD
            self.way.press(_button_of(message), told, is_now=arrival.order is Order.NEXT)
        if arrival.order is not Order.NEXT:
            return
        t = arrival.t
        self._t = t if not isfinite(self._t) else max(self._t, t)
        self._counts.take(t, message)
        if isinstance(message, wire.Position):
            self._fold_fix(t, message)
        elif isinstance(message, wire.Flow):
            self._flow_at = t
            self.way.take_flow(t, message)
        elif isinstance(message, wire.Climate):
            self._cup_watch.take_climate(message)
        elif isinstance(message, wire.Wind):
            self._wind_at = t
            for air in self._cup.take(t, t - message.mono, message):
                self._cup_watch.take(air)
                second = self._second(air)
                self._wind_now = self._wind.step(second)
                self.station.take(second, self._wind.state, self._station_offset_s(arrival))

    def _station_offset_s(self, arrival: Arrival) -> float:
        """UTC less job time as the receiver tells it, else as this machine's clock does if it can be trusted."""
        start = self._arrivals.current
        if isfinite(self.utc_offset_s) or start is None or not arrival.is_steady:
            return self.utc_offset_s
        wall = self._yard.wall_offset_s()
        return nan if wall is None else wall + start.smallest_s - start.offset_s

    def _note_trouble(self, t: float, event: wire.Event) -> None:
        """What the rig itself complains of."""
        if event.kind == "overflow":
            self._told = ("The rig's spool was full: it has lost its oldest samples.", t)
        elif event.kind == "implausible":
            what = event.detail["stream"]
            self._told = (f"The {what} sensor counts faster than it can: look for a loose contact.", t)

    def _fold_fix(self, t: float, message: wire.Position) -> None:
        """One fix."""
        at = t - self._setup.receiver.latency_s
        if message.utc is not None:
            self.utc_offset_s = message.utc - at
        self.way.take_fix(at, message)
        track = self.way.track
        if isfinite(track.velocity_east_mps):
            self._velocities.append((at, track.velocity_east_mps, track.velocity_north_mps))
        if message.fix != "none":
            self._fix_times.append(t)
        self._fix = message

    def _second(self, air: Air) -> Second:
        """Join one second's air with the rig's velocity in it."""
        inside = [v for v in self._velocities if air.t - 1.0 < v[0] <= air.t]
        age = 0.0
        if not inside and self._velocities and air.t - self._velocities[-1][0] < 10.0:
            inside, age = [self._velocities[-1]], air.t - self._velocities[-1][0]
        count = len(inside)
        east, north = (sum(v[axis] for v in inside) / count if count else nan for axis in (1, 2))
        return Second(
            t=air.t,
            apparent_mps=air.mps,
            is_bound=air.is_bound,
            velocity_east_mps=east,
            velocity_north_mps=north,
            velocity_sd_mps=VELOCITY_SD[0] + VELOCITY_SD[1] * age if count else nan,
            is_spraying=self.way.flow.is_spraying,
            air_from_deg=face_air(air.from_bow_deg, east=east, north=north),
        )

    def snapshot(self, messages: MessagesPart, faults: tuple[str, ...] = ()) -> Snapshot:
        """All figures of this instant."""
        way, setup = self.way, self._setup
        target, pass_target = setup.treatment.target_l_per_m2, setup.treatment.pass_l_per_m2
        speed, flow = way.track.speed_mps, way.flow.flow_l_per_min
        is_fresh = isfinite(self.last_live_mono) and self._now() - self.last_live_mono < STALE_S
        moves = isfinite(speed) and speed > RATE_SPEED_MPS
        rate = flow / 60.0 / (speed * setup.sprayer.swath_m) if way.flow.is_spraying and moves else None
        wanted = way.flow.run_l_per_min / 60.0 / (pass_target * setup.sprayer.swath_m) if way.flow.is_spraying else None
        areas, level = way.areas(), way.tank_level
        utc = self._t + self.utc_offset_s
        return Snapshot(
            at_utc=known(utc, 3),
            sequence=self._sequence,
            rig=self._rig_part(),
            receiver=self._receiver_part(),
            counts=self._counts.tell(self._t),
            position=self._position_part(),
            speed_mps=known(speed, 3),
            wanted_speed_mps=known(wanted, 3),
            flow_l_per_min=known(flow, 3) if isfinite(self._flow_at) else None,
            is_spraying=way.flow.is_spraying and is_fresh,
            rate_l_per_m2=known(rate, 6),
            rate_percent=known(100.0 * rate / pass_target if rate is not None else None, 1),
            target_l_per_m2=target,
            pass_l_per_m2=pass_target,
            swath_m=setup.sprayer.swath_m,
            volume_l=round(way.litres, 4),
            tank_l=setup.sprayer.tank_l,
            tank_left_l=round(level.left_l.value, 3),
            tank_left_sd_l=round(level.left_l.sd, 3),
            is_tank_assumed=way.tank.is_assumed,
            reach=way.reach.tell(way.track, way.plane, level),
            covered_area_m2=round(areas.covered_m2, 2),
            area_left_m2=known(areas.left_m2, 1),
            zone_area_m2=known(areas.zone_m2, 1),
            wind=tell_wind(self._wind_now, setup),
            alarm=self._alarm_part(),
            job=self._job_part(),
            passes_done=way.passes_done,
            messages=messages,
            faults=(*self._faults(is_fresh=is_fresh), *faults),
        )

    def _rig_part(self) -> RigPart:
        age = self._now() - self.last_live_mono if isfinite(self.last_live_mono) else None
        start = self._arrivals.current
        return RigPart(
            self.rig, start.boot if start is not None else None, self.link, known(age, 2), known(self.behind_s, 1)
        )

    def _receiver_part(self) -> ReceiverPart:
        if self._fix is None:
            return ReceiverPart()
        times = self._fix_times
        rate = (len(times) - 1) / (times[-1] - times[0]) if len(times) > 2 and times[-1] > times[0] else None
        return ReceiverPart(
            self._fix.fix, self._fix.sats, self._fix.hdop, known(self.way.track.sd_m, 3), known(rate, 1)
        )

    def _position_part(self) -> PositionPart | None:
        track = self.way.track
        if not (isfinite(track.east_m) and isfinite(track.north_m)) or self.way.plane is None:
            return None
        lat, lon = self.way.degrees()
        return PositionPart(
            round(track.east_m, 3), round(track.north_m, 3), known(track.heading_deg, 1), round(lat, 8), round(lon, 8)
        )

    def _alarm_part(self) -> AlarmPart | None:
        alarm = self.alarm
        if self._setup.treatment.wind_limit_mps is None or alarm is None:
            return None
        return AlarmPart(alarm.level, alarm.reason, known(self.alarm_since_utc, 3))

    def _job_part(self) -> JobPart | None:
        if self.job is None:
            return None
        started = datetime.fromtimestamp(self.job.created_utc, UTC).isoformat(timespec="seconds")
        return JobPart(self.job.number, self.job.name, self.job.state, started)

    def _faults(self, *, is_fresh: bool) -> tuple[str, ...]:
        """What is wrong, in plain sentences."""
        if self.rig is None:
            return ("No rig has been heard yet. Switch it on, within reach of the service.",)
        if not is_fresh and self.behind_s > LIVE_WITHIN_S and self.link == "online":
            return (f"The rig still sends what it kept: what is shown is {self.behind_s:.0f} s old.",)
        if not is_fresh:
            return ("The rig is silent: what is shown is old. Look at its power and its link.",)
        found = []
        if self._fix is None or not self._fix_times or self._t - self._fix_times[-1] > FIX_SILENT_S:
            found.append(NO_FIX)
        if not isfinite(self._flow_at) or self._t - self._flow_at > FLOW_SILENT_S:
            found.append("The flow meter is silent: nothing is counted. Look at its plug before you spray.")
        if self._setup.treatment.wind_limit_mps is not None and (
            not isfinite(self._wind_at) or self._t - self._wind_at > FLOW_SILENT_S
        ):
            found.append("The anemometer is silent: no alarm can warn of wind. Look at its plug.")
        found += self._cup_watch.tell(is_stuck=self._wind_now.is_cup_stuck, is_frozen=self._cup.is_frozen)
        if self._told and self._t - self._told[1] < TOLD_FOR_S:
            found.append(self._told[0])
        return tuple(found)


def _button_of(message: wire.Data) -> str | None:
    """The button of an event or an operator message."""
    if isinstance(message, wire.Operator):
        return message.kind
    return str(message.detail["name"]) if isinstance(message, wire.Event) and message.kind == "button" else None
