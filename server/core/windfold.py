"""The true wind as the operator has it: one second after another, the same for the live picture and the review.

Metres per second at the reference height, job seconds, directions FROM which the wind blows, degrees from true north.
"""

from dataclasses import dataclass, field, replace
from math import hypot, isfinite, nan, sqrt

import numpy as np

from server.core.alarm import AlarmState, step_alarm
from server.core.chance import Z90, chance_above
from server.core.cupmodel import Step
from server.core.halt import HIGHEST_MPS, Turning, note_turning
from server.core.limit import tell_limit
from server.core.lookback import Lookback, Outlook, expect_gust, extend_lookback, read_outlook
from server.core.profile import height_factor
from server.core.setup import Anemometer, Treatment
from server.core.vane import hear_vane
from server.core.windbank import SCALE_SD, Bank, Reading, read_bank, start_bank, step_bank
from server.core.windbound import Headings, Stillness, bound_wind, is_stuck, note_heading, note_stillness

MINUTE_S = 60
GUST_S = 3
GUST_MEMORY_S = 600
GUST_STEP_S = MINUTE_S - GUST_S + 1
"""Minutes so far apart miss no 3-s mean between them."""
GUST_GAIN = 1.06
"""What cup and filter leave of a gust beyond its minute's mean is so many times too small; found on simulated jobs."""
GUST_SPREAD, GUST_FLOOR_MPS = 1.3, 0.1
"""A gust is known so many times worse than its draws say, and never better than this; found on simulated jobs."""
NOTICE_SHARE = 0.8
"""Without a notice level of its own, `notice` is at this share of the limit."""
LEAST_KNOWN_S = 30
"""A minute with fewer known seconds raises no alarm by its mean."""
HOLD_S = 10.0
"""So long after the last reading figures are still given."""
LONGEST_GAP_S = 30.0
"""After a longer time without any second the estimate begins anew."""
_NORMALS = np.ascontiguousarray(np.random.default_rng(3).standard_normal((48, MINUTE_S)).T)
"""The same normal numbers every second, so that a gust does not flicker."""


@dataclass(frozen=True, slots=True)
class Second:
    """One second's input: the air past the rig, the rig's mean velocity with its sd, whether it sprays.

    `air_from_deg` is where that air comes from by a vane, clockwise from true north; NaN without one.
    """

    t: float
    apparent_mps: float
    is_bound: bool
    velocity_east_mps: float
    velocity_north_mps: float
    velocity_sd_mps: float
    is_spraying: bool
    air_from_deg: float = nan


@dataclass(frozen=True, slots=True)
class WindNow:
    """What is known at one second, from that second and before; NaN where not known."""

    t: float
    apparent_mps: float = nan
    true_mps: float = nan
    true_sd_mps: float = nan
    mean_60s_mps: float = nan
    mean_60s_sd_mps: float = nan
    from_deg: float = nan
    from_sd_deg: float = nan
    mean_2min_mps: float = nan
    mean_2min_sd_mps: float = nan
    gust_3s_mps: float = nan
    gust_3s_sd_mps: float = nan
    p_above_limit: float = nan
    is_settled: bool = False
    is_cup_stuck: bool = False
    alarm: AlarmState = field(default_factory=AlarmState)


@dataclass(frozen=True, slots=True)
class _Known:
    """What one known second proves, and the speed that its reading means in the wind's likeliest direction."""

    t: float
    low: float
    high: float
    apparent: float
    projected: float


@dataclass(frozen=True, slots=True)
class WindState:
    """Everything that the next second needs of those before; speeds at the cup's height."""

    bank: Bank | None = None
    past: Lookback | None = None
    headings: Headings = field(default_factory=Headings)
    stillness: Stillness = field(default_factory=Stillness)
    turning: Turning = field(default_factory=Turning)
    known: tuple[_Known, ...] = ()
    gusts: tuple[tuple[float, float], ...] = ()
    last_t: float = nan
    now: WindNow = field(default_factory=lambda: WindNow(nan))


