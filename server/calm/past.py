"""The stored wind of a place as one row of means at one height, whoever measured it.

A rig's own record counts before what was brought along; what knows too little of its interval does not count.
"""

from dataclasses import dataclass
from math import floor, nan
from typing import Any

import numpy as np

from server.core.log import Floats
from server.core.profile import LEAST_HEIGHT_M, height_factor
from server.core.windpast import DAY_S, WindPast, lay_past
from server.store.history import Source, read_means, read_steps
from server.store.outlook import list_sources

MINUTE_S, TEN_S = 60.0, 600.0
ENOUGH_DAYS = 14.0
"""So many days of minutes are enough to go by, however many days of longer means there are."""
AT_LEAST = 0.5
"""With fewer days minutes must know at least this share of what all means together know."""
LATE_S = 150.0
"""A rig whose last minute ended longer ago than this is silent."""
RECENT_MIN = 30
"""So many of the last minutes are drawn."""
NOW_S = 8400.0
"""What a chance looks at: 70 min twice over, for gaps."""


@dataclass(frozen=True, slots=True)
class PlaceWind:
    """Means of minutes, and of ten minutes from minutes and longer means; `left_out` says what cannot be used."""

    minutes: WindPast
    tens: WindPast
    left_out: tuple[str, ...]

    @property
    def best(self) -> WindPast:
        """What to go by: minutes, unless there are few of them and longer means of more days."""
        days, tens = count_days(self.minutes), count_days(self.tens)
        return self.minutes if days >= min(ENOUGH_DAYS, AT_LEAST * tens) else self.tens


def count_days(past: WindPast) -> float:
    """How many days of wind are known."""
    return float(np.isfinite(past.mean_mps).sum()) * past.step_s / DAY_S


def read_place(connection: Any, *, height_m: float, from_utc: float, to_utc: float) -> PlaceWind:
    """All that is stored of a time, told at one height."""
    begins: list[Floats] = [np.zeros(0)]
    means: list[Floats] = [np.zeros(0)]
    steps: list[Floats] = [np.zeros(0)]
    left_out = []
    # The later in the list counts where two tell the same minute: a rig's own record comes last.
    for number, source in sorted(list_sources(connection), key=lambda entry: entry[1].kind == "rig"):
        problem = _find_problem(source)
        if problem:
            left_out.append(f"{source.name}: {problem}")
            continue
        ends, found = _read_source(connection, number, source, height_m, from_utc, to_utc)
        begins.append(ends - source.step_s)
        means.append(found)
        steps.append(np.full(len(ends), float(source.step_s)))
    begin, mean, step = np.concatenate(begins), np.concatenate(means), np.concatenate(steps)
    is_minute = step == MINUTE_S
    minutes = lay_past(begin[is_minute] + MINUTE_S, mean[is_minute], step_s=MINUTE_S)
    tens = _lay_tens(minutes, begin[~is_minute], mean[~is_minute], step[~is_minute])
    return PlaceWind(minutes, tens, tuple(left_out))


def read_latest(connection: Any, rig: str, *, height_m: float, now_utc: float) -> WindPast:
    """A rig's last minutes up to now, the newest that is known at the end; a hole there where the rig is silent."""
    ends: list[Floats] = [np.zeros(0)]
    means: list[Floats] = [np.zeros(0)]
    for number, source in list_sources(connection):
        if source.kind == "rig" and source.name == rig and source.step_s == MINUTE_S and not _find_problem(source):
            found = _read_source(connection, number, source, height_m, now_utc - NOW_S, now_utc + MINUTE_S)
            ends.append(found[0])
            means.append(found[1])
    end, mean = np.concatenate(ends), np.concatenate(means)
    if len(end) and now_utc - end.max() > LATE_S:
        end, mean = np.append(end, MINUTE_S * floor(now_utc / MINUTE_S)), np.append(mean, nan)
    return lay_past(end, mean, step_s=MINUTE_S)


