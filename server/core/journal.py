"""The journal as deeds: what was done or is planned, where, when and with what, for the rules of the season to read.

Times are local minutes since 1970 (`day`). A work without a time of day may have been at any of its day.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan

from server.core.day import DAY_MIN, minute_of
from server.core.entered import Stated, in_si
from server.core.productcard import ProductCard
from server.core.rulecard import RuleCard
from server.core.sitecard import SiteCard
from server.core.treatmentcard import TreatmentCard
from server.core.workcard import WorkCard

DONE_EARLY_DAYS = 7
"""A planned treatment counts as done where it was done so long before its day, or later (our choice)."""


@dataclass(frozen=True, slots=True)
class Book:
    """All that a season is judged from, each card by its number; plans are the treatments still offered."""

    works: Mapping[int, WorkCard] = field(default_factory=dict)
    products: Mapping[int, ProductCard] = field(default_factory=dict)
    treatments: Mapping[int, TreatmentCard] = field(default_factory=dict)
    sites: Mapping[int, SiteCard] = field(default_factory=dict)
    rules: Mapping[int, RuleCard] = field(default_factory=dict)
    retired: frozenset[int] = frozenset()
    year_begins: float = 1.0


@dataclass(frozen=True, slots=True)
class Deed:
    """One work, done or planned: `treatment` planned has the treatment's number as its own."""

    number: int
    kind: str
    name: str
    site: int | None
    zones: tuple[str, ...]
    tags: frozenset[str]
    earliest: int
    latest: int
    products: tuple[int, ...] = ()
    rates: tuple[tuple[int, Stated], ...] = ()
    treatment: int | None = None
    water_mm: float = nan
    temperature_c: float = nan
    depth_mm: float = nan
    is_mean: bool = False
    is_planned: bool = False
    is_treatment_card: bool = False

    @property
    def is_timed(self) -> bool:
        """Whether its time of day is known."""
        return self.earliest == self.latest

    @property
    def mark(self) -> str:
        """What it is, for keys that stay the same."""
        return f"{'treatment' if self.is_treatment_card else 'work'}-{self.number}"


Deeds = tuple[Deed, ...]


def read_deeds(book: Book, now: int) -> tuple[Deeds, Deeds]:
    """What was done and what is planned, each by its time.

    Works of days to come are plans, and so are those that say so and treatments with a day that were not yet done. What
    a job did is done, whatever its rig's clock says.

    Parameters
    ----------
    book
        The cards.
    now
        Minutes since the begin of 1970, local.

    Returns
    -------
    tuple
        What was done, and what is planned.

    References
    ----------
    Derivation: the cards' own fields.

    Examples
    --------
    >>> book = Book(works={1: WorkCard("2027-04-01", "coring"), 2: WorkCard("2027-04-20", "mowing")})
    >>> done, planned = read_deeds(book, minute_of("2027-04-10"))
    >>> [deed.kind for deed in done], [deed.kind for deed in planned]
    (['coring'], ['mowing'])
    """
    deeds = [_read_work(book, number, work, now) for number, work in book.works.items() if work.kind != "note"]
    done = [deed for deed in deeds if not deed.is_planned]
    planned = [deed for deed in deeds if deed.is_planned]
    for number, treatment in book.treatments.items():
        if treatment.planned_on and number not in book.retired:
            deed = _read_plan(book, number, treatment)
            enough = deed.earliest - DONE_EARLY_DAYS * DAY_MIN
            if not any(each.treatment == number and each.latest >= enough for each in done):
                planned.append(deed)
    return tuple(sorted(done, key=_by_time)), tuple(sorted(planned, key=_by_time))


def has_zone(deed: Deed, site: int | None, zone: str) -> bool:
    """Whether a deed was on a zone; without a site it was on all of them, without zones on all of its site's.

    Parameters
    ----------
    deed
        What was done.
    site
        A site's number; None: not known which.
    zone
        A zone's name; empty: the site as a whole.

    Returns
    -------
    bool
        True where it was.

    References
    ----------
    Derivation: the cards' own words.

    Examples
    --------
    >>> rain = Deed(1, "rain", "rain", None, (), frozenset({"rain"}), 0, 0)
    >>> has_zone(rain, 3, "Front")
    True
    """
    return deed.site in (None, site) and (not deed.zones or zone in deed.zones)