def step_wind(state: WindState, second: Second, *, anemometer: Anemometer, treatment: Treatment) -> WindState:
    """Take one second; `now` of what comes back is what the operator sees.

    The bank of filters takes the reading, the last two minutes are seen again from there. Until the headings walked
    have settled the wind's speed, the bounds that the rig's own speed leaves are told instead.

    Parameters
    ----------
    state
        Everything before.
    second
        What the second brought [m/s].
    anemometer
        The cup's distance constant [m], height [m] and how well its line is known [%].
    treatment
        Limit, notice level [m/s] and reference height [m].

    Returns
    -------
    WindState
        With this second.

    Notes
    -----
    A cup that stands while velocities too different for any one wind are walked, or that halts sooner than still air
    could slow it, is stuck: its wind is not known, and after the former all begins anew. For
    the alarm a gust is the highest of the bank's latest 3-s mean, the speed that the readings mean in the likeliest
    direction, and what they prove in any direction; so walking upwind is no gust, and no gust is missed for want of a
    direction.

    References
    ----------
    Derivation: see `windbank`, `lookback`, `windbound` and `alarm`.

    Examples
    --------
    >>> state = WindState()
    >>> for t in range(70):
    ...     state = step_wind(state, Second(float(t), 3.0, False, 0.0, 0.0, 0.05, True), anemometer=Anemometer(0.34),
    ...         treatment=Treatment(0.04, wind_limit_mps=4.5))
    >>> round(state.now.mean_60s_mps, 1), state.now.alarm.level
    (3.0, 'none')
    """
    if isfinite(state.last_t) and not 0.0 < second.t - state.last_t <= LONGEST_GAP_S:
        state = WindState(now=replace(WindNow(nan), alarm=state.now.alarm))
    east, north = second.velocity_east_mps, second.velocity_north_mps
    if second.apparent_mps > HIGHEST_MPS:
        second = replace(second, apparent_mps=nan)
    is_read = isfinite(second.apparent_mps) and isfinite(east) and isfinite(north)
    turning = note_turning(
        state.turning, t=second.t, mps=second.apparent_mps, is_bound=second.is_bound, anemometer=anemometer
    )
    stillness = Stillness() if turning.is_halted else state.stillness
    if is_read and not turning.is_halted:
        stillness = note_stillness(stillness, t=second.t, is_bound=second.is_bound, east=east, north=north)
    disproved = is_stuck(stillness, below=second.apparent_mps)
    if disproved:
        # Since it stood the bank has been told what was not so.
        state = WindState(gusts=state.gusts, last_t=state.last_t, now=state.now)
        turning = replace(turning, is_halted=True)
    stuck = turning.is_halted
    if not is_read or stuck:
        second = replace(second, apparent_mps=nan if stuck else second.apparent_mps)
        is_read = False
    bank, past = _advance(state, second, anemometer, is_read=is_read)
    is_aimed = isfinite(second.air_from_deg)
    headings = note_heading(state.headings, east, north, is_aimed=is_aimed) if is_read else state.headings
    first = next((i for i, each in enumerate(state.known) if each.t > second.t - MINUTE_S + 0.5), len(state.known))
    known = state.known[first:]
    if is_read and bank is not None and past is not None:
        known = (*known, _know(second, read_bank(bank, past.present)))
    outlook, gusts = None, state.gusts
    if bank is not None and past is not None and known and second.t - known[-1].t <= HOLD_S:
        outlook = read_outlook(past, bank)
        lately = _restore_gust(outlook, *expect_gust(past, bank, _NORMALS)) if headings.is_settled else (nan, nan)
        gusts = (*gusts[1 - GUST_MEMORY_S :], lately)
    found = WindState(bank, past, headings, stillness, turning, known, gusts, second.t, state.now)
    factor = _factor(anemometer, treatment)
    now = _read(found, second, outlook, factor, treatment, is_read=is_read, is_stuck=stuck)
    return replace(found, now=now)


