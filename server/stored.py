"""The open job's stored messages, folded into a picture beside the live one."""

import asyncio
import logging
import time
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from itertools import islice
from pathlib import Path

from rig import wire
from server.errors import LogError, StoreError
from server.intake import Fresh
from server.live import Live
from server.store.connection import open_reader
from server.store.joblog import iterate_messages
from server.store.jobs import Job

log = logging.getLogger(__name__)
CHUNK = 100


async def fold_stored(
    rebuilt: Live, database: Path, job: Job, *, now: Callable[[], float], is_wanted: Callable[[], bool]
) -> None:
    """Fold the stored part of a job into a picture, as long as it is wanted."""
    shift = now() - time.time()
    with ThreadPoolExecutor(1) as reader:
        stored = await asyncio.wrap_future(reader.submit(_open_stored, database, job))
        while chunk := await asyncio.wrap_future(reader.submit(_read_chunk, stored)):
            if not is_wanted():
                break
            for message, received in chunk:
                rebuilt.take(Fresh(job.rig, message, received + shift, received), is_stored=True)
        reader.submit(stored.close)


def _open_stored(database: Path, job: Job) -> Generator[tuple[wire.Data, float], None, None]:
    """The open job's messages as they are stored now, on a connection of their own."""
    try:
        with closing(open_reader(database)) as connection:
            yield from iterate_messages(connection, job.span)
    except (LogError, StoreError) as error:
        log.warning("job %d could not be read from the store: %s", job.number, error)


def _read_chunk(stored: Iterator[tuple[wire.Data, float]]) -> list[tuple[wire.Data, float]]:
    """A few of them."""
    return list(islice(stored, CHUNK))
