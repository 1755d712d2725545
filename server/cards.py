"""Cards as the service works with them: read strictly, kept in versions through the one writer."""

import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter, ValidationError

from server.access import Access
from server.core.papers import Papers
from server.errors import RequestError
from server.store import cards as shelf
from server.store import papers as folder
from server.store.cards import Sheet

Record = TypeVar("Record")


@dataclass(frozen=True, slots=True)
class Card(Generic[Record]):
    """One version of a card, read."""

    number: int
    version: int
    made_utc: float
    is_retired: bool
    record: Record


@dataclass(frozen=True, slots=True)
class Kind(Generic[Record]):
    """A kind of card: its name in the store and its record."""

    name: str
    record: type[Record]


class Cards:
    """The book of cards."""

    def __init__(self, access: Access, *, wall: Callable[[], float] = time.time) -> None:
        self._access = access
        self._wall = wall

    async def list_all(self, kind: Kind[Record], *, is_retired: bool | None = False) -> list[Card[Record]]:
        """The cards of a kind by number, without those put away unless they are asked for."""
        sheets = await self._access.ask(
            lambda connection: shelf.list_cards(connection, kind.name, is_retired=is_retired)
        )
        return [_card(kind, sheet) for sheet in sheets]

    async def find(self, kind: Kind[Record], number: int, version: int | None = None) -> Card[Record]:
        """One card, in its newest version or the one asked for; raises UnknownError."""
        sheet = await self._access.ask(lambda connection: shelf.find_card(connection, kind.name, number, version))
        return _card(kind, sheet)

    async def list_versions(self, kind: Kind[Record], number: int) -> list[Card[Record]]:
        """All versions of a card; raises UnknownError."""
        sheets = await self._access.ask(lambda connection: shelf.list_versions(connection, kind.name, number))
        return [_card(kind, sheet) for sheet in sheets]

    async def add(self, kind: Kind[Record], record: Record) -> Card[Record]:
        """Keep a new card."""
        body, utc = mapping_from_record(record), self._wall()
        sheet = await self._access.write(lambda connection: shelf.add_card(connection, kind.name, body, utc))
        return _card(kind, sheet)

    async def revise(self, kind: Kind[Record], number: int, record: Record | None, *, version: int) -> Card[Record]:
        """Keep a card's next version, or put it away (None); raises ConflictError where another changed it."""
        body, utc = None if record is None else mapping_from_record(record), self._wall()
        sheet = await self._access.write(
            lambda connection: shelf.revise_card(connection, kind.name, number, body, utc, version=version)
        )
        return _card(kind, sheet)

    async def papers(self, job: int) -> Papers:
        """What a job rests on; empty papers where it has none."""
        found = await self._access.ask(lambda connection: folder.read_papers(connection, job))
        return Papers() if found is None else record_from_mapping(Papers, found)

    async def save_papers(self, job: int, papers: Papers) -> None:
        """Keep a job's papers."""
        body = mapping_from_record(papers)
        await self._access.write(lambda connection: folder.save_papers(connection, job, body))


def record_from_mapping(record: type[Record], found: Mapping[str, Any]) -> Record:
    """A record from plain values, strictly; raises RequestError that names the first field that is wrong."""
    wanted: Any = record
    try:
        made: Record = _adapter(wanted).validate_python(found)
    except ValidationError as error:
        key, line = explain_refusal(error.errors()[0])
        raise RequestError(key, line) from error
    return made


def mapping_from_record(record: Any) -> dict[str, Any]:
    """A record as plain values."""
    wanted: Any = type(record)
    return dict(_adapter(wanted).dump_python(record, mode="json"))


def explain_refusal(first: Any) -> tuple[str, str]:
    """The field that is wrong and what is wrong with it, from a validation's error."""
    cause = first.get("ctx", {}).get("error")
    where = [str(part) for part in first["loc"] if part not in ("body", "query", "path")]
    key = getattr(cause, "key", None)
    told = "must be filled in" if first["type"] == "missing" else str(first["msg"]).removeprefix("Value error, ")
    line = getattr(cause, "problem", None) or told
    return ".".join([*where, key] if key else where), line


@cache
def _adapter(record: Any) -> TypeAdapter[Any]:
    return TypeAdapter(record)


def _card(kind: Kind[Record], sheet: Sheet) -> Card[Record]:
    record = record_from_mapping(kind.record, sheet.body)
    return Card(sheet.number, sheet.version, sheet.made_utc, sheet.is_retired, record)


def view_card(card: Card[Any]) -> dict[str, Any]:
    """A card as the API gives it: its head, then its fields."""
    head = {
        "number": card.number, "version": card.version, "made_utc": round(card.made_utc, 3),
        "is_retired": card.is_retired,
    }  # fmt: skip
    return {**head, "card": asdict(card.record)}
