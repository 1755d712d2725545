"""The alarm on its way to the rig: told when live messages change it, retained, from the first live one on.

While there is none, the word of a lull goes the same way.
"""

from math import isfinite

from rig import wire
from server.calm.watch import Word
from server.core.alarm import AlarmState
from server.ingest import Replies
from server.live import Live

REASON_LIMIT = 400
NO_WORD = Word()


class Notifier:
    """Remembers what each rig was told."""

    def __init__(self, replies: Replies) -> None:
        self._replies = replies
        self._told: dict[str, wire.Alarm] = {}

    def tell(self, live: Live, word: Word = NO_WORD) -> None:
        """Tell the rig the alarm or the word of a lull if it changed; without a limit there is neither."""
        state = live.alarm
        if live.rig is None or state is None:
            return
        alarm = self._alarm_of(live, state, word)
        if self._told.get(live.rig) != alarm:
            self._told[live.rig] = alarm
            self._replies.publish(live.rig, alarm, is_retained=True)

    @staticmethod
    def _alarm_of(live: Live, state: AlarmState, word: Word) -> wire.Alarm:
        job = live.job.number if live.job is not None else None
        if live.setup.treatment.wind_limit_mps is None:
            return wire.Alarm("none", "", None, job)
        if state.level == "none":
            return wire.Alarm("none", word.reason[:REASON_LIMIT], word.since_utc, job)
        since = live.alarm_since_utc
        return wire.Alarm(state.level, state.reason[:REASON_LIMIT], round(since, 1) if isfinite(since) else None, job)
