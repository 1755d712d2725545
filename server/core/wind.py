"""The wind at the rig second by second: as the operator had it, and as it looks afterwards.

Metres per second at the reference height, job seconds, directions FROM which the wind blows, degrees from true north.
"""

from collections import deque
from dataclasses import dataclass, replace
from math import atan2, degrees, erf, exp, hypot, isfinite, nan, sqrt

import numpy as np

from server.core.alarm import AlarmState, step_alarm
from server.core.cup import Apparent
from server.core.cupmodel import Step
from server.core.log import Floats
from server.core.profile import height_factor
from server.core.results import Interval, Track, WindSeries
from server.core.setup import Anemometer, Treatment
from server.core.timebase import Timebase
from server.core.windbank import Bank, Reading, read_bank, start_bank, step_bank

MINUTE_S = 60
TWO_MINUTES_S = 120
GUST_S = 3
GUST_MEMORY_S = 600
SPREAD = 1.15
"""Intervals are widened by this; found by trial on simulated days."""
DETERMINED_MPS = 0.4
"""The rig's velocity must have varied by this (standard deviation) for the wind's speed to be settled."""
SIDED_MPS = 0.12
BOUND_SHARE = (0.15, 0.06)
DROPOUT_SD = (0.05, 0.15)
NOTICE_SHARE = 0.8
"""Without a notice level of its own, `notice` is at this share of the limit."""
LONGEST_GAP_S = 30
Z90 = 1.645


@dataclass(frozen=True, slots=True)
class Second:
    """One second's input: the air past the rig, the rig's mean velocity with its sd, whether it sprays."""

    t: float
    apparent_mps: float
    is_bound: bool
    velocity_east_mps: float
    velocity_north_mps: float
    velocity_sd_mps: float
    is_spraying: bool


@dataclass(frozen=True, slots=True)
class WindNow:
    """What is known at one second, from that second and before; NaN where not known."""

    t: float
    apparent_mps: float
    true_mps: float
    true_sd_mps: float
    mean_60s_mps: float
    mean_60s_sd_mps: float
    from_deg: float
    from_sd_deg: float
    mean_2min_mps: float
    gust_3s_mps: float
    p_above_limit: float
    mean_variance: float
    turbulence_variance: float
    alarm: AlarmState


@dataclass(frozen=True, slots=True)
class _Memory:
    """One second as it is remembered for the means."""

    speed: float
    apparent: float
    projected: float
    east: float
    north: float
    velocity_east: float
    velocity_north: float


