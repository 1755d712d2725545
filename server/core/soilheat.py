"""Soil temperature as people read it: days' means, and when a threshold was reached.

Degrees Celsius inside. A day's mean is the one that an instrument told, or the plain mean of the day's readings; a
single reading stands for its day and is called so.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isnan

from server.core.day import DAY_MIN, begin_day, begin_year, tell_day, tell_on
from server.core.entered import in_si
from server.core.journal import Book, Deed, Deeds, tell_place
from server.core.matter import Ground, Matter, name_state
from server.core.quantity import convert
from server.core.rulecard import SUBJECT_WORDS, RuleCard

DEPTH_SLACK_MM = 25.5
"""A reading counts for a rule's depth within an inch of it (our choice); one without a depth counts for all."""
FRESH_DAYS = 30
"""An older reading says nothing of today (our choice)."""
LONGEST_DAYS = 60
"""So long after the threshold what waited for it is called due (our choice)."""
SURE_DEGREES = 1e-6
"""55 °F and its Celsius reading are the same; fractions of a millionth are not."""


@dataclass(frozen=True, slots=True)
class WarmDay:
    """A day's mean soil temperature, from how many readings it was taken; `is_mean` as an instrument told it."""

    minute: int
    mean_c: float
    readings: int
    is_mean: bool


def gather_days(deeds: Deeds, *, depth_mm: float | None, since: int) -> tuple[WarmDay, ...]:
    """The days' means of a site's soil from its readings.

    Parameters
    ----------
    deeds
        What was noted of one site.
    depth_mm
        The depth that is meant [mm]; None: any.
    since
        Readings before this minute do not count.

    Returns
    -------
    tuple of WarmDay
        By day; days without a reading are not there.

    References
    ----------
    Derivation: arithmetic means.

    Examples
    --------
    >>> morning, noon = (Deed(number, "soil_temperature", "", 1, (), frozenset(), minute, minute, temperature_c=value)
    ...                  for number, minute, value in ((1, 480, 8.0), (2, 900, 14.0)))
    >>> gather_days((morning, noon), depth_mm=None, since=0)
    (WarmDay(minute=0, mean_c=11.0, readings=2, is_mean=False),)
    """
    days: dict[int, list[Deed]] = {}
    for deed in deeds:
        is_near = depth_mm is None or isnan(deed.depth_mm) or abs(deed.depth_mm - depth_mm) <= DEPTH_SLACK_MM
        if not isnan(deed.temperature_c) and is_near and deed.earliest >= since:
            days.setdefault(begin_day(deed.earliest), []).append(deed)
    found = []
    for minute in sorted(days):
        means = [deed for deed in days[minute] if deed.is_mean]
        chosen = means or days[minute]
        mean = sum(deed.temperature_c for deed in chosen) / len(chosen)
        found.append(WarmDay(minute, mean, len(chosen), bool(means)))
    return tuple(found)


def find_reached(days: tuple[WarmDay, ...], *, threshold_c: float, in_row: int) -> int | None:
    """The day on which so many days in a row, one after the other, were as warm as the threshold or warmer.

    Parameters
    ----------
    days
        Means by day.
    threshold_c
        The temperature to reach [°C].
    in_row
        How many days in a row; a day without a reading breaks them.

    Returns
    -------
    int or None
        The minute with which the last of these days begins; None where it was not reached.

    References
    ----------
    Derivation: counting. NC State AG-763W asks for one 24-hour mean, Ohio State for seven days.

    Examples
    --------
    >>> days = tuple(WarmDay(1440 * k, 12.0 + k, 1, False) for k in range(4))
    >>> find_reached(days, threshold_c=13.0, in_row=2)
    2880
    """
    run, last = 0, None
    for day in days:
        is_next = last is not None and day.minute - last == DAY_MIN
        is_warm = day.mean_c >= threshold_c - SURE_DEGREES
        run = (run + 1 if is_next else 1) if is_warm else 0
        last = day.minute
        if run >= in_row:
            return day.minute
    return None


@dataclass(frozen=True, slots=True)
class SoilTrace:
    """What one rule makes of one site's readings of this season; `reached` None: not yet."""

    number: int
    rule: RuleCard
    site: int | None
    threshold_c: float
    in_row: int
    days: tuple[WarmDay, ...]
    reached: int | None


def trace_soil(book: Book, done: Deeds, now: int) -> tuple[SoilTrace, ...]:
    """The soil's days for each rule in use and each site with readings of this season.

    Parameters
    ----------
    book
        The cards.
    done
        What was done.
    now
        Minutes since the begin of 1970, local.

    Returns
    -------
    tuple of SoilTrace
        By rule, then by site.

    References
    ----------
    Derivation: as `gather_days` and `find_reached`.

    Examples
    --------
    >>> trace_soil(Book(), (), 0)
    ()
    """
    found: list[SoilTrace] = []
    readings = tuple(deed for deed in done if deed.kind == "soil_temperature")
    for number, rule in book.rules.items():
        if not rule.is_used or rule.kind != "soil_temperature" or rule.temperature is None:
            continue
        threshold_c, in_row = in_si(rule.temperature, measures="temperature"), round(rule.days_in_row or 1.0)
        for site in tuple(book.sites) or (None,):
            own = tuple(deed for deed in readings if deed.site in (None, site))
            days = gather_days(own, depth_mm=_depth_of(rule), since=begin_year(now, book.year_begins))
            if days:
                reached = find_reached(days, threshold_c=threshold_c, in_row=in_row)
                found.append(SoilTrace(number, rule, site, threshold_c, in_row, days, reached))
    return tuple(found)


