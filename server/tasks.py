"""Work beside the rest: on the event loop, and in programs of its own."""

import asyncio
import logging
import os
import sys
from collections.abc import Coroutine
from typing import Any

from server.errors import JudgingError

log = logging.getLogger(__name__)
PROGRAM = (sys.executable, "-m", "server")
"""This program, for a part of its work that is better done in a process of its own."""


def begin_task(work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
    """Begin something that runs beside the rest; should it fail, the log says so at once."""

    def report(task: asyncio.Task[None]) -> None:
        if not task.cancelled() and (error := task.exception()) is not None:
            log.error("a part of the service has failed: start it again", exc_info=error)

    task = asyncio.create_task(work)
    task.add_done_callback(report)
    return task


async def begin_program(*words: str, is_told: bool = False) -> asyncio.subprocess.Process:
    """Begin a program whose answer and complaints are read, in a session of its own and with one thread for sums."""
    heard = asyncio.subprocess.PIPE if is_told else asyncio.subprocess.DEVNULL
    return await asyncio.create_subprocess_exec(
        *words, stdin=heard, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
        start_new_session=True, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip


async def await_answer(child: asyncio.subprocess.Process, told: bytes | None = None) -> bytes:
    """What a program prints, having read what it is told; raises JudgingError with what it complained of."""
    answer, complaint = await child.communicate(told)
    if child.returncode:
        raise JudgingError(complaint.decode(errors="replace").strip() or f"ended with {child.returncode}")
    return answer
