"""When a sprayer is to be calibrated again: by time, by use, or because a later check says so.

Litres and days.
"""

from dataclasses import dataclass

from server.core.entered import in_si
from server.core.quantity import convert
from server.core.sprayercard import SprayerCard


@dataclass(frozen=True, slots=True)
class Use:
    """Days since the last calibration (None: there is none), litres since, what drifted in words (empty: nothing).

    `unknown_jobs` were done since and have no review that tells their litres.
    """

    days: float | None
    litres: float = 0.0
    drift: str = ""
    unknown_jobs: int = 0


@dataclass(frozen=True, slots=True)
class Due:
    """Whether it is due, by what ("never", "time", "use", "drift"), and in a sentence."""

    is_due: bool
    by: tuple[str, ...]
    sentence: str


def judge_due(card: SprayerCard, use: Use) -> Due:
    """Whether a sprayer is to be calibrated again.

    Parameters
    ----------
    card
        The sprayer, with the days and the volume after which its owner calibrates it again.
    use
        What happened since.

    Returns
    -------
    Due
        The sentence is without the sprayer's name and has volumes in the unit of the card.

    References
    ----------
    Definition of this project: the owner's own limits, and agreement as `server.core.catchtest.compare_meter` has it.

    Examples
    --------
    >>> from server.core.entered import Stated
    >>> card = SprayerCard("One", Stated(1, "m"), (450.0,))
    >>> judge_due(card, Use(None)).sentence
    'never calibrated here: catch the flow before you rely on its figures'
    >>> judge_due(card, Use(12.0, 84.0)).sentence
    'calibrated 12 days ago, 84 L sprayed since; due in 168 days or after 416 L'
    >>> judge_due(card, Use(200.0, 510.0)).by
    ('time', 'use')
    """
    if use.days is None:
        return Due(True, ("never",), "never calibrated here: catch the flow before you rely on its figures")
    most = in_si(card.due_volume, measures="tank")
    by = tuple(
        name
        for name, holds in (
            ("drift", bool(use.drift)),
            ("time", use.days >= card.due_days),
            ("use", use.litres >= most),
        )
        if holds
    )
    least = "at least " if use.unknown_jobs else ""
    when = "today" if use.days < 1.0 else f"{_count_days(use.days)} ago"
    since = f"calibrated {when}, {least}{_tell_volume(use.litres, card)} sprayed since"
    if not by:
        left = _count_days(card.due_days - use.days)
        return Due(False, (), f"{since}; due in {left} or after {_tell_volume(most - use.litres, card)}")
    reasons = {
        "drift": use.drift,
        "time": f"{card.due_days:g} days are set",
        "use": f"{_tell_volume(most, card)} are set",
    }
    return Due(True, by, f"due: {since}; {', '.join(reasons[name] for name in by)}")


def _count_days(days: float) -> str:
    whole = int(days)
    return f"{whole} day" if whole == 1 else f"{whole} days"


def _tell_volume(litres: float, card: SprayerCard) -> str:
    unit = card.due_volume.unit
    return f"{convert(litres, 'L', into=unit):.0f} {unit}"
