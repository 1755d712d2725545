"""A treatment against what the same ground got before: season's most, times, intervals, the same constituent twice.

Days as ISO dates; kilograms per m².
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import fsum, isnan, nan
from statistics import median

from server.core.day import begin_year, count_days, minute_of, write_day
from server.core.entered import Stated, in_si
from server.core.objections import Objection, guess_slip
from server.core.productcard import Constituent, ProductCard
from server.core.quantity import kind_of
from server.core.recipe import (
    Ingredient,
    Plan,
    choose_zones,
    name_base,
    rate_on_area,
    same_base,
    write_like,
    write_stated,
)

CLOSE_DAYS = 30.0
"""Two products that bring the same constituent within so many days are told, or within the longer of their least
intervals (common practice, no source: products bring the same constituent, add up)."""
UNLIKE_TIMES = 4.0
"""A rate so many times that of earlier treatments is asked about (common practice, no source)."""
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Application:
    """A product that was applied: when, on which zones (none named: all), at which rate, in how much mix."""

    day: str
    zones: tuple[str, ...]
    number: int
    product: ProductCard
    rate: Stated | None = None
    target_l_per_m2: float = nan


def check_season(plan: Plan, past: Sequence[Application]) -> list[Objection]:
    """What the season so far says against a treatment.

    Parameters
    ----------
    plan
        The treatment with its cards and its day.
    past
        What was applied on the site, in any order.

    Returns
    -------
    list of Objection
        Season's most by product and by constituent, times a season, intervals, the same constituent twice, rates unlike
        earlier ones. A season begins with the month that the plan names.

    References
    ----------
    Labels' season limits and least intervals, as the user entered them; two products can bring the same constituent:
    common practice, no source.

    Examples
    --------
    >>> from server.core.sitecard import SiteCard, ZoneCard
    >>> from server.core.treatmentcard import TreatmentCard
    >>> card = ProductCard("F", Stated(3, "fl oz/1000 ft2"), interval_days=21.0)
    >>> rate = Stated(3, "fl oz/1000 ft2")
    >>> planned, site = TreatmentCard("T", 1, Stated(1, "gal/1000 ft2")), SiteCard("Home", zones=(ZoneCard("front"),))
    >>> plan = Plan(planned, (Ingredient(4, card, rate),), site, None, "2027-05-31")
    >>> found = check_season(plan, [Application("2027-05-17", (), 4, card, rate)])[0]
    >>> found.key, found.numbers
    ('interval_short', {'days': 14.0, 'least_days': 21.0})
    """
    zones = [zone.name for zone in choose_zones(plan.site, ())[0]]
    wanted = [name for name in zones if not plan.treatment.zones or name in plan.treatment.zones] or [""]
    found: list[Objection] = []
    for each in plan.ingredients:
        own = [done for done in past if done.number == each.number]
        found += _check_interval(plan, each, own, wanted)
        found += _check_times(plan, each, own, wanted)
        found += _check_amount(plan, each, own, wanted)
        found += _check_likeness(plan, each, own)
    return found + _check_constituents(plan, past, wanted) + _check_twice(plan, past, wanted)


def _meets(done: Application, zone: str) -> bool:
    """Whether something was done on a zone; where nothing is named it was on all."""
    return not done.zones or zone == "" or zone in done.zones


def _on(zone: str) -> str:
    return f" on {zone}" if zone else ""


def _this_season(plan: Plan, done: Iterable[Application], zone: str) -> list[Application]:
    """What was done on a zone in the season of counting in which the plan's day lies."""
    begin = _begin(plan, plan.day)
    return [each for each in done if _begin(plan, each.day) == begin and _meets(each, zone)]


def _begin(plan: Plan, day: str) -> int:
    """The first minute of a day's season."""
    return begin_year(minute_of(day), plan.year_begins)


def _name_season(plan: Plan) -> str:
    """The season in words: a year where it begins with one."""
    return plan.day[:4] if plan.year_begins == 1.0 else f"the season from {write_day(_begin(plan, plan.day))}"


def _check_interval(plan: Plan, each: Ingredient, own: Sequence[Application], wanted: Sequence[str]) -> list[Objection]:
    """Days since the last, or until the next, of the same product on a zone."""
    least = each.product.interval_days
    gaps = [
        (abs(count_days(done.day, plan.day)), done.day, zone) for zone in wanted for done in own if _meets(done, zone)
    ]
    if least is None or not gaps or min(gaps)[0] >= least:
        return []
    days, day, zone = min(gaps)
    zone = "" if {each[2] for each in gaps if each[0] == days} == set(wanted) else zone
    relation = "after" if day <= plan.day else "before"
    words = f"{each.product.name}{_on(zone)}: {days:.0f} days {relation} {day}, its label wants {least:g} between."
    return [Objection("interval_short", "ask", each.product.name, words, {"days": days, "least_days": least})]


