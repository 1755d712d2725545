"""Sprayers' calibrations as people work with them: looked at while under way, kept, put to use, due again."""

import asyncio
import json
import time
from collections.abc import Awaitable, Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from functools import partial
from typing import Any

from server.access import Access
from server.cards import Card, Cards, mapping_from_record, record_from_mapping
from server.catches import fill_in_runs
from server.checkwork import WAYS, apply_found, tell_check, tell_drift
from server.core.checkcard import CatchEntry
from server.core.due import Due, Use, judge_due
from server.core.sprayercard import SprayerCard
from server.errors import ConflictError, RequestError, UnknownError
from server.kinds import SPRAYER
from server.reviews import Reviews
from server.snapshot import known
from server.store import checks as shelf
from server.store import papers as folder
from server.store.checks import Check
from server.store.jobs import Job, list_jobs

DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Standing:
    """How a sprayer's calibration stands: whether it is due, the last one that counts, litres since."""

    due: Due
    last_utc: float | None
    use: Use


class Checks:
    """Reckons sprayers' checks and keeps their record."""

    def __init__(
        self, access: Access, cards: Cards, reviews: Reviews, *, flush: Callable[[], Awaitable[None]],
        wall: Callable[[], float] = time.time,
    ) -> None:  # fmt: skip
        self._access = access
        self._cards = cards
        self._reviews = reviews
        self._flush = flush
        self._wall = wall

    async def look(self, sprayer: int, way: str, entries: dict[str, Any]) -> dict[str, Any]:
        """What a check comes to so far; nothing is kept. Raises RequestError where an entry cannot be meant."""
        return (await self._reckon(await self._cards.find(SPRAYER, sprayer), way, entries)).found

    async def keep(self, sprayer: int, way: str, entries: dict[str, Any]) -> Check:
        """Reckon a check and put it on record, refused or not."""
        made = await self._reckon(await self._cards.find(SPRAYER, sprayer), way, entries)
        return await self._access.write(lambda connection: shelf.add_check(connection, made))

    async def list_all(self, sprayer: int) -> list[Check]:
        """A sprayer's checks, the newest first; raises UnknownError without such a sprayer."""
        await self._cards.find(SPRAYER, sprayer)
        return await self._access.ask(lambda connection: shelf.list_checks(connection, sprayer))

    async def apply(self, sprayer: int, number: int) -> tuple[Check, list[dict[str, Any]]]:
        """Write a check's figures into the sprayer's card as a new version; tells what that changed."""
        check = await self._access.ask(lambda connection: shelf.find_check(connection, sprayer, number))
        if not check.found["is_usable"]:
            raise ConflictError(f"check {number} was refused: {check.found['refusal']}")
        card = await self._cards.find(SPRAYER, sprayer)
        try:
            record = apply_found(card.record, check.way, check.entries)
        except ValueError as error:
            raise ConflictError(f"check {number} cannot be put to use: {error}") from error
        made = await self._cards.revise(SPRAYER, sprayer, record, version=card.version)
        await self._access.write(lambda connection: shelf.note_used(connection, number, made.version))
        check = await self._access.ask(lambda connection: shelf.find_check(connection, sprayer, number))
        return check, list_changes(card.record, made.record)

    async def stand(self, sprayer: int) -> Standing:
        """Whether a sprayer is to be calibrated again; raises UnknownError without such a sprayer."""
        card = await self._cards.find(SPRAYER, sprayer)
        checks = [check for check in await self.list_all(sprayer) if check.found["is_usable"]]
        last = None
        for check in checks:
            if await self._counts(check, card.record):
                last = check
                break
        jobs = await self._access.ask(lambda connection: _jobs_of(connection, sprayer))
        if last is None:
            return Standing(judge_due(card.record, Use(None)), None, Use(None))
        litres, unknown = await asyncio.to_thread(self._add_up, jobs, last.made_utc)
        days = max(0.0, (self._wall() - last.made_utc) / DAY_S)
        later = [check for check in checks if check.number > last.number]
        use = Use(days, litres, next((said for said in map(tell_drift, later) if said), ""), unknown)
        return Standing(judge_due(card.record, use), last.made_utc, use)

    async def tell_due(self, sprayer: int) -> dict[str, Any]:
        """The same as plain values."""
        found = await self.stand(sprayer)
        name = (await self._cards.find(SPRAYER, sprayer)).record.name
        return {
            "is_due": found.due.is_due,
            "by": list(found.due.by),
            "sentence": f"{name}: {found.due.sentence}.",
            "calibrated_utc": known(found.last_utc, 3),
            "litres_since": known(found.use.litres, 3),
            "unknown_jobs": found.use.unknown_jobs,
        }

    async def _reckon(self, card: Card[SprayerCard], way: str, entries: dict[str, Any]) -> Check:
        """A check with its runs counted and its figures."""
        if way not in WAYS:
            raise RequestError("way", f"{way!r} is none of {', '.join(WAYS)}")
        given: Any = record_from_mapping(WAYS[way], entries)
        if isinstance(given, CatchEntry):
            await self._flush()
            given = await self._access.ask(partial(fill_in_runs, given=given))
        earlier = await self._find_earlier(card.number, given)
        found = {**tell_check(given, card.record, earlier), "card_version": card.version}
        return Check(0, card.number, way, self._wall(), mapping_from_record(given), found)

    async def _counts(self, check: Check, card: SprayerCard) -> bool:
        """Whether a check is a catch that the card's pulses per litre are from, or that agreed with them."""
        if check.way != "catch" or (check.applied_version is None and check.found["agreement"] != "agree"):
            return False
        version = check.applied_version or check.found["card_version"]
        then = await self._cards.find(SPRAYER, check.sprayer, version)
        return then.record.pulses_per_l == card.pulses_per_l

    async def _find_earlier(self, sprayer: int, given: Any) -> tuple[float, str] | None:
        """Flow and day of the first catch on record with the same pump setting."""
        setting = getattr(given, "setting", "").strip()
        if not setting:
            return None
        checks = await self._access.ask(lambda connection: shelf.list_checks(connection, sprayer))
        same = [
            check for check in checks
            if check.way == "catch" and check.found["is_usable"] and check.entries["setting"].strip() == setting
        ]  # fmt: skip
        if not same:
            return None
        day = datetime.fromtimestamp(same[-1].made_utc, UTC).date().isoformat()
        return float(same[-1].found["flow_l_per_min"]), day

    def _add_up(self, jobs: list[Job], since_utc: float) -> tuple[float, int]:
        """Litres of the jobs since, and how many of them have no review that tells."""
        litres, unknown = 0.0, 0
        for job in jobs:
            if job.created_utc < since_utc:
                continue
            try:
                volume = json.loads(self._reviews.read_file(job, "job.json"))["volume_l"]
            except UnknownError:
                volume = None
            litres, unknown = litres + (volume or 0.0), unknown + (volume is None)
        return litres, unknown


def list_changes(before: SprayerCard, after: SprayerCard) -> list[dict[str, Any]]:
    """The fields that differ, with both values."""
    old, new = asdict(before), asdict(after)
    return [{"key": key, "before": old[key], "after": new[key]} for key in old if old[key] != new[key]]


def _jobs_of(connection: Any, sprayer: int) -> list[Job]:
    """The jobs that were done with a sprayer."""
    papers = folder.list_papers(connection)
    numbers = {job for job, found in papers.items() if (found.get("sprayer") or {}).get("number") == sprayer}
    return [job for job in list_jobs(connection) if job.number in numbers]
