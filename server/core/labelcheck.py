"""A treatment against its products' labels: rates, carrier, ounces, licence.

Litres and kilograms per m², litres per m².
"""

from math import isnan

from server.core.entered import Stated, in_si
from server.core.mix import USUAL_L_PER_M2
from server.core.objections import Objection, guess_slip
from server.core.quantity import kind_of
from server.core.recipe import Ingredient, Plan, name_base, same_base, write_like, write_stated

_SLACK = 1e-9


def check_labels(plan: Plan) -> list[Objection]:
    """What the labels of a treatment's products say against it.

    Parameters
    ----------
    plan
        The treatment with its cards.

    Returns
    -------
    list of Objection
        Ounces for fluid ounces, rates above and below the label, the carrier outside of it or of what is usual, a
        licence.

    References
    ----------
    The label is the law: Minnesota Department of Agriculture, second hand; too little carrier burns: Colorado State
    University, CEPEP fact sheet 204; usual carrier rates: University of Florida, PI225.

    Examples
    --------
    >>> from server.core.productcard import ProductCard
    >>> from server.core.sitecard import SiteCard
    >>> from server.core.treatmentcard import TreatmentCard
    >>> card = ProductCard("W", Stated(3, "fl oz/1000 ft2"))
    >>> part = Ingredient(1, card, Stated(30, "fl oz/1000 ft2"))
    >>> planned = TreatmentCard("T", 1, Stated(1, "gal/1000 ft2"))
    >>> plan = Plan(planned, (part,), SiteCard("Home"), None, "2027-05-31")
    >>> found = check_labels(plan)[0]
    >>> found.key, found.severity, round(found.numbers["times"], 6)
    ('rate_above_label', 'refuse', 10.0)
    """
    found = []
    for each in plan.ingredients:
        ounces = _check_ounces(each)
        found += ounces
        if not any(said.severity == "refuse" for said in ounces):
            found += _check_rate(each, plan.target_l_per_m2)
        found += _check_range(each)
        if each.product.is_licence_needed:
            found.append(Objection("licence", "tell", each.product.name, f"{each.product.name} needs a licence."))
    return found + _check_carrier(plan)


def _check_ounces(each: Ingredient) -> list[Objection]:
    """A liquid by weight: only with its density, and asked about where its label has a volume."""
    card, rate = each.product, each.rate
    by_mass, label_by_mass = (kind_of(unit).startswith("mass") for unit in (rate.unit, card.rate_most.unit))
    if card.form == "dry":
        if not by_mass and card.density is None:
            words = f"{card.name} is dry and {write_stated(rate)} a volume: weigh it, or give its density."
            return [Objection("volume_for_weight", "refuse", card.name, words)]
        return []
    if by_mass and card.density is None:
        is_ounce = rate.unit.startswith("oz")
        advice = "choose fl oz if fluid ounces were meant" if is_ounce else "choose a volume if that was meant"
        words = f"{card.name} is a liquid and {write_stated(rate)} a weight: {advice}, or give its density."
        return [Objection("ounces_for_fluid_ounces", "refuse", card.name, words)]
    if by_mass and not label_by_mass:
        words = (
            f"{card.name}: {write_stated(rate)} is a weight, its label has {write_stated(card.rate_most)}: a volume."
        )
        return [Objection("weight_for_volume", "ask", card.name, f"{words} Choose its unit, or weigh on purpose.")]
    return []