def _check_times(plan: Plan, each: Ingredient, own: Sequence[Application], wanted: Sequence[str]) -> list[Objection]:
    """Applications of a season, this one included; those of one day are one, as in its two directions."""
    most = each.product.season_times
    if most is None:
        return []
    counts = [(len({plan.day, *(done.day for done in _this_season(plan, own, zone))}), zone) for zone in wanted]
    times, zone = max(counts, key=lambda pair: pair[0])
    zone = "" if min(counts)[0] == times else zone
    if times <= most:
        return []
    words = f"{each.product.name}{_on(zone)}: this would be number {times} of {_name_season(plan)}, "
    words += f"its label allows {most:g}."
    return [Objection("season_times", "ask", each.product.name, words, {"times": float(times), "most_times": most})]


def _check_amount(plan: Plan, each: Ingredient, own: Sequence[Application], wanted: Sequence[str]) -> list[Objection]:
    """The product on an area over the season, this one included, against the season's most."""
    most_stated = each.product.season_most
    if most_stated is None:
        return []
    this = Application(plan.day, (), each.number, each.product, each.rate, plan.target_l_per_m2)
    most = in_si(most_stated, measures=kind_of(most_stated.unit))
    sums = []
    for zone in wanted:
        amounts = [_in_base(done, most_stated) for done in [*_this_season(plan, own, zone), this]]
        known = [amount for amount in amounts if not isnan(amount)]
        sums.append((fsum(known), len(amounts) - len(known), zone))
    total, unknown, zone = max(sums, key=lambda row: row[0])
    zone = "" if len({row[:2] for row in sums}) == 1 else zone
    name, numbers = each.product.name, _named(most_stated, total, most)
    if total > most * (1.0 + _SLACK):
        words = f"{name}{_on(zone)}: {write_like(total, like=most_stated)} in {_name_season(plan)} with this one, "
        words += _tell_excess(most_stated, total - most)
        return [Objection("season_most", "ask", name, words, numbers)]
    if unknown:
        words = f"{name}{_on(zone)}: of {unknown} applications in {_name_season(plan)} the amount is not known, "
        words += f"the season's most is {write_stated(most_stated)}."
        return [Objection("season_not_known", "ask", name, words, {**numbers, "not_known": float(unknown)})]
    return []


def _in_base(done: Application, like: Stated) -> float:
    """An application's rate in the base of another; NaN where it is not known."""
    if done.rate is None:
        return nan
    return same_base(done.rate, like=like, product=done.product, target_l_per_m2=done.target_l_per_m2)


def _tell_excess(most: Stated, excess: float) -> str:
    return f"the season's most is {write_stated(most)}: {write_like(excess, like=most)} too much."


def _named(like: Stated, total: float, most: float) -> dict[str, float]:
    base = name_base(like)
    return {f"total_{base}": total, f"most_{base}": most}


def _check_likeness(plan: Plan, each: Ingredient, own: Sequence[Application]) -> list[Objection]:
    """A rate far from those of earlier treatments with the product."""
    before = [amount for done in own if not isnan(amount := _in_base(done, each.rate)) and amount > 0.0]
    value = in_si(each.rate, measures=kind_of(each.rate.unit))
    if not before or 1.0 / UNLIKE_TIMES < value / median(before) < UNLIKE_TIMES:
        return []
    times = value / median(before)
    slip = guess_slip(value, least=min(before), most=max(before))
    words = f"{each.product.name}: {write_stated(each.rate)} is {times:.3g} times what it got before, "
    words += f"{write_like(median(before), like=each.rate)}."
    words += f" {slip}" if slip else ""
    return [Objection("rate_unlike_before", "ask", each.product.name, words, {"times": times})]


def _brings(product: ProductCard) -> dict[str, Constituent]:
    return {each.name.strip().casefold(): each for each in product.constituents}


def _brought(done: Application, key: str) -> float:
    """How much of a constituent an application brought [kg/m²]; NaN where it is not known."""
    part = _brings(done.product).get(key)
    if part is None:
        return 0.0
    if done.rate is None:
        return nan
    rate = rate_on_area(done.rate, product=done.product, target_l_per_m2=done.target_l_per_m2)
    return rate.kg_per_m2 * part.share_percent / 100.0


