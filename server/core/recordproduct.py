"""Products of an application record: how much of each was applied, undiluted, in the label's own units.

A product's share of the mix is planned, the mix is measured: their product is what left the tank.
"""

from dataclasses import dataclass
from typing import Final

from server.core.entered import RATES, Stated, in_si
from server.core.productcard import ProductCard
from server.core.quantity import convert, kind_of
from server.core.recorditem import Item, fill_item

_CUSTOMARY: Final = ("ft2", "1000 ft2", "acre", "gal", "100 gal")
_BASE: Final = {"volume": "L", "mass": "kg"}


@dataclass(frozen=True, slots=True)
class Planned:
    """A product of the treatment: its card, its rate, and the mix on an area that it is planned in, L/m²."""

    card: ProductCard
    rate: Stated
    target_l_per_m2: float


@dataclass(frozen=True, slots=True)
class Applied:
    """What came of one product: amounts and rates each as number and label's unit; None where not known."""

    amount: Stated | None
    amount_sd: float | None
    rate_applied: Stated | None
    concentration: Stated


def reckon_applied(
    planned: Planned, *, mix_l: float | None, mix_sd_l: float | None, mean_l_per_m2: float | None
) -> Applied:
    """How much of a product was applied.

    Parameters
    ----------
    planned
        The product at its rate in its mix [L/m²].
    mix_l
        Mix that was metered [L]; None: not known.
    mix_sd_l
        Its standard uncertainty [L]; None: not known.
    mean_l_per_m2
        Mean of the mix on the treated ground [L/m²]; None: not known.

    Returns
    -------
    Applied
        Undiluted amount in the unit of the label's rate, the rate on the ground where the label's is one, and the
        concentration; of the amount's uncertainty only the meter's part is known.

    References
    ----------
    "Total amount" is the product before dilution, in label units (REC1, record of restricted-use products). Product
    per tank = label rate / sprayer output x tank capacity (CSU1, Colorado State University fact sheet 204).

    Examples
    --------
    >>> card = ProductCard("Feed", Stated(4.0, "pt/acre"))
    >>> applied = reckon_applied(Planned(card, Stated(4.0, "pt/acre"), 25 * 3.785411784 / 4046.8564224),
    ...     mix_l=2 * 3.785411784, mix_sd_l=None, mean_l_per_m2=None)
    >>> round(convert(applied.amount.value, applied.amount.unit, into="fl oz"), 2)
    5.12
    """
    rate, share, basis = planned.rate, share_of_mix(planned), kind_of(planned.rate.unit)
    mass_or_volume, per = basis.split("/")
    base, head = _BASE[mass_or_volume], rate.unit.split("/")[0]
    amount = None if mix_l is None else Stated(convert(share * mix_l, base, into=head), head)
    sd = None if amount is None or mix_sd_l is None or not mix_l else amount.value * mix_sd_l / mix_l
    ground = None
    if per == "area" and mean_l_per_m2 is not None:
        ground = Stated(rate.value * mean_l_per_m2 / planned.target_l_per_m2, rate.unit)
    into = {True: {"L": "fl oz/gal", "kg": "oz/gal"}, False: {"L": "mL/L", "kg": "g/L"}}
    unit = into[rate.unit.split("/")[1] in _CUSTOMARY][base]
    return Applied(amount, sd, ground, Stated(convert(share, f"{base}/L", into=unit), unit))


def share_of_mix(planned: Planned) -> float:
    """Litres or kilograms of a product in a litre of mix.

    Parameters
    ----------
    planned
        The product at its rate in its mix [L/m²].

    Returns
    -------
    float
        The share [L/L or kg/L].

    References
    ----------
    Product per gallon = label rate per acre / gallons per acre (TETON1, Teton County).

    Examples
    --------
    >>> card = ProductCard("Feed", Stated(10.0, "mL/L"))
    >>> share_of_mix(Planned(card, Stated(10.0, "mL/L"), 0.04))
    0.01
    """
    basis = kind_of(planned.rate.unit)
    si = in_si(planned.rate, measures=basis)
    assert basis in RATES
    return si / planned.target_l_per_m2 if basis.endswith("/area") else si


def product_items(place: int, planned: Planned, applied: Applied, *, missing: str) -> list[Item]:
    """One product's items.

    Parameters
    ----------
    place
        Its number in the record [1, 2, ...].
    planned
        The product at its rate.
    applied
        What came of it.
    missing
        Why the mix is not known, where it is not.

    Returns
    -------
    list of Item
        Name, registration, amount, rates, concentration.

    References
    ----------
    Derivation: cards and `reckon_applied`.

    Examples
    --------
    >>> card = ProductCard("Feed", Stated(10.0, "mL/L"))
    >>> planned = Planned(card, Stated(10.0, "mL/L"), 0.04)
    >>> applied = reckon_applied(planned, mix_l=5.0, mix_sd_l=0.1, mean_l_per_m2=0.041)
    >>> [(item.key, item.value, item.unit) for item in product_items(1, planned, applied, missing="")][2]
    ('product.1.amount', 50.0, 'mL')
    """
    head = f"product.{place}."
    amount, ground, rate = applied.amount, applied.rate_applied, planned.rate
    why = missing if amount is None else "the label's rate is one in the mix"
    return [
        Item(head + "name", planned.card.name, source="card"),
        fill_item(
            head + "registration",
            planned.card.registration,
            source="card",
            missing="its card holds none: say so if it has none",
        ),
        _tell_stated(head + "amount", amount, missing, applied.amount_sd),
        Item(head + "rate", rate.value, rate.unit, "card"),
        _tell_stated(head + "rate_applied", ground, why),
        Item(head + "concentration", applied.concentration.value, applied.concentration.unit, "computed"),
    ]


def _tell_stated(key: str, stated: Stated | None, missing: str, sd: float | None = None) -> Item:
    """A computed quantity with its unit."""
    value, unit = (None, "") if stated is None else (stated.value, stated.unit)
    return fill_item(key, value, unit, "computed", missing=missing, sd=sd)


def blank_items(place: int, *, missing: str) -> list[Item]:
    """A product of which nothing is known, for a job without a treatment.

    Parameters
    ----------
    place
        Its number in the record [1, 2, ...].
    missing
        Why.

    Returns
    -------
    list of Item
        The same items as `product_items`, without values.

    References
    ----------
    Derivation: `server.core.recorditem.SORTS`.

    Examples
    --------
    >>> blank_items(1, missing="no treatment was chosen")[0].missing
    'no treatment was chosen'
    """
    names = ("name", "registration", "amount", "rate", "rate_applied", "concentration")
    return [Item(f"product.{place}.{name}", None, missing=missing) for name in names]