class WindFold:
    """`step_wind` with its state kept, for a caller that only goes forward."""

    def __init__(self, *, anemometer: Anemometer, treatment: Treatment) -> None:
        self._anemometer = anemometer
        self._treatment = treatment
        self.state = WindState()

    def step(self, second: Second) -> WindNow:
        """Take one second and say what is known."""
        self.state = step_wind(self.state, second, anemometer=self._anemometer, treatment=self._treatment)
        return self.state.now


def _factor(anemometer: Anemometer, treatment: Treatment) -> float:
    """From the cup's height to the limit's."""
    reference = treatment.wind_reference_height_m
    return 1.0 if reference is None else height_factor(from_height=anemometer.height_m, to_height=reference)


def _advance(
    state: WindState, second: Second, anemometer: Anemometer, *, is_read: bool
) -> tuple[Bank | None, Lookback | None]:
    """The bank a second on and the past as seen from it; nothing before the first reading."""
    before = state.bank
    if before is None:
        if not is_read:
            return None, None
        before = start_bank(second.apparent_mps, scale_sd=_trust(anemometer))
    step = Step(
        second.apparent_mps if is_read else nan,
        second.is_bound,
        second.velocity_east_mps if is_read else 0.0,
        second.velocity_north_mps if is_read else 0.0,
        second.velocity_sd_mps,
    )
    distance_m = anemometer.distance_constant_m
    bank = step_bank(before, step, distance_constant_m=distance_m, axis=state.headings.axis)
    if is_read and not second.is_bound:
        velocity = second.velocity_east_mps, second.velocity_north_mps
        bank = hear_vane(bank, air_from_deg=second.air_from_deg, air_mps=second.apparent_mps, velocity=velocity)
    return bank, extend_lookback(state.past, bank)


def _trust(anemometer: Anemometer) -> float:
    """The standard uncertainty of the cup's line: by its calibration, or what is assumed of any."""
    return SCALE_SD if anemometer.scale_sd_percent is None else anemometer.scale_sd_percent / 100.0


def _know(second: Second, reading: Reading) -> _Known:
    """What a reading proves, and what it means along the likeliest direction."""
    walk = hypot(second.velocity_east_mps, second.velocity_north_mps)
    low, high = bound_wind(second.apparent_mps, walk=walk, is_bound=second.is_bound)
    size = max(hypot(reading.east_mps, reading.north_mps), 1e-6)
    along = (second.velocity_east_mps * reading.east_mps + second.velocity_north_mps * reading.north_mps) / size
    rest = along**2 - walk**2 + second.apparent_mps**2
    is_aimed = reading.across_variance < (0.5 * size) ** 2 and not second.is_bound
    projected = along + sqrt(max(rest, 0.0)) if is_aimed else reading.speed_mps
    return _Known(second.t, low, high, second.apparent_mps, min(max(projected, low), high))


