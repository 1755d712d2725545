"""What a treatment asks for in the hours after it: watering in or keeping dry, and keeping off."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isnan

from server.core.day import DAY_MIN, HOUR_MIN, begin_day, tell_day, tell_moment, tell_on
from server.core.entered import Stated, in_si
from server.core.journal import Book, Deed, Deeds, find_places, find_tags, group_places, has_zone, tell_place
from server.core.matter import Ground, Matter, name_state
from server.core.productcard import ProductCard
from server.core.quantity import convert

ENOUGH = 0.95
"""So much of the depth counts as all of it: nobody waters to the millimetre (our choice)."""
ASK_DAYS = 7
"""So long after its end a watering-in is still called overdue; then it was missed (our choice)."""
WATERS = ("watering", "rain")


@dataclass(frozen=True, slots=True)
class Need:
    """The watering-in that a treatment's products want together: the soonest and the deepest of them."""

    ground: Ground
    products: tuple[int, ...]
    within_h: float | None
    depth_mm: float
    unit: str


def judge_aftercare(book: Book, done: Deeds, planned: Deeds, now: int) -> tuple[Matter, ...]:
    """What the treatments done still ask for, and what went wrong after them.

    A label's own words go before the rules. Products that must not be watered in, and foliar ones of which the label
    does not ask it, are never told to be. A watering without a depth is asked about, not counted.

    Parameters
    ----------
    book
        The cards.
    done
        What was done.
    planned
        What is planned.
    now
        Minutes since the begin of 1970, local.

    Returns
    -------
    tuple of Matter
        Watering in, keeping dry, keeping off.

    References
    ----------
    Handbook's publications: Kansas State turf blog (a quarter of an inch; foliar products lose by water within 24 h),
    National Pesticide Information Center (keep off until dry).

    Examples
    --------
    >>> from server.core.workcard import WorkCard
    >>> from server.core.day import minute_of
    >>> from server.core.journal import read_deeds
    >>> product = ProductCard("Barrier", Stated(4.0, "pt/acre"), watering="must", water_within_h=8.0)
    >>> book = Book(works={1: WorkCard("2027-04-01", "treatment", time="10:00", products=(1,))}, products={1: product})
    >>> now = minute_of("2027-04-01", "12:00")
    >>> [each.sentence for each in judge_aftercare(book, *read_deeds(book, now), now)]
    ['Water in the lawn by 18:00 today.']
    """
    found: list[Matter] = []
    for deed in done:
        if deed.kind == "treatment":
            waters = tuple(each for each in (*done, *planned) if each.kind in WATERS)
            if deed.site is None and not deed.products:
                # A job without papers: which lawn it was on, and what it asks for, nobody knows.
                found += _judge_entry(book, deed, None, (), now)
                continue
            for site, zones in group_places(find_places(book, deed)).items():
                found += _judge_watering(book, deed, waters, site, zones, now)
                found += _judge_dryness(book, deed, waters, site, zones, now)
                found += _judge_entry(book, deed, site, zones, now)
    return tuple(found)


def find_need(book: Book, products: tuple[int, ...]) -> Need | None:
    """The watering-in that products want together.

    Parameters
    ----------
    book
        The cards.
    products
        Numbers of products.

    Returns
    -------
    Need or None
        Within how many hours and how deep; None where none of them wants it.

    References
    ----------
    Derivation: the soonest end and the greatest depth fit all.

    Examples
    --------
    >>> products = {1: ProductCard("Leaf", Stated(3.0, "L/ha"), action="foliar"),
    ...             2: ProductCard("Root", Stated(3.0, "L/ha"), watering="must", water_within_h=6.0)}
    >>> find_need(Book(products=products), (1,)), find_need(Book(products=products), (1, 2)).within_h
    (None, 6.0)
    """
    wanting: list[tuple[int, ProductCard, Ground]] = []
    for number, product in _cards(book, products):
        ground = _ground(book, "watering_in", find_tags(product), is_label=product.watering == "must")
        is_soil = product.watering == "either" and product.action == "soil" and ground.rule is not None
        if product.watering == "must" or is_soil:
            wanting.append((number, product, ground))
    if not wanting:
        return None
    ends = [_rule_hours(each) if card.water_within_h is None else card.water_within_h for _, card, each in wanting]
    hours = [each for each in ends if each is not None]
    depths = [depth for _, card, ground in wanting if (depth := card.water_depth or _rule_depth(ground)) is not None]
    deepest = max(depths, key=_millimetres, default=None)
    return Need(
        wanting[0][2], tuple(number for number, _, _ in wanting), min(hours, default=None),
        0.0 if deepest is None else _millimetres(deepest), "mm" if deepest is None else deepest.unit,
    )  # fmt: skip