def judge_soil(book: Book, done: Deeds, planned: Deeds, now: int) -> tuple[Matter, ...]:
    """Whether the soil has reached what rules wait for, and whether what they wait for was done.

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
        A matter for each rule and site with readings of this season.

    References
    ----------
    Derivation: the rules in use, each with its own source.

    Examples
    --------
    >>> from server.core.day import minute_of
    >>> from server.core.journal import read_deeds
    >>> from server.core.workcard import WorkCard
    >>> from server.core.entered import Stated
    >>> rule = RuleCard("Warm", "soil_temperature", first="pre_emergent", temperature=Stated(55.0, "°F"))
    >>> work = WorkCard("2027-04-01", "soil_temperature", temperature=Stated(56.0, "°F"), is_mean=True)
    >>> book, now = Book(works={1: work}, rules={1: rule}), minute_of("2027-04-02")
    >>> [each.sentence for each in judge_soil(book, *read_deeds(book, now), now)]
    ['The soil of the lawn reached 55 °F yesterday: pre-emergent is due.']
    """
    return tuple(
        matter for trace in trace_soil(book, done, now) for matter in _judge_trace(book, trace, done, planned, now)
    )


def _judge_trace(book: Book, trace: SoilTrace, done: Deeds, planned: Deeds, now: int) -> Iterator[Matter]:
    """What one rule says of one site."""
    site, what, begin = trace.site, SUBJECT_WORDS[trace.rule.first], begin_year(now, book.year_begins)
    own = [deed for deed in done if trace.rule.first in deed.tags and deed.site in (None, site)]
    coming = [deed for deed in planned if trace.rule.first in deed.tags and deed.site in (None, site)]
    state, since, until = "fact", trace.days[-1].minute, None
    if trace.reached is None:
        if since < now - FRESH_DAYS * DAY_MIN:
            return
        words = _tell_newest(book, trace, now)
    else:
        since = trace.reached
        words = _tell_reached(book, trace, now)
        if any(deed.earliest >= begin for deed in own):
            words += f"; {what} was done."
        elif now > since + LONGEST_DAYS * DAY_MIN:
            words += f"; {what} was not noted."
        else:
            until = None if trace.rule.days_most is None else since + round(trace.rule.days_most + 1) * DAY_MIN - 1
            state = name_state(since, until, now)
            words += f": {what} is {state}" + (f", planned for {tell_day(coming[0].earliest, now)}." if coming else ".")
    ground = Ground(trace.number, trace.rule)
    key = "/".join(["soil", ground.key, f"site-{site or 0}", str(begin // DAY_MIN)])
    matter = Matter(key, "soil_temperature", state, "tell", site, (), words, since, until)
    title = f"{what.capitalize()} on {tell_place(book, site)}: the soil reached {_aim(trace)}"
    yield ground.explain(replace(matter, title=title))


def _tell_newest(book: Book, trace: SoilTrace, now: int) -> str:
    """How warm the soil is, and what is waited for."""
    day, unit = trace.days[-1], _unit_of(trace)
    newest = f"{convert(day.mean_c, '°C', into=unit):.3g} {unit}"
    lone = "" if day.is_mean or day.readings > 1 else " (one reading)"
    what, place = SUBJECT_WORDS[trace.rule.first], tell_place(book, trace.site)
    return f"The soil of {place} is at {newest}{lone} {tell_on(day.minute, now)}; {what} waits for {_aim(trace)}."


def _tell_reached(book: Book, trace: SoilTrace, now: int) -> str:
    """When it was warm enough, and whether one reading alone says so."""
    assert trace.reached is not None
    day = next(each for each in trace.days if each.minute == trace.reached)
    lone = "" if day.is_mean or day.readings > 1 else ", by one reading"
    return f"The soil of {tell_place(book, trace.site)} reached {_aim(trace)} {tell_on(trace.reached, now)}{lone}"


def _aim(trace: SoilTrace) -> str:
    assert trace.rule.temperature is not None
    row = f" for {trace.in_row} days" if trace.in_row > 1 else ""
    return f"{trace.rule.temperature.value:g} {trace.rule.temperature.unit}{row}"


def _unit_of(trace: SoilTrace) -> str:
    assert trace.rule.temperature is not None
    return trace.rule.temperature.unit


def _depth_of(rule: RuleCard) -> float | None:
    return None if rule.depth is None else in_si(rule.depth, measures="soil depth")