class WindFold:
    """The causal estimate: one second after another; the same for the live picture and the review."""

    def __init__(self, *, anemometer: Anemometer, treatment: Treatment) -> None:
        reference = treatment.wind_reference_height_m
        self._factor = 1.0 if reference is None else height_factor(from_height=anemometer.height_m, to_height=reference)
        self._distance_m = anemometer.distance_constant_m
        self._treatment = treatment
        self._bank: Bank | None = None
        self._memory: deque[_Memory] = deque(maxlen=TWO_MINUTES_S)
        self._gusts: deque[float] = deque(maxlen=GUST_MEMORY_S)
        self._last_t = nan
        self._alarm = AlarmState()

    def step(self, second: Second) -> WindNow:
        """Take one second.

        Parameters
        ----------
        second
            What the second brought [m/s].

        References
        ----------
        Derivation: see `windbank`; 3-s gusts from the speed that the cup's reading means in the mean direction.

        Examples
        --------
        >>> fold = WindFold(anemometer=Anemometer(0.34), treatment=Treatment(0.04, wind_limit_mps=4.5))
        >>> for t in range(70):
        ...     now = fold.step(Second(float(t), 3.0, False, 0.0, 0.0, 0.05, True))
        >>> round(now.mean_60s_mps), now.alarm.level
        (3, 'none')
        """
        if isfinite(self._last_t) and second.t - self._last_t > LONGEST_GAP_S:
            self._bank = None
            self._memory.clear()
        self._last_t = second.t
        reading = self._advance(second)
        found = self._read(second, reading)
        self._alarm = self._judge(second, found)
        return replace(found, alarm=self._alarm)

    def _advance(self, second: Second) -> Reading | None:
        """Move the bank on; None before the first reading."""
        if self._bank is None:
            if not isfinite(second.apparent_mps):
                return None
            self._bank = start_bank(second.apparent_mps)
        is_known = isfinite(second.velocity_east_mps)
        step = Step(
            second.apparent_mps if is_known else nan,
            second.is_bound,
            second.velocity_east_mps if is_known else 0.0,
            second.velocity_north_mps if is_known else 0.0,
            second.velocity_sd_mps,
        )
        self._bank = step_bank(self._bank, step, distance_constant_m=self._distance_m)
        return read_bank(self._bank)

    def _read(self, second: Second, reading: Reading | None) -> WindNow:
        """The second's figures."""
        is_known = reading is not None and isfinite(second.apparent_mps) and isfinite(second.velocity_east_mps)
        if reading is None or not is_known:
            self._gusts.append(nan)
            empty = replace(_NOTHING, t=second.t, apparent_mps=self._factor * second.apparent_mps)
            return replace(empty, gust_3s_mps=_highest(self._gusts))
        self._memory.append(_remember(second, reading))
        spread, sided = _velocity_spread(self._memory)
        speed, sd = _bounded(second, reading, is_determined=spread > DETERMINED_MPS)
        minute = [m.speed for m in list(self._memory)[-MINUTE_S:]]
        mean, mean_sd = _mean_of(minute, reading, sd, is_determined=spread > DETERMINED_MPS)
        latest = [m.projected for m in list(self._memory)[-GUST_S:]]
        self._gusts.append(self._factor * sum(latest) / GUST_S if len(latest) == GUST_S else nan)
        from_deg, from_sd = _direction(self._memory, reading, is_sided=sided > SIDED_MPS)
        f = self._factor
        limit = self._treatment.wind_limit_mps
        return WindNow(
            t=second.t,
            apparent_mps=f * second.apparent_mps,
            true_mps=f * speed,
            true_sd_mps=f * sd,
            mean_60s_mps=f * mean,
            mean_60s_sd_mps=f * mean_sd,
            from_deg=from_deg,
            from_sd_deg=from_sd,
            mean_2min_mps=f * sum(m.speed for m in self._memory) / len(self._memory),
            gust_3s_mps=_highest(self._gusts),
            p_above_limit=nan if limit is None else chance_above(f * mean, f * mean_sd, limit),
            mean_variance=f * f * max(reading.mean_variance, sd * sd if spread <= DETERMINED_MPS else 0.0),
            turbulence_variance=f * f * reading.turbulence_variance,
            alarm=self._alarm,
        )

    def _judge(self, second: Second, now: WindNow) -> AlarmState:
        """The alarm a second on."""
        limit = self._treatment.wind_limit_mps
        if limit is None:
            return AlarmState()
        notice = self._treatment.wind_notice_mps or NOTICE_SHARE * limit
        apparent = [m.apparent for m in list(self._memory)[-MINUTE_S:]]
        return step_alarm(
            self._alarm,
            t=second.t,
            p_above_limit=now.p_above_limit,
            p_above_notice=chance_above(now.mean_60s_mps, now.mean_60s_sd_mps, notice),
            mean_60s_mps=now.mean_60s_mps,
            apparent_60s_mps=self._factor * sum(apparent) / len(apparent) if len(apparent) > MINUTE_S / 2 else nan,
            gust_3s_mps=self._gusts[-1] if self._gusts else nan,
            limit_mps=limit,
            notice_mps=min(notice, limit),
            is_spraying=second.is_spraying,
            is_wind_known=isfinite(now.mean_60s_mps),
        )


_NOTHING = WindNow(nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, AlarmState())


def chance_above(mean: float, sd: float, limit: float) -> float:
    """The probability that a speed is above a limit.

    Parameters
    ----------
    mean
        Estimate [m/s]; NaN: not known.
    sd
        Standard deviation [m/s].
    limit
        Limit [m/s].

    Returns
    -------
    float
        0 to 1; NaN where the speed is not known.

    References
    ----------
    Derivation: the normal distribution.

    Examples
    --------
    >>> chance_above(4.0, 1.0, 4.0)
    0.5
    """
    if not isfinite(mean):
        return nan
    return 0.5 * (1.0 + erf((mean - limit) / max(sd, 1e-6) / sqrt(2.0)))