def _judge_watering(
    book: Book, deed: Deed, waters: Deeds, site: int | None, zones: tuple[str, ...], now: int
) -> Iterator[Matter]:
    """Whether it was watered in, and else until when it has to be."""
    need = find_need(book, deed.products)
    if need is None:
        return
    barred = [card.name for _, card in _cards(book, deed.products) if _must_stay_dry(card)]
    if barred:
        words = f"{deed.name}: part of it is to be watered in, {' and '.join(barred)} is not. Look at both labels."
        yield _make("watering_in", need.ground, deed, site, zones, words, "conflict", "ask", deed.earliest, None)
        return
    until = None if need.within_h is None else deed.latest + round(HOUR_MIN * need.within_h)
    counted = [each for each in waters if not each.is_planned and each.latest >= deed.earliest]
    in_time = [each for each in counted if until is None or each.earliest <= until]
    left = tuple(zone for zone in zones if not _is_wet(in_time, site, zone, need))
    if not left:
        return
    if not any(not _is_wet(counted, site, zone, need) for zone in left):
        words = f"{tell_place(book, site, left)} was watered in late after {deed.name} of {tell_day(deed.latest, now)}."
        yield _make("watering_in", need.ground, deed, site, left, words, "conflict", "tell", deed.earliest, until)
        return
    state = name_state(deed.earliest, until, now)
    if until is not None and now > until + ASK_DAYS * DAY_MIN:
        words = f"{tell_place(book, site, left)} was not watered in after {deed.name} of {tell_day(deed.latest, now)}."
        yield _make("watering_in", need.ground, deed, site, left, words, "conflict", "tell", deed.earliest, until)
        return
    words = _tell_watering(book, deed, need, counted, site, left, until, now)
    matter = _make("watering_in", need.ground, deed, site, left, words, state, "ask", deed.earliest, until)
    yield replace(matter, title=f"Water in {tell_place(book, site, left)}")


def _tell_watering(
    book: Book, deed: Deed, need: Need, counted: list[Deed], site: int | None, zones: tuple[str, ...],
    until: int | None, now: int,
) -> str:  # fmt: skip
    """The sentence of a watering-in that is still to be done."""
    place = tell_place(book, site, zones)
    if until is None:
        when = "soon; the label says when"
    else:
        when = f"by {tell_moment(until, now) if deed.is_timed else 'the end of ' + tell_day(until, now)}"
    is_late = until is not None and now > until
    words = f"{place} should have been watered in {when}" if is_late else f"Water in {place} {when}"
    least = min((_sum_of(counted, site, zone) for zone in zones), default=0.0)
    if need.depth_mm > 0.0:
        words += f": {_write_depth(need.depth_mm, need.unit)}"
        words += f", {_write_depth(least, need.unit)} so far" if least > 0.0 else ""
    is_unknown = any(isnan(each.water_mm) and has_zone(each, site, zone) for each in counted for zone in zones)
    return f"{words}. A watering is noted without its depth: how much was it?" if is_unknown else f"{words}."


def _judge_dryness(
    book: Book, deed: Deed, waters: Deeds, site: int | None, zones: tuple[str, ...], now: int
) -> Iterator[Matter]:
    """Until when it has to stay dry, and what water came before."""
    wanting = [
        (hours, ground)
        for _, card in _cards(book, deed.products)
        if card.watering != "must" and (found := _dry_hours(book, card)) is not None
        for hours, ground in [found]
    ]
    if not wanting or any(card.watering == "must" for _, card in _cards(book, deed.products)):
        return
    hours, ground = max(wanting, key=lambda each: each[0])
    until = deed.latest + round(HOUR_MIN * hours)
    for water in waters:
        wet = tuple(zone for zone in zones if has_zone(water, site, zone))
        is_past_plan = water.is_planned and water.latest < now
        if (
            wet
            and deed.earliest <= water.latest
            and water.earliest < until
            and water.water_mm != 0.0
            and not is_past_plan
        ):
            yield _tell_wash(book, deed, water, ground, site, wet, until, now)
    if now < until:
        when = tell_moment(until, now) if deed.is_timed else f"the end of {tell_day(until, now)}"
        words = f"Keep {tell_place(book, site, zones)} dry until {when}, after {deed.name}."
        yield _make("keep_dry", ground, deed, site, zones, words, "wait", "tell", deed.earliest, until)


