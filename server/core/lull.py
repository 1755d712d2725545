"""When calm long enough for a job opens and when it closes, as a state machine without a clock, and how it is said.

Speeds in metres per second, times in seconds since 1970 (UTC) or of the job, chances 0 to 1.
"""

from dataclasses import dataclass
from math import isfinite, nan

from server.core.calmrecord import CalmRecord
from server.core.outlook import CalmChance

OPEN_ABOVE = 0.7
"""Opens when calm for the whole job is at least this likely, for HOLD_S."""
CLOSE_BELOW = 0.5
"""Closes when it is less likely than this; between the two it stays as it is."""
HOLD_S = 180.0
"""So long a chance must be good before a lull is told: three 1-min means."""
UNKNOWN_S = 900.0
"""How long an open lull outlasts a chance that is not known."""
FEW, MANY = 0, 10


@dataclass(frozen=True, slots=True)
class LullState:
    """Whether a lull long enough is open, since when (NaN: not known yet), and the sentence of the last change.

    `changed` is true only in the step that opened or closed it: that is when a message is due.
    """

    is_open: bool = False
    since: float = nan
    reason: str = ""
    changed: bool = False
    good_since: float = nan
    unknown_since: float = nan


def step_lull(state: LullState, *, at: float, chance: CalmChance, is_calm_now: bool) -> LullState:
    """Take one more chance into the state.

    Parameters
    ----------
    state
        The state so far.
    at
        Now; never falling [s].
    chance
        What is likely for the minutes that the job needs; its chance is NaN where it is not known.
    is_calm_now
        Whether the latest mean is at or under the limit; where it is not, a lull closes at once.

    Returns
    -------
    LullState
        The state now.

    Notes
    -----
    A lull that opens while the chance sways about one value would be told again and again; so it opens at 0.7, held
    for 3 min, and closes under 0.5.

    References
    ----------
    Derivation: hysteresis; bounds set beforehand.

    Examples
    --------
    >>> good = CalmChance(3.0, 25.0, 0.8, 0.7, 0.9, 12.0)
    >>> state = step_lull(LullState(), at=0.0, chance=good, is_calm_now=True)
    >>> state = step_lull(state, at=180.0, chance=good, is_calm_now=True)
    >>> state.reason
    'A lull has opened: 8 in 10 that it stays under 3 m/s for the 25 minutes.'
    """
    known = isfinite(chance.chance)
    good_since = nan
    if is_calm_now and known and chance.chance >= OPEN_ABOVE:
        good_since = state.good_since if isfinite(state.good_since) else at
    unknown_since = nan if known else state.unknown_since if isfinite(state.unknown_since) else at
    if not state.is_open and isfinite(good_since) and at - good_since >= HOLD_S:
        return LullState(True, at, f"A lull has opened: {say_chance(chance)}.", True, good_since, nan)
    closed = _find_end(chance, is_calm_now, at - unknown_since if isfinite(unknown_since) else 0.0)
    if state.is_open and closed:
        return LullState(False, at, f"The lull has closed: {closed}.", True, nan, unknown_since)
    return LullState(state.is_open, state.since, state.reason, False, good_since, unknown_since)


def _find_end(chance: CalmChance, is_calm_now: bool, unknown_s: float) -> str:
    """Why an open lull ends, or nothing."""
    if not is_calm_now:
        return f"the wind is above {chance.limit_mps:g} m/s now"
    if isfinite(chance.chance) and chance.chance < CLOSE_BELOW:
        return say_chance(chance)
    if unknown_s >= UNKNOWN_S:
        return f"the wind has not been known for {unknown_s / 60.0:.0f} min"
    return ""


def say_chance(chance: CalmChance) -> str:
    """A chance in words, in tenths.

    Parameters
    ----------
    chance
        The chance.

    Returns
    -------
    str
        Without full stop; the reason where the chance is not known.

    References
    ----------
    Natural frequencies are understood better than percentages: Gigerenzer and Hoffrage, Psychol. Rev. 102 (1995) 684
    (from memory).

    Examples
    --------
    >>> say_chance(CalmChance(3.0, 25.0, 0.72, 0.6, 0.8, 12.0))
    '7 in 10 that it stays under 3 m/s for the 25 minutes'
    """
    if not isfinite(chance.chance):
        return chance.reason or "not known"
    tenths = round(10.0 * chance.chance)
    odds = "under 1 in 10" if tenths == FEW else "over 9 in 10" if tenths == MANY else f"{tenths} in 10"
    return f"{odds} that it stays under {chance.limit_mps:g} m/s for the {chance.minutes:.0f} minutes"


def say_record(record: CalmRecord, chance: CalmChance) -> str:
    """How often a chance like this one came true here.

    Parameters
    ----------
    record
        What was said here before.
    chance
        What is said now.

    Returns
    -------
    str
        One sentence.

    References
    ----------
    Derivation: the record's row of the same tenth.

    Examples
    --------
    >>> from server.core.calmrecord import SaidBefore
    >>> record = CalmRecord(3.0, 30, (SaidBefore(7, 40, 29),), 12.0, 0.15)
    >>> say_record(record, CalmChance(3.0, 30.0, 0.72, 0.6, 0.8, 12.0))
    'Looking back over 12 days, it would have said so 40 times here; 29 times it stayed calm.'
    """
    tenths = round(10.0 * chance.chance) if isfinite(chance.chance) else -1
    for row in record.rows:
        if row.tenths == tenths:
            times = f"{row.said} times here; {row.came_true} times it stayed calm"
            return f"Looking back over {record.days:.0f} days, it would have said so {times}."
    return "It has not said so here before."
