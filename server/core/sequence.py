"""What goes before what: orders that a rule speaks against, works that still help, and an order to propose."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from server.core.day import DAY_MIN, begin_day, tell_day, tell_on
from server.core.journal import Book, Deed, Deeds, find_places, group_places, has_zone, tell_place
from server.core.matter import Ground, Matter
from server.core.rulecard import SUBJECT_WORDS, RuleCard

LONGEST_DAYS = 60.0
"""Works that lie further apart do not concern each other where a rule does not say how far (our choice)."""
LOOK_BACK_DAYS = 366


@dataclass(frozen=True, slots=True)
class Step:
    """One work of a proposed order, with the rules for which it comes after earlier ones."""

    deed: Deed
    reasons: tuple[str, ...] = ()
    rules: tuple[int, ...] = ()


def judge_sequence(book: Book, done: Deeds, planned: Deeds, now: int) -> tuple[Matter, ...]:
    """Works in the wrong order, works thought to undo earlier ones, and earlier works that still help.

    What is done is told, what is planned is asked about. Where two works fell on one day without their times nothing
    is said of their order.

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
        By rule.

    References
    ----------
    Derivation: the rules in use, each with its own source.

    Examples
    --------
    >>> from server.core.day import minute_of
    >>> from server.core.journal import read_deeds
    >>> from server.core.workcard import WorkCard
    >>> rule = RuleCard("Holes help", "helps", first="coring", second="conditioner", days_most=28.0)
    >>> book = Book(works={1: WorkCard("2027-04-01", "coring")}, rules={1: rule})
    >>> now = minute_of("2027-04-10")
    >>> [each.sentence for each in judge_sequence(book, *read_deeds(book, now), now)]
    ['The coring of 1 April on the lawn still helps a conditioner until 29 April.']
    """
    found: list[Matter] = []
    recent = tuple(deed for deed in done if deed.earliest > now - LOOK_BACK_DAYS * DAY_MIN)
    for number, rule in book.rules.items():
        ground = Ground(number, rule)
        if rule.is_used and rule.kind in ("undoes", "before"):
            found += _judge_pairs(book, ground, rule, (*recent, *planned), now)
        elif rule.is_used and rule.kind == "helps":
            found += _judge_help(book, ground, rule, recent, planned, now)
    return tuple(found)


def propose_order(book: Book, planned: Deeds) -> tuple[Step, ...]:
    """The planned works of one site in an order that the rules do not speak against.

    Works keep the order of their days as far as the rules let them. Where rules contradict each other the earlier day
    goes first.

    Parameters
    ----------
    book
        The cards, for the rules.
    planned
        What is planned.

    Returns
    -------
    tuple of Step
        The works in that order, each with why it comes after others.

    References
    ----------
    Kahn, Topological sorting of large networks, Communications of the ACM 5, 1962 (from memory).

    Examples
    --------
    >>> rule = RuleCard("Core first", "before", first="coring", second="pre_emergent")
    >>> spray = Deed(1, "treatment", "Barrier", 1, (), frozenset({"pre_emergent"}), 0, 0)
    >>> core = Deed(2, "coring", "coring", 1, (), frozenset({"coring"}), 9, 9)
    >>> [step.deed.name for step in propose_order(Book(rules={1: rule}), (spray, core))]
    ['coring', 'Barrier']
    """
    before = {
        (one.mark, other.mark): (number, rule)
        for number, rule in book.rules.items()
        if rule.is_used and rule.kind in ("before", "undoes")
        for one in planned
        for other in planned
        if one.mark != other.mark and _is_pair(book, rule, one, other) and not _is_pair(book, rule, other, one)
    }
    left, steps = list(planned), list[Step]()
    while left:
        free = [each for each in left if not any((other.mark, each.mark) in before for other in left)]
        chosen = (free or left)[0]
        left.remove(chosen)
        pairs = [(step.deed, (step.deed.mark, chosen.mark)) for step in steps]
        why = [(deed, *before[pair]) for deed, pair in pairs if pair in before]
        reasons = tuple(f"After {deed.name}: {rule.reason or rule.name}" for deed, _, rule in why)
        steps.append(Step(chosen, reasons, tuple(number for _, number, _ in why)))
    return tuple(steps)


def _is_pair(book: Book, rule: RuleCard, one: Deed, other: Deed) -> bool:
    """Whether a rule's first and second are these, at a place that they share."""
    return rule.first in one.tags and rule.second in other.tags and bool(_shared(book, one, other))


def _shared(book: Book, one: Deed, other: Deed) -> tuple[tuple[int | None, str], ...]:
    """The places that two works share."""
    if one.site is not None and other.site is not None and one.site != other.site:
        return ()
    narrow, wide = (one, other) if one.site is not None else (other, one)
    return tuple(place for place in find_places(book, narrow) if has_zone(wide, *place))


