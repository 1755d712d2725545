"""What is kept on paper about the work: cards, jobs' papers, records, the journal and the season, fills, checks."""

import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from server.cards import Cards
from server.checks import Checks
from server.ingest import Ingest
from server.journal import Journal
from server.papers import Paperwork
from server.records import Records
from server.reviews import Reviews
from server.season import Season
from server.store.jobs import Job
from server.tanks import Tanks

Press = Callable[[Job, str, dict[str, Any]], Awaitable[Job]]
"""Presses a button of a job."""


class Office:
    """The books that lie beside the raw log; each asks on readers of its own and writes through ingest's one writer."""

    def __init__(
        self, database: Path, ingest: Ingest, reviews: Reviews, *, press: Press, flush: Callable[[], Awaitable[None]],
        wall: Callable[[], float] = time.time,
    ) -> None:  # fmt: skip
        self.cards = Cards(database, ingest, wall=wall)
        self.paperwork = Paperwork(database, ingest, self.cards)
        self.records = Records(database, ingest, reviews, wall=wall)
        self.journal = Journal(self.cards, ingest, reviews, wall=wall)
        self.season = Season(self.cards, ingest, self.journal, wall=wall)
        self.tanks = Tanks(database, ingest, press=press, wall=wall)
        self.checks = Checks(database, ingest, self.cards, reviews, flush=flush, wall=wall)
