"""Work beside the rest on the event loop."""

import asyncio
import logging
from collections.abc import Coroutine
from typing import Any

log = logging.getLogger(__name__)


def begin_task(work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
    """Begin something that runs beside the rest; should it fail, the log says so at once."""

    def report(task: asyncio.Task[None]) -> None:
        if not task.cancelled() and (error := task.exception()) is not None:
            log.error("a part of the service has failed: start it again", exc_info=error)

    task = asyncio.create_task(work)
    task.add_done_callback(report)
    return task
