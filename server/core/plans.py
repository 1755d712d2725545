"""What is planned: on its day it is due, after it overdue until it is noted as done, and far away it is asked about."""

from collections.abc import Iterator
from dataclasses import replace

from server.core.day import DAY_MIN, begin_day, tell_day, tell_on
from server.core.journal import Book, Deed, Deeds, tell_place
from server.core.matter import Ground, Matter, name_state
from server.core.rulecard import RuleCard

FAR_DAYS = 400
"""A plan further away is asked about: a wrong year is easily typed (our choice)."""
FORGET_DAYS = 60
"""A plan that was not done is called overdue for so long; then whether it is still wanted is asked (our choice)."""
_OWN = Ground(None, RuleCard("Plans", "interval", reason="It was planned so.", source="the plan, as entered"))


def judge_plans(book: Book, planned: Deeds, now: int) -> tuple[Matter, ...]:
    """The plans by how their days stand to now.

    Parameters
    ----------
    book
        The cards.
    planned
        What is planned.
    now
        Minutes since the begin of 1970, local.

    Returns
    -------
    tuple of Matter
        One for each plan.

    References
    ----------
    Derivation: the days as entered.

    Examples
    --------
    >>> from server.core.day import minute_of
    >>> from server.core.journal import read_deeds
    >>> from server.core.workcard import WorkCard
    >>> book = Book(works={1: WorkCard("2027-04-01", "coring", is_plan=True)})
    >>> now = minute_of("2027-04-03")
    >>> [each.sentence for each in judge_plans(book, read_deeds(book, now)[1], now)]
    ['Coring was planned on 1 April on the lawn and is not noted as done.']
    """
    return tuple(matter for deed in planned for matter in _judge_plan(book, deed, now))


def _judge_plan(book: Book, deed: Deed, now: int) -> Iterator[Matter]:
    since = begin_day(deed.earliest)
    until = since + DAY_MIN - 1
    place, name = tell_place(book, deed.site, deed.zones), deed.name[:1].upper() + deed.name[1:]
    state, severity = name_state(since, until, now), "tell"
    if since > now + FAR_DAYS * DAY_MIN:
        words = f"{name} is planned {tell_on(since, now)} on {place}: is that day meant?"
        state, severity = "conflict", "ask"
    elif now > until + FORGET_DAYS * DAY_MIN:
        words = f"{name} was planned {tell_on(since, now)} on {place}: is it still wanted?"
        state, severity = "conflict", "ask"
    elif state == "overdue":
        words = f"{name} was planned {tell_on(since, now)} on {place} and is not noted as done."
    else:
        words = f"{name} is planned for {tell_day(since, now)} on {place}."
    number = (deed.number,)
    matter = Matter(
        f"plan/{deed.mark}", "plan", state, severity, deed.site, deed.zones, words, since, until,
        works=() if deed.is_treatment_card else number, treatments=number if deed.is_treatment_card else (),
        products=deed.products,
    )  # fmt: skip
    yield replace(_OWN.explain(matter), rule=None, title=f"{name} on {place}, planned")
