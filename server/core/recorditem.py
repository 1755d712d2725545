"""The items of an application record: what each is called, what it means, and what may be typed for it.

Values are SI, or in a label's own unit that stands beside the value; a key with a number in it stands once for each
product, zone, part or deviation.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from types import MappingProxyType
from typing import Final

from server.core.errors import EntryError
from server.core.quantity import UNITS, convert, kind_of

Value = str | float | None
SOURCES = ("measured", "computed", "card", "settings", "assumed", "typed")
"""measured: by the rig; computed: from measured and planned figures; card: entered beforehand; settings: of the job;
assumed: the program's own guess; typed: into this record."""

KINDS: Final = MappingProxyType(
    {
        "text": ("", 0.0, 0.0),
        "day": ("", 0.0, 0.0),
        "amount": ("", 0.0, 0.0),
        "rate": ("", 0.0, 0.0),
        "instant": ("s UTC", 946_684_800.0, 4_102_444_800.0),
        "area": ("m2", 0.01, 1e6),
        "volume": ("L", 0.0, 1e5),
        "dose": ("L/m2", 0.0, 50.0),
        "speed": ("m/s", 0.0, 60.0),
        "height": ("m", 0.1, 30.0),
        "length": ("m", 0.0, 1000.0),
        "seconds": ("s", 0.0, 86_400.0),
        "bearing": ("deg", 0.0, 360.0),
        "celsius": ("degC", -60.0, 60.0),
        "percent": ("percent", 0.0, 100.0),
        "off": ("percent", -100.0, 10_000.0),
        "count": ("", 0.0, 1e6),
    }
)
"""Each kind of item with its unit and the least and most that may be typed; amounts and rates carry a label's unit."""
LONGEST = 1000
MOST_ROWS = 8


@dataclass(frozen=True, slots=True)
class Sort:
    """A sort of item: key (a star stands for a number), label, group, kind, whether it may be typed, what it means."""

    key: str
    label: str
    group: str
    kind: str
    is_typable: bool
    says: str


@dataclass(frozen=True, slots=True)
class Item:
    """One item of a record: its value with unit and source, or why it is not known.

    `sd` is the value's standard uncertainty; `beside` what was typed although it was measured, or what the card said
    before something else was typed.
    """

    key: str
    value: Value
    unit: str = ""
    source: str = ""
    missing: str = ""
    sd: float | None = None
    beside: Value = None


WHO, WHERE, WHEN, WHAT, WITH, AIR, HOW, ORIGIN = (
    "Who, and for whom", "Where", "When", "What", "With what", "The air", "How it went", "Where this comes from",
)  # fmt: skip
GROUPS: Final = (WHO, WHERE, WHEN, WHAT, WITH, AIR, HOW, ORIGIN)