def gather_seconds(air: Apparent, track: Track, intervals: tuple[Interval, ...]) -> list[Second]:
    """Join the air past the rig with the rig's own velocity, second by second.

    Parameters
    ----------
    air
        The apparent wind [m/s].
    track
        The rig's way with its velocity [m/s].
    intervals
        When the spray was on [s].

    Returns
    -------
    list[Second]
        A second each; in a dropout the last velocity is held with a growing standard deviation, for 10 s.

    References
    ----------
    Derivation: means over the second.

    Examples
    --------
    >>> gather_seconds(Apparent(*[np.zeros(0)] * 5), Track(*[np.zeros(0)] * 13, np.zeros((0, 0, 2))), ())
    []
    """
    known = np.isfinite(track.velocity_east_mps)
    t, east, north = track.t[known], track.velocity_east_mps[known], track.velocity_north_mps[known]
    sums = [np.concatenate(([0.0], np.cumsum(values))) for values in (east, north)]
    found = []
    for at, mps, bound in zip(air.t.tolist(), air.mps.tolist(), air.is_bound.tolist(), strict=True):
        low, high = np.searchsorted(t, [at - 1.0, at], side="right")
        age = 0.0 if high > low else (at - 1.0 - float(t[high - 1]) if high else nan)
        if high > low:
            velocity = [float(total[high] - total[low]) / float(high - low) for total in sums]
        elif isfinite(age) and age <= 10.0:
            velocity = [float(east[high - 1]), float(north[high - 1])]
        else:
            velocity = [nan, nan]
        sd = DROPOUT_SD[0] + DROPOUT_SD[1] * max(age, 0.0) if isfinite(age) else nan
        sprays = any(i.start_t <= at and i.end_t >= at - 1.0 for i in intervals)
        found.append(Second(at, mps, bool(bound), velocity[0], velocity[1], sd, sprays))
    return found


def estimate_wind(
    air: Apparent, seconds: list[Second], timebase: Timebase, *, anemometer: Anemometer, treatment: Treatment
) -> WindSeries:
    """The wind of the whole job: causal columns, and the estimate from both directions of time.

    Parameters
    ----------
    air
        The apparent wind [m/s].
    seconds
        The same seconds with the rig's velocity [m/s].
    timebase
        The job's time axis.
    anemometer
        The cup.
    treatment
        Limit, notice level and reference height.

    Returns
    -------
    WindSeries
        A row a second, NaN where not known.

    Notes
    -----
    Afterwards a second bank runs backward in time and both are joined by their variances; each has seen the present
    second, so the joint variance is not taken below half of the smaller.

    References
    ----------
    Fraser, Potter, "The optimum linear smoother as a combination of two optimum linear filters", AIAA Journal 7 (1969)
    387 (from memory).

    Examples
    --------
    >>> n = np.zeros(0)
    >>> air = Apparent(n.astype(int), n, n, n, n.astype(bool))
    >>> len(estimate_wind(air, [], Timebase(n, 0.0), anemometer=Anemometer(), treatment=Treatment(0.04)).t)
    0
    """
    fold = WindFold(anemometer=anemometer, treatment=treatment)
    ahead = [fold.step(second) for second in seconds]
    back = WindFold(
        anemometer=replace(anemometer, distance_constant_m=0.5), treatment=replace(treatment, wind_limit_mps=None)
    )
    mirrored = [replace(s, t=-s.t, velocity_sd_mps=hypot(s.velocity_sd_mps, 0.15)) for s in reversed(seconds)]
    behind = [back.step(second) for second in mirrored][::-1]
    smooth, smooth_sd = _join(ahead, behind)

    def column(name: str) -> Floats:
        return np.array([getattr(now, name) for now in ahead], dtype=np.float64)

    return WindSeries(
        boot=air.boot,
        mono=air.mono,
        t=air.t,
        utc=air.t + timebase.utc_offset_s,
        apparent_mps=column("apparent_mps"),
        true_mps=column("true_mps"),
        true_sd_mps=column("true_sd_mps"),
        mean_60s_mps=column("mean_60s_mps"),
        mean_60s_sd_mps=column("mean_60s_sd_mps"),
        from_deg=column("from_deg"),
        from_sd_deg=column("from_sd_deg"),
        mean_2min_mps=column("mean_2min_mps"),
        gust_3s_mps=column("gust_3s_mps"),
        p_above_limit=column("p_above_limit"),
        alarm=tuple(now.alarm.level for now in ahead),
        smooth_mps=smooth,
        smooth_sd_mps=smooth_sd,
    )


