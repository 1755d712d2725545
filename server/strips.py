"""The verdicts on the open job's strips, judged anew after each pass by a program of its own.

A program, not a thread: smoothing an hour would keep the alarm waiting and double the service's memory for good. It
reads the store itself, runs behind everything else on the board, one at a time, and ends.
"""

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from server.core.geodesy import plane_from_degrees
from server.core.results import Plane
from server.errors import ServiceError
from server.tasks import PROGRAM, await_answer, begin_program, begin_task

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Question:
    """A job to judge, the plane of its live picture, and how many points that picture's way has."""

    job: int
    plane: Plane
    way_points: int


class Strips:
    """Keeps what is known of the open job's strips."""

    def __init__(
        self, database: Path, *, flush: Callable[[], Awaitable[None]], on_change: Callable[[], None],
        program: tuple[str, ...] = PROGRAM,
    ) -> None:  # fmt: skip
        self._database = database
        self._program = program
        self._flush = flush
        self._on_change = on_change
        self._wanted: Question | None = None
        self._task: asyncio.Task[None] | None = None
        self._child: asyncio.subprocess.Process | None = None
        self._round = 0
        self.told: dict[str, Any] | None = None
        self.fault: str | None = None

    def request(self, question: Question) -> None:
        """Judge once more, as soon as what is under way is done; of several questions the newest counts."""
        self._wanted = question
        if self._task is None or self._task.done():
            self._task = begin_task(self._work())

    def stop(self) -> None:
        """Judge nothing more; what was told stays."""
        self._wanted = None
        self._round += 1
        if self._child is not None and self._child.returncode is None:
            self._child.kill()

    def forget(self) -> None:
        """Begin anew, for another job or none."""
        self.stop()
        self.told = self.fault = None

    async def settle(self) -> None:
        """Wait until nothing is under way."""
        while self._task is not None and not self._task.done():
            await asyncio.wait([self._task])

    async def _work(self) -> None:
        """One question after the other."""
        while (question := self._wanted) is not None:
            self._wanted, this = None, self._round
            try:
                await self._flush()
                answer = await self._judge(question) if this == self._round else b""
                if this != self._round:
                    continue
                self.told, self.fault = _read_answer(answer, question), None
            except (ServiceError, OSError, ValueError) as error:
                if this != self._round:
                    continue
                if self.fault is None:
                    log.error("the strips of job %d could not be judged: %s", question.job, error)
                self.fault = f"The strips so far cannot be judged: {(str(error).splitlines() or ['?'])[-1]}"
            self._on_change()

    async def _judge(self, question: Question) -> bytes:
        """What the program says; raises JudgingError with what it complained of."""
        this = self._round
        command = ("strips", "--database", str(self._database), "--job", str(question.job))
        self._child = child = await begin_program(*self._program, *command)
        if this != self._round:
            child.kill()
        try:
            return await await_answer(child)
        finally:
            self._child = None


def _read_answer(answer: bytes, question: Question) -> dict[str, Any]:
    """The program's answer with its lines on the live picture's plane."""
    found: dict[str, Any] = json.loads(answer)
    origin = found.pop("plane")
    east, north = plane_from_degrees(origin["lat0_deg"], origin["lon0_deg"], plane=question.plane)
    shift = np.array([float(east), float(north)])
    if shift.any():
        for part in (*found["passes"], *found["pairs"]):
            part["line_m"] = np.round(np.array(part["line_m"]).reshape(-1, 2) + shift, 2).tolist()
    return {**found, "way_points": question.way_points}
