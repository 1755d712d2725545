"""What is known of the coming calm as plain values and sentences; None where not known."""

from math import isfinite, nan
from typing import Any

import numpy as np

from server.calm.fits import Fits, choose_horizon
from server.calm.moment import Moment
from server.calm.need import Need
from server.core.calmhours import HOURS, CalmHours, find_next
from server.core.climate import INVERSION_WIND_MPS, is_inversion_likely, sun_place
from server.core.lull import say_chance, say_record
from server.core.outlook import CalmChance
from server.core.windpast import WindPast, solar_hour
from server.snapshot import known

WANTED_MIN = 70
"""A chance looks at so many of the last minutes."""
CAUTION = (
    "Little wind under a low sun can be an inversion, in which fine spray hangs and drifts: calm is not the same as "
    "good."
)
DO = {
    "no_limit": "No wind limit is set: write the label's limit into My gear.",
    "no_rig": "No rig has been heard yet: switch it on and let it stand in the yard for 70 minutes.",
    "no_date": "The rig's receiver has told no date yet: give it a free view of the sky, then let it stand in the "
    "yard for 70 minutes.",
    "silent": "The rig is silent: look at its power and its link.",
    "no_wind": "The wind of the last minutes is not known: look at the anemometer and its settings.",
    "short": "Too little of the last 70 minutes is known: let the rig stand in the yard for 70 minutes.",
}


def find_state(moment: Moment, latest: WindPast, chance: CalmChance, *, is_calm_now: bool) -> str:
    """A word for how much can be said: "known", "above" the limit, or what is missing."""
    missing = {
        "no_limit": not isfinite(moment.limit_mps),
        "no_rig": moment.rig is None,
        "silent": moment.is_silent,
        "no_date": not isfinite(moment.utc),
        "above": not is_calm_now,
        "known": isfinite(chance.chance),
        "no_wind": not np.isfinite(latest.mean_mps[-10:]).any() and not isfinite(moment.mean_60s_mps),
    }
    return next((word for word, applies in missing.items() if applies), "short")


def lay_out_chance(state: str, chance: CalmChance, fits: Fits, latest: WindPast) -> dict[str, Any]:
    """The chance with its sentence, what stands behind it, and how much of the last 70 minutes is known."""
    is_told = state == "known"
    above = f"The wind is above {chance.limit_mps:g} m/s now."
    sentence = f"{_capitalised(say_chance(chance))}." if is_told else DO.get(state, above)
    return {
        "state": state,
        "sentence": sentence,
        "chance": known(chance.chance, 4) if is_told else None,
        "low": known(chance.low, 4) if is_told else None,
        "high": known(chance.high, 4) if is_told else None,
        "days": round(chance.days, 2),
        "mean_min": round(fits.step_s / 60.0),
        "minutes_known": int(np.isfinite(latest.mean_mps[-WANTED_MIN:]).sum()),
        "minutes_wanted": WANTED_MIN,
        "left_out": list(fits.left_out),
    }


def lay_out_record(chance: CalmChance, fits: Fits) -> dict[str, Any] | None:
    """How often such a chance came true here; None where nothing was said."""
    if not isfinite(chance.chance):
        return None
    record = fits.records[choose_horizon(chance.minutes)]
    tenths = round(10.0 * chance.chance)
    row = next((row for row in record.rows if row.tenths == tenths), None)
    return {
        "sentence": say_record(record, chance),
        "minutes": record.minutes,
        "days": record.days,
        "said": row.said if row else 0,
        "came_true": row.came_true if row else 0,
    }


def lay_out_hours(fits: Fits, *, minutes: float, now_utc: float) -> dict[str, Any]:
    """When it is usually calm here, and when next: instants of the coming day, by the sun's hours to whole hours."""
    hours, lon = fits.hours[choose_horizon(minutes)], fits.question.lon_deg
    following = find_next(hours, now=now_utc, lon_deg=lon)
    return {
        "minutes": round(hours.minutes),
        "days": int(hours.days.max()),
        "usual": _lay_out_spans(hours, now_utc, lon),
        "next_utc": known(following.at, 0),
        "next_share": known(following.share, 3),
        "next_days": following.days if isfinite(following.at) else None,
    }


def _lay_out_spans(hours: CalmHours, now_utc: float, lon_deg: float) -> list[dict[str, float]]:
    """Hours in a row as one span each, the one of now first."""
    now = float(solar_hour(np.array([now_utc]), lon_deg=lon_deg)[0])
    usual = set(hours.usual)
    if not isfinite(now) or not usual:
        return []
    starts = [hour for hour in usual if (hour - 1) % HOURS not in usual] or [int(now)]
    spans: list[dict[str, float]] = []
    for start in starts:
        length = next((n for n in range(1, HOURS) if (start + n) % HOURS not in usual), HOURS)
        since = (now - start) % HOURS
        begin = now_utc - 3600.0 * (since if since < length else since - HOURS)
        spans.append({"from_utc": round(begin), "to_utc": round(begin + 3600.0 * length)})
    return sorted(spans, key=lambda span: span["from_utc"])


def lay_out_need(need: Need) -> dict[str, Any]:
    """What the job needs, and how that was reckoned."""
    time = need.time
    return {
        "minutes": need.minutes,
        "origin": need.origin,
        "total_min": known(time.total_min, 1),
        "walk_min": known(time.walk_min, 1),
        "turns_min": known(time.turns_min, 1),
        "fills_min": known(time.fills_min, 1),
        "passes": time.passes,
        "fills": time.fills,
        "area_m2": known(need.area_m2, 1),
        "pace_mps": round(need.pace_mps, 2),
        "is_pace_known": need.is_pace_known,
    }


def judge_inversion(moment: Moment) -> dict[str, Any]:
    """Whether calm must be mistrusted: the sun's height and the wind that it goes by."""
    wind = moment.mean_2min_mps if isfinite(moment.mean_2min_mps) else moment.mean_60s_mps
    place = {"lat_deg": moment.lat_deg, "lon_deg": moment.lon_deg}
    sun = sun_place(moment.utc, **place)[0] if isfinite(moment.lat_deg + moment.lon_deg) else nan
    is_likely = isfinite(sun) and is_inversion_likely(wind, moment.utc, **place)
    return {
        "is_likely": is_likely,
        "sentence": CAUTION if is_likely else "",
        "sun_deg": known(sun, 1),
        "below_mps": INVERSION_WIND_MPS,
    }


def _capitalised(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
