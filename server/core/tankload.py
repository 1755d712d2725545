"""One filling of the tank: water and products, each with what it is measured with.

Square metres, litres, kilograms. Mix is what leaves the nozzle, product included, as extension examples count it; the
carrier is the water that is poured in.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, nan

from server.core.entries import check_entry
from server.core.errors import EntryError
from server.core.measure import Tool, choose_tool

FORMS = ("dry", "flowable", "solution", "emulsion", "adjuvant")
"""What a product is, in the order of filling where labels are silent."""
BASES = ("area", "mix", "carrier")
"""A rate is per m², per litre of finished mix or per litre of water."""
MOST_KG_PER_L = 1.0
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Product:
    """A product at its rate: litres or kilograms (`is_mass`) per m², per litre of mix or per litre of water."""

    name: str
    rate: float
    is_mass: bool = False
    per: str = "area"
    form: str = "solution"
    density_kg_per_l: float | None = None
    label_rates: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Amount:
    """So much of a product: litres and kilograms, NaN where no density tells; what to measure it with."""

    name: str
    form: str
    litres: float
    kilograms: float
    tool: Tool


@dataclass(frozen=True, slots=True)
class Load:
    """One filling: finished mix, the area it treats, its water and its products in the order of filling."""

    mix_l: float
    area_m2: float
    carrier_l: float
    amounts: tuple[Amount, ...]

    @property
    def first_carrier_l(self) -> float:
        """The water before the products: half of it."""
        return self.carrier_l / 2.0

    @property
    def rest_carrier_l(self) -> float:
        """The water after the products."""
        return self.carrier_l - self.first_carrier_l


def check_product(product: Product) -> None:
    """Refuse a product that cannot be meant, in one line.

    Parameters
    ----------
    product
        With its rate [L or kg per m² or L].

    Raises
    ------
    EntryError
        If form or base is not known, the rate not above 0 or above its label, the density outside its limits, a liquid
        weighed or a dry product measured by volume without a density.

    References
    ----------
    Derivation: fluid ounces are a volume, ounces a weight.

    Examples
    --------
    >>> check_product(Product("W", 0.0005, is_mass=True))
    Traceback (most recent call last):
    server.core.errors.EntryError: W: a liquid by weight needs its density; if fluid ounces were meant, choose fl oz
    """
    key = product.name or "product"
    if product.form not in FORMS or product.per not in BASES:
        raise EntryError(key, f"form must be one of {', '.join(FORMS)}; the rate per one of {', '.join(BASES)}")
    if not 0.0 < product.rate < float("inf"):
        raise EntryError(key, f"a rate above 0 is wanted, not {product.rate:g}")
    if product.label_rates is not None and product.rate > product.label_rates[1] * (1.0 + _SLACK):
        times = product.rate / product.label_rates[1]
        raise EntryError(key, f"the rate is {times:.3g} times the most that its label allows")
    if product.density_kg_per_l is not None:
        check_entry("density", product.density_kg_per_l)
    elif product.is_mass and product.form != "dry":
        raise EntryError(key, "a liquid by weight needs its density; if fluid ounces were meant, choose fl oz")
    elif not product.is_mass and product.form == "dry":
        raise EntryError(key, "a dry product by volume needs its density; better weigh it")


def mix_load(mix_l: float, *, target_l_per_m2: float, products: Sequence[Product]) -> Load:
    """Water and products of so much finished mix.

    With products of volume r per litre of mix or water, the water is (mix - those by mix) / (1 + those by water).

    Parameters
    ----------
    mix_l
        Finished mix [L].
    target_l_per_m2
        Mix on an area [L/m²].
    products
        What goes in, each with its rate [L or kg per m² or L].

    Returns
    -------
    Load
        Products in the order of filling: dry, flowable, solution, emulsion, adjuvant.

    Raises
    ------
    EntryError
        If products leave no room for water, or more than a kilogram of dry product would go in a litre.

    References
    ----------
    Derivation: mix is water and liquid products; University of Georgia, backpack mix (4.0 pt/acre at 25 gal/acre is
    2 % of the tank).

    Examples
    --------
    >>> load = mix_load(10.0, target_l_per_m2=0.05, products=[Product("A", 0.25, per="carrier"), Product("B", 0.001)])
    >>> round(load.carrier_l, 9), [round(amount.litres, 9) for amount in load.amounts], load.area_m2
    (7.84, [1.96, 0.2], 200.0)
    """
    ordered = sorted(products, key=lambda product: FORMS.index(product.form))
    in_mix, in_carrier = 0.0, 0.0
    for product in ordered:
        share = _displace(product) * (1.0 / target_l_per_m2 if product.per == "area" else 1.0)
        in_mix, in_carrier = (in_mix, in_carrier + share) if product.per == "carrier" else (in_mix + share, in_carrier)
    carrier_l = mix_l * (1.0 - in_mix) / (1.0 + in_carrier)
    if not carrier_l > 0.0:
        raise EntryError("products", f"{in_mix:.0%} of the mix would be product: check rates and units")
    area_m2 = mix_l / target_l_per_m2
    bases = {"area": area_m2, "mix": mix_l, "carrier": carrier_l}
    amounts = tuple(_measure(product, product.rate * bases[product.per]) for product in ordered)
    dry_kg = fsum(amount.kilograms for amount in amounts if amount.form == "dry")
    if dry_kg > MOST_KG_PER_L * carrier_l:
        raise EntryError("products", f"{dry_kg:.3g} kg would go in {carrier_l:.3g} L of water: check rates and units")
    return Load(mix_l, area_m2, carrier_l, amounts)


def product_for_active(active: float, *, content: float) -> float:
    """How much product brings a dose of what works in it.

    Parameters
    ----------
    active
        Dose of the active part [kg], or of each area or volume [kg/m², kg/L].
    content
        Its share of the product by mass [-].

    Returns
    -------
    float
        Product in the unit of the dose.

    Raises
    ------
    EntryError
        If the share is not above 0 and at most 1, as where per cent were entered.

    References
    ----------
    Agrochemical and Pesticide Safety handbook extract (2 lb of active part an acre in an 80 % powder: 2.5 lb).

    Examples
    --------
    >>> product_for_active(2.0, content=0.8)
    2.5
    """
    return active / check_entry("content", content)


def _displace(product: Product) -> float:
    """The volume that a product adds, for each of its rate's base [L]; of a dry one none."""
    if product.form == "dry":
        return 0.0
    return product.rate / (product.density_kg_per_l or nan) if product.is_mass else product.rate


def _measure(product: Product, amount: float) -> Amount:
    """An amount by volume and by mass as far as known: liquids are measured out, dry products weighed."""
    density = product.density_kg_per_l or nan
    litres, kilograms = (amount / density, amount) if product.is_mass else (amount, amount * density)
    is_weighed = product.form == "dry"
    tool = choose_tool(kilograms if is_weighed else litres, is_mass=is_weighed)
    return Amount(product.name, product.form, litres, kilograms, tool)
