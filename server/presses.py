"""Which buttons go with the state that a job is in: of two that are pressed at once, the later one meets the state that
the first one left."""

from server.errors import ConflictError
from server.store.jobs import Job

AGAIN = {("running", "start"): "already running", ("paused", "pause"): "already paused"}


def require_state(job: Job, kind: str) -> None:
    """See that a button goes with the job's state; raises ConflictError in words for who pressed it."""
    if job.state == "finished" and kind != "note":
        raise ConflictError(f"job {job.number} is already finished")
    if job.state == "idle" and kind != "start":
        raise ConflictError(f"job {job.number} has not begun: press start")
    if (job.state, kind) in AGAIN:
        raise ConflictError(AGAIN[job.state, kind])


def require_free(open_job: Job | None, job: Job | None = None) -> None:
    """See that no other job is open than the one that is to run; raises ConflictError."""
    if open_job is not None and (job is None or open_job.number != job.number):
        raise ConflictError(f"job {open_job.number} is still open: go on with it, or finish it first")


def require_closed(open_job: Job | None, number: int) -> None:
    """See that the job that is to be forgotten is not the open one; raises ConflictError."""
    if open_job is not None and open_job.number == number:
        raise ConflictError(f"job {number} is still open: finish it first")
