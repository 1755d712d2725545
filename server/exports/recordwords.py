"""A record in words: each item in the reader's units and zone of time, short ones together, by sections."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import floor, log10
from typing import Any

from server.core.recorditem import GROUPS
from server.exports.unitsets import Unit, UnitSet

WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_QUANTITIES = {
    "area": "area", "volume": "volume", "dose": "rate", "speed": "speed", "height": "length", "length": "length",
}  # fmt: skip
_TOGETHER = ("_from_deg", "wind_worst_utc", "wind_averaging_s")
"""Items that stand behind the one before them."""


@dataclass(frozen=True, slots=True)
class Row:
    """A line of a section: label, words, where they come from; `is_missing`: it is not known."""

    label: str
    words: str
    source: str
    is_missing: bool = False
    earlier: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under a heading."""

    title: str
    rows: tuple[Row, ...]


def lay_out_record(view: dict[str, Any], units: UnitSet) -> tuple[Section, ...]:
    """The record's items by sections, in the units wanted."""
    sections = []
    for group in GROUPS:
        items = [item for item in view["items"] if item["group"] == group]
        rows = tuple(_rows(items, view, units))
        if rows:
            sections.append(Section(group, rows))
    return tuple(sections)


def _rows(items: list[dict[str, Any]], view: dict[str, Any], units: UnitSet) -> Iterator[Row]:
    words = {deviation["key"]: deviation["words"] for deviation in view["deviations"]}
    by_key = {item["key"]: item for item in items}
    for item in items:
        key = item["key"]
        if key.startswith("zone."):
            if key.endswith(".name"):
                yield _zone_row(item, by_key, view, units)
            continue
        if key.endswith(_TOGETHER) and item["value"] is not None:
            continue
        text = say_item(item, view, units)
        for behind in _behind(item, by_key):
            if by_key[behind]["value"] is not None:
                lead = "means of " if behind == "wind_averaging_s" else ""
                text += f", {lead}{say_item(by_key[behind], view, units)}"
        if item["value"] is None and key.endswith(_TOGETHER):
            continue
        text += f" – {words[key]}" if key in words else ""
        yield Row(_label(item), text, tell_source(item), item["value"] is None, tuple(_earlier(item, view, units)))


def _behind(item: dict[str, Any], by_key: dict[str, Any]) -> list[str]:
    """Which items stand behind one."""
    key = str(item["key"])
    if key == "wind_height_m":
        return [each for each in ("wind_averaging_s",) if each in by_key]
    head = key.removesuffix("_mps")
    return [each for each in (f"{head}_from_deg", f"{head}_utc") if key.endswith("_mps") and each in by_key]


def _zone_row(item: dict[str, Any], by_key: dict[str, Any], view: dict[str, Any], units: UnitSet) -> Row:
    head = str(item["key"]).removesuffix("name")
    drawn, covered = (say_item(by_key[head + name], view, units) for name in ("area_m2", "covered_m2"))
    return Row(f"Zone {item['value']}", f"{drawn}, of it treated {covered}", "measured")


def _label(item: dict[str, Any]) -> str:
    """The label, with the number of its row where there may be several."""
    parts = str(item["key"]).split(".")
    return f"{item['label']} {parts[1]}" if len(parts) > 1 and parts[1] != "1" else str(item["label"])


def tell_source(item: dict[str, Any]) -> str:
    """Where a value comes from, in a word or two."""
    if item["amended"]:
        return "amended"
    beside = item["beside"]
    if item["source"] == "typed" and beside is not None:
        return f"typed; the card said {beside}"
    if beside is not None:
        return f"{item['source']}; typed was {beside}"
    return str(item["source"])


def _earlier(item: dict[str, Any], view: dict[str, Any], units: UnitSet) -> Iterator[str]:
    """What it was before each amendment, and why it was changed."""
    for each in item["amended"]:
        before = say_value(item["kind"], each["before"], each["before_unit"], view, units)
        when = say_instant(each["utc"], view["offset_s"])
        yield f"before: {before}; changed by {each['who']}, {when}: {each['reason']}"


