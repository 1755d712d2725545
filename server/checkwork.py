"""A sprayer's checks as plain values: figures, a refusal or what follows in a sentence, what is put to use."""

from typing import Any

from server.cards import record_from_mapping
from server.core.checkcard import CatchEntry, RateEntry, SwathEntry, WalkEntry
from server.core.checkup import CatchResult, apply_catch, judge_catch
from server.core.entered import in_si
from server.core.errors import EntryError
from server.core.pace import rate_at
from server.core.pattern import GOOD_CV
from server.core.plotcheck import apply_swath, judge_rate, judge_swath, judge_walk
from server.core.sprayercard import SprayerCard
from server.core.uncertainty import Estimate
from server.snapshot import known
from server.store.checks import Check

WAYS: dict[str, Any] = {"catch": CatchEntry, "walk": WalkEntry, "swath": SwathEntry, "rate": RateEntry}
DIGITS = 6
WEAR = {
    "good": "the nozzle is within 5 %",
    "watch": "the nozzle is more than 5 % off: watch it",
    "replace": "the nozzle gives over 10 % more: replace it",
    "clogged": "the nozzle gives over 10 % less: clean it, or replace it",
}
METER = {
    "agree": "The meter agrees with the catch.",
    "cannot tell": "Whether the meter agrees cannot be told so closely: catch more.",
}


def tell_check(given: Any, card: SprayerCard, earlier: tuple[float, str] | None = None) -> dict[str, Any]:
    """A check's figures with `is_usable`, a refusal in words and what follows."""
    try:
        if isinstance(given, CatchEntry):
            found = _tell_catch(given, card, earlier)
        elif isinstance(given, WalkEntry):
            found = _tell_walk(given, card)
        elif isinstance(given, SwathEntry):
            found = _tell_swath(given)
        else:
            found = _tell_rate(given)
    except EntryError as error:
        return {"is_usable": False, "refusal": f"{error.key}: {error.problem}", **_tell_runs(given)}
    return {"is_usable": True, "refusal": "", **found, **_tell_runs(given)}


def apply_found(card: SprayerCard, way: str, entries: dict[str, Any]) -> SprayerCard:
    """The card with a check's figures; raises ValueError where the check has none for it."""
    given: Any = record_from_mapping(WAYS[way], entries)
    if isinstance(given, CatchEntry):
        return apply_catch(card, judge_catch(given, card=card).test)
    if isinstance(given, SwathEntry):
        return apply_swath(card, judge_swath(given))
    raise ValueError("a walk or a whole check changes no figure of the sprayer")


def tell_drift(check: Check) -> str:
    """What a later check says against the calibration, beyond doubt; empty where nothing."""
    found = check.found
    if check.way == "catch" and found.get("agreement") == "differ" and check.applied_version is None:
        return f"a later catch differs from the meter by {100.0 * found['meter_excess']:+.1f} %"
    if check.way == "rate" and found.get("verdict") in ("over", "under") and found.get("is_sure"):
        return f"a later whole check gave {100.0 * found['share']:.0f} % of what was wanted"
    return ""


def _tell_estimate(name: str, found: Estimate | None) -> dict[str, Any]:
    if found is None:
        return {name: None, f"{name}_sd": None, f"{name}_margin": None}
    return {
        name: known(found.value, DIGITS),
        f"{name}_sd": known(found.sd, DIGITS),
        f"{name}_margin": known(found.margin, DIGITS),
    }


def _tell_runs(given: Any) -> dict[str, Any]:
    """What was counted of each catch."""
    if not isinstance(given, CatchEntry):
        return {}
    return {"runs": [{"pulses": run.pulses, "seconds": run.seconds} for run in given.runs]}


def _tell_catch(given: CatchEntry, card: SprayerCard, earlier: tuple[float, str] | None) -> dict[str, Any]:
    flow, day = earlier or (None, "")
    result = judge_catch(given, card=card, earlier_l_per_min=flow, earlier_on=day)
    test, agreement, wear = result.test, result.agreement, result.wear
    return {
        **_tell_estimate("flow_l_per_min", test.flow_l_per_min),
        **_tell_estimate("pulses_per_l", test.pulses_per_l),
        "spread": known(test.spread, DIGITS),
        "is_steady": test.is_steady,
        "agreement": None if agreement is None else agreement.verdict,
        "meter_excess": None if agreement is None else known(agreement.excess, DIGITS),
        "wear": None if wear is None else wear.verdict,
        "wear_excess": None if wear is None else known(wear.excess, DIGITS),
        "wear_margin": None if wear is None else known(wear.margin, DIGITS),
        "is_wear_sure": None if wear is None else wear.is_sure,
        "wear_by": result.wear_by,
        "words": _say_catch(result),
    }


