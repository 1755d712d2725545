"""The wind of a whole job: what the operator had second by second, and what it looks like afterwards.

Metres per second at the reference height, job seconds, directions FROM which the wind blows, degrees from true north.
"""

from math import isfinite, nan

import numpy as np

from server.core.chance import chance_above
from server.core.cup import Apparent, apparent_by_second
from server.core.log import Floats, WindSamples
from server.core.lookback import SPREAD_S, draw_speeds
from server.core.profile import height_factor
from server.core.results import Bools, Interval, Track, WindSeries
from server.core.setup import Anemometer, Treatment
from server.core.timebase import Timebase
from server.core.vane import face_air
from server.core.windfold import Second, WindFold, WindNow, WindState, step_wind
from server.core.windverdict import judge_pass_winds, summarise_wind

__all__ = [
    "Second",
    "WindFold",
    "WindNow",
    "WindState",
    "chance_above",
    "estimate_wind",
    "gather_seconds",
    "judge_pass_winds",
    "step_wind",
    "summarise_wind",
]

DRAWS = 200
DROPOUT_SD = (0.05, 0.15)
"""The velocity's sd, m/s, and how it grows each second that it is held in a dropout."""
DROPOUT_S = 10.0
AFTER_S = 40
"""Each second is judged afterwards with so much, and at most a minute, of what came after it."""


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
    sprays = np.zeros(len(air.t), dtype=np.bool_)
    for interval in intervals:
        sprays |= (interval.start_t <= air.t) & (interval.end_t >= air.t - 1.0)
    lows, highs = (np.searchsorted(t, ends, side="right") for ends in (air.t - 1.0, air.t))
    found = []
    bows = air.from_bow_deg if len(air.from_bow_deg) else np.full(len(air.t), nan)
    rows = (air.t, air.mps, air.is_bound, bows, sprays, lows, highs)
    for at, mps, bound, bow, spraying, low, high in zip(*(values.tolist() for values in rows), strict=True):
        age = 0.0 if high > low else (at - 1.0 - float(t[high - 1]) if high else nan)
        if high > low:
            velocity = [float(total[high] - total[low]) / float(high - low) for total in sums]
        elif isfinite(age) and age <= DROPOUT_S:
            velocity = [float(east[high - 1]), float(north[high - 1])]
        else:
            velocity = [nan, nan]
        sd = DROPOUT_SD[0] + DROPOUT_SD[1] * max(age, 0.0) if isfinite(age) else nan
        aim = face_air(bow, east=velocity[0], north=velocity[1])
        found.append(Second(at, mps, bound, velocity[0], velocity[1], sd, spraying, aim))
    return found


def estimate_wind(
    wind: WindSamples,
    track: Track,
    timebase: Timebase,
    *,
    anemometer: Anemometer,
    treatment: Treatment,
    rng: np.random.Generator,
    intervals: tuple[Interval, ...],
) -> WindSeries:
    """The wind of the whole job: causal columns, and the estimate from all of the job's readings.

    Parameters
    ----------
    wind
        Wind messages.
    track
        The rig's way with its velocity [m/s].
    timebase
        The job's time axis.
    anemometer
        The cup.
    treatment
        Limit, notice level and reference height.
    rng
        Source of the possible winds.
    intervals
        When the spray was on [s].

    Returns
    -------
    WindSeries
        A row a second, NaN where not known.

    References
    ----------
    Derivation: `step_wind` forward, `draw_winds` back.

    Examples
    --------
    >>> n, i = np.zeros(0), np.zeros(0, dtype=np.int64)
    >>> track = Track(i, *[n] * 11, i, np.zeros((0, 0, 2)))
    >>> len(estimate_wind(WindSamples(i, i, *[n] * 6), track, Timebase(np.zeros(0), 0.0), anemometer=Anemometer(),
    ...     treatment=Treatment(0.04), rng=np.random.default_rng(1), intervals=()).t)
    0
    """
    air = apparent_by_second(wind, timebase, anemometer=anemometer)
    state, rows = WindState(), []
    draws = np.full((DRAWS, len(air.t)), np.nan, dtype=np.float32)
    for row, second in enumerate(gather_seconds(air, track, intervals)):
        after = step_wind(state, second, anemometer=anemometer, treatment=treatment)
        if after.bank is not None and after.bank.steps == 1:
            _look_back(draws, state, row - 1, rng, after_s=0)
        state = after
        rows.append(state.now)
        if state.bank is not None and state.bank.steps % (SPREAD_S - AFTER_S) == 0:
            _look_back(draws, state, row, rng, after_s=AFTER_S)
    _look_back(draws, state, len(air.t) - 1, rng, after_s=0)
    return _tabulate(air, rows, draws * _height(anemometer, treatment), timebase)