def find_places(book: Book, deed: Deed) -> tuple[tuple[int | None, str], ...]:
    """The places of a deed: each zone of its site that it was on.

    Parameters
    ----------
    book
        The cards.
    deed
        What was done.

    Returns
    -------
    tuple of tuple
        Sites' numbers and zones' names; a zone without a name is the whole of a site without zones.

    References
    ----------
    Derivation: the sites' zones.

    Examples
    --------
    >>> book = Book(sites={1: SiteCard("Home"), 2: SiteCard("Away")})
    >>> find_places(book, Deed(1, "rain", "rain", None, (), frozenset(), 0, 0))
    ((1, ''), (2, ''))
    """
    sites: tuple[int | None, ...] = (deed.site,) if deed.site is not None else tuple(book.sites) or (None,)
    return tuple((site, zone) for site in sites for zone in deed.zones or _zones_of(book, site))


def tell_place(book: Book, site: int | None, zones: tuple[str, ...] = ()) -> str:
    """A place in words.

    Parameters
    ----------
    book
        The cards.
    site
        A site's number; None: all of them.
    zones
        Zones' names; none, or all there are: the site.

    Returns
    -------
    str
        Its name.

    References
    ----------
    Derivation: the sites' names.

    Examples
    --------
    >>> tell_place(Book(sites={1: SiteCard("Home")}), 1, ("Front", "Back"))
    'Front and Back of Home'
    """
    if site is None:
        return next(iter(book.sites.values())).name if len(book.sites) == 1 else "the lawn"
    name = book.sites[site].name if site in book.sites else f"site {site}"
    named = tuple(zone for zone in zones if zone)
    if not named or set(named) >= set(_zones_of(book, site)):
        return name
    return f"{' and '.join(filter(None, [', '.join(named[:-1]), named[-1]]))} of {name}"


def find_tags(product: ProductCard) -> frozenset[str]:
    """What rules may call a product.

    Parameters
    ----------
    product
        The product's card.

    Returns
    -------
    frozenset of str
        Some of `server.core.rulecard.SUBJECTS`.

    References
    ----------
    Derivation: the card's sort and how it works.

    Examples
    --------
    >>> sorted(find_tags(ProductCard("Barrier", Stated(4.0, "pt/acre"), sort="pre_emergent", action="soil")))
    ['pre_emergent', 'soil_applied', 'treatment']
    """
    action = {"soil": {"soil_applied"}, "foliar": {"foliar"}}.get(product.action, set())
    return frozenset({"treatment", product.sort, *action} - {"other"})


def _zones_of(book: Book, site: int | None) -> tuple[str, ...]:
    """The zones of a site; one without a name where there are none."""
    card = book.sites.get(site) if site is not None else None
    return tuple(zone.name for zone in card.zones if zone.kind == "zone") if card and card.zones else ("",)


def _read_work(book: Book, number: int, work: WorkCard, now: int) -> Deed:
    treatment = book.treatments.get(work.treatment) if work.treatment is not None else None
    rates = tuple((dose.product, dose.rate) for dose in (work.applied or (treatment.doses if treatment else ())))
    products = work.products or tuple(product for product, _ in rates)
    begin = minute_of(work.day, work.time)
    end = begin if work.time else begin + DAY_MIN - 1
    return Deed(
        number, work.kind, _name_of(book, work.kind, products, treatment), work.site, work.zones,
        _tags_of(book, work.kind, products), begin, end, products=products, rates=rates, treatment=work.treatment,
        water_mm=_number(work.water, "water depth"), temperature_c=_number(work.temperature, "temperature"),
        depth_mm=_number(work.depth, "soil depth"), is_mean=work.is_mean,
        is_planned=work.job is None and (work.is_plan or begin > now),
    )  # fmt: skip


def _read_plan(book: Book, number: int, treatment: TreatmentCard) -> Deed:
    products = tuple(dose.product for dose in treatment.doses)
    begin = minute_of(treatment.planned_on)
    return Deed(
        number, "treatment", _name_of(book, "treatment", products, treatment), treatment.site, treatment.zones,
        _tags_of(book, "treatment", products), begin, begin + DAY_MIN - 1, products=products,
        rates=tuple((dose.product, dose.rate) for dose in treatment.doses), treatment=number, is_planned=True,
        is_treatment_card=True,
    )  # fmt: skip


def _name_of(book: Book, kind: str, products: tuple[int, ...], treatment: TreatmentCard | None) -> str:
    named = [book.products[number].name for number in products if number in book.products]
    if kind != "treatment":
        return kind.replace("_", " ")
    return " + ".join(named) or (treatment.name if treatment else "spraying")


def _tags_of(book: Book, kind: str, products: tuple[int, ...]) -> frozenset[str]:
    return frozenset({kind}).union(*(find_tags(book.products[each]) for each in products if each in book.products))


def _number(stated: Stated | None, measures: str) -> float:
    return nan if stated is None else in_si(stated, measures=measures)


def _by_time(deed: Deed) -> tuple[int, int, int]:
    return deed.latest, deed.earliest, deed.number