def _say_catch(result: CatchResult) -> list[str]:
    """What follows from a catch, in sentences."""
    test, agreement, wear = result.test, result.agreement, result.wear
    words = []
    if not test.is_steady:
        words.append(f"Single runs scatter by {test.spread:.1%}: look at pump, pressure and filter, then catch again.")
    if agreement is None:
        words.append("Pulses were not counted: this tells the flow, not the meter.")
    elif agreement.verdict == "differ":
        side = "more" if agreement.excess > 0.0 else "less"
        words.append(f"The meter as set tells {abs(agreement.excess):.1%} {side} than was caught: put this to use.")
    else:
        words.append(METER[agreement.verdict])
    if wear is not None:
        doubt = "" if wear.is_sure else ", which is not beyond doubt"
        line = f"Against {result.wear_by} {wear.excess:+.1%} ± {wear.margin:.1%}: {WEAR[wear.verdict]}{doubt}."
        words.append(line)
    return words


def _tell_walk(given: WalkEntry, card: SprayerCard) -> dict[str, Any]:
    pace, spread = judge_walk(given)
    words = ["One walk tells no scatter: walk twice more."] if spread is None else []
    if spread is not None and spread > 0.05:
        words.append(f"Walks scatter by {spread:.1%}: walk on until they come out alike.")
    rated = None
    if card.rated_flow is not None:
        flow, swath = in_si(card.rated_flow, measures="flow"), in_si(card.swath, measures="swath")
        rated = known(rate_at(flow, swath_m=swath, pace_mps=pace.value), DIGITS)
    seconds = {"seconds_per_10_m": known(10.0 / pace.value, 3), "seconds_per_100_ft": known(30.48 / pace.value, 3)}
    return {
        **_tell_estimate("pace_mps", pace),
        "spread": None if spread is None else known(spread, DIGITS),
        "rated_dose_l_per_m2": rated,
        **seconds,
        "words": words,
    }


def _tell_swath(given: SwathEntry) -> dict[str, Any]:
    found = judge_swath(given)
    pattern = found.pattern
    words = []
    if len(given.rows) < 3:
        words.append("Fewer than three walks tell no scatter: walk over the cups again and add what they hold.")
    if pattern.misfit > 0.1:
        words.append("The pattern is no trapezoid: look for a worn or turned nozzle; judge it by its unevenness.")
    if found.unevenness > GOOD_CV:
        words.append(f"Passes at this swath lie {found.unevenness:.0%} uneven: up to {GOOD_CV:.0%} is called even.")
    return {
        **_tell_estimate("swath_m", found.swath),
        "left_m": known(pattern.left_m),
        "right_m": known(pattern.right_m),
        "base_m": known(pattern.base_m),
        "top_m": known(pattern.top_m),
        "pattern": found.shape,
        "misfit": known(pattern.misfit),
        "unevenness": known(found.unevenness),
        "widest_m": known(found.widest_m),
        "words": words,
    }


def _tell_rate(given: RateEntry) -> dict[str, Any]:
    check = judge_rate(given)
    words = []
    if check.verdict != "right":
        pace = "faster" if check.pace_factor > 1.0 else "slower"
        words.append(
            f"For what is wanted walk {abs(check.pace_factor - 1.0):.0%} {pace}, or change nozzle or pressure."
        )
    if not check.is_sure:
        words.append("Not beyond doubt: take a larger plot, or a finer vessel.")
    return {
        **_tell_estimate("dose_l_per_m2", check.dose_l_per_m2),
        "target_l_per_m2": known(in_si(given.target, measures="carrier rate"), DIGITS),
        "share": known(check.share, DIGITS),
        "share_margin": known(check.margin, DIGITS),
        "verdict": check.verdict,
        "is_sure": check.is_sure,
        "words": words,
    }
