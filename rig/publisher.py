"""Delivery from the rig to the service: at once while all is well, in order from the spool after any break.

A message leaves the spool only on the service's own acknowledgement. While the link is down or the service is
offline nothing is sent. On each return, and when acknowledgements stall, everything unacknowledged is sent again in
order, a batch at a time. Times are real seconds: the broker and the service live in real time whatever the samples.
"""

import logging
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from rig import wire
from rig.ports import Clock, Link
from rig.spool import Dropped, Row, Spool

log = logging.getLogger(__name__)
BATCH = 500
STALL_S = 10.0
REPEATS_BEFORE_DECLARING = 3

MakeEvent = Callable[[str, Mapping[str, Any]], wire.Event]


@dataclass
class Owed:
    """What the service owes of one start's stream: the newest number sent, and since when nothing was settled."""

    newest: int
    since: float
    settled: int = -1


class Publisher:
    """Decides what is sent when; driven by `offer`, the link's words and `tick`."""

    def __init__(self, link: Link, spool: Spool, clock: Clock, *, boot: str, make_event: MakeEvent) -> None:
        self._link = link
        self._spool = spool
        self._clock = clock
        self._boot = boot
        self._make_event = make_event
        self._is_service_up = False
        self._is_live = False
        self._cursor = 0
        self._owed: dict[tuple[str, str], Owed] = {}
        self._unanswered_since: float | None = None
        self._low_acks: Counter[tuple[str, str, int]] = Counter()

    @property
    def is_live(self) -> bool:
        """Whether samples go out as they come."""
        return self._is_live

    def unanswered_s(self) -> float:
        """How long samples have been going out without any acknowledgement coming back."""
        return 0.0 if self._unanswered_since is None else self._clock.now() - self._unanswered_since

    def offer(self, message: wire.Sample) -> None:
        """Keep one sample on disk and, when live, send it."""
        row = self._keep(message)
        if self._is_live:
            self._send(row)

    def note_connection(self, is_up: bool) -> None:
        """The link came or went; what the service said before does not count any more."""
        self._is_service_up = False
        self._unanswered_since = None
        self._low_acks.clear()
        self._hold()

    def note_service(self, is_up: bool) -> None:
        """The service said that it is there, or its will said that it is gone."""
        if is_up != self._is_service_up:
            log.info("the service is %s", "online" if is_up else "offline: samples wait in the spool")
        self._is_service_up = is_up
        self._unanswered_since = None
        self._low_acks.clear()
        self._hold()
        if is_up:
            self.tick()

    def note_ack(self, ack: wire.Ack) -> None:
        """Forget what is settled; tell of gaps that can no longer be filled."""
        self._spool.settle(ack.boot, ack.committed)
        self._unanswered_since = None
        before = len(self._owed)
        for key in [key for key in self._owed if key[0] == ack.boot]:
            self._note_settled(key, ack.committed.get(key[1], -1))
        self._declare_gaps(ack)
        if before and not self._owed:
            self.tick()

    def note_dropped(self, dropped: list[Dropped]) -> None:
        """Tell of samples that had to make room."""
        for gap in dropped:
            self._declare(gap)

    def tick(self) -> None:
        """Send the next batch where one is due; start again where acknowledgements stall."""
        if not (self._link.is_up and self._is_service_up):
            return
        if any(self._clock.now() - owed.since > STALL_S for owed in self._owed.values()):
            log.warning("no acknowledgement for %.0f s: sending again what is not settled", STALL_S)
            self._hold()
        if not self._is_live and not self._owed:
            self._send_batch()

    def _keep(self, message: wire.Sample) -> Row:
        """Put one sample into the spool."""
        row = Row(message.boot, wire.stream_of(message), message.seq, wire.encode(message))
        self._spool.append(row)
        return row

    def _send(self, row: Row) -> None:
        """Send one sample and note that its acknowledgement is owed."""
        owed = self._owed.setdefault((row.boot, row.stream), Owed(row.seq, self._clock.now()))
        owed.newest = max(owed.newest, row.seq)
        if self._unanswered_since is None:
            self._unanswered_since = self._clock.now()
        self._link.publish(row.stream, row.payload)

    def _note_settled(self, key: tuple[str, str], settled: int) -> None:
        """Nothing is owed of a stream any more, or its time begins anew: a word without progress is no progress."""
        owed = self._owed[key]
        if settled >= owed.newest:
            del self._owed[key]
        elif settled > owed.settled:
            owed.settled, owed.since = settled, self._clock.now()

    def _hold(self) -> None:
        """Stop sending live; the next batch begins at the oldest unsettled sample."""
        self._is_live = False
        self._owed.clear()
        self._cursor = 0

    def _send_batch(self) -> None:
        """Send the oldest samples not yet sent; with the last of them, go live."""
        self.note_dropped(self._spool.commit())
        rows = self._spool.unsettled(self._cursor, BATCH)
        for number, row in rows:
            self._send(row)
            self._cursor = number
        if len(rows) < BATCH:
            self._is_live = True
            for row in self._spool.waiting():
                self._send(row)

    def _declare_gaps(self, ack: wire.Ack) -> None:
        """Where the service waits for samples that are gone for good, say so; it may only be slow, so wait a little."""
        for stream in wire.SAMPLE_STREAMS:
            settled = ack.committed.get(stream, -1)
            oldest = self._spool.oldest(ack.boot, stream)
            if oldest is None or settled + 1 >= oldest:
                continue
            key = (ack.boot, stream, oldest)
            self._low_acks[key] += 1
            if self._low_acks[key] == REPEATS_BEFORE_DECLARING:
                self._declare(Dropped(ack.boot, stream, settled + 1, oldest - 1))

    def _declare(self, gap: Dropped) -> None:
        """Put an overflow event among the samples; one of an earlier start names that start."""
        detail: dict[str, Any] = {"stream": gap.stream, "from_seq": gap.from_seq, "to_seq": gap.to_seq}
        if gap.boot != self._boot:
            detail["of_boot"] = gap.boot
        log.warning("samples lost for good: %s %d to %d", gap.stream, gap.from_seq, gap.to_seq)
        row = self._keep(self._make_event("overflow", detail))
        if self._is_live:
            self._send(row)
        elif self._link.is_up and self._is_service_up:
            # In its turn it would come behind the very samples that cannot be settled before it; it is sent again then.
            self._link.publish(row.stream, row.payload)
