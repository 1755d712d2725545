"""When a treatment may, and when it should, be done again: programmes, intervals, season's maxima, second halves."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from server.core.day import DAY_MIN, begin_day, begin_year, is_growing, tell_day, tell_on
from server.core.entered import Stated
from server.core.journal import Book, Deed, Deeds, find_places, find_tags, has_zone, tell_place
from server.core.matter import Ground, Matter, name_state
from server.core.productcard import ProductCard
from server.core.quantity import convert
from server.core.recipe import density_of
from server.core.rulecard import SUBJECT_WORDS, RuleCard

HALF = (0.4, 0.6)
"""Shares of the label's most that count as half a rate (our choice)."""
MONTH_DAYS = 28


@dataclass(frozen=True, slots=True)
class Series:
    """The deeds of one sort at zones that share all of them, by time."""

    site: int | None
    zones: tuple[str, ...]
    deeds: Deeds


def judge_repeats(book: Book, done: Deeds, planned: Deeds, now: int) -> tuple[Matter, ...]:
    """What is due again, what must not yet be done again, and what is left of a season's maximum.

    Each zone has a count of its own. A later work gives a later due day. A programme is due in its months only, and
    what came due in an earlier run of months is forgotten. Works of one day with a product are one application; their
    rates are added, for they may be the two directions of one.

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
        By rule, then by product.

    References
    ----------
    Derivation: the rules in use, each with its own source, and the labels as entered.

    Examples
    --------
    >>> from server.core.day import minute_of
    >>> from server.core.journal import read_deeds
    >>> from server.core.workcard import WorkCard
    >>> rule = RuleCard("Again", "repeat", first="mowing", days_least=5.0, days_most=8.0)
    >>> book = Book(works={1: WorkCard("2027-05-01", "mowing")}, rules={1: rule})
    >>> now = minute_of("2027-05-10")
    >>> [each.sentence for each in judge_repeats(book, *read_deeds(book, now), now)]
    ['Mowing again on the lawn is overdue, it was due by yesterday: the last was on 1 May.']
    """
    found: list[Matter] = []
    for number, rule in book.rules.items():
        if not rule.is_used:
            continue
        if rule.kind == "repeat":
            found += _judge_programme(book, Ground(number, rule), rule, done, planned, now)
        elif rule.kind == "split":
            found += _judge_halves(book, Ground(number, rule), rule, done, now)
    for number, product in book.products.items():
        found += _judge_interval(book, number, product, done, planned, now)
        found += _judge_maximum(book, number, product, done, planned, now)
    return tuple(found)


def gather_series(book: Book, deeds: Deeds, is_meant: Callable[[Deed], bool]) -> tuple[Series, ...]:
    """The deeds of a sort, zone by zone; zones that share all of theirs are told together.

    Parameters
    ----------
    book
        The cards.
    deeds
        What was done, by time.
    is_meant
        Tells which of them are of the sort.

    Returns
    -------
    tuple of Series
        By site and zone.

    References
    ----------
    Derivation: by grouping.

    Examples
    --------
    >>> cut = Deed(1, "mowing", "mowing", 1, ("Front", "Back"), frozenset({"mowing"}), 0, 0)
    >>> [each.zones for each in gather_series(Book(), (cut,), lambda deed: True)]
    [('Front', 'Back')]
    """
    meant = [deed for deed in deeds if is_meant(deed)]
    places = dict.fromkeys(place for deed in meant for place in find_places(book, deed))
    groups: dict[tuple[int | None, tuple[int, ...]], list[str]] = {}
    kept: dict[tuple[int | None, tuple[int, ...]], Deeds] = {}
    for site, zone in places:
        own = tuple(deed for deed in meant if has_zone(deed, site, zone))
        key = site, tuple(deed.number for deed in own)
        groups.setdefault(key, []).append(zone)
        kept[key] = own
    return tuple(Series(key[0], tuple(zones), kept[key]) for key, zones in groups.items())