SORTS: Final = (
    Sort("applicator", "Applied by", WHO, "text", True, "Name of the person who applied or answers for it."),
    Sort("applicator_licence", "Licence or certificate", WHO, "text", True, "That person's number, as issued."),
    Sort("business", "Business", WHO, "text", True, "Business that applied."),
    Sort("noncertified", "Helped without a certificate", WHO, "text", True, "Who else applied; or nobody."),
    Sort("customer", "For whom", WHO, "text", True, "Customer for whom it was done."),
    Sort("customer_address", "Customer's address", WHO, "text", True, "Where the customer is to be reached."),
    Sort("owner", "Owner of the ground", WHO, "text", True, "Who owns the treated ground."),
    Sort("site", "Site", WHERE, "text", True, "What the site is called."),
    Sort("address", "Location", WHERE, "text", True, "Where the treated ground is."),
    Sort("site_kind", "What grows there", WHERE, "text", True, "Crop, commodity or kind of site."),
    Sort("target", "What it was for", WHERE, "text", True, "Pest, weed or need."),
    Sort("area_m2", "Area treated", WHERE, "area", True, "Ground that got more than a tenth of the target."),
    Sort("zone.*.name", "Zone", WHERE, "text", False, "A zone of the site."),
    Sort("zone.*.area_m2", "Zone as drawn", WHERE, "area", False, "Area of the zone as drawn, holes left out."),
    Sort("zone.*.covered_m2", "Of it treated", WHERE, "area", False, "Part of it above a tenth of the target."),
    Sort("date", "Date", WHEN, "day", True, "Day of the work in the zone of time that is told."),
    Sort("start_utc", "Start", WHEN, "instant", True, "When the spraying began."),
    Sort("end_utc", "End", WHEN, "instant", True, "When it ended."),
    Sort("product.*.name", "Product", WHAT, "text", True, "Product, as the label names it."),
    Sort("product.*.registration", "Registration number", WHAT, "text", True, "As on the label, or none."),
    Sort("product.*.amount", "Total amount, undiluted", WHAT, "amount", True, "Share of the mix x volume metered."),
    Sort("product.*.rate", "Rate planned", WHAT, "rate", True, "Rate of the treatment in the label's unit."),
    Sort("product.*.rate_applied", "Rate applied", WHAT, "rate", False, "Share of the mix x mean dose."),
    Sort("product.*.concentration", "Concentration in the mix", WHAT, "rate", True, "Product in the mix, as planned."),
    Sort("mix_l", "Mix sprayed", WHAT, "volume", True, "Water and products together, as metered."),
    Sort("target_l_per_m2", "Mix on an area, wanted", WHAT, "dose", False, "Mix on the ground as planned."),
    Sort("mean_l_per_m2", "Mix on an area, measured", WHAT, "dose", False, "Mean over the treated ground."),
    Sort("part.*.sprayer", "Sprayer", WITH, "text", True, "Sprayer of this part of the job."),
    Sort("part.*.kind", "Type of equipment", WITH, "text", True, "Hand pump, battery pump or walk-behind."),
    Sort("part.*.nozzle", "Nozzle", WITH, "text", True, "Nozzle as stamped."),
    Sort("part.*.calibration", "Calibration", WITH, "text", True, "Pulses a litre, and since when they hold."),
    Sort("part.*.swath_m", "Width of a pass", WITH, "length", False, "Swath that the job was planned with."),
    Sort("part.*.volume_l", "Mix sprayed with it", WITH, "volume", False, "Mix metered in this part."),
    Sort("part.*.area_m2", "Area treated with it", WITH, "area", False, "Ground treated in this part."),
    Sort("wind_start_mps", "Wind at the start", AIR, "speed", True, "Mean that begins with the spraying."),
    Sort("wind_start_from_deg", "Wind at the start from", AIR, "bearing", True, "Direction it blew from then."),
    Sort("wind_end_mps", "Wind at the end", AIR, "speed", True, "Mean that ends with the spraying."),
    Sort("wind_end_from_deg", "Wind at the end from", AIR, "bearing", True, "Direction it blew from then."),
    Sort("wind_worst_mps", "Wind at its worst", AIR, "speed", True, "Highest mean of that length while sprayed."),
    Sort("wind_worst_from_deg", "Worst wind from", AIR, "bearing", True, "Direction it blew from then."),
    Sort("wind_worst_utc", "Worst wind at", AIR, "instant", False, "When the highest mean ended."),
    Sort("gust_mps", "Strongest gust", AIR, "speed", False, "Highest mean of three seconds."),
    Sort("wind_height_m", "Height of these winds", AIR, "height", True, "Height above ground they hold for."),
    Sort("wind_averaging_s", "Averaged over", AIR, "seconds", True, "Length of each mean."),
    Sort("wind_limit_mps", "Wind limit", AIR, "speed", False, "Limit that the job was held to."),
    Sort("wind_limit_stated", "As the label states it", AIR, "text", False, "The limit in the label's words."),
    Sort("temperature_start_c", "Temperature at the start", AIR, "celsius", True, "Air temperature."),
    Sort("temperature_end_c", "Temperature at the end", AIR, "celsius", True, "Air temperature."),
    Sort("humidity_start_percent", "Humidity at the start", AIR, "percent", True, "Relative humidity."),
    Sort("humidity_end_percent", "Humidity at the end", AIR, "percent", True, "Relative humidity."),
    Sort("passes", "Passes", HOW, "count", False, "Passes of the job."),
    Sort("passes_above", "Passes above the wind limit", HOW, "count", False, "Above it, 75 % sure at least."),
    Sort("passes_unsure", "Passes that cannot be told", HOW, "count", False, "Above or within is not sure."),
    Sort("off_target_l", "Mix off the target", HOW, "volume", False, "Mix outside the zones, keep-outs among them."),
    Sort("keep_out_l", "Of it in keep-outs", HOW, "volume", False, "Mix inside keep-outs."),
    Sort("rate_off_percent", "Mean rate off the target by", HOW, "off", False, "Measured mean against the target."),
    Sort("passes_off", "Passes off it by more than 10 %", HOW, "count", False, "Passes whose own mean dose is off."),
    Sort("missed_m2", "Places missed", HOW, "area", False, "Places in the zones that got next to nothing."),
    Sort("doubled_m2", "Ground doubled", HOW, "area", False, "Places that got nearly twice the target."),
    Sort("above_s", "Time above the wind limit", HOW, "seconds", False, "How long the 60-s mean was above it."),
    Sort("above_l", "Mix sprayed then before the alarm", HOW, "volume", False, "Sprayed before stop was told."),
    Sort("unplaced_l", "Mix at no known place", HOW, "volume", False, "Metered while the receiver had no fix."),
    Sort("missing_messages", "Samples that never came", HOW, "count", False, "Gaps in the log; volumes stay right."),
    Sort("incidents", "Unexpected events", HOW, "text", True, "Spills, drift, people in the way; or none."),
    Sort("notes", "Notes", HOW, "text", True, "Anything else."),
    Sort("job", "Job", ORIGIN, "text", False, "Number and name of the job, and of its further parts."),
    Sort("receiver", "Receiver", ORIGIN, "text", False, "Class of the receiver: how well places are known."),
    Sort("cards", "Cards", ORIGIN, "text", False, "Cards in the versions that the job rests on."),
)  # fmt: skip
"""Every item that a record may hold, in its order: the union of the field lists in `server.core.regimes`, and more."""

