"""The mix sheet: what goes into each tank, in which order, and what to mix after a stop.

Square metres, litres, kilograms. The carrier rate is what leaves the nozzle on an area, product included, as extension
examples count it; the carrier itself is the water that is poured in.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from server.core.entries import check_entry
from server.core.errors import EntryError
from server.core.tankload import Load, Product, check_product, mix_load
from server.core.uncertainty import Estimate, add_doubt

USUAL_L_PER_M2 = (0.004, 0.2)
"""Labels' carrier rates for lawns run from 0.1 to 5 gal/1000 ft2."""
STRONG_SHARE = 0.25
SMALL_LOAD_SHARE = 0.1
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to be asked about: what, of which product (empty: the mix), how much, and what is usual."""

    what: str
    subject: str
    value: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class MixSheet:
    """Full tanks, all alike, and the last partial one (None: it comes out even); all together; what is left over."""

    full: Load | None
    full_count: int
    last: Load | None
    total: Load
    left_over_l: float
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class Rest:
    """After a stop: the area that the tank's rest treats, what is too much of it, and what to mix.

    Either `sheet` once the tank is sprayed out, or `top_up` into it now and `after` later. None: nothing to mix.
    """

    treats_m2: float
    surplus_l: float
    sheet: MixSheet | None
    top_up: Load | None
    after: MixSheet | None


@dataclass(frozen=True, slots=True)
class TankLevel:
    """Mix still in the tank [L]; `is_contradiction` where more was sprayed than filled in, beyond all doubt of both."""

    left_l: Estimate
    is_contradiction: bool


def plan_mix(
    area_m2: float,
    *,
    target_l_per_m2: float,
    products: Sequence[Product],
    tank_l: float,
    fill_l: float | None = None,
    spare_l: float = 0.0,
    label_carrier: tuple[float, float] | None = None,
) -> MixSheet:
    """What to mix for an area: full tanks and the last partial one, no more than is needed.

    Mix is area x rate, and what is to spare; each load is in proportion. Water is the mix less the volume of the
    liquid products; dry ones are taken to dissolve without volume.

    Parameters
    ----------
    area_m2
        What is to be treated [m²].
    target_l_per_m2
        Mix on an area [L/m²].
    products
        What goes in, each with its rate [L or kg per m² or L].
    tank_l
        What the sprayer's tank holds [L].
    fill_l
        How far it is filled [L]; None: full.
    spare_l
        Mix beyond the need, for what the pump cannot draw [L]; it is what is left over.
    label_carrier
        Least and most carrier rate of the labels [L/m²]; None: not told.

    Returns
    -------
    MixSheet
        Loads, sums, and cautions: rates outside labels' ranges or unusual, strong mixes, a small last load, amounts
        too small to measure.

    Raises
    ------
    EntryError
        In one line, if a number is outside its limits, a fill larger than the tank, a product's rate above its label,
        a liquid weighed or a dry product measured by volume without a density, or more product than mix.

    Notes
    -----
    A rate below the label's range is a caution, one above it is refused: the label is the law.

    References
    ----------
    Agrochemical and Pesticide Safety handbook extract (mix = rate x area, product = rate x area); Colorado State
    University, CEPEP fact sheet 204 (product per tank); half the water first: common practice, no source; order of
    products: Manitoba Guide to Crop Protection, second hand.

    Examples
    --------
    >>> weedy = Product("W", 0.0005, form="emulsion")
    >>> sheet = plan_mix(1000.0, target_l_per_m2=0.04, products=[weedy], tank_l=15.0)
    >>> sheet.full_count, sheet.full.mix_l, sheet.last.mix_l, round(sheet.total.amounts[0].litres, 6)
    (2, 15.0, 10.0, 0.5)
    >>> sheet.full.first_carrier_l, round(sheet.full.amounts[0].litres, 6), sheet.full.amounts[0].tool.name
    (7.40625, 0.1875, 'cup')
    """
    check_entry("area", area_m2)
    check_entry("carrier rate", target_l_per_m2)
    check_entry("spare mix", spare_l)
    filled_l = _check_fill(fill_l, tank_l)
    for product in products:
        check_product(product)
    need_l = area_m2 * target_l_per_m2 + spare_l
    count = int(need_l / filled_l + _SLACK)
    rest_l = need_l - count * filled_l
    full = mix_load(filled_l, target_l_per_m2=target_l_per_m2, products=products) if count else None
    is_even = rest_l <= _SLACK * need_l
    last = None if is_even else mix_load(rest_l, target_l_per_m2=target_l_per_m2, products=products)
    total = mix_load(need_l, target_l_per_m2=target_l_per_m2, products=products)
    cautions = [*_doubt_rates(target_l_per_m2, products, label_carrier), *_doubt_strength(total)]
    cautions += _doubt_loads(full, last, filled_l)
    return MixSheet(full, count, last, total, spare_l, tuple(cautions))


def plan_rest(
    area_left_m2: float,
    *,
    tank_left_l: float,
    target_l_per_m2: float,
    products: Sequence[Product],
    tank_l: float,
    fill_l: float | None = None,
    spare_l: float = 0.0,
) -> Rest:
    """After a stop: how far the tank's rest goes, and what to mix for what it does not reach.

    Parameters
    ----------
    area_left_m2
        What is not treated yet [m²].
    tank_left_l
        Mix of the same strength still in the tank [L].
    target_l_per_m2
        Mix on an area [L/m²].
    products
        What goes in, each with its rate [L or kg per m² or L].
    tank_l
        What the sprayer's tank holds [L].
    fill_l
        How far it is filled [L]; None: full.
    spare_l
        Mix beyond the need, for what the pump cannot draw [L].

    Returns
    -------
    Rest
        Surplus is mix that nothing is left for; where less than 1 m² is beyond the tank's rest nothing is mixed.

    Raises
    ------
    EntryError
        As `plan_mix`; and if more is left than the tank holds.

    References
    ----------
    Derivation: the last partial tank is the same arithmetic on the remaining area.

    Examples
    --------
    >>> rest = plan_rest(600.0, tank_left_l=4.0, target_l_per_m2=0.04, products=[Product("W", 0.0005)], tank_l=15.0)
    >>> rest.treats_m2, round(rest.sheet.total.mix_l, 9), round(rest.top_up.mix_l, 9), round(rest.after.total.mix_l, 9)
    (100.0, 20.0, 11.0, 9.0)
    """
    check_entry("area left", area_left_m2)
    check_entry("carrier rate", target_l_per_m2)
    check_entry("left in the tank", tank_left_l)
    check_entry("spare mix", spare_l)
    filled_l = _check_fill(fill_l, tank_l)
    if tank_left_l > tank_l:
        raise EntryError("left in the tank", f"{tank_left_l:g} L is more than the tank's {tank_l:g} L")
    missing_l = area_left_m2 * target_l_per_m2 + spare_l - tank_left_l
    treats_m2 = min(tank_left_l / target_l_per_m2, area_left_m2)
    if missing_l < target_l_per_m2:
        return Rest(treats_m2, max(0.0, -missing_l), None, None, None)

    def plan(mix_l: float) -> MixSheet | None:
        area = mix_l / target_l_per_m2
        if area < 1.0:
            return None
        return plan_mix(area, target_l_per_m2=target_l_per_m2, products=products, tank_l=tank_l, fill_l=filled_l)

    room_l = min(filled_l - tank_left_l, missing_l)
    sheet = plan(missing_l)
    if tank_left_l == 0.0 or room_l <= 0.0:
        return Rest(treats_m2, 0.0, sheet, None, None)
    if missing_l - room_l < target_l_per_m2:
        # What is left for another filling is less than a square metre's: into this one, if the tank allows.
        room_l = min(missing_l, tank_l - tank_left_l)
    top_up = mix_load(room_l, target_l_per_m2=target_l_per_m2, products=products)
    return Rest(treats_m2, 0.0, sheet, top_up, plan(missing_l - room_l))


def level_after(filled: Estimate, *, sprayed: Estimate) -> TankLevel:
    """What is still in the tank: what was filled in, less what the flow meter counted since.

    Parameters
    ----------
    filled
        Filled in since the tank was empty [L].
    sprayed
        Counted since then [L]; its doubt is that of the pulses per litre.

    Returns
    -------
    TankLevel
        Never below 0. A contradiction is a wrong fill, wrong pulses per litre or a fill that nobody entered.

    References
    ----------
    JCGM 100:2008 (GUM), equation 10.

    Examples
    --------
    >>> level = level_after(Estimate(15.0, 0.1), sprayed=Estimate(11.0, 0.22))
    >>> level.left_l.value, round(level.left_l.sd, 2), level.is_contradiction
    (4.0, 0.24, False)
    """
    left = add_doubt(Estimate(filled.value - sprayed.value, filled.sd, filled.freedom), [sprayed.sd])
    is_contradiction = left.value + left.margin < 0.0
    return TankLevel(Estimate(max(0.0, left.value), left.sd, left.freedom), is_contradiction)


def _check_fill(fill_l: float | None, tank_l: float) -> float:
    """How far the tank is filled, within what it holds."""
    check_entry("tank", tank_l)
    if fill_l is None:
        return tank_l
    if check_entry("fill", fill_l) > tank_l:
        raise EntryError("fill", f"{fill_l:g} L is more than the sprayer's tank of {tank_l:g} L holds")
    return fill_l


def _doubt_rates(
    target_l_per_m2: float, products: Sequence[Product], label_carrier: tuple[float, float] | None
) -> list[Caution]:
    """Rates that labels do not know, or that are unusual."""
    found = []
    for what, bounds in (("label's carrier range", label_carrier), ("usual carrier rate", USUAL_L_PER_M2)):
        if bounds is not None and not bounds[0] * (1 - _SLACK) <= target_l_per_m2 <= bounds[1] * (1 + _SLACK):
            found.append(Caution(f"outside the {what}", "", target_l_per_m2, *bounds))
    for product in products:
        if product.label_rates is not None and product.rate < product.label_rates[0] * (1 - _SLACK):
            found.append(Caution("below the label's rate", product.name, product.rate, *product.label_rates))
    return found


def _doubt_strength(total: Load) -> list[Caution]:
    """Products that are a large part of the mix."""
    return [
        Caution("a strong mix", amount.name, amount.litres / total.mix_l, 0.0, STRONG_SHARE)
        for amount in total.amounts
        if amount.form != "dry" and amount.litres > STRONG_SHARE * total.mix_l
    ]


def _doubt_loads(full: Load | None, last: Load | None, filled_l: float) -> list[Caution]:
    """A last load hardly worth mixing, and amounts that cannot be measured well."""
    found = []
    if full is not None and last is not None and last.mix_l < SMALL_LOAD_SHARE * filled_l:
        found.append(Caution("a small last load", "", last.mix_l, SMALL_LOAD_SHARE * filled_l, filled_l))
    for load in (full, last):
        for amount in load.amounts if load is not None else ():
            if amount.tool.is_too_coarse:
                value = amount.kilograms if amount.form == "dry" else amount.litres
                found.append(Caution("too small to measure", amount.name, value, 10.0 * amount.tool.step, float("inf")))
    return found