def _judge_pairs(book: Book, ground: Ground, rule: RuleCard, deeds: Deeds, now: int) -> Iterator[Matter]:
    """Each later one of the first sort with the last one of the second sort before it."""
    days = LONGEST_DAYS if rule.days_most is None else rule.days_most
    for later in deeds:
        if rule.first not in later.tags:
            continue
        for earlier in reversed(deeds):
            gap = begin_day(later.earliest) - begin_day(earlier.earliest)
            if earlier.latest >= later.earliest or rule.second not in earlier.tags or gap > days * DAY_MIN:
                continue
            shared = _shared(book, later, earlier)
            if not shared or (rule.kind == "before" and _is_settled(book, rule, deeds, later, earlier, days)):
                continue
            yield _tell_pair(book, ground, later, earlier, shared, now)
            break


def _is_settled(book: Book, rule: RuleCard, deeds: Deeds, later: Deed, earlier: Deed, days: float) -> bool:
    """Whether a wrong order needs no word: another went before in time, or it is told as undone already."""
    is_told = any(
        each.is_used and (each.kind, each.first, each.second) == ("undoes", rule.first, rule.second)
        for each in book.rules.values()
    )
    return is_told or any(
        rule.first in each.tags
        and each.latest <= earlier.latest
        and each.mark != later.mark
        and begin_day(earlier.earliest) - begin_day(each.earliest) <= days * DAY_MIN
        and _shared(book, each, earlier)
        for each in deeds
    )


def _tell_pair(
    book: Book, ground: Ground, later: Deed, earlier: Deed, shared: tuple[tuple[int | None, str], ...], now: int
) -> Matter:
    rule = ground.rule
    assert rule is not None
    site, zones = shared[0][0], tuple(zone for _, zone in shared)
    place = tell_place(book, site, zones)
    one = f"{earlier.name} {tell_on(earlier.earliest, now)} on {place}"
    when = tell_on(later.earliest, now)
    verb = "is planned" if later.is_planned else "came"
    end = "it is thought to undo it" if rule.kind == "undoes" else "it usually goes first"
    words = f"{_begin(later.name)} {verb} {when}, after {one}: {end}."
    deeds = (later, earlier)
    matter = Matter(
        "/".join([rule.kind, ground.key, later.mark, earlier.mark]), rule.kind, "conflict",
        "ask" if later.is_planned else "tell", site, zones, words, begin_day(later.earliest),
        works=tuple(each.number for each in deeds if not each.is_treatment_card),
        treatments=tuple(each.number for each in deeds if each.is_treatment_card),
        products=tuple(dict.fromkeys((*later.products, *earlier.products))),
    )  # fmt: skip
    return ground.explain(replace(matter, title=f"{_begin(later.name)} after {earlier.name}"))


def _judge_help(book: Book, ground: Ground, rule: RuleCard, done: Deeds, planned: Deeds, now: int) -> Iterator[Matter]:
    """Earlier works that still help something which has not been done since."""
    for deed in done:
        until = begin_day(deed.earliest) + round((rule.days_most or LONGEST_DAYS) + 1) * DAY_MIN - 1
        if rule.first not in deed.tags or now > until:
            continue
        used = [each for each in done if rule.second in each.tags and each.latest >= deed.earliest]
        newer = [each for each in done if rule.first in each.tags and each.latest > deed.latest]
        places = [
            place for place in find_places(book, deed) if not any(has_zone(each, *place) for each in (*used, *newer))
        ]
        for site, zones in group_places(places).items():
            coming = [each for each in planned if rule.second in each.tags and _is_on(each, site, zones)]
            yield _tell_help(book, ground, deed, coming, site, zones, until, now)


def _is_on(deed: Deed, site: int | None, zones: tuple[str, ...]) -> bool:
    return any(has_zone(deed, site, zone) for zone in zones)


def _tell_help(
    book: Book, ground: Ground, deed: Deed, coming: list[Deed], site: int | None, zones: tuple[str, ...], until: int,
    now: int,
) -> Matter:  # fmt: skip
    """That a work still helps, and whether what it would help is planned in time."""
    assert ground.rule is not None
    what, place, begin = SUBJECT_WORDS[ground.rule.second], tell_place(book, site, zones), begin_day(deed.earliest)
    words = f"The {deed.name} {_of(tell_day(deed.earliest, now))} on {place} still helps a {what} until "
    words += tell_day(until, now)
    is_late = bool(coming) and min(each.earliest for each in coming) > until
    if coming:
        words += f"; one is planned for {tell_day(coming[0].earliest, now)}{', which is later' if is_late else ''}"
    state, severity = ("conflict", "ask") if is_late else ("due", "tell")
    key = "/".join(["helps", ground.key, deed.mark, f"site-{site or 0}"])
    matter = Matter(key, "helps", state, severity, site, zones, f"{words}.", begin, until, works=(deed.number,))
    title = f"{_begin(what)} while the {deed.name} still helps on {place}"
    return ground.explain(replace(matter, title=title))


def _begin(words: str) -> str:
    return words[:1].upper() + words[1:]


def _of(day: str) -> str:
    return f"from {day}" if day.isalpha() else f"of {day}"
