"""A lawn of the tests' own invention: two sites, four products, the shipped rules, and ways to ask of a day."""

from dataclasses import replace

from server.core.day import minute_of
from server.core.entered import Stated
from server.core.journal import Book, read_deeds
from server.core.productcard import ProductCard
from server.core.season import judge_season
from server.core.shippedrules import SHIPPED
from server.core.sitecard import SiteCard, ZoneCard
from server.core.treatmentcard import Dose, TreatmentCard
from server.core.workcard import WorkCard

SQUARE = ((0.0, 50.0), (0.001, 50.0), (0.001, 50.001), (0.0, 50.001), (0.0, 50.0))
SITES = {
    1: SiteCard("Mill Lane", zones=(ZoneCard("Front", rings=(SQUARE,)), ZoneCard("Back", rings=(SQUARE,)))),
    2: SiteCard("Hill Top"),
}
BARRIER, CONDITIONER, LEAF, FEED = 1, 2, 3, 4
PRODUCTS = {
    BARRIER: ProductCard(
        "Barrier", Stated(4.0, "pt/acre"), sort="pre_emergent", action="soil", watering="must", water_within_h=48.0,
        water_depth=Stated(0.25, "in"), interval_days=40.0, season_times=2.0, season_most=Stated(6.0, "pt/acre"),
        re_entry_h=12.0,
    ),
    CONDITIONER: ProductCard("Loosener", Stated(9.0, "fl oz/1000 ft2"), sort="conditioner", action="soil"),
    LEAF: ProductCard("Leafway", Stated(3.0, "pt/acre"), sort="weed_control", action="foliar", watering="must_not"),
    FEED: ProductCard("Feed", Stated(3.0, "fl oz/1000 ft2"), sort="fertilizer", action="either"),
}  # fmt: skip
RULES = dict(enumerate(SHIPPED.values(), start=1))


def make_book(*works: WorkCard, plans: tuple[TreatmentCard, ...] = (), rules=RULES, products=PRODUCTS) -> Book:
    """A book of these works, numbered from 1."""
    return Book(
        works=dict(enumerate(works, start=1)),
        products=products,
        treatments=dict(enumerate(plans, start=1)),
        sites=SITES,
        rules=rules,
    )


def spray(product: int, day: str, time: str = "", *, site: int | None = 1, **more) -> WorkCard:
    """A treatment with one product."""
    return WorkCard(day, "treatment", site=site, time=time, products=(product,), **more)


def plan(product: int, day: str, *, site: int = 1, rate: Stated | None = None, **more) -> TreatmentCard:
    """A treatment that is planned."""
    return TreatmentCard(
        f"Plan of {PRODUCTS[product].name}",
        site,
        Stated(1.0, "gal/1000 ft2"),
        doses=(Dose(product, rate or PRODUCTS[product].rate_most),),
        planned_on=day,
        **more,
    )


def soil(day: str, value: float, unit: str = "°F", **more) -> WorkCard:
    """A reading of the soil's temperature."""
    return WorkCard(day, "soil_temperature", site=1, temperature=Stated(value, unit), **more)


def ask(book: Book, day: str, time: str = "12:00", *, kind: str | None = None):
    """The matters of a moment, of one kind or of all."""
    return [each for each in judge_season(book, minute_of(day, time)) if kind is None or each.kind == kind]


def tell(book: Book, day: str, time: str = "12:00", *, kind: str | None = None):
    """Their states and sentences."""
    return [(each.state, each.sentence) for each in ask(book, day, time, kind=kind)]


def deeds(book: Book, day: str, time: str = "12:00"):
    """What is done and what is planned at a moment."""
    return read_deeds(book, minute_of(day, time))


def without(*keys: str, **changed):
    """The shipped rules less some, some of them changed."""
    return {
        number: replace(rule, **changed.get(rule.shipped.replace("-", "_"), {}))
        for number, rule in RULES.items()
        if rule.shipped not in keys
    }
