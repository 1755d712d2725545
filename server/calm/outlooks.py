"""The outlook as the service keeps it: moments off the live picture go in, what is told and said comes out."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from server.calm.moment import Moment, take_moment
from server.calm.need import NeedFinder
from server.calm.watch import CHOSEN, CalmWatch, Word
from server.errors import StoreError
from server.ingest import Ingest
from server.live import Live
from server.snapshot import Snapshot
from server.store.outlook import save_note

FRESH_S = 5.0
"""What is so old is still of now."""


class Outlooks:
    """Asks the watch each second with what is known then, and keeps what must outlast a restart."""

    def __init__(
        self, database: Path, ingest: Ingest, *, flush: Callable[[], Awaitable[None]], on_change: Callable[[], None],
        now: Callable[[], float], wall: Callable[[], float],
    ) -> None:  # fmt: skip
        self._ingest = ingest
        self._now, self._wall = now, wall
        self.needs = NeedFinder()
        self.watch = CalmWatch(database, flush=flush, note=self._note, on_change=on_change)

    @property
    def told(self) -> dict[str, Any] | None:
        """What the pages are told; None until the first look."""
        return self.watch.told

    @property
    def word(self) -> Word:
        """What is said of a lull while there is no alarm."""
        return self.watch.word

    def restore(self) -> None:
        """Take up what was told and chosen before a restart."""
        self.needs.chosen = self.watch.restore()

    def tick(self, live: Live) -> None:
        """Look where a look is due."""
        self.watch.tick(self._take(live))

    async def look(self, live: Live) -> dict[str, Any]:
        """What is known now: after a look, unless one has just been; raises StoreError."""
        await self.watch.settle_look()
        if self.watch.told is None or self._now() - self.watch.looked_mono >= FRESH_S:
            await self._look_now(live)
        return self._tell()

    async def choose(self, live: Live, minutes: int | None) -> dict[str, Any]:
        """Ask for another length than the job's own from now on; None: the job's own again."""
        self.needs.chosen = minutes
        self._note(CHOSEN, minutes)
        await self._look_now(live)
        return self._tell()

    def forget_past(self) -> None:
        """Look through the past again: some was brought along."""
        self.watch.forget_past()

    def say_word(self, snapshot: Snapshot) -> Snapshot:
        """The snapshot with the word of a lull where no alarm is."""
        if snapshot.alarm is None or snapshot.alarm.level != "none" or not self.word.reason:
            return snapshot
        alarm = replace(snapshot.alarm, reason=self.word.reason, since_utc=self.word.since_utc)
        return replace(snapshot, alarm=alarm)

    def stop(self) -> None:
        """Begin nothing more."""
        self.watch.stop()

    async def settle(self) -> None:
        """Wait until nothing is under way."""
        await self.watch.settle()

    def _tell(self) -> dict[str, Any]:
        if self.watch.told is None:
            raise StoreError("the outlook cannot be told: the service's log says why")
        return self.watch.told

    async def _look_now(self, live: Live) -> None:
        """Look after a look that is under way."""
        await self.watch.settle_look()
        await self.watch.look(self._take(live))

    def _take(self, live: Live) -> Moment:
        return take_moment(live, self.needs, now=self._now, wall=self._wall)

    def _note(self, name: str, value: Any) -> None:
        self._ingest.call(lambda writer: save_note(writer.connection, name, value))