def _height(anemometer: Anemometer, treatment: Treatment) -> np.float32:
    """From the cup's height to the limit's."""
    reference = treatment.wind_reference_height_m
    found = 1.0 if reference is None else height_factor(from_height=anemometer.height_m, to_height=reference)
    return np.float32(found)


def _look_back(draws: Floats, state: WindState, row: int, rng: np.random.Generator, *, after_s: int) -> None:
    """Fill in possible winds of the seconds before `row` that have had `after_s` seconds after them.

    Ordered by their mean, so that what one stretch got too high the next one did too: errors shared by a whole pass are
    not averaged away at the seams. Where the headings have not settled the speed nothing is filled in.
    """
    if state.bank is None or state.past is None or not state.headings.is_settled:
        return
    found = draw_speeds(state.past, state.bank, rng=rng, draws=DRAWS)[:, after_s:][:, ::-1]
    if not found.shape[1]:
        return
    stop = row + 1 - after_s
    found = found[:, max(found.shape[1] - stop, 0) :]
    place = np.s_[stop - found.shape[1] : stop]
    is_open = np.isnan(draws[0, place])
    found = found[np.argsort(found.mean(axis=1))]
    draws[:, place][:, is_open] = found[:, is_open]


def _doubt_standing(stands: Bools, rows: list[WindNow]) -> Bools:
    """Seconds in which the cup stood and was found stuck only later: afterwards they are not known."""
    doubtful = np.array([now.is_cup_stuck for now in rows], dtype=np.bool_)
    for row in range(len(rows) - 2, -1, -1):
        doubtful[row] |= doubtful[row + 1] and stands[row]
    return doubtful


def _tabulate(air: Apparent, rows: list[WindNow], draws: Floats, timebase: Timebase) -> WindSeries:
    """The series' columns; where nothing is known afterwards, what was known at the time."""

    def column(name: str) -> Floats:
        return np.array([getattr(now, name) for now in rows], dtype=np.float64)

    at_once, at_once_sd = column("true_mps"), column("true_sd_mps")
    doubtful = _doubt_standing(air.is_bound, rows)
    is_drawn = np.isfinite(draws).all(axis=0) & np.isfinite(at_once) & ~doubtful
    draws = np.where(is_drawn, draws, np.float32(nan))
    smooth = np.where(is_drawn, draws.mean(axis=0), np.where(doubtful, nan, at_once))
    smooth_sd = np.where(is_drawn, draws.std(axis=0), at_once_sd)
    return WindSeries(
        boot=air.boot,
        mono=air.mono,
        t=air.t,
        utc=air.t + timebase.utc_offset_s,
        apparent_mps=column("apparent_mps"),
        true_mps=at_once,
        true_sd_mps=at_once_sd,
        mean_60s_mps=column("mean_60s_mps"),
        mean_60s_sd_mps=column("mean_60s_sd_mps"),
        from_deg=column("from_deg"),
        from_sd_deg=column("from_sd_deg"),
        mean_2min_mps=column("mean_2min_mps"),
        mean_2min_sd_mps=column("mean_2min_sd_mps"),
        gust_3s_mps=column("gust_3s_mps"),
        gust_3s_sd_mps=column("gust_3s_sd_mps"),
        p_above_limit=column("p_above_limit"),
        alarm=tuple(now.alarm.level for now in rows),
        alarm_reason=tuple(now.alarm.reason for now in rows),
        smooth_mps=smooth,
        smooth_sd_mps=smooth_sd,
        smooth_draws_mps=draws,
    )
