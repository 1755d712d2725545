"""The wind of a long review, reckoned in a program of its own beside the map: where a core and memory are to spare.

Here or there, the figures are the same to the last bit.
"""

import logging
import os
import pickle
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from server.core.log import WindSamples
from server.core.results import Interval, Track, WindSeries
from server.core.setup import Anemometer, Treatment
from server.core.timebase import Timebase
from server.core.wind import estimate_wind

log = logging.getLogger(__name__)

LEAST_S = 600.0
"""A shorter wind is reckoned before another program has begun."""
LEAST_FREE_KIB = 256 * 1024
"""So much memory must be free: the other program takes about 50 MiB of it."""
PROGRAM = "from server.sidework import answer_question; answer_question()"


@dataclass(frozen=True, slots=True)
class WindQuestion:
    """All that a job's wind depends on."""

    wind: WindSamples
    track: Track
    timebase: Timebase
    anemometer: Anemometer
    treatment: Treatment
    intervals: tuple[Interval, ...]
    seed: tuple[int, ...]


def find_wind(question: WindQuestion) -> WindSeries:
    """The wind of a job."""
    return estimate_wind(
        question.wind,
        question.track,
        question.timebase,
        anemometer=question.anemometer,
        treatment=question.treatment,
        rng=np.random.default_rng(question.seed),
        intervals=question.intervals,
    )


class Sidework:
    """Asks for a job's wind and takes the answer later; begun early, since a program takes a moment to come up."""

    def __init__(self, *, is_wanted: bool) -> None:
        self._child: subprocess.Popen[bytes] | None = None
        self._question: WindQuestion | None = None
        if is_wanted:
            self._child = _begin_program()

    def __enter__(self) -> Self:
        """Nothing more."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """End the program, whether it was asked or not."""
        if self._child is not None:
            self._child.kill()
            # Closes the pipes and waits.
            with self._child:
                pass

    def ask(self, question: WindQuestion) -> None:
        """Hand the question over."""
        self._question = question
        if self._child is not None and self._child.stdin is not None:
            # One that has died is found out when the answer is taken.
            with suppress(BrokenPipeError):
                self._child.stdin.write(pickle.dumps(question, protocol=pickle.HIGHEST_PROTOCOL))
            with suppress(BrokenPipeError):
                self._child.stdin.close()

    def take(self) -> WindSeries:
        """The answer, reckoned here if nobody else did."""
        if self._question is None:
            raise ValueError("ask before you take")
        if self._child is not None and self._child.stdout is not None:
            answer = self._child.stdout.read()
            if self._child.wait() == 0:
                series: WindSeries = pickle.loads(answer)
                return series
            log.warning("the program beside the review ended with %s: reckoning the wind here", self._child.returncode)
        return find_wind(self._question)


def is_worth_it(duration_s: float) -> bool:
    """Whether a second program would make a review of so long a wind quicker, and has room."""
    return duration_s >= LEAST_S and len(os.sched_getaffinity(0)) > 1 and _free_kib() >= LEAST_FREE_KIB


def answer_question() -> None:
    """The other program: a question on standard input, the wind on standard output."""
    question: WindQuestion = pickle.load(sys.stdin.buffer)
    pickle.dump(find_wind(question), sys.stdout.buffer, protocol=pickle.HIGHEST_PROTOCOL)


def _begin_program() -> subprocess.Popen[bytes] | None:
    """Start the other program; None where the system will not."""
    path = os.pathsep.join(place for place in sys.path if place) or os.curdir
    try:
        return subprocess.Popen(
            [sys.executable, "-c", PROGRAM],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1"},
        )
    except OSError as error:
        log.warning("no program beside the review (%s): reckoning the wind here", error)
        return None


def _free_kib() -> int:
    """What the system says may be taken without swapping; 0 where it does not say."""
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0
    words = next((line.split() for line in lines if line.startswith("MemAvailable:")), ["", "0"])
    return int(words[1])