def _join(ahead: list[WindNow], behind: list[WindNow]) -> tuple[Floats, Floats]:
    """Both directions of time weighted by their variances."""
    values = [np.array([now.true_mps for now in side]) for side in (ahead, behind)]
    variances = [np.array([now.true_sd_mps**2 for now in side]) for side in (ahead, behind)]
    weights = [np.where(np.isfinite(v), 1.0 / np.maximum(s, 1e-4), 0.0) for v, s in zip(values, variances, strict=True)]
    total = weights[0] + weights[1]
    known = total > 0.0
    whole = np.where(known, total, 1.0)
    mean = sum(w * np.nan_to_num(v) for w, v in zip(weights, values, strict=True)) / whole
    sd = np.sqrt(np.maximum(1.0 / whole, 0.5 * np.fmin(variances[0], variances[1])))
    return np.where(known, mean, nan), np.where(known, sd, nan)


def _remember(second: Second, reading: Reading) -> _Memory:
    """What the means need of a second; `projected` is the speed that the cup's reading means in the mean direction."""
    size = max(hypot(reading.east_mps, reading.north_mps), 1e-6)
    ve, vn = second.velocity_east_mps, second.velocity_north_mps
    along = (ve * reading.east_mps + vn * reading.north_mps) / size
    rest = along * along - ve * ve - vn * vn + second.apparent_mps**2
    sure = exp(-reading.across_variance / size**2)
    projected = sure * max(along + sqrt(max(rest, 0.0)), 0.0) + (1.0 - sure) * reading.speed_mps
    if second.is_bound:
        projected = min(projected, reading.speed_mps)
    return _Memory(reading.speed_mps, second.apparent_mps, projected, reading.east_mps, reading.north_mps, ve, vn)


def _velocity_spread(memory: deque[_Memory]) -> tuple[float, float]:
    """How much the rig's velocity varied: along its main line, and beside it."""
    table = np.array([(m.velocity_east, m.velocity_north) for m in memory])
    low, high = np.linalg.eigvalsh(np.cov(table.T) if len(table) > 1 else np.zeros((2, 2)))
    return sqrt(max(float(high), 0.0)), sqrt(max(float(low), 0.0))


def _bounded(second: Second, reading: Reading, *, is_determined: bool) -> tuple[float, float]:
    """The second's speed with its sd; until headings settle the wind, the bounds that the rig's own speed leaves."""
    sd = SPREAD * sqrt(reading.speed_variance)
    if is_determined:
        return reading.speed_mps, sd
    walk = hypot(second.velocity_east_mps, second.velocity_north_mps)
    slack = BOUND_SHARE[0] + BOUND_SHARE[1] * second.apparent_mps
    low, high = max(0.0, abs(second.apparent_mps - walk) - slack), second.apparent_mps + walk + slack
    if second.is_bound:
        low = 0.0
    speed = min(max(reading.speed_mps, low), high)
    return speed, max(min(sd, (high - low) / 2.0), (high - low) / (2.0 * Z90) * min(1.0, walk + 0.1))


def _mean_of(values: list[float], reading: Reading, sd: float, *, is_determined: bool) -> tuple[float, float]:
    """The mean of the last minute and its sd: what is shared stays, turbulence averages out."""
    mean = sum(values) / len(values)
    if len(values) < MINUTE_S or not is_determined:
        return mean, sd
    scale = min(max(24.0 / max(mean, 0.8), 5.0), 20.0)
    shared = reading.mean_variance + reading.turbulence_variance * min(1.0, 2.0 * scale / MINUTE_S) * 0.25
    return mean, SPREAD * sqrt(shared)


def _direction(memory: deque[_Memory], reading: Reading, *, is_sided: bool) -> tuple[float, float]:
    """Where the last minute's wind came from and its sd; NaN while the side is open or the wind too light."""
    last = list(memory)[-MINUTE_S:]
    east, north = sum(m.east for m in last) / len(last), sum(m.north for m in last) / len(last)
    size = hypot(east, north)
    sd = degrees(SPREAD * sqrt(reading.across_variance) / max(size, 1e-6))
    if not is_sided or size < 0.3 or sd > 60.0:
        return nan, nan
    return degrees(atan2(-east, -north)) % 360.0, sd


def _highest(values: deque[float]) -> float:
    """The highest known value, NaN without any."""
    known = [value for value in values if isfinite(value)]
    return max(known) if known else nan
