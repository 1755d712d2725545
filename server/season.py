"""The season as the service tells it: the cards read together, the rules kept, today by the lawn's own clock."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from server.access import Access
from server.cards import Card, Cards, mapping_from_record
from server.core.calendarcard import CalendarCard
from server.core.day import minute_of
from server.core.errors import EntryError
from server.core.journal import Book, read_deeds
from server.core.rulecard import RuleCard
from server.core.season import judge_season
from server.core.sequence import Step, propose_order
from server.core.shippedrules import SHIPPED
from server.core.workcard import WorkCard
from server.errors import RequestError
from server.history.zone import read_zone
from server.journal import Journal, tell_local
from server.kinds import CALENDAR, PRODUCT, RULE, SITE, TREATMENT, WORK
from server.store import cards as shelf


@dataclass(frozen=True, slots=True)
class Today:
    """The day that is asked about, and its minute now."""

    day: str
    time: str
    zone: str

    @property
    def minute(self) -> int:
        """Minutes since 1970, local."""
        return minute_of(self.day, self.time)


class Season:
    """What is due, from the book of cards; rules are put there at first use."""

    def __init__(self, access: Access, cards: Cards, journal: Journal, *, wall: Callable[[], float]) -> None:
        self._access = access
        self._cards = cards
        self._journal = journal
        self._wall = wall
        self._is_stocked = False

    async def stock_rules(self) -> None:
        """Put the shipped rules into the store, each once ever: one that was put away does not come back by itself."""
        if not self._is_stocked:
            utc = self._wall()
            await self._access.write(lambda connection: _stock(connection, utc))
            self._is_stocked = True

    async def restore_rule(self, number: int, version: int) -> Card[RuleCard]:
        """Give a rule its shipped text again, also one that was put away; raises RequestError where it has none."""
        card = await self._cards.find(RULE, number)
        if card.record.shipped not in SHIPPED:
            raise RequestError("number", f"rule {number} is your own: there is no shipped text of it")
        return await self._cards.revise(RULE, number, SHIPPED[card.record.shipped], version=version)

    def now_utc(self) -> float:
        """The service's own clock."""
        return self._wall()

    async def calendar(self) -> CalendarCard:
        """How days are counted."""
        return await self._journal.calendar()

    async def save_calendar(self, record: CalendarCard) -> CalendarCard:
        """Keep how days are counted; raises RequestError where the zone is not known."""
        if record.zone:
            read_zone(record.zone)
        found = await self._cards.list_all(CALENDAR)
        if not found:
            return (await self._cards.add(CALENDAR, record)).record
        if found[0].record == record:
            return record
        return (await self._cards.revise(CALENDAR, found[0].number, record, version=found[0].version)).record

    async def find_today(self, day: str | None, time: str | None) -> Today:
        """Now by the lawn's clock, or the day and time that were asked for; raises RequestError."""
        zone = (await self.calendar()).zone
        now = tell_local(self._wall(), zone)
        try:
            # The journal's own checks of a day and a time of day.
            asked = WorkCard(day or now[0], "note", time=time or "")
        except EntryError as error:
            raise RequestError(error.key, error.problem) from error
        later = now[1] if asked.day == now[0] else "12:00"
        return Today(asked.day, asked.time or later, zone)

    async def read_book(self) -> Book:
        """All cards that the season is judged from; jobs of old rest on cards that were put away."""
        await self.stock_rules()
        works = await self._cards.list_all(WORK)
        rules = await self._cards.list_all(RULE)
        products = await self._cards.list_all(PRODUCT, is_retired=None)
        treatments = await self._cards.list_all(TREATMENT, is_retired=None)
        sites = await self._cards.list_all(SITE, is_retired=None)
        named = {card.record.site for card in works} | {card.record.site for card in treatments if not card.is_retired}
        return Book(
            works=_by_number(works),
            products=_by_number(products),
            treatments=_by_number(treatments),
            sites={card.number: card.record for card in sites if not card.is_retired or card.number in named},
            rules=_by_number(rules),
            retired=frozenset(card.number for card in treatments if card.is_retired),
            year_begins=(await self.calendar()).year_begins,
        )

    async def order(self, today: Today, site: int | None) -> tuple[Step, ...]:
        """What is planned, of one site or of all, in an order that goes with the rules."""
        book = await self.read_book()
        _, planned = read_deeds(book, today.minute)
        return propose_order(book, tuple(deed for deed in planned if site is None or deed.site in (None, site)))


def tell_matters(book: Book, today: Today, site: int | None = None) -> tuple[Any, ...]:
    """The matters of a day, of one site or of all."""
    found = judge_season(book, today.minute)
    return tuple(matter for matter in found if site is None or matter.site in (None, site))


def _stock(connection: Any, utc: float) -> None:
    known = {sheet.body.get("shipped") for sheet in shelf.list_cards(connection, RULE.name, is_retired=None)}
    for key, rule in SHIPPED.items():
        if key not in known:
            shelf.add_card(connection, RULE.name, mapping_from_record(rule), utc)


def _by_number(cards: list[Card[Any]]) -> dict[int, Any]:
    return {card.number: card.record for card in cards}
