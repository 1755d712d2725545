"""What a record is made of, gathered from the store: a job with its parts, its cards in their versions, its review."""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import isfinite
from typing import Any

from server.cards import Kind, Record, record_from_mapping
from server.core.measured import Measured
from server.core.papers import Papers, Reference
from server.core.record import Part, Sources
from server.core.recorditem import Value
from server.errors import RequestError, UnknownError
from server.history.zone import offset_at
from server.kinds import PERSON, PRODUCT, SITE, SPRAYER, TREATMENT
from server.store import records as shelf
from server.store.cards import find_card
from server.store.checks import list_checks
from server.store.jobs import Job, list_jobs
from server.store.papers import list_papers

ReadMeasured = Callable[[Job], Measured | None]
"""What was measured of a job, None where there is no review of it."""


@dataclass(frozen=True, slots=True)
class Folder:
    """A job with its parts, the first of them the one that the record is called after, and the first one's papers."""

    jobs: tuple[Job, ...]
    papers: tuple[Papers, ...]

    @property
    def number(self) -> int:
        """The number of the record: the first job's."""
        return self.jobs[0].number

    @property
    def is_finished(self) -> bool:
        """Whether all parts are finished."""
        return all(job.state == "finished" for job in self.jobs)


def list_folders(connection: Any) -> list[Folder]:
    """All jobs as records see them, parts under their first one, the newest first."""
    jobs = {job.number: job for job in list_jobs(connection)}
    papers = {number: record_from_mapping(Papers, found) for number, found in list_papers(connection).items()}
    heads: dict[int, list[int]] = {}
    for number in sorted(jobs):
        first = papers.get(number, Papers()).part_of
        # A part whose first job was forgotten stands for itself.
        heads.setdefault(first if first in jobs and first is not None else number, []).append(number)
    return [
        Folder(tuple(jobs[each] for each in parts), tuple(papers.get(each, Papers()) for each in parts))
        for parts in (sorted({head, *rest}) for head, rest in sorted(heads.items(), reverse=True))
    ]


def find_folder(connection: Any, number: int) -> Folder:
    """The job, or the one that it is a part of, with all parts; raises UnknownError."""
    for folder in list_folders(connection):
        if any(job.number == number for job in folder.jobs):
            return folder
    raise UnknownError(f"there is no job {number}")


def gather_sources(connection: Any, folder: Folder, read_measured: ReadMeasured, draft: shelf.Draft) -> Sources:
    """Everything that a record is built from."""
    papers = folder.papers[0]
    treatment = _find(connection, TREATMENT, papers.treatment)
    site = _find(connection, SITE, papers.site)
    customer = papers.customer
    if customer is None and site is not None and site.customer is not None:
        customer = Reference(site.customer, find_card(connection, PERSON.name, site.customer).version)
    parts = tuple(
        _gather_part(connection, job, own, read_measured)
        for job, own in zip(folder.jobs, folder.papers, strict=True)
    )  # fmt: skip
    sources = Sources(
        parts,
        site,
        papers.zones,
        treatment,
        {each.number: _read(connection, PRODUCT, each) for each in papers.products},
        _find(connection, PERSON, papers.operator),
        _find(connection, PERSON, customer),
        _name_cards(folder, customer),
        dict(draft.typed),
    )
    return replace(sources, offset_s=tell_offset(draft.zone, start_of(parts)))


def start_of(parts: tuple[Part, ...]) -> float | None:
    """When the work of the parts began, UTC; None where that is not known."""
    starts = [part.measured.start_utc for part in parts if part.measured and part.measured.start_utc is not None]
    return min(starts, default=None)


def tell_offset(zone: str, utc: float | None) -> float:
    """How far a zone's clocks are ahead of UTC at an instant, seconds; raises RequestError for a zone that is none."""
    return offset_at(zone, utc or 0.0) if zone else 0.0


def measured_from_bytes(content: bytes) -> Measured:
    """What was measured, from its file."""
    return record_from_mapping(Measured, json.loads(content))


def check_typed(found: Any) -> dict[str, Value]:
    """Typed values that JSON may hold: texts, finite numbers, or none to take one back; raises RequestError."""
    for key, value in found.items():
        is_number = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
        if value is not None and not isinstance(value, str) and not is_number:
            raise RequestError(key, "a text or a number is wanted")
    return dict(found)


def _gather_part(connection: Any, job: Job, papers: Papers, read_measured: ReadMeasured) -> Part:
    card, measured = _find(connection, SPRAYER, papers.sprayer), read_measured(job)
    since = ""
    if papers.sprayer is not None:
        since = _tell_calibration(connection, papers.sprayer, measured.start_utc if measured else None)
    return Part(job.number, job.name, measured, card, since)


def _tell_calibration(connection: Any, at: Reference, start_utc: float | None) -> str:
    """The catch that the sprayer's card rests on, or that agreed with it before the work; else the card's own day."""
    for check in list_checks(connection, at.number):
        is_used = check.applied_version is not None and check.applied_version <= at.version
        has_agreed = check.found.get("agreement") == "agree" and start_utc is not None and check.made_utc <= start_utc
        if check.way == "catch" and (is_used or has_agreed):
            return f"caught on {_day_of(check.made_utc)}; sprayer's card, version {at.version}"
    made = find_card(connection, SPRAYER.name, at.number, at.version).made_utc
    return f"no catch on record; sprayer's card, version {at.version} of {_day_of(made)}"


def _day_of(utc: float) -> str:
    return f"{datetime.fromtimestamp(utc, UTC):%Y-%m-%d}"


def _name_cards(folder: Folder, customer: Reference | None) -> tuple[str, ...]:
    """Which cards in which versions the record rests on."""
    papers = folder.papers[0]
    named = [
        ("site", papers.site), ("treatment", papers.treatment), *(("product", each) for each in papers.products),
        ("operator", papers.operator), ("customer", customer), *(("sprayer", own.sprayer) for own in folder.papers),
    ]  # fmt: skip
    return tuple(dict.fromkeys(f"{name} {each.number} version {each.version}" for name, each in named if each))


def _find(connection: Any, kind: Kind[Record], reference: Reference | None) -> Record | None:
    return None if reference is None else _read(connection, kind, reference)


def _read(connection: Any, kind: Kind[Record], reference: Reference) -> Record:
    sheet = find_card(connection, kind.name, reference.number, reference.version)
    return record_from_mapping(kind.record, sheet.body)