def _of_plan(plan: Plan) -> list[Application]:
    return [
        Application(plan.day, plan.treatment.zones, each.number, each.product, each.rate, plan.target_l_per_m2)
        for each in plan.ingredients
    ]


def _check_constituents(plan: Plan, past: Sequence[Application], wanted: Sequence[str]) -> list[Objection]:
    """A constituent's sum over the season and all products against the season's most of it."""
    found = []
    now = _of_plan(plan)
    for key in dict.fromkeys(key for done in now for key in _brings(done.product)):
        limits = [part.season_most for done in [*now, *past] if (part := _brings(done.product).get(key)) is not None]
        stated = min((each for each in limits if each is not None), key=_mass, default=None)
        if stated is None:
            continue
        rows = [(zone, [_brought(done, key) for done in [*_this_season(plan, past, zone), *now]]) for zone in wanted]
        zone, amounts = max(rows, key=lambda row: fsum(each for each in row[1] if not isnan(each)))
        total, most = fsum(each for each in amounts if not isnan(each)), _mass(stated)
        zone = "" if all(str(row[1]) == str(amounts) for row in rows) else zone
        name = next(part.name for done in now if (part := _brings(done.product).get(key)) is not None)
        numbers = {"total_kg_per_m2": total, "most_kg_per_m2": most}
        if total > most * (1.0 + _SLACK):
            words = f"{name}{_on(zone)}: {write_like(total, like=stated)} from all products in {_name_season(plan)} "
            words += f"with this one, {_tell_excess(stated, total - most)}"
            found.append(Objection("constituent_season_most", "ask", name, words, numbers))
        elif any(isnan(each) for each in amounts):
            words = f"{name}{_on(zone)}: how much of it came in {_name_season(plan)} is not known: "
            words += "give densities and rates."
            found.append(Objection("constituent_not_known", "ask", name, words, numbers))
    return found


def _mass(stated: Stated) -> float:
    return in_si(stated, measures="mass/area")


def _check_twice(plan: Plan, past: Sequence[Application], wanted: Sequence[str]) -> list[Objection]:
    """Two products that bring the same constituent in one mix or close together."""
    now = _of_plan(plan)
    near = [done for done in past if any(_meets(done, zone) for zone in wanted)]
    pairs = [(this, other) for place, this in enumerate(now) for other in [*now[place + 1 :], *near]]
    best: dict[tuple[str, int, int], tuple[float, Application, Application]] = {}
    for this, other in pairs:
        if this.number == other.number:
            continue
        days = abs(count_days(other.day, this.day))
        within = max(this.product.interval_days or 0.0, other.product.interval_days or 0.0) or CLOSE_DAYS
        for key in _brings(this.product).keys() & _brings(other.product).keys():
            place = (key, this.number, other.number)
            if days <= within and (place not in best or days < best[place][0]):
                best[place] = days, this, other
    return [_tell_twice(key, *row) for (key, _, _), row in sorted(best.items(), key=lambda item: item[0])]


def _tell_twice(key: str, days: float, this: Application, other: Application) -> Objection:
    name = _brings(this.product)[key].name
    amounts = [_brought(this, key), _brought(other, key)]
    total = amounts[0] + amounts[1]
    when = "in the same mix" if days == 0.0 else f"{days:.0f} days apart"
    words = f"{this.product.name} and {other.product.name} both bring {name}, {when}: "
    words += _tell_amounts((this, other), amounts)
    numbers = {"days": days} | {
        f"{of}_kg_per_m2": value
        for of, value in (("this", amounts[0]), ("other", amounts[1]), ("total", total))
        if not isnan(value)
    }
    return Objection("same_constituent", "tell", name, words, numbers)


def _tell_amounts(pair: tuple[Application, Application], amounts: Sequence[float]) -> str:
    """What each of two brings and both together, or which of them is not known."""
    said = [_write_mass(amount, pair[0].rate) for amount in (*amounts, amounts[0] + amounts[1])]
    unknown = [each.product.name for each, amount in zip(pair, amounts, strict=True) if isnan(amount)]
    if not unknown:
        return f"{said[0]} and {said[1]}, {said[2]} together."
    if len(unknown) == 2:
        return "how much is not known of either."
    known = said[1 if isnan(amounts[0]) else 0]
    return f"{known} from one, how much from {unknown[0]} is not known."


def _write_mass(kg_per_m2: float, rate: Stated | None) -> str:
    """A mass on an area in units like those of the rate: customary ones stay customary."""
    is_customary = rate is not None and any(word in rate.unit for word in ("ft2", "acre", "gal"))
    return write_like(kg_per_m2, like=Stated(1.0, "lb/1000 ft2" if is_customary else "g/100 m2"))