def _read(
    state: WindState,
    second: Second,
    outlook: Outlook | None,
    factor: float,
    treatment: Treatment,
    *,
    is_read: bool,
    is_stuck: bool,
) -> WindNow:
    """The second's figures at the reference height and the alarm; `state.now` is still the second before."""
    apparent, settled = factor * second.apparent_mps, state.headings.is_settled
    speed, sd, mean, mean_sd = (factor * figure for figure in _find_speeds(state, outlook))
    latest = factor * _latest_gust(state, outlook)
    alarm = _judge(state, second, (mean, mean_sd, latest), factor, treatment, is_read=is_read)
    if outlook is None:
        return WindNow(second.t, apparent, is_cup_stuck=is_stuck, alarm=alarm)
    gust, gust_sd = _highest_gust(state.gusts[::-GUST_STEP_S][: 1 + (GUST_MEMORY_S - MINUTE_S) // GUST_STEP_S])
    limit = treatment.wind_limit_mps
    return WindNow(
        t=second.t,
        apparent_mps=apparent,
        true_mps=speed,
        true_sd_mps=sd,
        mean_60s_mps=mean,
        mean_60s_sd_mps=mean_sd,
        from_deg=outlook.from_deg,
        from_sd_deg=outlook.from_sd_deg,
        mean_2min_mps=factor * outlook.two_minutes_mps if settled else mean,
        mean_2min_sd_mps=factor * outlook.two_minutes_sd_mps if settled else mean_sd,
        gust_3s_mps=factor * gust,
        gust_3s_sd_mps=factor * hypot(GUST_SPREAD * gust_sd, GUST_FLOOR_MPS),
        p_above_limit=nan if limit is None else chance_above(mean, mean_sd, limit),
        is_settled=settled,
        is_cup_stuck=is_stuck,
        alarm=alarm,
    )


def _restore_gust(outlook: Outlook, gust: float, sd: float) -> tuple[float, float]:
    """A minute's gust as it was before cup and filter damped it."""
    return outlook.minute_mps + GUST_GAIN * (gust - outlook.minute_mps), sd


def _highest_gust(gusts: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """The highest of the gusts of some minutes, each known so far: its mean and standard deviation."""
    known = np.array([gust for gust in gusts if isfinite(gust[0])])
    if not len(known):
        return nan, nan
    highest = np.maximum.reduce(known[:, :1] + known[:, 1:] * _NORMALS[: len(known)], axis=0)
    return float(highest.mean()), float(highest.std())


def _find_speeds(state: WindState, outlook: Outlook | None) -> tuple[float, float, float, float]:
    """The second's speed and the minute's mean, each with its sd: by the bank, or the bounds while it is unsettled."""
    if outlook is None:
        return nan, nan, nan, nan
    if state.headings.is_settled:
        return outlook.second_mps, outlook.second_sd_mps, outlook.minute_mps, outlook.minute_sd_mps
    return *_middle(state.known[-1:]), *_middle(state.known)


def _middle(known: tuple[_Known, ...]) -> tuple[float, float]:
    """The middle of the proven bounds, and the sd whose 90 % interval they are."""
    low = sum(each.low for each in known) / len(known)
    high = sum(each.high for each in known) / len(known)
    return 0.5 * (low + high), 0.5 * (high - low) / Z90


def _judge(
    state: WindState,
    second: Second,
    wind: tuple[float, float, float],
    factor: float,
    treatment: Treatment,
    *,
    is_read: bool,
) -> AlarmState:
    """The alarm a second on, from the minute's mean with its sd and the latest gust."""
    limit = nan if treatment.wind_limit_mps is None else treatment.wind_limit_mps
    notice = NOTICE_SHARE * limit if treatment.wind_notice_mps is None else treatment.wind_notice_mps
    known, (mean, mean_sd, gust) = state.known, wind
    is_enough = len(known) >= LEAST_KNOWN_S
    return step_alarm(
        state.now.alarm,
        t=second.t,
        p_above_limit=chance_above(mean, mean_sd, limit) if is_enough else nan,
        p_above_notice=chance_above(mean, mean_sd, notice) if is_enough else nan,
        mean_60s_mps=mean,
        apparent_60s_mps=factor * _mean_apparent(state),
        gust_3s_mps=gust,
        limit_mps=limit,
        notice_mps=notice,
        is_spraying=second.is_spraying,
        is_wind_known=is_read,
        limit_told=tell_limit(limit, treatment.wind_limit_stated),
    )


def _mean_apparent(state: WindState) -> float:
    """The 60-s mean of the air past the rig; NaN in the first minute, where it raises no alarm."""
    known, past = state.known, state.past
    if past is None or past.known_s < MINUTE_S or len(known) < LEAST_KNOWN_S:
        return nan
    return sum(each.apparent for each in known) / len(known)


def _latest_gust(state: WindState, outlook: Outlook | None) -> float:
    """The latest 3-s mean: by the bank, by the likeliest direction, or as proven in any; NaN without three readings."""
    latest = [each for each in state.known[-GUST_S:] if each.t > state.last_t - GUST_S - 0.5]
    if len(latest) < GUST_S or outlook is None:
        return nan
    proven = sum(each.low for each in latest) / GUST_S
    if not state.headings.is_settled:
        return proven
    projected = sum(each.projected for each in latest) / GUST_S
    return max(proven, projected, outlook.three_mps)