def _check_rate(each: Ingredient, target_l_per_m2: float) -> list[Objection]:
    """A rate against the least and most of its label."""
    card, rate = each.product, each.rate
    value = in_si(rate, measures=kind_of(rate.unit))

    def end(stated: Stated | None) -> float:
        return 0.0 if stated is None else same_base(stated, like=rate, product=card, target_l_per_m2=target_l_per_m2)

    least, most = end(card.rate_least), end(card.rate_most)
    if isnan(most) or isnan(least):
        words = f"{card.name}: {write_stated(rate)} cannot be held against its label without the density."
        return [Objection("rate_not_comparable", "ask", card.name, words)]
    base = name_base(rate)
    numbers = {f"rate_{base}": value, f"least_{base}": least, f"most_{base}": most}
    slip = guess_slip(value, least=least or most, most=most)
    hint = f" {slip}" if slip else ""
    if value > most * (1.0 + _SLACK):
        words = f"{card.name}: {write_stated(rate)} is {value / most:.3g} times the most its label allows, "
        words += f"{write_like(most, like=rate)}.{hint}"
        return [Objection("rate_above_label", "refuse", card.name, words, {**numbers, "times": value / most})]
    if value < least * (1.0 - _SLACK):
        words = (
            f"{card.name}: {write_stated(rate)} is below the least of its label, {write_like(least, like=rate)}.{hint}"
        )
        return [Objection("rate_below_label", "ask", card.name, words, {**numbers, "times": value / least})]
    if card.rate_least is None and slip:
        words = f"{card.name}: {write_stated(rate)} is {value / most:.2g} of the most its label allows.{hint}"
        return [Objection("rate_far_below_label", "ask", card.name, words, {**numbers, "times": value / most})]
    return []


def _check_range(each: Ingredient) -> list[Objection]:
    """A label that was entered the wrong way round."""
    card, found = each.product, []
    if card.rate_least is not None and kind_of(card.rate_least.unit) == kind_of(card.rate_most.unit):
        kind = kind_of(card.rate_most.unit)
        if in_si(card.rate_least, measures=kind) > in_si(card.rate_most, measures=kind) * (1.0 + _SLACK):
            found.append(
                f"{write_stated(card.rate_least)} as the least rate, {write_stated(card.rate_most)} as the most"
            )
    least, most = card.carrier_least, card.carrier_most
    if least is not None and most is not None:
        low, high = in_si(least, measures="carrier rate"), in_si(most, measures="carrier rate")
        if low > high * (1.0 + _SLACK):
            found.append(f"{write_stated(least)} as the least carrier, {write_stated(most)} as the most")
    return [
        Objection(
            "label_contradicts_itself", "refuse", card.name, f"{card.name}: its card has {words}: which is right?"
        )
        for words in found
    ]


def _check_carrier(plan: Plan) -> list[Objection]:
    """The mix on an area against each label's range, and what is usual where all are silent."""
    target, stated = plan.target_l_per_m2, plan.treatment.target
    found = []
    for card in plan.products:
        least, most = (
            None if end is None else in_si(end, measures="carrier rate")
            for end in (card.carrier_least, card.carrier_most)
        )
        if least is not None and target < least * (1.0 - _SLACK):
            words = (
                f"is less than the least of its label, {_write_carrier(least, stated)}. Walk slower or spray twice: "
            )
            words += "a mix too strong can burn."
            found.append(_tell_carrier("carrier_below_label", card.name, plan, words, least))
        if most is not None and target > most * (1.0 + _SLACK):
            words = f"is more than the most of its label, {_write_carrier(most, stated)}."
            found.append(_tell_carrier("carrier_above_label", card.name, plan, words, most))
    return found + _check_usual(target, stated)


def _write_carrier(value: float, stated: Stated) -> str:
    return write_like(value, like=stated, measures="carrier rate")


def _tell_carrier(key: str, name: str, plan: Plan, words: str, limit: float) -> Objection:
    numbers = {"target_l_per_m2": plan.target_l_per_m2, "limit_l_per_m2": limit}
    return Objection(key, "ask", name, f"{name}: {write_stated(plan.treatment.target)} {words}", numbers)


def _check_usual(target: float, stated: Stated) -> list[Objection]:
    """A mix on an area that lawns hardly ever get."""
    low, high = USUAL_L_PER_M2
    if low * (1.0 - _SLACK) <= target <= high * (1.0 + _SLACK):
        return []
    slip = guess_slip(target, least=low, most=high)
    ends = f"{_write_carrier(low, stated)} to {_write_carrier(high, stated)}"
    words = f"{write_stated(stated)} of mix is unusual on a lawn: {ends} is usual."
    words += f" {slip}" if slip else ""
    numbers = {"target_l_per_m2": target, "least_l_per_m2": low, "most_l_per_m2": high}
    return [Objection("carrier_unusual", "ask", "", words, numbers)]