def say_item(item: dict[str, Any], view: dict[str, Any], units: UnitSet) -> str:
    """An item's value in words, or why it is not known."""
    if item["value"] is None:
        return f"not known: {item['missing']}"
    text = say_value(item["kind"], item["value"], item["unit"], view, units)
    if item["sd"] is not None and item["kind"] in ("area", "volume", "speed", "amount"):
        spread = say_value(item["kind"], item["sd"], item["unit"], view, units, figures=2)
        text = f"{text} ± {spread.partition(' ')[0]}"
    return text


def say_value(kind: str, value: Any, unit: str, view: dict[str, Any], units: UnitSet, *, figures: int = 3) -> str:
    """A value of a kind in words; in the reader's units but for those of labels."""
    if value is None:
        return "not known"
    if kind in ("text", "day"):
        return str(value)
    if kind == "instant":
        return say_instant(value, view["offset_s"])
    if kind in _QUANTITIES:
        chosen: Unit = getattr(units, _QUANTITIES[kind])
        if kind == "speed":
            return f"{value * chosen.per_si:.1f} {chosen.sign}"  # as on the page: no wind is known better
        return f"{say_number(value * chosen.per_si, figures)} {chosen.sign}"
    if kind == "celsius":
        is_customary = units.length.sign == "ft"
        return f"{1.8 * value + 32.0:.0f} °F" if is_customary else f"{value:.1f} °C"
    if kind == "bearing":
        return f"from {value:.0f}° ({WINDS[round(value / 45.0) % 8]})"
    if kind == "seconds":
        return f"{value:.0f} s"
    if kind == "off":
        return f"{value:+.1f} %".replace("-", "−")
    signs = {"percent": "%", "count": ""}
    return f"{say_number(value, figures)} {signs.get(kind, say_unit(unit))}".strip()


def say_unit(unit: str) -> str:
    """A label's unit with its square written as one."""
    return unit.replace("m2", "m²").replace("ft2", "ft²")


def say_number(value: float, figures: int = 3) -> str:
    """A number with about so many significant digits, whole ones never cut."""
    if value == 0:
        return "0"
    places = min(max(figures - 1 - floor(log10(abs(value))), 0), 6)
    text = f"{value:.{places}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def say_instant(utc: float, offset_s: float) -> str:
    """A time of day with its day, by the record's zone."""
    local = datetime.fromtimestamp(utc, UTC) + timedelta(seconds=offset_s)
    return f"{local:%Y-%m-%d %H:%M}"


def say_zone(offset_s: float) -> str:
    """How far the record's clocks are from UTC."""
    if offset_s == 0:
        return "UTC"
    minutes = round(abs(offset_s) / 60.0)
    return f"UTC{'+' if offset_s > 0 else '−'}{minutes // 60:02d}:{minutes % 60:02d}"


def say_signature(view: dict[str, Any]) -> str:
    """Who signed and when, with the fingerprint, or that nobody did."""
    found = view["signature"]
    if found is None:
        return "Not signed: a draft."
    when = say_instant(found["utc"], view["offset_s"])
    whole = "" if found["is_intact"] else " THE STORED RECORD NO LONGER MATCHES ITS FINGERPRINT."
    kept = f"Kept until {found['keep_until']} at least. SHA-256 {found['digest']}."
    return f"Signed by {found['name']}, {when}. {kept}{whole}"


def say_title(view: dict[str, Any]) -> str:
    """Which job, which zone of time."""
    return f"Job {view['job']} “{view['name']}”. Times are {say_zone(view['offset_s'])}."


def lay_out_rules(view: dict[str, Any]) -> tuple[Section, ...]:
    """The chosen rules as checklists; a need that is not met names what is missing."""
    labels = {item["key"]: item["label"] for item in view["items"]}

    def row(need: dict[str, Any]) -> Row:
        missing = ", ".join(dict.fromkeys(labels.get(key, key) for key in need["missing"]))
        told = "" if missing == need["label"] else f": {missing}"
        words = "there" if need["is_met"] else f"missing{told}"
        return Row(need["label"], words, "", not need["is_met"])

    return tuple(
        Section(f"{rule['name']} ({rule['source'].split(',')[0]})", tuple(row(need) for need in rule["needs"]))
        for rule in view["rules"]
        if rule["is_chosen"]
    )


DEFER = (
    "These lists are a help, not the law: defer to your local code. Records under the rules named here are kept for "
    "two years at least. The label decides on rate, wind, protection and re-entry."
)