def _judge_programme(
    book: Book, ground: Ground, rule: RuleCard, done: Deeds, planned: Deeds, now: int
) -> Iterator[Matter]:
    """When the next of a programme is due, counted from the last."""
    for series in gather_series(book, done, lambda deed: rule.first in deed.tags):
        last = series.deeds[-1]
        since = begin_day(last.earliest) + round(rule.days_least or 0.0) * DAY_MIN
        until = None if rule.days_most is None else begin_day(last.earliest) + round(rule.days_most + 1) * DAY_MIN - 1
        watched = (*range(since, max(now, since) + 1, MONTH_DAYS * DAY_MIN), max(now, since))
        if not all(is_growing(minute, rule.first_month, rule.last_month) for minute in watched):
            continue
        coming = [each for each in planned if rule.first in each.tags and _is_at(each, series)]
        state = name_state(since, until, now)
        title = f"{_name(rule.first)} again on {_place(book, series)}"
        words = _tell_span(title, last, since, until, now)
        if coming and begin_day(coming[0].earliest) < since:
            words = (
                f"{_name(rule.first)} is planned for {tell_day(coming[0].earliest, now)} on {_place(book, series)}: "
                f"its programme says from {tell_day(since, now)} on."
            )
            state = "conflict"
        elif coming:
            words = f"{words[:-1]}; planned for {tell_day(coming[0].earliest, now)}."
        severity = "ask" if state == "conflict" else "tell"
        matter = _make("repeat", ground, series, last, words, state, severity, since, until)
        yield replace(matter, title="" if state == "conflict" else title)


def _tell_span(what: str, last: Deed, since: int, until: int | None, now: int) -> str:
    """When something is due again, by how it stands to now."""
    state = name_state(since, until, now)
    end = None if until is None else tell_day(until, now)
    if state == "later":
        return f"{what}: from {tell_day(since, now)}{'' if end is None else f' to {end}'}."
    if state == "due":
        return f"{what} is due{'' if end is None else f' until {end}'}."
    return f"{what} is overdue, it was due by {end}: the last was {tell_on(last.earliest, now)}."


def _judge_halves(book: Book, ground: Ground, rule: RuleCard, done: Deeds, now: int) -> Iterator[Matter]:
    """When the second half of a split application is due."""
    begin = begin_year(now, book.year_begins)
    for series in gather_series(book, done, lambda deed: rule.first in deed.tags and deed.earliest >= begin):
        first = series.deeds[0]
        if len(series.deeds) > 1 or not any(_is_half(book, rule, number, rate) for number, rate in first.rates):
            continue
        since = begin_day(first.earliest) + round(rule.days_least or 0.0) * DAY_MIN
        until = None if rule.days_most is None else begin_day(first.earliest) + round(rule.days_most + 1) * DAY_MIN - 1
        title = f"The second half of {first.name} on {_place(book, series)}"
        words = _tell_span(title, first, since, until, now)
        matter = _make("split", ground, series, first, words, name_state(since, until, now), "tell", since, until)
        yield replace(matter, title=title)


def _judge_interval(
    book: Book, number: int, product: ProductCard, done: Deeds, planned: Deeds, now: int
) -> Iterator[Matter]:
    """What was done, or is planned, sooner than the least interval; and until when to wait."""
    ground, days = _interval_of(book, product)
    if not days:
        return
    for series in gather_series(book, done, lambda deed: number in deed.products):
        place = _place(book, series)
        for before, after in zip(series.deeds, series.deeds[1:], strict=False):
            gap = (begin_day(after.earliest) - begin_day(before.earliest)) // DAY_MIN
            # Two jobs of one day are one application: a lawn is seldom done in one go.
            if 0 < gap < days:
                when = tell_on(after.earliest, now)
                words = f"{product.name} came again on {place} after {gap} days, {when}: {days:g} are the least."
                begin = begin_day(after.earliest)
                yield _make("interval", ground, series, after, words, "conflict", "tell", begin, None, before)
        last = series.deeds[-1]
        free = begin_day(last.earliest) + round(days) * DAY_MIN
        if free <= now:
            continue
        coming = [each for each in planned if number in each.products and _is_at(each, series)]
        words = f"{product.name} not again on {place} before {tell_day(free, now)}: {days:g} days are the least."
        if coming and begin_day(coming[0].earliest) < free:
            when = tell_on(coming[0].earliest, now)
            words = f"{product.name} is planned {when} on {place}, too soon: not before {tell_day(free, now)}."
            yield _make("interval", ground, series, last, words, "conflict", "ask", begin_day(last.earliest), free - 1)
        else:
            yield _make("interval", ground, series, last, words, "wait", "tell", begin_day(last.earliest), free - 1)


