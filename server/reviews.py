"""Reviews of the store's jobs: computed off the event loop, one at a time, kept as files until something changes."""

import json
import logging
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.core.flow import find_spraying, gather_volume
from server.core.tables import digest_setup
from server.core.timebase import align_boots
from server.errors import ServiceError, UnknownError
from server.exports.files import result_files, software_name, write_files
from server.exports.view import view_files
from server.review import review_job
from server.store.connection import open_reader
from server.store.joblog import load_job_log
from server.store.jobs import Job, find_job

log = logging.getLogger(__name__)
STAMP = "stamp.json"


@dataclass(frozen=True, slots=True)
class ReviewState:
    """How a job's review stands: "none", "pending", "ready" or "failed"."""

    state: str
    progress: float = 0.0
    doing: str = ""
    problem: str = ""


class Reviews:
    """Computes reviews in a thread of its own and keeps their files beside the database."""

    def __init__(self, database: Path, *, on_change: Callable[[], None] = lambda: None) -> None:
        self._database = database
        self._folder = database.with_suffix(".reviews")
        self._states: dict[int, ReviewState] = {}
        self._lock = threading.Lock()
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="review")
        self._on_change = on_change

    def state_of(self, job: Job) -> ReviewState:
        """How the job's review stands."""
        with self._lock:
            known = self._states.get(job.number)
        if known is not None and known.state in ("pending", "failed"):
            return known
        return ReviewState("ready", 1.0) if self._is_fresh(job) else ReviewState("none")

    def request(self, job: Job, *, anew: bool = False) -> ReviewState:
        """Begin a review unless there is a fresh one or one is under way."""
        state = self.state_of(job)
        if state.state == "pending" or (state.state == "ready" and not anew):
            return state
        pending = ReviewState("pending", 0.0, "waiting")
        self._note(job.number, pending)
        self._worker.submit(self._compute, job.number)
        return pending

    def read_file(self, job: Job, name: str) -> bytes:
        """A results file's bytes; raises UnknownError where there is none."""
        return self._read(job, name)

    def read_view(self, job: Job, name: str) -> bytes:
        """A view's bytes for the dashboard; raises UnknownError where there is none."""
        return self._read(job, f"view/{name}.json")

    def close(self) -> None:
        """Let a review under way end, begin no other."""
        self._worker.shutdown(wait=False, cancel_futures=True)

    def _read(self, job: Job, name: str) -> bytes:
        path = self._folder / str(job.number) / name
        if not self._is_fresh(job) or not path.is_file():
            raise UnknownError(f"job {job.number} has no review with {name} yet")
        return path.read_bytes()

    def _is_fresh(self, job: Job) -> bool:
        """Whether the files were made of the job as it is now."""
        stamp = self._folder / str(job.number) / STAMP
        return stamp.is_file() and json.loads(stamp.read_bytes()) == _stamp(job)

    def _compute(self, number: int) -> None:
        """Load, review, write; runs on the worker."""
        try:
            connection = open_reader(self._database)
            try:
                job = find_job(connection, number)
                job_log = load_job_log(connection, job.span)
            finally:
                connection.close()
            result = review_job(job_log, job.setup, report=lambda what, share: self._tell(number, what, share))
            setup = job.setup
            timebase = align_boots(job_log, latency_s=setup.receiver.latency_s)
            curve = gather_volume(job_log.flow, timebase, meter=setup.flow_meter, delay_s=setup.sprayer.delay_s)
            folder = self._folder / str(number)
            write_files(result_files(result, setup, job_log.digest), folder)
            views = view_files(result, setup, curve, find_spraying(curve))
            write_files({f"{name}.json": content for name, content in views.items()}, folder / "view")
            write_files({STAMP: json.dumps(_stamp(job)).encode()}, folder)
            self._note(number, ReviewState("ready", 1.0))
        except (ServiceError, ValueError, OSError, ArithmeticError) as error:
            log.error("the review of job %d failed: %s", number, error)
            self._note(number, ReviewState("failed", problem=str(error)))

    def _tell(self, number: int, what: str, share: float) -> None:
        self._note(number, ReviewState("pending", share, what))

    def _note(self, number: int, state: ReviewState) -> None:
        with self._lock:
            self._states[number] = state
        self._on_change()


def _stamp(job: Job) -> dict[str, Any]:
    """What a review depends on besides the raw log."""
    span = job.span
    return {
        "software": software_name(),
        "setup": digest_setup(job.setup),
        "revision": job.revision,
        "span": [span.rig, list(span.start or ()), list(span.end or ())],
    }
