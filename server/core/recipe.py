"""What a treatment means for the tank: cards made into the products, rates and zones that mixes are reckoned from.

Litres and kilograms per m², litres per m².
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

from server.core.entered import MEASURES, RATES, Stated, in_si
from server.core.errors import EntryError
from server.core.productcard import ProductCard
from server.core.quantity import kind_of
from server.core.sitecard import SiteCard, ZoneCard
from server.core.sprayercard import SprayerCard
from server.core.tankload import Product
from server.core.treatmentcard import TreatmentCard


@dataclass(frozen=True, slots=True)
class Ingredient:
    """A product of a treatment, its card's number and its rate."""

    number: int
    product: ProductCard
    rate: Stated


@dataclass(frozen=True, slots=True)
class Plan:
    """A treatment with the cards that it names; `day` is when it is to be done.

    `year_begins` is the month from which a season's maximum counts.
    """

    treatment: TreatmentCard
    ingredients: tuple[Ingredient, ...]
    site: SiteCard
    sprayer: SprayerCard | None
    day: str
    number: int | None = None
    year_begins: float = 1.0

    @property
    def products(self) -> tuple[ProductCard, ...]:
        """The products' cards."""
        return tuple(each.product for each in self.ingredients)

    @property
    def target_l_per_m2(self) -> float:
        """Mix on an area."""
        return in_si(self.treatment.target, measures="carrier rate")


@dataclass(frozen=True, slots=True)
class AreaRate:
    """So much product on an area, by volume and by mass; NaN where no density tells."""

    l_per_m2: float
    kg_per_m2: float


def choose_zones(site: SiteCard, names: Sequence[str]) -> tuple[tuple[ZoneCard, ...], tuple[ZoneCard, ...]]:
    """The zones that are named, or all of them, and the site's keep-outs.

    Parameters
    ----------
    site
        The site.
    names
        Zones' names; none: all.

    Returns
    -------
    tuple
        Zones, keep-outs.

    Raises
    ------
    EntryError
        If a name is none of the site's zones.

    References
    ----------
    Definition of this project. Derivation: none.

    Examples
    --------
    >>> site = SiteCard("Home", zones=(ZoneCard("front"), ZoneCard("bed", "keep_out")))
    >>> [[zone.name for zone in part] for part in choose_zones(site, [])]
    [['front'], ['bed']]
    >>> choose_zones(site, ["bakc"])
    Traceback (most recent call last):
    server.core.errors.EntryError: zones: 'bakc' is no zone of Home: there is front
    """
    zones = [zone for zone in site.zones if zone.kind == "zone"]
    for name in names:
        if name not in {zone.name for zone in zones}:
            known = ", ".join(zone.name for zone in zones) or "none yet"
            raise EntryError("zones", f"{name!r} is no zone of {site.name}: there is {known}")
    chosen = tuple(zone for zone in zones if not names or zone.name in names)
    return chosen, tuple(zone for zone in site.zones if zone.kind == "keep_out")


def density_of(product: ProductCard) -> float | None:
    """The mass of a litre of a product.

    Parameters
    ----------
    product
        Its card.

    Returns
    -------
    float or None
        Density [kg/L]; None where the card has none.

    References
    ----------
    As `server.core.quantity.convert_exactly`. Derivation: none.

    Examples
    --------
    >>> card = ProductCard("F", Stated(3, "fl oz/1000 ft2"), density=Stated(10, "lb/gal"))
    >>> round(density_of(card), 4)
    1.1983
    """
    return None if product.density is None else in_si(product.density, measures="density")


def rate_on_area(rate: Stated, *, product: ProductCard, target_l_per_m2: float) -> AreaRate:
    """How much of a product lies on an area, whatever its rate is stated per.

    Parameters
    ----------
    rate
        Volume or mass per area, or per finished mix.
    product
        Its card, for the density.
    target_l_per_m2
        Mix on an area, for rates per mix [L/m²]; NaN: not known.

    Returns
    -------
    AreaRate
        By volume [L/m²] and by mass [kg/m²].

    References
    ----------
    Derivation: a rate per mix times the mix on an area.

    Examples
    --------
    >>> weedy = ProductCard("W", Stated(1, "L/ha"), density=Stated(1.2, "kg/L"))
    >>> rate_on_area(Stated(10, "mL/L"), product=weedy, target_l_per_m2=0.04)
    AreaRate(l_per_m2=0.0004, kg_per_m2=0.00048)
    """
    kind = kind_of(rate.unit)
    value = in_si(rate, measures=kind) * (1.0 if kind.endswith("/area") else target_l_per_m2)
    density = density_of(product) or nan
    if kind.startswith("mass"):
        return AreaRate(value / density, value)
    return AreaRate(value, value * density)


def same_base(rate: Stated, *, like: Stated, product: ProductCard, target_l_per_m2: float) -> float:
    """A rate in the base of another: per area or per mix, by volume or by mass.

    Parameters
    ----------
    rate
        What is to be compared.
    like
        The rate whose base is wanted.
    product
        The product's card, for the density.
    target_l_per_m2
        Mix on an area [L/m²].

    Returns
    -------
    float
        The rate in the unit that `RATES` names for the kind of `like` [L or kg per m² or L]; NaN where a density is
        wanted and missing.

    References
    ----------
    As `rate_on_area`. Derivation: none.

    Examples
    --------
    >>> card = ProductCard("W", Stated(1, "L/ha"))
    >>> same_base(Stated(4, "L/ha"), like=Stated(1, "mL/L"), product=card, target_l_per_m2=0.04)
    0.01
    """
    if kind_of(rate.unit) == kind_of(like.unit):
        return in_si(rate, measures=kind_of(rate.unit))
    found = rate_on_area(rate, product=product, target_l_per_m2=target_l_per_m2)
    kind = kind_of(like.unit)
    value = found.kg_per_m2 if kind.startswith("mass") else found.l_per_m2
    return value if kind.endswith("/area") else value / target_l_per_m2


