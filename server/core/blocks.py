"""The wind minute by minute, from seconds as they come: a station's record, or what was known while walking.

Speeds in metres per second at the instrument's height, times in seconds since 1970 (UTC) at the END of a second,
minutes counted since 1970 at their BEGIN, directions FROM which the wind blows, degrees from true north.
"""

from dataclasses import dataclass, replace
from math import asin, atan2, cos, degrees, floor, isfinite, nan, radians, sin, sqrt

MINUTE_S = 60
GUST_S = 3
BELOW_SHARE = 0.5
"""A second of which only a bound is known counts as so much of it (half of what can be told, common practice)."""
STATION_SHARE = 0.95
"""A minute in which the rig stood still for so much of the known seconds is a station's."""
LEAST_KNOWN_S = 45
"""Three quarters of a minute must be known for the walk's own mean to stand for it (common practice)."""


@dataclass(frozen=True, slots=True)
class WindSecond:
    """One second: its speed (a bound where the cup did not turn), direction, and whether the rig stood; NaN: not known.

    `minute_mean_mps` and `minute_gust_mps` are what the estimator makes of the minute that ends with this second.
    """

    utc: float
    speed_mps: float
    is_below: bool = False
    from_deg: float = nan
    is_standing: bool = True
    minute_mean_mps: float = nan
    minute_gust_mps: float = nan


@dataclass(frozen=True, slots=True)
class Block:
    """One interval's wind: scalar mean, highest 3-s mean, mean unit vector FROM which it blew; NaN: not known.

    `known_s` seconds were known, in `below_s` of them only that it was slower than the cup can tell.
    """

    minute: int
    mean_mps: float
    gust_mps: float
    from_east: float
    from_north: float
    known_s: int
    below_s: int
    is_station: bool


@dataclass(frozen=True, slots=True)
class BlockSums:
    """The minute under way: its sums, and the last seconds for the running 3-s mean."""

    minute: int | None = None
    known_s: int = 0
    below_s: int = 0
    standing_s: int = 0
    speed: float = 0.0
    gust_mps: float = nan
    aimed_s: int = 0
    east: float = 0.0
    north: float = 0.0
    minute_mean_mps: float = nan
    minute_gust_mps: float = nan
    last_utc: float = nan
    latest: tuple[float, ...] = ()


def step_block(sums: BlockSums, second: WindSecond) -> tuple[BlockSums, Block | None]:
    """Take one second into its minute; gives the minute before once a second of a later one has come.

    The mean is the scalar mean of the known seconds, the gust the highest mean of three known seconds in a row that
    ends in the minute, the direction the mean of unit vectors. In a minute walked, the estimator's own mean and gust of
    the minute stand for those of its seconds: it has seen them from both sides, and single estimates are too even.

    Parameters
    ----------
    sums
        The minute so far.
    second
        The next second; one that is not later than the last is left out.

    Returns
    -------
    BlockSums
        With this second.
    Block or None
        The minute that is over; None while it goes on, or where nothing of it was known.

    Notes
    -----
    A 1-min mean is itself a long gust (WMO-No. 8, 5.1.1): compare it with limits for 10-min means after averaging.
    Calm is not averaged as 0: a second of which only an upper bound is known counts as half of it, and is counted.

    References
    ----------
    WMO-No. 8, Guide to Instruments and Methods of Observation, part I, chapter 5: 5.1.1 (means), peak gust as the
    highest 3-s running mean (WMO-No. 306, 15.5.5). US EPA-454/R-99-005, section 6.2 (scalar mean speed, unit-vector
    mean direction), 6.9 (calm).

    Examples
    --------
    >>> sums, done = BlockSums(), None
    >>> for t in range(1, 62):
    ...     sums, done = step_block(sums, WindSecond(float(t), 5.0 if t in (8, 9, 10) else 2.0, from_deg=90.0))
    >>> done.minute, round(done.mean_mps, 2), done.gust_mps, done.known_s, done.is_station
    (0, 2.15, 5.0, 60, True)
    """
    if second.utc <= sums.last_utc:
        return sums, None
    minute = floor((second.utc - 0.5) / MINUTE_S)
    done = None
    if minute != sums.minute:
        done = _close(sums)
        sums = BlockSums(minute=minute, last_utc=sums.last_utc, latest=sums.latest)
    if not isfinite(second.speed_mps):
        return replace(sums, last_utc=second.utc, latest=()), done
    speed = BELOW_SHARE * second.speed_mps if second.is_below else second.speed_mps
    is_next = second.utc - sums.last_utc < 1.5
    latest = (*(sums.latest[1 - GUST_S :] if is_next else ()), speed)
    gust = sums.gust_mps
    if len(latest) == GUST_S:
        mean = sum(latest) / GUST_S
        gust = mean if not gust >= mean else gust
    is_aimed = isfinite(second.from_deg)
    angle = radians(second.from_deg) if is_aimed else 0.0
    return BlockSums(
        minute=minute,
        known_s=sums.known_s + 1,
        below_s=sums.below_s + second.is_below,
        standing_s=sums.standing_s + second.is_standing,
        speed=sums.speed + speed,
        gust_mps=gust,
        aimed_s=sums.aimed_s + is_aimed,
        east=sums.east + (sin(angle) if is_aimed else 0.0),
        north=sums.north + (cos(angle) if is_aimed else 0.0),
        minute_mean_mps=second.minute_mean_mps,
        minute_gust_mps=second.minute_gust_mps,
        last_utc=second.utc,
        latest=latest,
    ), done