def read_recent(connection: Any, rig: str, *, height_m: float, now_utc: float) -> dict[str, Any]:
    """A rig's last half hour for a drawing: means and gusts by the minute, None where not known."""
    begin = MINUTE_S * (floor(now_utc / MINUTE_S) - RECENT_MIN)
    means: list[float | None] = [None] * RECENT_MIN
    gusts: list[float | None] = [None] * RECENT_MIN
    for number, source in list_sources(connection):
        if source.kind != "rig" or source.name != rig or source.step_s != MINUTE_S or _find_problem(source):
            continue
        factor = height_factor(from_height=source.height_m, to_height=height_m)
        end = begin + RECENT_MIN * MINUTE_S
        for at, mean, gust, *_ in read_steps(connection, number, from_utc=begin, to_utc=end, step_s=int(MINUTE_S)):
            place = round((at - begin) / MINUTE_S)
            means[place] = round(mean * factor, 3)
            gusts[place] = None if gust is None else round(gust * factor, 3)
    return {"begin_utc": begin, "mean_mps": means, "gust_3s_mps": gusts}


def average_latest(minutes: WindPast) -> WindPast:
    """The last minutes as means of ten minutes, of which the last one ends with them.

    Ends of such means are whole ten minutes: the hour of day may be told up to ten minutes early.
    """
    count = len(minutes.mean_mps) // 10
    if count == 0:
        return lay_past(np.zeros(0), np.zeros(0), step_s=TEN_S)
    table = minutes.mean_mps[len(minutes.mean_mps) - 10 * count :].reshape(count, 10)
    known = np.isfinite(table)
    sums = np.where(known, table, 0.0).sum(axis=1)
    means = np.where(known.sum(axis=1) >= 5, sums / np.maximum(known.sum(axis=1), 1), nan)
    last = TEN_S * floor(float(minutes.ends[-1]) / TEN_S)
    return lay_past(last - TEN_S * np.arange(count)[::-1], means, step_s=TEN_S)


def _find_problem(source: Source) -> str:
    """Why a source cannot be used, or nothing."""
    if not source.height_m >= LEAST_HEIGHT_M:
        return f"its height of {source.height_m:g} m says nothing about the wind elsewhere"
    if TEN_S % source.step_s:
        return f"means over {source.step_s / MINUTE_S:g} min are too long, 10 min at most can be used"
    return ""


def _read_source(
    connection: Any, number: int, source: Source, height_m: float, from_utc: float, to_utc: float
) -> tuple[Floats, Floats]:
    """Ends and means of one source at the wanted height, known ones only."""
    ends, means = read_means(connection, number, from_utc=from_utc, to_utc=to_utc)
    known = np.isfinite(means)
    return ends[known], means[known] * height_factor(from_height=source.height_m, to_height=height_m)


def _lay_tens(minutes: WindPast, begin: Floats, mean: Floats, step: Floats) -> WindPast:
    """Means over ten minutes of which at least half is known; minutes count before longer means."""
    tens = {int(place): value for place, value in zip(*_average(begin, mean, step), strict=True)}
    known = np.isfinite(minutes.mean_mps)
    own = _average(minutes.ends[known] - MINUTE_S, minutes.mean_mps[known], np.full(int(known.sum()), MINUTE_S))
    tens.update((int(place), value) for place, value in zip(*own, strict=True))
    places = np.fromiter(tens.keys(), dtype=np.float64, count=len(tens))
    return lay_past(TEN_S * (places + 1.0), np.fromiter(tens.values(), dtype=np.float64, count=len(tens)), step_s=TEN_S)


def _average(begin: Floats, mean: Floats, step: Floats) -> tuple[Floats, Floats]:
    """Numbers of the ten minutes and their means."""
    if len(begin) == 0:
        return np.zeros(0), np.zeros(0)
    place, inverse = np.unique(np.floor(begin / TEN_S), return_inverse=True)
    known_s = np.bincount(inverse, step)
    enough = known_s >= TEN_S / 2.0
    return place[enough], (np.bincount(inverse, step * mean) / known_s)[enough]
