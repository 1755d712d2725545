"""Reviews of the store's jobs: computed off the event loop, one at a time, kept as files until something changes."""

import gzip
import json
import logging
import queue
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.core.log import JobLog
from server.core.results import Plane
from server.core.tables import digest_setup
from server.errors import ServiceError, UnknownError
from server.exports.files import NAMES, result_files, software_name, write_files
from server.store.connection import open_reader
from server.store.joblog import count_messages, load_job_log
from server.store.jobs import Job, find_job
from server.trim import trim_memory

log = logging.getLogger(__name__)
STAMP = "stamp.json"
COUNT = "messages"
VIEWS = 3
"""The form of what the dashboard draws: a review of another form is computed again."""


@dataclass(frozen=True, slots=True)
class ReviewState:
    """How a job's review stands: "none", "pending", "ready" or "failed"."""

    state: str
    progress: float = 0.0
    doing: str = ""
    problem: str = ""


class Reviews:
    """Computes reviews in a thread of its own and keeps their files beside the database."""

    def __init__(
        self, database: Path, *, on_change: Callable[[], None] = lambda: None,
        on_ready: Callable[[int], None] = lambda number: None,
    ) -> None:  # fmt: skip
        self._database = database
        self._folder = database.with_suffix(".reviews")
        self._states: dict[int, ReviewState] = {}
        self._failed: dict[int, dict[str, Any]] = {}
        self._lock = threading.RLock()
        self._queue: queue.SimpleQueue[int] = queue.SimpleQueue()
        self._worker = threading.Thread(target=self._work, name="review", daemon=True)
        self._is_closed = False
        self._on_change = on_change
        self._on_ready = on_ready

    def state_of(self, job: Job) -> ReviewState:
        """How the job's review stands; "none" too where its settings or samples have changed since."""
        with self._lock:
            known = self._states.get(job.number)
        if known is not None and known.state == "pending":
            return known
        source = self._source_of(job)
        if known is not None and known.state == "failed" and self._failed.get(job.number) == source:
            return known
        stamp = self._read_stamp(job)
        if job.state != "finished":
            stamp, source = _without_count(stamp), _without_count(source)
        return ReviewState("ready", 1.0) if stamp == source else ReviewState("none")

    def request(self, job: Job, *, anew: bool = False) -> ReviewState:
        """Begin a review unless there is a fresh one, one is under way, or it would fail as it did."""
        with self._lock:
            state = self.state_of(job)
            if state.state == "pending" or (state.state != "none" and not anew):
                return state
            pending = ReviewState("pending", 0.0, "waiting")
            self._note(job.number, pending)
            self._queue.put(job.number)
            if self._worker.ident is None:
                self._worker.start()
        return pending

    def read_file(self, job: Job, name: str) -> bytes:
        """A results file's bytes; raises UnknownError where there is none."""
        return self._read(job, name, name)

    def read_view(self, job: Job, name: str) -> bytes:
        """A view's bytes for the dashboard; raises UnknownError where there is none."""
        return gzip.decompress(self.read_packed(job, name))

    def read_packed(self, job: Job, name: str) -> bytes:
        """A view's bytes as they are kept, packed with gzip; raises UnknownError where there is none."""
        return self._read(job, f"view/{name}.json.gz", name)

    def forget(self, number: int) -> None:
        """Remove a job's files."""
        with self._lock:
            self._states.pop(number, None)
        shutil.rmtree(self._folder / str(number), ignore_errors=True)

    def plane_of(self, job: Job) -> Plane | None:
        """The local plane of a job's review, None while there is none."""
        try:
            found = json.loads(self.read_file(job, "job.json"))
        except UnknownError:
            return None
        return Plane(found["lat0"], found["lon0"])

    def close(self) -> None:
        """Begin no other review, and leave the one under way: it can be computed again."""
        self._is_closed = True

    def _read(self, job: Job, path: str, name: str) -> bytes:
        """Read a file of the newest review that was made with the job's settings."""
        file = self._folder / str(job.number) / path
        if _without_count(self._read_stamp(job)) != _stamp(job) or not file.is_file():
            raise UnknownError(f"job {job.number} has no review with {name} yet")
        return file.read_bytes()

    def _read_stamp(self, job: Job) -> dict[str, Any]:
        """What the files were made of; empty where there are none."""
        file = self._folder / str(job.number) / STAMP
        try:
            found = json.loads(file.read_bytes())
        except (OSError, ValueError):
            return {}
        return dict(found) if isinstance(found, dict) else {}

    def _source_of(self, job: Job) -> dict[str, Any]:
        """What a review made now would be made of."""
        try:
            connection = open_reader(self._database)
        except ServiceError:
            return _stamp(job)
        try:
            return {**_stamp(job), COUNT: count_messages(connection, job.span)}
        except ServiceError:
            return _stamp(job)
        finally:
            connection.close()

    def _work(self) -> None:
        """The worker: one review after the other."""
        while not self._is_closed:
            self._compute(self._queue.get())
            trim_memory()

    def _compute(self, number: int) -> None:
        """Load, review, write."""
        source: dict[str, Any] = {}
        try:
            connection = open_reader(self._database)
            try:
                job = find_job(connection, number)
                source = self._source_of(job)
                job_log = load_job_log(connection, job.span)
            finally:
                connection.close()
            self._write(job, job_log, source)
            self._on_ready(number)
            self._note(number, ReviewState("ready", 1.0))
        # Whatever one job does, those behind it are reviewed.
        except Exception as error:
            is_foreseen = isinstance(error, ServiceError | ValueError | OSError | ArithmeticError)
            log.error("the review of job %d failed: %s", number, error, exc_info=None if is_foreseen else error)
            self._failed[number] = source
            self._note(number, ReviewState("failed", problem=str(error)))

    def _write(self, job: Job, job_log: JobLog, source: dict[str, Any]) -> None:
        """Review a job and write its files, the stamp last."""
        # Here, so that the service answers sooner after its start.
        from server.exports.view import view_files
        from server.review import meter_job, review_job

        setup, folder = job.setup, self._folder / str(job.number)
        result = review_job(job_log, setup, report=lambda what, share: self._tell(job.number, what, share))
        _, curve, intervals = meter_job(job_log, setup)
        write_files(result_files(result, setup, job_log.digest), folder)
        views = view_files(result, setup, curve, intervals)
        write_files({f"{name}.json.gz": content for name, content in views.items()}, folder / "view")
        write_files({STAMP: json.dumps(source).encode()}, folder)

    def _tell(self, number: int, what: str, share: float) -> None:
        self._note(number, ReviewState("pending", share, what))

    def _note(self, number: int, state: ReviewState) -> None:
        with self._lock:
            self._states[number] = state
        self._on_change()


def _without_count(stamp: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in stamp.items() if name != COUNT}


def _stamp(job: Job) -> dict[str, Any]:
    """What a review depends on besides the raw log."""
    span = job.span
    return {
        "software": software_name(),
        "files": list(NAMES),
        "views": VIEWS,
        "setup": digest_setup(job.setup),
        "revision": job.revision,
        "span": [span.rig, list(span.start or ()), list(span.end or ())],
    }