_BY_KEY = MappingProxyType({sort.key: sort for sort in SORTS})
_NUMBER = re.compile(r"\.([1-9][0-9]?)(?=\.|$)")


def sort_of(key: str) -> Sort:
    """What an item is.

    Parameters
    ----------
    key
        The item's key, as "product.2.name".

    Returns
    -------
    Sort
        The sort, its key with a star.

    Raises
    ------
    EntryError
        If there is no such item.

    References
    ----------
    Derivation: table `SORTS`.

    Examples
    --------
    >>> sort_of("product.2.name").label, sort_of("area_m2").kind
    ('Product', 'area')
    """
    found = _BY_KEY.get(_NUMBER.sub(".*", key))
    if found is None or "*" in key:
        raise EntryError(key, "is no item of a record")
    return found


def read_value(key: str, value: Value) -> tuple[Value, str]:
    """What a person typed for an item, as it is kept.

    Parameters
    ----------
    key
        The item's key.
    value
        A text, or a number in the unit of the item's kind [see `KINDS`]; amounts and rates as "12 fl oz".

    Returns
    -------
    tuple
        Value and unit; amounts and rates as a number with the label's unit.

    Raises
    ------
    EntryError
        If there is no such item, or the value cannot be meant.

    References
    ----------
    Derivation: `KINDS` and `server.core.quantity`.

    Examples
    --------
    >>> read_value("product.1.amount", "12.5 fl oz"), read_value("wind_start_mps", 2.0)
    ((12.5, 'fl oz'), (2.0, 'm/s'))
    >>> read_value("area_m2", -3.0)
    Traceback (most recent call last):
    server.core.errors.EntryError: area_m2: -3 m2 is outside 0.01 to 1e+06 m2
    """
    kind = sort_of(key).kind
    if any(int(number) > MOST_ROWS for number in _NUMBER.findall(key)):
        raise EntryError(key, f"a record holds {MOST_ROWS} of these")
    if kind in ("text", "day"):
        return _read_text(key, value, kind), ""
    if kind in ("amount", "rate"):
        return _read_amount(key, value, kind)
    unit, least, most = KINDS[kind]
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise EntryError(key, f"{value!r} is no number")
    if not least <= value <= most:
        raise EntryError(key, f"{value:g} {unit} is outside {least:g} to {most:g} {unit}")
    return float(value), unit


