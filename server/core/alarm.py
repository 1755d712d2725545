"""When to warn and when to say stop: the wind alarm as a state machine without a clock.

Speeds in metres per second, times in job seconds, probabilities 0 to 1.
"""

from dataclasses import dataclass, field
from math import isfinite, isnan, nan

RATHER = 0.6
"""On when the 60-s mean is above a level with more than this probability."""
LIKELY = 0.3
"""Also on above this while the apparent 60-s mean is above the level too; off below this, held."""
OFF_HOLD_S = 60.0
"""How long the wind must look calm before an alarm goes off; no alarm is shorter than this."""
TELL_AGAIN_S = 15.0
"""The sentence is renewed with the figures of the day after so long."""
GUST_FACTOR = 1.5
"""A 3-s gust above this many times a level raises it."""
UNKNOWN_S = 30.0
"""How long the wind may be unknown while spraying."""
KNOWN_AGAIN_S = 10.0
"""How long it must be known again before that notice goes off."""


@dataclass(frozen=True, slots=True)
class _Latch:
    """One level's memory: is it on, since when, why, since when has the wind looked calm (NaN: not)."""

    cause: str = ""
    since_t: float = nan
    calm_t: float = nan
    reason: str = ""
    told_t: float = nan


@dataclass(frozen=True, slots=True)
class AlarmState:
    """What the alarm says: `level` "none", "notice" or "stop", a sentence, since which job second (NaN: none)."""

    level: str = "none"
    reason: str = ""
    since_t: float = nan
    stop: _Latch = field(default_factory=_Latch)
    notice: _Latch = field(default_factory=_Latch)
    unknown: _Latch = field(default_factory=_Latch)


def step_alarm(
    state: AlarmState,
    *,
    t: float,
    p_above_limit: float,
    p_above_notice: float,
    mean_60s_mps: float,
    apparent_60s_mps: float,
    gust_3s_mps: float,
    limit_mps: float,
    notice_mps: float,
    is_spraying: bool,
    is_wind_known: bool,
    limit_told: str = "",
) -> AlarmState:
    """Take one second's wind into the alarm.

    Both levels follow one rule. On: the 60-s mean is above the level with probability over 0.6, or over 0.3 while the
    apparent 60-s mean is above it too, or a 3-s gust is above 1.5 times the level. Off: none of it, and probability
    below 0.3, for 60 s without a break. Wind unknown for 30 s while spraying is a notice of its own, and never
    switches another alarm off.

    Parameters
    ----------
    state
        The alarm so far.
    t
        Now [s]; never falling.
    p_above_limit
        Probability that the 60-s mean true wind is above the limit [-]; NaN: not known.
    p_above_notice
        The same for the notice level [-].
    mean_60s_mps
        The 60-s mean true wind, for the sentence [m/s].
    apparent_60s_mps
        The 60-s mean of the air past the moving rig, at the limit's height [m/s]; NaN: not known.
    gust_3s_mps
        The latest 3-s mean of the true wind, at least what the apparent one less the walking speed proves [m/s].
    limit_mps
        The wind limit [m/s]; NaN: none is set, and only unknown wind is told.
    notice_mps
        Where a notice is due [m/s].
    is_spraying
        Whether liquid flows.
    is_wind_known
        Whether this second gave a reading of the wind and of the rig's speed.
    limit_told
        The limit in the label's own words, for the sentence; "" tells it in m/s.

    Returns
    -------
    AlarmState
        The alarm now.

    Notes
    -----
    A gust counts as a 3-s mean (WMO-No. 306, 15.5.5), so a single second's gust raises nothing. The estimate of the
    true wind already takes the walk out, so walking upwind is no gust.

    References
    ----------
    Derivation: rule chosen on simulated jobs with known wind; 3-s gust after WMO-No. 8, Guide to Instruments, part I,
    chapter 5.

    Examples
    --------
    >>> state = step_alarm(AlarmState(), t=0.0, p_above_limit=0.9, p_above_notice=1.0, mean_60s_mps=5.1,
    ...     apparent_60s_mps=5.0, gust_3s_mps=5.5, limit_mps=4.5, notice_mps=3.6, is_spraying=True, is_wind_known=True)
    >>> state.level
    'stop'
    >>> state.reason
    '60-s mean wind 5.1 m/s, limit 4.5 m/s (90 % sure it is above): stop spraying and wait until the alarm is off.'
    """
    limit, notice_told = limit_told or f"{limit_mps:.1f} m/s", f"{notice_mps:.1f} m/s"
    rest = (mean_60s_mps, apparent_60s_mps, gust_3s_mps)
    stop = _step_level(state.stop, t, (p_above_limit, *rest), limit_mps, ("stop", limit))
    notice = _step_level(state.notice, t, (p_above_notice, *rest), notice_mps, ("notice", notice_told))
    unknown = _step_unknown(state.unknown, t, is_missed=is_spraying and not is_wind_known, is_known=is_wind_known)
    for level, latch in (("stop", stop), ("notice", notice), ("notice", unknown)):
        if latch.cause:
            since = state.since_t if state.level == level else t
            return AlarmState(level, latch.reason, since, stop, notice, unknown)
    return AlarmState("none", "", nan, stop, notice, unknown)


