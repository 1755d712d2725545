"""The alarm on its way to the rig: told when live messages change it, retained, from the first live one on."""

from math import isfinite

from rig import wire
from server.core.alarm import AlarmState
from server.ingest import Replies
from server.live import Live

REASON_LIMIT = 400


class Notifier:
    """Remembers what each rig was told."""

    def __init__(self, replies: Replies) -> None:
        self._replies = replies
        self._told: dict[str, wire.Alarm] = {}

    def tell(self, live: Live) -> None:
        """Tell the rig the alarm if it changed; without a limit there is none."""
        state = live.alarm
        if live.rig is None or state is None:
            return
        alarm = self._alarm_of(live, state)
        if self._told.get(live.rig) != alarm:
            self._told[live.rig] = alarm
            self._replies.publish(live.rig, alarm, is_retained=True)

    @staticmethod
    def _alarm_of(live: Live, state: AlarmState) -> wire.Alarm:
        if live.setup.treatment.wind_limit_mps is None or state.level == "none":
            return wire.Alarm("none", "", None, live.job.number if live.job is not None else None)
        since = state.since_t + live.utc_offset_s
        job = live.job.number if live.job is not None else None
        return wire.Alarm(state.level, state.reason[:REASON_LIMIT], round(since, 1) if isfinite(since) else None, job)