def fill_item(
    key: str, value: Value, unit: str = "", source: str = "measured", *, missing: str, sd: float | None = None
) -> Item:
    """An item with its value, or with why it is not known.

    Parameters
    ----------
    key
        The item's key.
    value
        The value [in `unit`]; None or an empty text: not known.
    unit
        The value's unit.
    source
        Where it comes from, one of `SOURCES`.
    missing
        Why it is not known, where it is not.
    sd
        The value's standard uncertainty [in `unit`]; None: not known.

    Returns
    -------
    Item
        As it stands in a record.

    References
    ----------
    Definition of this project. Derivation: none.

    Examples
    --------
    >>> fill_item("mix_l", 8.2, "L", missing="").value, fill_item("site", "", missing="no site was chosen").missing
    (8.2, 'no site was chosen')
    """
    if value is None or value == "":
        return Item(key, None, missing=missing)
    return Item(key, value, unit, source, sd=sd)


def merge_typed(items: list[Item], typed: Mapping[str, Value]) -> list[Item]:
    """The items with what was typed: in place of what is not known or was entered beforehand, never of a measurement.

    Parameters
    ----------
    items
        Items of a record.
    typed
        What was typed by key, as it was typed [units as in `read_value`].

    Returns
    -------
    list of Item
        The same items; those that were typed say so, and what stands beside them.

    References
    ----------
    Derivation: a measurement is corrected by an amendment with a reason, not by typing over it.

    Examples
    --------
    >>> merge_typed([Item("site", None, missing="no site was chosen")], {"site": "North lawn"})[0].source
    'typed'
    >>> merge_typed([Item("mix_l", 8.2, "L", "measured")], {"mix_l": 9.0})[0].beside
    9.0
    """
    merged = []
    for item in items:
        if item.key in typed:
            value, unit = read_value(item.key, typed[item.key])
            if item.source in ("measured", "computed"):
                item = Item(item.key, item.value, item.unit, item.source, "", item.sd, typed[item.key])
            else:
                item = Item(item.key, value, unit, "typed", beside=item.value)
        merged.append(item)
    return merged


def _read_text(key: str, value: Value, kind: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise EntryError(key, "must be filled in")
    text = value.strip()
    if len(text) > LONGEST:
        raise EntryError(key, f"{len(text)} characters are too many, {LONGEST} go in")
    if kind == "day" and re.fullmatch(r"20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])", text) is None:
        raise EntryError(key, f"{text!r} is no day: write it as 2027-05-31")
    return text


def _read_amount(key: str, value: Value, kind: str) -> tuple[float, str]:
    """A number and a label's unit behind it."""
    number, _, unit = str(value).strip().replace(",", ".", 1).partition(" ")
    unit = unit.strip()
    wanted = ("volume", "mass") if kind == "amount" else ("volume/area", "mass/area", "volume/volume", "mass/volume")
    try:
        amount, measures = float(number), kind_of(unit) if unit else ""
    except ValueError:
        amount, measures = float("nan"), ""
    if measures not in wanted or not isfinite(amount):
        example = "12.5 fl oz" if kind == "amount" else "3 fl oz/1000 ft2"
        known = ", ".join(name for name, (of, _) in UNITS.items() if of in ("volume", "mass"))
        raise EntryError(key, f"{value!r}: write number and unit, as {example}; units are {known}")
    base = {"volume": "L", "mass": "kg", "area": "m2"}
    if amount <= 0.0 or convert(amount, unit, into="/".join(base[part] for part in measures.split("/"))) > 1e5:
        raise EntryError(key, f"{value!r} cannot be meant")
    return amount, unit