def _step_level(latch: _Latch, t: float, wind: tuple[float, ...], level_mps: float, level: tuple[str, str]) -> _Latch:
    """One level's rule for one second; the level is its name and its speed in words."""
    p, _, apparent, gust = wind
    if isnan(level_mps):
        return _Latch()
    cause = ""
    if p > RATHER or (p > LIKELY and apparent > level_mps):
        cause = "mean"
    elif gust > GUST_FACTOR * level_mps:
        cause = "gust"
    if cause:
        since = latch.since_t if latch.cause else t
        if cause == latch.cause and t - latch.told_t < TELL_AGAIN_S:
            return _Latch(cause, since, nan, latch.reason, latch.told_t)
        return _Latch(cause, since, nan, _tell(cause, level, wind), t)
    if not latch.cause:
        return latch
    is_calm = isfinite(p) and p < LIKELY
    calm_t = nan if not is_calm else t if isnan(latch.calm_t) else latch.calm_t
    if is_calm and t - calm_t >= OFF_HOLD_S:
        return _Latch()
    return _Latch(latch.cause, latch.since_t, calm_t, latch.reason, latch.told_t)


def _tell(cause: str, level: tuple[str, str], wind: tuple[float, ...]) -> str:
    """The sentence for the operator: averaging, value, limit, what to do."""
    p, mean, _, gust = wind
    what = "limit" if level[0] == "stop" else "notice level"
    do = (
        "stop spraying and wait until the alarm is off"
        if level[0] == "stop"
        else "be ready to stop, keep the nozzle low, leave the downwind edge for later"
    )
    if cause == "gust":
        return f"3-s gust {gust:.1f} m/s, more than 1.5 times the {what} of {level[1]}: {do}."
    sure = f" ({100 * p:.0f} % sure it is above)" if p >= 0.5 else ", and the air past the rig is above it too"
    return f"60-s mean wind {mean:.1f} m/s, {what} {level[1]}{sure}: {do}."


def _step_unknown(latch: _Latch, t: float, *, is_missed: bool, is_known: bool) -> _Latch:
    """The rule for a wind that nobody measures; `since_t` is when it was first missed, `calm_t` when it was back."""
    if is_missed:
        since = t if isnan(latch.since_t) else latch.since_t
        is_on = bool(latch.cause) or t - since >= UNKNOWN_S
        reason = (
            f"The wind has not been known for {UNKNOWN_S:.0f} s while spraying: look at the anemometer and the "
            "receiver, and stop until it is back."
        )
        return _Latch("unknown", since, nan, reason) if is_on else _Latch("", since)
    if not latch.cause:
        return _Latch()
    if not is_known:
        return _Latch(latch.cause, latch.since_t, nan, latch.reason)
    back = t if isnan(latch.calm_t) else latch.calm_t
    return _Latch() if t - back >= KNOWN_AGAIN_S else _Latch(latch.cause, latch.since_t, back, latch.reason)
