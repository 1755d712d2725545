"""Treatments with the cards that they name, and what the journal says was applied before."""

from math import nan

from server.cards import Card, Cards
from server.core.calendarcard import CalendarCard
from server.core.entered import Stated, in_si
from server.core.productcard import ProductCard
from server.core.recipe import Ingredient, Plan
from server.core.seasoncheck import Application
from server.core.treatmentcard import TreatmentCard
from server.core.workcard import WorkCard
from server.errors import RequestError, UnknownError
from server.kinds import CALENDAR, PRODUCT, SITE, SPRAYER, TREATMENT, WORK


async def draw_plan(
    cards: Cards, treatment: TreatmentCard, *, day: str, sprayer: int | None = None, number: int | None = None
) -> Plan:
    """A treatment with its cards as they stand; raises RequestError where it names one that there is not."""
    parts = []
    for place, dose in enumerate(treatment.doses):
        try:
            product = await cards.find(PRODUCT, dose.product)
        except UnknownError as error:
            raise RequestError(f"doses.{place}.product", str(error)) from error
        parts.append(Ingredient(dose.product, product.record, dose.rate))
    chosen = treatment.sprayer if sprayer is None else sprayer
    try:
        site = await cards.find(SITE, treatment.site)
    except UnknownError as error:
        raise RequestError("site", str(error)) from error
    try:
        machine = None if chosen is None else (await cards.find(SPRAYER, chosen)).record
    except UnknownError as error:
        raise RequestError("sprayer", str(error)) from error
    calendar = next((card.record for card in await cards.list_all(CALENDAR)), CalendarCard())
    return Plan(treatment, tuple(parts), site.record, machine, day, number, calendar.year_begins)


async def list_applications(cards: Cards, plan: Plan, *, today: str) -> list[Application]:
    """What was applied on the site by today, but for this very treatment on its own day; later lines are plans."""
    works = [card.record for card in await cards.list_all(WORK)]
    done = [work for work in works if work.kind == "treatment" and work.site in (None, plan.treatment.site)]
    done = [work for work in done if work.day <= today]
    done = [work for work in done if plan.number is None or (work.treatment, work.day) != (plan.number, plan.day)]
    if not done:
        return []
    products = {card.number: card for card in await cards.list_all(PRODUCT, is_retired=None)}
    treatments = {card.number: card.record for card in await cards.list_all(TREATMENT, is_retired=None)}
    found: list[Application] = []
    for work in done:
        planned = None if work.treatment is None else treatments.get(work.treatment)
        found += _applications_of(work, planned, products)
    return found


def _applications_of(
    work: WorkCard, planned: TreatmentCard | None, products: dict[int, Card[ProductCard]]
) -> list[Application]:
    """A line of the journal as applications: rates as measured, else as planned, else not known."""
    rates: dict[int, Stated | None] = dict.fromkeys(work.products)
    if planned is not None and not work.products:
        rates = dict.fromkeys(dose.product for dose in planned.doses)
    if planned is not None:
        rates |= {dose.product: dose.rate for dose in planned.doses if dose.product in rates}
    rates |= {each.product: each.rate for each in work.applied}
    target = nan if planned is None else in_si(planned.target, measures="carrier rate")
    return [
        Application(work.day, work.zones, number, products[number].record, rate, target)
        for number, rate in rates.items()
        if number in products
    ]
