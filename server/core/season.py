"""The season as a whole: every matter of the journal, the labels and the rules on one day, and the sentence for it.

Nothing here forbids: what is at odds is told, what is still to be decided is asked.
"""

from server.core.aftercare import judge_aftercare
from server.core.day import DAY_MIN, begin_day
from server.core.journal import Book, read_deeds
from server.core.matter import STATES, Matter
from server.core.plans import judge_plans
from server.core.repeats import judge_repeats
from server.core.sequence import judge_sequence
from server.core.soilheat import judge_soil

SOON_DAYS = 7
"""What comes due within a week is said on the front page (our choice)."""
LOOK_BACK_DAYS = 366
"""What went wrong longer ago is not told any more (our choice)."""
RECENT_DAYS = 3
"""So long a work at odds with a rule is said there."""
_PRESSING = {"watering_in": 0, "keep_dry": 1, "re_entry": 2}
"""What cannot be made good later comes first."""


def judge_season(book: Book, now: int) -> tuple[Matter, ...]:
    """What is due, overdue, to wait for, at odds or good to know, the most pressing first.

    Parameters
    ----------
    book
        The cards.
    now
        Minutes since the begin of 1970, local.

    Returns
    -------
    tuple of Matter
        Each with a key of its own that stays the same from day to day.

    References
    ----------
    Derivation: as `judge_aftercare`, `judge_sequence`, `judge_repeats` and `judge_soil`.

    Examples
    --------
    >>> judge_season(Book(), 0)
    ()
    """
    done, planned = read_deeds(book, now)
    found = (
        *judge_aftercare(book, done, planned, now), *judge_sequence(book, done, planned, now),
        *judge_repeats(book, done, planned, now), *judge_soil(book, done, planned, now),
        *judge_plans(book, planned, now),
    )  # fmt: skip
    oldest = now - LOOK_BACK_DAYS * DAY_MIN
    return tuple(sorted((each for each in found if each.state != "conflict" or each.since >= oldest), key=_by_urgency))


def choose_sentence(matters: tuple[Matter, ...], now: int) -> str:
    """The one sentence for the front page, with how many more there are.

    Parameters
    ----------
    matters
        All matters of the day.
    now
        Minutes since the begin of 1970, local.

    Returns
    -------
    str
        The most pressing one; that nothing is due where that is so.

    References
    ----------
    Derivation: by `_rank`; our choice.

    Examples
    --------
    >>> choose_sentence((), 0)
    'Nothing is due.'
    """
    told = sorted(
        ((rank, matter) for matter in matters if (rank := _rank(matter, now)) is not None), key=lambda each: each[0]
    )
    if not told:
        return "Nothing is due."
    more = len(told) - 1
    return f"{told[0][1].sentence}{f' And {more} more.' if more else ''}"


def _rank(matter: Matter, now: int) -> tuple[int, int, int] | None:
    """Where a matter stands on the front page; None: it is not told there."""
    pressing = _PRESSING.get(matter.kind, 9)
    end = matter.until if matter.until is not None else matter.since
    if matter.state in ("overdue", "due"):
        is_urgent = matter.kind == "watering_in"
        return (0 if is_urgent else 3 if matter.state == "overdue" else 4), pressing, end
    if matter.state == "wait" and matter.kind != "interval":
        return 1, pressing, end
    if matter.state == "conflict":
        is_new = matter.since >= begin_day(now) - RECENT_DAYS * DAY_MIN
        is_open = matter.severity == "ask"  # what is done already waits behind what can still be done
        return (2 if is_open else 5, pressing, end) if is_open or is_new else None
    if matter.state == "later" and matter.since <= now + SOON_DAYS * DAY_MIN:
        return 6, pressing, matter.since
    return None


def _by_urgency(matter: Matter) -> tuple[int, int, str]:
    return STATES.index(matter.state), matter.since if matter.until is None else matter.until, matter.key
