"""What is kept on paper about the work: cards, papers, records, journal and season, fills, calibrations, checks."""

import time
from collections.abc import Awaitable, Callable
from pathlib import Path

from server.access import Access
from server.calibrations import Calibrations
from server.cards import Cards
from server.checks import Checks
from server.ingest import Ingest
from server.journal import Journal
from server.papers import Paperwork
from server.records import Records
from server.reviews import Reviews
from server.season import Season
from server.tanks import Press, Tanks


class Office:
    """The books that lie beside the raw log."""

    def __init__(
        self, database: Path, ingest: Ingest, reviews: Reviews, *, press: Press, flush: Callable[[], Awaitable[None]],
        wall: Callable[[], float] = time.time,
    ) -> None:  # fmt: skip
        access = Access(database, ingest)
        self.cards = Cards(access, wall=wall)
        self.paperwork = Paperwork(access, self.cards)
        self.records = Records(access, reviews, wall=wall)
        self.journal = Journal(access, self.cards, reviews, wall=wall)
        self.season = Season(access, self.cards, self.journal, wall=wall)
        self.tanks = Tanks(access, press=press, wall=wall)
        self.calibrations = Calibrations(access, flush=flush)
        self.checks = Checks(access, self.cards, reviews, flush=flush, wall=wall)
