"""The rig's own voice: acts on the service's alarm, and says when nobody watches the wind.

While there is no alarm the service may say that a lull has opened or closed: that is told by a soft signal, once.
"""

import logging

from rig.ports import Clock, Horn
from rig.wire import Alarm

log = logging.getLogger(__name__)
SILENCE_S = 3.0
NO_WORD_S = 4.0
"""The service acknowledges about once a second; one that hangs keeps its connection and leaves no will."""
REPEAT_STOP_S = 2.0
REPEAT_ABSENCE_S = 30.0


class Sounder:
    """Says each change once and repeats `stop` as long as it holds; driven by `tick`."""

    def __init__(self, horn: Horn, clock: Clock) -> None:
        self._horn = horn
        self._clock = clock
        self._alarm = Alarm("none", "", None, None)
        self._heard: tuple[str, float | None] = ("", None)
        self._is_service_up = False
        self._is_link_up = False
        self._is_silent = False
        self._absent_since: float | None = clock.now()
        self._said_absent_at: float | None = None
        self._sounded_at = float("-inf")

    @property
    def alarm(self) -> Alarm:
        """The last word of the service."""
        return self._alarm

    def note_connection(self, is_up: bool) -> None:
        """The link came or went."""
        self._is_link_up = is_up
        self._is_service_up = False
        self._note_presence()

    def note_service(self, is_up: bool) -> None:
        """The service came or went."""
        self._is_service_up = is_up
        self._note_presence()

    def note_silence(self, unanswered_s: float) -> None:
        """How long the rig's samples have gone unanswered: too long, and nobody watches though the link stands."""
        is_silent = unanswered_s >= NO_WORD_S
        if is_silent == self._is_silent:
            return
        self._is_silent = is_silent
        self._note_presence(since=self._clock.now() - unanswered_s)

    def note_alarm(self, alarm: Alarm) -> None:
        """The service's word; a change is said at once."""
        before, self._alarm = self._alarm, alarm
        if alarm.level == "none":
            if before.level != "none":
                log.warning("alarm over: the wind is below the limit again")
            self._note_word(alarm)
            return
        if alarm.level == before.level and alarm.reason == before.reason:
            return
        log.warning("%s: %s", alarm.level.upper(), alarm.reason)
        if alarm.level != before.level:
            self._sound()

    def _note_word(self, alarm: Alarm) -> None:
        """What is said while there is no alarm; a retained word that comes again is none, nor is silence."""
        word = (alarm.reason, alarm.since)
        if alarm.reason and word != self._heard:
            self._heard = word
            log.warning("%s", alarm.reason)
            self._horn.chirp()

    def tick(self) -> None:
        """Repeat what holds; say when there has been nobody to watch for a while."""
        now = self._clock.now()
        if self._absent_since is not None and now - self._absent_since >= SILENCE_S:
            if self._said_absent_at is None or now - self._said_absent_at >= REPEAT_ABSENCE_S:
                self._say_absence(now)
        elif self._alarm.level == "stop" and now - self._sounded_at >= REPEAT_STOP_S:
            self._sound()

    def _note_presence(self, since: float | None = None) -> None:
        """Keep since when nobody watches; say it when somebody does again."""
        is_watched = self._is_link_up and self._is_service_up and not self._is_silent
        if is_watched:
            if self._said_absent_at is not None:
                log.warning("the service watches the wind again")
            self._absent_since = self._said_absent_at = None
        elif self._absent_since is None:
            self._absent_since = self._clock.now() if since is None else since

    def _say_absence(self, now: float) -> None:
        """Say that no alarm can come, and why."""
        if not self._is_link_up:
            what = "there is no link to the broker"
        elif not self._is_service_up:
            what = "the service is offline"
        else:
            what = "there is no word from the service"
        log.warning("NO ALARM WATCHES THE WIND: %s; stop spraying or watch it yourself", what)
        self._said_absent_at = now
        self._sound()

    def _sound(self) -> None:
        self._horn.sound()
        self._sounded_at = self._clock.now()
