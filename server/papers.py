"""The papers of jobs as people work with them: cards chosen by number or name, settings from them, what is next."""

from dataclasses import dataclass, fields, replace
from typing import Any, ClassVar

from server.access import Access
from server.cards import Card, Cards, Kind, mapping_from_record, record_from_mapping
from server.core.assembly import Sheets, assemble_setup, check_site
from server.core.entered import Stated
from server.core.errors import EntryError, SetupError
from server.core.papers import Papers, Reference
from server.core.setup import Setup
from server.errors import RequestError, ServiceError, UnknownError
from server.jobs import NO_BASIS, Basis
from server.kinds import PERSON, PRODUCT, SITE, SPRAYER, TREATMENT
from server.store import papers as folder

Named = int | str | Reference
"""A card by its number, by its name, or in a version."""
KINDS: dict[str, Kind[Any]] = {
    "site": SITE, "sprayer": SPRAYER, "treatment": TREATMENT, "operator": PERSON, "customer": PERSON,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Choice:
    """What a job is to rest on, as a person says it; what follows from it (the treatment's site) may be left out."""

    site: Named | None = None
    zones: tuple[str, ...] = ()
    sprayer: Named | None = None
    treatment: Named | None = None
    operator: Named | None = None
    customer: Named | None = None
    fill: Stated | None = None
    __pydantic_config__: ClassVar[dict[str, Any]] = {"extra": "forbid"}


@dataclass(frozen=True, slots=True)
class Swap:
    """Another sprayer to go on with."""

    sprayer: Named
    __pydantic_config__: ClassVar[dict[str, Any]] = {"extra": "forbid"}


class Paperwork:
    """Finds the cards that a job rests on, and puts its settings together from them."""

    def __init__(self, access: Access, cards: Cards) -> None:
        self._access = access
        self._cards = cards
        self.fault: str | None = None

    async def resolve(self, choice: Choice, before: Papers | None = None) -> Papers:
        """The papers of a choice, in the newest versions or those that the job rests on; raises RequestError."""
        before = before or Papers()
        treatment = await self._find("treatment", choice.treatment, before)
        plan = None if treatment is None else treatment.record
        site = await self._find("site", choice.site or (None if plan is None else plan.site), before)
        if plan is not None and site is not None and plan.site != site.number:
            own = await self._cards.find(SITE, plan.site)
            check_site(plan, site_number=site.number, site_name=site.record.name, own_name=own.record.name)
        sprayer = await self._find("sprayer", choice.sprayer or (None if plan is None else plan.sprayer), before)
        customer = choice.customer or (None if site is None else site.record.customer)
        return Papers(
            site=_refer(site),
            zones=choice.zones,
            sprayer=_refer(sprayer),
            treatment=_refer(treatment),
            products=await self._list_products(treatment, before),
            operator=_refer(await self._find("operator", choice.operator, before)),
            customer=_refer(await self._find("customer", customer, before)),
            part_of=before.part_of,
            fill=choice.fill,
        )

    async def assemble(self, base: Setup, papers: Papers) -> Setup:
        """Settings with what the papers say in them; raises RequestError in one line."""

        async def read(kind: Kind[Any], at: Reference | None) -> Any:
            return None if at is None else (await self._cards.find(kind, at.number, at.version)).record

        sheets = Sheets(
            site=await read(SITE, papers.site),
            zones=papers.zones,
            sprayer=await read(SPRAYER, papers.sprayer),
            treatment=await read(TREATMENT, papers.treatment),
            products=tuple([(await self._cards.find(PRODUCT, at.number, at.version)).record for at in papers.products]),
            fill=papers.fill,
        )
        try:
            return assemble_setup(base, sheets)
        except (EntryError, SetupError) as error:
            raise RequestError(error.key, error.problem) from error

    async def prepare(self, base: Setup, choice: Choice) -> Basis:
        """What a new job with these papers starts from; raises RequestError."""
        papers = await self.resolve(choice)
        return Basis(await self.assemble(base, papers), mapping_from_record(papers))

    async def read_next(self) -> Choice:
        """What the next job is to rest on."""
        return record_from_mapping(Choice, await self._access.ask(folder.read_choice))

    async def choose_next(self, base: Setup, choice: Choice) -> Choice:
        """Keep what the next job is to rest on, by number; raises RequestError where no job could begin so."""
        found = {each.name: getattr(choice, each.name) for each in fields(choice)}
        for role in KINDS:
            card = await self._find(role, found[role], Papers())
            found[role] = None if card is None else card.number
        kept = Choice(**found)
        await self.prepare(base, kept)
        body = mapping_from_record(kept)
        await self._access.write(lambda connection: folder.save_choice(connection, body))
        self.fault = None
        return kept

    async def prepare_next(self, base: Setup, *, otherwise: str = "") -> Basis:
        """What the next job starts from; with words for it, settings alone where its papers are of no use."""
        choice = await self.read_next()
        self.fault = None
        if choice == Choice():
            return NO_BASIS
        try:
            return await self.prepare(base, choice)
        except ServiceError as error:
            if not otherwise:
                raise
            self.fault = f"{otherwise}: {error}."
            return NO_BASIS

    async def swap(self, job: int, sprayer: Named) -> Papers:
        """A job's papers with another sprayer, as a later part of it; raises RequestError."""
        before = await self._cards.papers(job)
        card = await self._find("sprayer", sprayer, Papers())
        if before.sprayer is not None and card is not None and before.sprayer.number == card.number:
            raise RequestError("sprayer", f"{card.record.name} is the one in use: choose another")
        return replace(before, sprayer=_refer(card), part_of=before.part_of or job, fill=None)

    async def list_parts(self) -> dict[int, int]:
        """Of each job that is a later part of another the number of that first one."""
        return await self._access.ask(folder.list_parts)

    async def tell(self, papers: Papers) -> dict[str, Any]:
        """Papers with the names that their cards had."""
        found = mapping_from_record(papers)
        for role, kind in KINDS.items():
            if found[role] is not None:
                found[role]["name"] = await self._name(kind, found[role])
        for each in found["products"]:
            each["name"] = await self._name(PRODUCT, each)
        return found

    async def _name(self, kind: Kind[Any], at: dict[str, Any]) -> str:
        card: Card[Any] = await self._cards.find(kind, at["number"], at["version"])
        return str(card.record.name)

    async def _find(self, role: str, named: Named | None, before: Papers) -> Card[Any] | None:
        """A card as it is named; one that the job rests on already keeps its version. Raises RequestError."""
        if named is None:
            return None
        kind = KINDS[role]
        if isinstance(named, str):
            named = await self._number_of(role, kind, named)
        kept: Reference | None = getattr(before, role)
        if isinstance(named, int) and kept is not None and kept.number == named:
            named = kept
        try:
            if isinstance(named, Reference):
                return await self._cards.find(kind, named.number, named.version)
            card: Card[Any] = await self._cards.find(kind, named)
        except UnknownError as error:
            raise RequestError(role, str(error)) from error
        if card.is_retired:
            raise RequestError(role, f"{card.record.name} is put away: choose another")
        return card

    async def _number_of(self, role: str, kind: Kind[Any], name: str) -> int:
        cards = await self._cards.list_all(kind)
        found = [card.number for card in cards if card.record.name.casefold() == name.strip().casefold()]
        if len(found) != 1:
            problem = f"there is no {kind.name} {name!r}" if not found else f"{len(found)} are called {name!r}"
            raise RequestError(role, f"{problem}: give its number")
        return found[0]

    async def _list_products(self, treatment: Card[Any] | None, before: Papers) -> tuple[Reference, ...]:
        """The treatment's products, as they stand or as the job rests on them; raises RequestError."""
        if treatment is None:
            return ()
        if before.treatment == _refer(treatment):
            return before.products
        found = []
        for number in dict.fromkeys(dose.product for dose in treatment.record.doses):
            card = await self._cards.find(PRODUCT, number)
            if card.is_retired:
                raise RequestError("treatment", f"{card.record.name} of {treatment.record.name} is put away")
            found.append(Reference(card.number, card.version))
        return tuple(found)


def _refer(card: Card[Any] | None) -> Reference | None:
    return None if card is None else Reference(card.number, card.version)


def choice_from(found: dict[str, Any], within: str = "") -> Choice:
    """A choice from plain values, strictly; raises RequestError that names the field."""
    try:
        return record_from_mapping(Choice, found)
    except RequestError as error:
        raise RequestError(f"{within}.{error.key}" if within else error.key, error.problem) from error