def tell_direction(from_east: float, from_north: float) -> tuple[float, float]:
    """Direction and its scatter from the mean unit vector, by Yamartino's single pass.

    With e = sqrt(1 - R²), R the vector's length: sigma = asin(e) · (1 + 0.1547 e³).

    Parameters
    ----------
    from_east, from_north
        Mean of the unit vectors FROM which the wind blew, sine and cosine [-]; NaN: not known.

    Returns
    -------
    from_deg : float
        Direction, 0 to 360 [deg]; NaN where the directions cancel out.
    from_sd_deg : float
        Scatter of the directions [deg].

    Notes
    -----
    Within 2 % of the two-pass standard deviation for directions that keep to one half of the horizon.

    References
    ----------
    Yamartino, R. J., "A comparison of several 'single-pass' estimators of the standard deviation of wind direction",
    Journal of Climate and Applied Meteorology 23, 1984, 1362-1366.

    Examples
    --------
    >>> directions = [radians(d) for d in (359.0, 0.0, 1.0)]
    >>> found = tell_direction(sum(map(sin, directions)) / 3, sum(map(cos, directions)) / 3)
    >>> round(found[0], 6) % 360.0, round(found[1], 4)
    (0.0, 0.8165)
    """
    length2 = from_east**2 + from_north**2
    if not length2 > 1e-12:
        return nan, nan
    e = sqrt(max(1.0 - length2, 0.0))
    sigma = asin(min(e, 1.0)) * (1.0 + (2.0 / sqrt(3.0) - 1.0) * e**3)
    return degrees(atan2(from_east, from_north)) % 360.0, degrees(sigma)


def _close(sums: BlockSums) -> Block | None:
    """The minute's block; None where nothing was known."""
    if sums.minute is None or sums.known_s == 0:
        return None
    is_station = sums.standing_s >= STATION_SHARE * sums.known_s
    mean, gust = sums.speed / sums.known_s, sums.gust_mps
    is_whole = sums.known_s >= LEAST_KNOWN_S and (sums.last_utc + 0.5) // MINUTE_S > sums.minute
    if not is_station and is_whole and isfinite(sums.minute_mean_mps):
        mean = sums.minute_mean_mps
        gust = sums.minute_gust_mps if isfinite(sums.minute_gust_mps) else gust
    aimed = sums.aimed_s
    return Block(
        sums.minute,
        mean,
        gust,
        sums.east / aimed if aimed else nan,
        sums.north / aimed if aimed else nan,
        sums.known_s,
        sums.below_s,
        is_station,
    )
