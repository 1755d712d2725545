"""A treatment looked through as a whole: ground, tank, day, and products that do not go together.

Metres per second, square metres, litres.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from server.core.entered import Stated, in_si
from server.core.errors import EntryError
from server.core.labelcheck import check_labels
from server.core.objections import Objection, sort_objections
from server.core.plots import measure_ground
from server.core.productcard import ProductCard
from server.core.recipe import Plan, choose_zones, label_carrier, write_like, write_stated
from server.core.seasoncheck import Application, check_season, count_days

FAR_DAYS = 400.0
"""A day farther off than this is asked about: more than a year and a month (common practice, no source)."""
CARRIED_L = 30.0
"""A sprayer that is carried hardly holds more; extension bulletins name 4 to 6 gal for backpacks."""


@dataclass(frozen=True, slots=True)
class WindLimit:
    """A wind limit that holds for a mix: whose, how much, over how long averaged, at which height; None: not said."""

    subject: str
    stated: Stated
    averaging_s: float | None
    height: Stated | None

    @property
    def mps(self) -> float:
        """The limit in m/s."""
        return in_si(self.stated, measures="speed")


def check_plan(plan: Plan, *, past: Sequence[Application], today: str) -> tuple[Objection, ...]:
    """All that speaks against a treatment, the gravest first.

    Parameters
    ----------
    plan
        The treatment with its cards.
    past
        What was applied on the site before.
    today
        The day of the reader, as 2027-05-31.

    Returns
    -------
    tuple of Objection
        Refused, asked about, told; none where nothing speaks against it.

    References
    ----------
    As `check_labels` and `check_season`; tank sizes: a sports turf association's bulletin. Derivation: none.

    Examples
    --------
    >>> from server.core.sitecard import SiteCard
    >>> from server.core.treatmentcard import TreatmentCard
    >>> plan = Plan(TreatmentCard("T", 1, Stated(4, "L/100 m2")), (), SiteCard("Home"), None, "2036-05-31")
    >>> [(each.key, each.severity) for each in check_plan(plan, past=[], today="2027-05-31")]
    [('no_area', 'refuse'), ('day_far', 'ask'), ('no_product', 'ask')]
    """
    found = _check_day(plan, today) + _check_ground(plan) + check_labels(plan)
    found += _check_tank(plan) + _check_together(plan)
    if not any(each.key == "zone_unknown" for each in found):
        found += check_season(plan, past)
    if not plan.ingredients:
        found.append(Objection("no_product", "ask", "", "No product is named: water only?"))
    return sort_objections(found)


def strictest_wind(plan: Plan) -> WindLimit | None:
    """The wind limit that holds for a treatment: the lowest of its products' and its own.

    Parameters
    ----------
    plan
        The treatment with its cards.

    Returns
    -------
    WindLimit or None
        With its own averaging and height; None where nobody states one.

    References
    ----------
    Derivation: what every label of a mix allows.

    Examples
    --------
    >>> from server.core.recipe import Ingredient
    >>> from server.core.sitecard import SiteCard
    >>> from server.core.treatmentcard import TreatmentCard
    >>> rate = Stated(1, "L/ha")
    >>> cards = [ProductCard(name, rate, wind_limit=Stated(mph, "mph")) for name, mph in (("A", 15), ("B", 10))]
    >>> parts = tuple(Ingredient(k, card, rate) for k, card in enumerate(cards, 1))
    >>> plan = Plan(TreatmentCard("T", 1, Stated(4, "L/100 m2")), parts, SiteCard("Home"), None, "2027-05-31")
    >>> strictest_wind(plan).subject
    'B'
    """
    return min(_wind_limits(plan), key=lambda limit: limit.mps, default=None)


def _wind_limits(plan: Plan) -> list[WindLimit]:
    found = [
        WindLimit(card.name, card.wind_limit, card.wind_averaging_s, card.wind_height)
        for card in (each.product for each in plan.ingredients)
        if card.wind_limit is not None
    ]
    own = plan.treatment.wind_limit
    return found if own is None else [*found, WindLimit("your own limit", own, None, None)]


def _check_day(plan: Plan, today: str) -> list[Objection]:
    days = count_days(today, plan.day)
    if abs(days) <= FAR_DAYS:
        return []
    words = f"{plan.day} is {abs(days):.0f} days {'ahead' if days > 0 else 'ago'}: is the year right?"
    return [Objection("day_far", "ask", plan.treatment.name, words, {"days": days})]


def _check_ground(plan: Plan) -> list[Objection]:
    try:
        zones, keep_outs = choose_zones(plan.site, plan.treatment.zones)
    except EntryError as error:
        return [Objection("zone_unknown", "refuse", plan.site.name, f"{error.problem[0].upper()}{error.problem[1:]}.")]
    area_m2 = measure_ground(zones, keep_outs=keep_outs).area_m2
    if area_m2 < 1.0:
        words = (
            f"{plan.site.name} has nothing to treat: {area_m2:.2g} m². Draw its zones, or type the area on the sheet."
        )
        return [Objection("no_area", "refuse", plan.site.name, words, {"area_m2": area_m2})]
    return []


def _check_tank(plan: Plan) -> list[Objection]:
    sprayer = plan.sprayer
    if sprayer is None or sprayer.kind == "walk_behind":
        return []
    tank_l = in_si(sprayer.tank, measures="tank")
    if tank_l <= CARRIED_L:
        return []
    words = (
        f"{sprayer.name}: a tank of {write_stated(sprayer.tank)} is more than people carry. Are unit and size right?"
    )
    return [Objection("tank_unusual", "ask", sprayer.name, words, {"tank_l": tank_l, "usual_l": CARRIED_L})]


def _check_together(plan: Plan) -> list[Objection]:
    found = _check_wind(plan)
    cards = [each.product for each in plan.ingredients]
    for one, other in combinations(cards, 2):
        found += _check_water(one, other) + _check_water(other, one) + _check_action(one, other)
    says_carrier = any(card.carrier_least or card.carrier_most for card in cards)
    if says_carrier and len(cards) > 1 and label_carrier(plan.ingredients) is None:
        words = "No carrier rate suits all labels of this mix: spray them one after the other."
        found.append(Objection("carriers_disagree", "ask", " and ".join(card.name for card in cards), words))
    return found


def _check_wind(plan: Plan) -> list[Objection]:
    """Limits that disagree: the stricter wins, and by how much."""
    limits = sorted(_wind_limits(plan), key=lambda limit: limit.mps)
    if not limits or limits[0].mps >= limits[-1].mps * (1 - 1e-9):
        return []
    low, high = limits[0], limits[-1]
    less = write_like(high.mps - low.mps, like=low.stated, measures="speed")
    how = "" if low.averaging_s is None else f", averaged over {low.averaging_s:g} s"
    how += "" if low.height is None else f", at {write_stated(low.height)}"
    words = f"Wind: {low.subject} {write_stated(low.stated)}{how}; {high.subject} {write_stated(high.stated)}. "
    words += f"The stricter counts, {less} less."
    numbers = {"limit_mps": low.mps, "other_mps": high.mps, "less_mps": high.mps - low.mps}
    numbers |= {} if low.averaging_s is None else {"averaging_s": low.averaging_s}
    numbers |= {} if low.height is None else {"height_m": in_si(low.height, measures="height")}
    return [Objection("wind_limits_disagree", "tell", low.subject, words, numbers)]


def _check_water(one: ProductCard, other: ProductCard) -> list[Objection]:
    """One must be watered in, the other must not or must stay dry longer."""
    pair = f"{one.name} and {other.name}"
    if one.watering != "must":
        return []
    if other.watering == "must_not":
        words = f"{one.name} must be watered in, {other.name} must not: spray them on different days."
        return [Objection("watering_disagrees", "ask", pair, words)]
    if other.dry_h is not None and one.water_within_h is not None and other.dry_h > one.water_within_h:
        words = (
            f"{one.name} wants water within {one.water_within_h:g} h, {other.name} to stay dry for {other.dry_h:g} h."
        )
        numbers = {"within_s": 3600.0 * one.water_within_h, "dry_s": 3600.0 * other.dry_h}
        return [Objection("watering_disagrees", "ask", pair, words, numbers)]
    return []


def _check_action(one: ProductCard, other: ProductCard) -> list[Objection]:
    """A product that works through the leaf with one that works through the soil."""
    if {one.action, other.action} != {"soil", "foliar"}:
        return []
    leaf, soil = (one, other) if one.action == "foliar" else (other, one)
    words = f"{leaf.name} works through the leaf, {soil.name} through the soil: one wants to dry, the other water."
    return [Objection("foliar_with_soil", "ask", f"{leaf.name} and {soil.name}", words)]