def _judge_maximum(
    book: Book, number: int, product: ProductCard, done: Deeds, planned: Deeds, now: int
) -> Iterator[Matter]:
    """How much of a season's maximum is used, and what would go over it."""
    begin = begin_year(now, book.year_begins)
    ground = Ground()
    for series in gather_series(book, done, lambda deed: number in deed.products and deed.earliest >= begin):
        coming = tuple(each for each in planned if number in each.products and _is_at(each, series))
        place, last = _place(book, series), series.deeds[-1]
        times, most = product.season_times, product.season_most
        if times is not None:
            count, coming_days = _count_days(series.deeds), _count_days(coming)
            words = f"{product.name} on {place}: {count} of {times:g} applications used this season."
            yield from _tell_maximum(
                ground, series, last, words, count / times, (count + coming_days) / times, bool(coming)
            )
        if most is not None:
            used, is_all = _sum_rates(number, product, series.deeds, most)
            more, _ = _sum_rates(number, product, coming, most)
            amount = f"{'' if is_all else 'at least '}{used:.3g} of {most.value:g} {most.unit}"
            words = f"{product.name} on {place}: {amount} used this season."
            if used == 0.0:
                limit = f"{most.value:g} {most.unit} are the most"
                words = f"{product.name} on {place}: how much was used is not noted; {limit}."
            yield from _tell_maximum(
                ground, series, last, words, used / most.value, (used + more) / most.value, bool(coming), "amount"
            )


def _tell_maximum(
    ground: Ground, series: Series, last: Deed, words: str, used: float, with_plans: float, is_planned: bool,
    what: str = "times",
) -> Iterator[Matter]:  # fmt: skip
    """A maximum as a fact, or as a conflict where it is passed or would be."""
    slack = 1.0 + 1e-9
    state, severity = "fact", "tell"
    if used > slack:
        words, state, severity = f"{words} That is more than the label allows.", "conflict", "tell"
    elif is_planned and with_plans > slack:
        words, state, severity = f"{words} What is planned would go over it.", "conflict", "ask"
    made = _make(f"season_most_{what}", ground, series, last, words, state, severity, begin_day(last.earliest), None)
    yield made


def _interval_of(book: Book, product: ProductCard) -> tuple[Ground, float | None]:
    """The least interval of a product: its label's, else a rule's."""
    if product.interval_days is not None:
        return Ground(), product.interval_days
    tags = find_tags(product)
    for number, rule in book.rules.items():
        if rule.is_used and rule.kind == "interval" and rule.first in tags and rule.days_least is not None:
            return Ground(number, rule), rule.days_least
    return Ground(), None


def _is_half(book: Book, rule: RuleCard, number: int, rate: Stated) -> bool:
    product = book.products.get(number)
    if product is None or rule.first not in find_tags(product):
        return False
    share = _in_unit(rate, product, product.rate_most.unit)
    return share is not None and HALF[0] <= share / product.rate_most.value <= HALF[1]


def _sum_rates(number: int, product: ProductCard, deeds: Deeds, most: Stated) -> tuple[float, bool]:
    """The rates of a product summed in the unit of its maximum, and whether all of them are known."""
    rates = [next((rate for each, rate in deed.rates if each == number), None) for deed in deeds]
    known = [None if rate is None else _in_unit(rate, product, most.unit) for rate in rates]
    return sum(each for each in known if each is not None), None not in known


def _count_days(deeds: Deeds) -> int:
    return len({begin_day(deed.earliest) for deed in deeds})


def _in_unit(rate: Stated, product: ProductCard, unit: str) -> float | None:
    """A rate in another unit; None where that cannot be told."""
    try:
        return convert(rate.value, rate.unit, into=unit, density_kg_per_l=density_of(product))
    except ValueError:
        return None


def _is_at(deed: Deed, series: Series) -> bool:
    return any(has_zone(deed, series.site, zone) for zone in series.zones)


def _place(book: Book, series: Series) -> str:
    return tell_place(book, series.site, series.zones)


def _name(subject: str) -> str:
    return SUBJECT_WORDS[subject].capitalize()


def _make(
    kind: str, ground: Ground, series: Series, deed: Deed, words: str, state: str, severity: str, since: int,
    until: int | None, before: Deed | None = None,
) -> Matter:  # fmt: skip
    products = "-".join(map(str, deed.products))
    marks = [each.mark for each in (deed, before) if each is not None]
    key = "/".join([kind, ground.key, *marks, f"product-{products}", f"site-{series.site or 0}"])
    matter = Matter(
        f"{key}/{'+'.join(series.zones)}", kind, state, severity, series.site, series.zones, words, since, until,
        works=(deed.number,), products=deed.products,
    )  # fmt: skip
    return ground.explain(matter)