def _tell_wash(
    book: Book, deed: Deed, water: Deed, ground: Ground, site: int | None, zones: tuple[str, ...], until: int, now: int
) -> Matter:
    """What water before its time did or would do; it is only possible where a time of day is not known."""
    is_sure = water.earliest >= deed.latest and water.latest <= until
    depth = "" if isnan(water.water_mm) else f"{_write_depth(water.water_mm, 'mm')} of "
    when = tell_on(water.earliest, now)
    place = tell_place(book, site, zones)
    if water.is_planned:
        words = f"{water.name.capitalize()} is planned {when}, but {place} has to stay dry after {deed.name}."
    elif is_sure:
        words = f"{depth}{water.name} {when} came too soon after {deed.name} on {place}: it is weaker for it."
    else:
        words = f"{depth}{water.name} {when} may have come too soon after {deed.name} on {place}."
    severity = "ask" if water.is_planned else "tell"
    words = words[0].upper() + words[1:]
    matter = _make("keep_dry", ground, deed, site, zones, words, "conflict", severity, water.earliest, None, water)
    return replace(matter, title=f"{water.name.capitalize()} too soon after {deed.name}")


def _judge_entry(book: Book, deed: Deed, site: int | None, zones: tuple[str, ...], now: int) -> Iterator[Matter]:
    """Until when to keep off."""
    hours = [card.re_entry_h for _, card in _cards(book, deed.products) if card.re_entry_h is not None]
    ground = _ground(book, "re_entry", deed.tags, is_label=bool(hours))
    of_rule = _rule_hours(ground)
    place = tell_place(book, site, zones)
    if hours or of_rule is not None:
        until = deed.latest + round(HOUR_MIN * (max(hours) if hours else of_rule or 0.0))
        when = tell_moment(until, now) if deed.is_timed else f"the end of {tell_day(until, now)}"
        words = f"Keep off {place} until {when}, and until the spray has dried."
    elif ground.rule is not None:
        until, words = begin_day(deed.latest) + DAY_MIN - 1, f"Keep off {place} until the spray has dried."
    else:
        return
    if now <= until:
        yield _make("re_entry", ground, deed, site, zones, words, "wait", "tell", deed.earliest, until)


def _make(
    kind: str, ground: Ground, deed: Deed, site: int | None, zones: tuple[str, ...], words: str, state: str,
    severity: str, since: int, until: int | None, other: Deed | None = None,
) -> Matter:  # fmt: skip
    key = "/".join([kind, ground.key, deed.mark, *([other.mark] if other else []), f"site-{site or 0}"])
    works = (deed.number, *([other.number] if other else []))
    matter = Matter(
        key, kind, state, severity, site, zones, words, since, until, is_timed=deed.is_timed, works=works,
        products=deed.products,
    )  # fmt: skip
    return ground.explain(matter)


def _cards(book: Book, products: tuple[int, ...]) -> list[tuple[int, ProductCard]]:
    return [(number, book.products[number]) for number in products if number in book.products]


def _ground(book: Book, kind: str, tags: frozenset[str], *, is_label: bool) -> Ground:
    """The first rule of a kind in use that speaks of such a product."""
    for number, rule in book.rules.items():
        if rule.is_used and rule.kind == kind and rule.first in tags:
            return Ground(number, rule, is_label)
    return Ground(None, None, is_label)


def _dry_hours(book: Book, card: ProductCard) -> tuple[float, Ground] | None:
    ground = _ground(book, "keep_dry", find_tags(card), is_label=card.dry_h is not None)
    hours = card.dry_h if card.dry_h is not None else _rule_hours(ground)
    return None if hours is None else (hours, ground)


def _must_stay_dry(card: ProductCard) -> bool:
    return card.watering == "must_not" or (card.watering == "either" and card.action == "foliar")


def _rule_hours(ground: Ground) -> float | None:
    return None if ground.rule is None else ground.rule.within_h


def _rule_depth(ground: Ground) -> Stated | None:
    return None if ground.rule is None else ground.rule.water


def _millimetres(depth: Stated) -> float:
    return in_si(depth, measures="water depth")


def _sum_of(waters: list[Deed], site: int | None, zone: str) -> float:
    return sum(each.water_mm for each in waters if has_zone(each, site, zone) and not isnan(each.water_mm))


def _is_wet(waters: list[Deed], site: int | None, zone: str, need: Need) -> bool:
    """Whether a zone had its water; where no depth is asked for any water will do."""
    if need.depth_mm > 0.0:
        return _sum_of(waters, site, zone) >= ENOUGH * need.depth_mm
    return any(has_zone(each, site, zone) for each in waters)


def _write_depth(depth_mm: float, unit: str) -> str:
    return f"{convert(depth_mm, 'mm', into=unit):.3g} {unit}"