def name_base(rate: Stated) -> str:
    """The base of a rate as keys of numbers name it.

    Parameters
    ----------
    rate
        Volume or mass per area or per mix.

    Returns
    -------
    str
        As "l_per_m2", the unit that `RATES` names for its kind.

    References
    ----------
    Definition of this project. Derivation: none.

    Examples
    --------
    >>> name_base(Stated(3, "fl oz/1000 ft2")), name_base(Stated(1, "oz/gal"))
    ('l_per_m2', 'kg_per_l')
    """
    return RATES[kind_of(rate.unit)][1].lower().replace("/", "_per_")


def make_product(ingredient: Ingredient, *, target_l_per_m2: float) -> Product:
    """A product as the mix sheet reckons with it, its label's rates beside its own.

    Parameters
    ----------
    ingredient
        The product's card and its rate.
    target_l_per_m2
        Mix on an area [L/m²].

    Returns
    -------
    Product
        Its rate per m² or per litre of finished mix; label rates None where they cannot be compared.

    References
    ----------
    Derivation: a share of the mix (University of Georgia, backpack mix) is a rate per litre of finished mix.

    Examples
    --------
    >>> card = ProductCard("W", Stated(1, "fl oz/gal"), form="emulsion")
    >>> found = make_product(Ingredient(1, card, Stated(0.64, "fl oz/gal")), target_l_per_m2=0.04)
    >>> found.rate, found.per, found.label_rates
    (0.005, 'mix', (0.0, 0.0078125))
    """
    card, rate = ingredient.product, ingredient.rate
    kind = kind_of(rate.unit)
    ends = [
        0.0 if end is None else same_base(end, like=rate, product=card, target_l_per_m2=target_l_per_m2)
        for end in (card.rate_least, card.rate_most)
    ]
    return Product(
        card.name,
        in_si(rate, measures=kind),
        is_mass=kind.startswith("mass"),
        per="area" if kind.endswith("/area") else "mix",
        form=card.form,
        density_kg_per_l=density_of(card),
        label_rates=(ends[0], ends[1]) if ends[0] == ends[0] and ends[1] == ends[1] else None,
    )


def label_carrier(ingredients: Sequence[Ingredient]) -> tuple[float, float] | None:
    """The carrier rates that all labels of a mix allow.

    Parameters
    ----------
    ingredients
        The products.

    Returns
    -------
    tuple or None
        Least and most [L/m²]; None where no label says anything, or no rate suits all.

    References
    ----------
    Derivation: the overlap of the labels' ranges.

    Examples
    --------
    >>> card = ProductCard("W", Stated(1, "L/ha"), carrier_least=Stated(200, "L/ha"), carrier_most=Stated(600, "L/ha"))
    >>> label_carrier([Ingredient(1, card, Stated(1, "L/ha"))])
    (0.02, 0.06)
    """
    cards = [each.product for each in ingredients]
    least = [in_si(card.carrier_least, measures="carrier rate") for card in cards if card.carrier_least is not None]
    most = [in_si(card.carrier_most, measures="carrier rate") for card in cards if card.carrier_most is not None]
    if not least and not most:
        return None
    ends = max(least, default=0.0), min(most, default=float("inf"))
    return ends if ends[0] <= ends[1] else None


def write_stated(stated: Stated) -> str:
    """A stated quantity as people write it.

    Parameters
    ----------
    stated
        Number and unit.

    Returns
    -------
    str
        As in the example, four digits at most.

    References
    ----------
    Definition of this project. Derivation: none.

    Examples
    --------
    >>> write_stated(Stated(3.0, "fl oz/1000 ft2"))
    '3 fl oz/1000 ft²'
    """
    text = f"{stated.value:.4g}" if abs(stated.value) < 10000.0 else f"{stated.value:,.0f}"
    return f"{text} {stated.unit.replace('ft2', 'ft²').replace('m2', 'm²')}"


def write_like(value: float, *, like: Stated, measures: str = "") -> str:
    """A number in SI in the unit that somebody entered.

    Parameters
    ----------
    value
        The number, in the unit of the limits [see `MEASURES` and `RATES`].
    like
        What was entered.
    measures
        A key of `MEASURES`; empty: a product rate of the kind of `like`.

    Returns
    -------
    str
        Number and unit, three digits.

    References
    ----------
    As `server.core.quantity.convert_exactly`. Derivation: none.

    Examples
    --------
    >>> write_like(0.0407458, like=Stated(2.0, "gal/1000 ft2"), measures="carrier rate")
    '1 gal/1000 ft²'
    """
    base = MEASURES[measures][1] if measures else RATES[kind_of(like.unit)][1]
    return write_stated(Stated(float(f"{value / _size(like.unit, base):.3g}"), like.unit))


def _size(unit: str, base: str) -> float:
    """One of a unit in the base."""
    kind = next((name for name, (_, of, units) in {**MEASURES, **RATES}.items() if of == base and unit in units), "")
    return in_si(Stated(1.0, unit), measures=kind)
