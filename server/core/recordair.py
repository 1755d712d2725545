"""Wind, weather and the course of the work in an application record, and what of it was not as planned."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from server.core.measured import OFF_RATE, Measured, WindAt, total_of
from server.core.recorditem import Item, fill_item

NO_REVIEW = "the job has not been reviewed"
NO_WIND = "no wind was measured"
NO_CLIMATE = "no sensor told it"
RATE_PERCENT: Final = 5.0
"""Recommended accuracy of the rate (AGP1, Ohio State University, said to be that of USDA and EPA)."""
OFF_RATE_PERCENT: Final = 100.0 * OFF_RATE
"""Beyond this a rate counts as off in research (LUCK1, Luck et al. 2011)."""
Parts = Sequence[Measured | None]


@dataclass(frozen=True, slots=True)
class Deviation:
    """An item that was not as planned, and why it counts."""

    key: str
    words: str


def air_items(parts: Parts) -> list[Item]:
    """Wind at the start, at the end and at its worst with height and averaging; temperature and humidity.

    Parameters
    ----------
    parts
        What was measured of each part of the job in order [SI]; None: not reviewed.

    Returns
    -------
    list of Item
        The first part's start, the last one's end, the worst of all; None where it was not measured.

    References
    ----------
    Record wind at the site at the start and at the end of each tank (GRDC2, module 10); height and averaging belong
    to a speed (FMH1, 2-min means; WMO-No. 8).

    Examples
    --------
    >>> air_items([None])[0].missing
    'the job has not been reviewed'
    """
    found = [part for part in parts if part is not None]
    why, cool = (NO_WIND, NO_CLIMATE) if len(found) == len(parts) else (NO_REVIEW, NO_REVIEW)
    first, last = (found[0], found[-1]) if found else (None, None)
    worst = max((part.wind_worst for part in found if part.wind_worst), key=lambda wind: wind.mean_mps, default=None)
    height_m, averaging_s = (first.wind_height_m, first.wind_averaging_s) if first and worst else (None, None)
    gusts = [part.gust_mps for part in found if part.gust_mps is not None]
    limits = [part.limit_mps for part in found if part.limit_mps is not None]
    words = "; ".join(dict.fromkeys(part.limit_stated for part in found if part.limit_stated))
    stated = [Item("wind_limit_stated", words, source="settings")] if words else []
    return [
        *_wind_items("start", first.wind_start if first else None, why),
        *_wind_items("end", last.wind_end if last else None, why),
        *_wind_items("worst", worst, why),
        fill_item("wind_worst_utc", worst.utc if worst else None, "s UTC", missing=why),
        fill_item("gust_mps", max(gusts, default=None), "m/s", missing=why),
        fill_item("wind_height_m", height_m, "m", "settings", missing=why),
        fill_item("wind_averaging_s", averaging_s, "s", "settings", missing=why),
        fill_item("wind_limit_mps", min(limits, default=None), "m/s", "settings", missing="no limit was set"),
        *stated,
        fill_item("temperature_start_c", first.temperature_start_c if first else None, "degC", missing=cool),
        fill_item("temperature_end_c", last.temperature_end_c if last else None, "degC", missing=cool),
        fill_item("humidity_start_percent", first.humidity_start_percent if first else None, "percent", missing=cool),
        fill_item("humidity_end_percent", last.humidity_end_percent if last else None, "percent", missing=cool),
    ]


def way_items(parts: Parts) -> list[Item]:
    """How the work went: passes, wind above the limit, liquid off target, and what was not as planned.

    Parameters
    ----------
    parts
        What was measured of each part of the job in order [SI]; None: not reviewed.

    Returns
    -------
    list of Item
        Sums over the parts; None where a part does not know it.

    References
    ----------
    Derivation: sums; the rate's deviation is the mean over the treated ground against the target.

    Examples
    --------
    >>> [item.key for item in way_items([None])][:2]
    ['passes', 'passes_above']
    """
    found = [part for part in parts if part is not None]
    is_whole = len(found) == len(parts)

    def add(name: str) -> float | None:
        return total_of(parts, name)

    def area(kind: str) -> float | None:
        return sum(_lay_places(part, kind) for part in found) if is_whole else None

    def tell(key: str, value: float | None, unit: str, missing: str = "") -> Item:
        return fill_item(key, value, unit, missing=missing if is_whole and missing else NO_REVIEW)

    limitless, bare = "no limit was set, or no wind was measured", "the site has no zone or keep-out for it"
    return [
        tell("passes", add("passes"), ""),
        tell("passes_above", add("passes_above"), "", limitless),
        tell("passes_unsure", add("passes_unsure"), "", limitless),
        tell("off_target_l", add("off_target_l"), "L", bare),
        tell("keep_out_l", add("keep_out_l"), "L", bare),
        tell("rate_off_percent", _rate_off(found) if is_whole else None, "percent", "nothing could be placed"),
        tell("passes_off", add("passes_off"), ""),
        tell("missed_m2", _miss_together(found) if is_whole else None, "m2"),
        tell("doubled_m2", area("doubled"), "m2"),
        tell("above_s", add("above_s"), "s", limitless),
        tell("above_l", add("above_l"), "L", limitless),
        tell("unplaced_l", add("unplaced_l"), "L"),
        tell("missing_messages", add("missing_messages"), ""),
        Item("incidents", None, missing="type what happened, or none"),
        Item("notes", None, missing="none typed"),
    ]


def find_deviations(items: Sequence[Item]) -> tuple[Deviation, ...]:
    """What of a record was not as planned.

    Parameters
    ----------
    items
        The record's items [SI].

    Returns
    -------
    tuple of Deviation
        In the record's order; empty where all was as planned or nothing is known.

    References
    ----------
    Rates: AGP1 (5 %), LUCK1 (10 %), as named beside `RATE_PERCENT` and `OFF_RATE_PERCENT`.

    Examples
    --------
    >>> find_deviations([Item("rate_off_percent", -7.0, "percent", "measured"), Item("passes_above", 0.0)])
    (Deviation(key='rate_off_percent', words='off by more than 5 %'),)
    """
    words = {
        "passes_above": "sprayed above the wind limit", "off_target_l": "went off the target",
        "keep_out_l": "went into keep-outs", "passes_off": "off by more than 10 %", "missed_m2": "was missed",
        "doubled_m2": "got twice as much", "above_s": "above the wind limit",
        "unplaced_l": "went where the receiver had no fix", "missing_messages": "are missing from the log",
    }  # fmt: skip
    found = []
    for item in items:
        value = item.value
        if not isinstance(value, float | int):
            continue
        if item.key == "rate_off_percent" and abs(value) > RATE_PERCENT:
            beyond = OFF_RATE_PERCENT if abs(value) > OFF_RATE_PERCENT else RATE_PERCENT
            found.append(Deviation(item.key, f"off by more than {beyond:g} %"))
        elif item.key in words and value > _LEAST.get(item.key, 0.0):
            found.append(Deviation(item.key, words[item.key]))
    return tuple(found)


def _lay_places(part: Measured, kind: str) -> float:
    """How large the places of a kind are together."""
    return sum(each.area_m2 for each in part.places if each.kind == kind)


def _miss_together(found: list[Measured]) -> float:
    """What no part has sprayed: what one missed, less what the others covered in the zones."""
    covered = [sum(zone.covered_m2 or 0.0 for zone in part.zones) for part in found]
    left = (_lay_places(part, "missed") - sum(covered) + own for part, own in zip(found, covered, strict=True))
    return max(0.0, min(left, default=0.0))


_LEAST: Final = {"off_target_l": 0.005, "keep_out_l": 0.005, "unplaced_l": 0.005}
"""Less liquid than this is rounding."""


def _rate_off(found: list[Measured]) -> float | None:
    """The mean rate against the target, per cent, parts weighted by their area."""
    area, off = 0.0, 0.0
    for part in found:
        if part.mean_l_per_m2 is None or part.covered_m2 is None:
            return None
        area += part.covered_m2
        off += part.covered_m2 * (part.mean_l_per_m2 / part.target_l_per_m2 - 1.0)
    return 100.0 * off / area if area > 0.0 else None


def _wind_items(name: str, wind: WindAt | None, missing: str) -> list[Item]:
    mean, sd, side = (wind.mean_mps, wind.sd_mps, wind.from_deg) if wind else (None, None, None)
    return [
        fill_item(f"wind_{name}_mps", mean, "m/s", missing=missing, sd=sd),
        fill_item(f"wind_{name}_from_deg", side, "deg", missing=missing),
    ]
