"""From the link to the store: commit about once a second, then acknowledge.

One writer thread stores what the intake has, in batches. Nothing is acknowledged that is not stored, so what the queue
cannot take or the disk refuses stays with the rig and comes again.
"""

import logging
import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Protocol, TypeVar

from rig import wire
from server.errors import StoreError
from server.intake import Intake, Task
from server.store.connection import open_writer
from server.store.messages import Arrival, MessageWriter, Outcome

log = logging.getLogger(__name__)
COMMIT_PERIOD_S = 1.0
BATCH = 2000
EARLY_BATCH = 400
DISK_RETRY_S = 2.0

Result = TypeVar("Result")


class Replies(Protocol):
    """What ingest needs of the link."""

    def publish(self, rig: str, message: wire.Message, *, is_retained: bool = False) -> None:
        """Send a message to a rig."""
        ...

    def greet(self, rig: str) -> None:
        """Tell a rig that the service is there."""
        ...


class Ingest:
    """Takes messages from the link's thread and runs the writer's."""

    def __init__(self, file: Path, *, ring: Callable[[], None]) -> None:
        self._connection = open_writer(file)
        self._file = file
        self._wake = threading.Event()
        self._greeted: set[str] = set()
        self._replies: Replies | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._is_refused = False
        self.counts: Counter[str] = Counter()
        self.intake = Intake(ring=ring, counts=self.counts)
        self.intake.greet = self._greet
        self._queue = self.intake.queue

    @property
    def backlog(self) -> int:
        """How many messages wait for the disk."""
        return self.intake.backlog

    @property
    def fault(self) -> str | None:
        """What keeps messages from being stored, in one sentence."""
        if self._is_refused:
            return "the database cannot be written: free or replace the disk; the rig keeps everything meanwhile"
        return "the disk is too slow: messages wait on the rig" if self.intake.is_full else None

    def start(self, replies: Replies) -> None:
        """Start the writer."""
        self._replies = replies
        self._thread.start()

    def stop(self) -> None:
        """Store what has come and end the writer."""
        self._stop.set()
        self._wake.set()
        if self._thread.ident is not None:
            self._thread.join(10.0)
        self._connection.close()

    def take(self, topic: str, payload: bytes) -> None:
        """Take one message from the link; never raises for a bad one."""
        self.intake.put(topic, payload)
        if self.intake.backlog >= EARLY_BATCH and not self._wake.is_set():
            self._wake.set()

    def call(self, work: Callable[[MessageWriter], Result]) -> Future[Result]:
        """Run something on the writer's thread, in order with the messages; the future holds what came of it."""
        future: Future[Result] = Future()

        def task(writer: MessageWriter) -> None:
            if not future.set_running_or_notify_cancel():
                return
            try:
                future.set_result(writer.run(work))
            # Whoever asked is told, and the writer goes on whatever it was: the rig's samples hang on it.
            except Exception as error:  # noqa: BLE001
                future.set_exception(error)

        self.intake.decode()
        self._queue.append(task)
        self._wake.set()
        return future

    def _greet(self, rig: str) -> None:
        if self._replies is not None and rig not in self._greeted:
            self._greeted.add(rig)
            self._replies.greet(rig)

    def _run(self) -> None:
        """The writer's loop: a batch, one commit, the acknowledgements."""
        writer = MessageWriter(self._connection)
        waiting: list[Arrival] = []
        tasks: list[Task] = []
        while not (self._stop.is_set() and not self.backlog and not waiting):
            self._gather(waiting, tasks)
            try:
                if waiting:
                    self._acknowledge(writer.write(waiting))
                    waiting = []
                self._note_disk(None)
            except StoreError as error:
                self._note_disk(error)
            while tasks:
                tasks.pop(0)(writer)
            if self._is_refused:
                if self._stop.is_set():
                    return
                self._stop.wait(DISK_RETRY_S)

    def _gather(self, waiting: list[Arrival], tasks: list[Task]) -> None:
        """Collect arrivals for up to a second, or until there are many, or something is to be run."""
        if not self._stop.is_set():
            self._wake.wait(COMMIT_PERIOD_S)
        self._wake.clear()
        self.intake.decode()
        while self._queue and len(waiting) < BATCH and not tasks:
            found = self._queue.popleft()
            if isinstance(found, Arrival):
                waiting.append(found)
            else:
                tasks.append(found)
        if self._queue:
            self._wake.set()

    def _acknowledge(self, outcome: Outcome) -> None:
        """Tell each rig what is settled."""
        self.counts.update(outcome.counts)
        if self._replies is None:
            return
        for (rig, boot), committed in outcome.settled.items():
            self._replies.publish(rig, wire.Ack(boot, committed))

    def _note_disk(self, error: StoreError | None) -> None:
        """Log a change of the disk's state once."""
        if error is not None and not self._is_refused:
            log.error("%s: %s", self._file, error)
        if error is None and self._is_refused:
            log.warning("%s: can be written again", self._file)
        self._is_refused = error is not None
