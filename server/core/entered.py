"""What a person enters, as records that check themselves: each field with its words, its limits and its choices.

A card is such a record kept by the store. The same description checks an entry, tells the form what to show and says
what is wrong in one line.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields, is_dataclass
from math import isfinite
from types import MappingProxyType
from typing import Any, ClassVar, Final, get_args, get_origin

import numpy as np

from server.core.entries import LIMITS, check_entry
from server.core.errors import EntryError
from server.core.quantity import convert, kind_of

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
FIRST_DAY, LAST_DAY = "2000-01-01", "2099-12-31"
LONGEST_LINE, LONGEST_NOTE = 120, 4000

MEASURES: Final = MappingProxyType(
    {
        "carrier rate": ("carrier rate", "L/m2", ("L/100 m2", "L/ha", "mL/m2", "gal/1000 ft2", "gal/acre")),
        "area": ("area", "m2", ("m2", "ha", "ft2", "1000 ft2", "acre")),
        "tank": ("tank", "L", ("L", "gal", "imp gal")),
        "volume": ("volume", "L", ("mL", "L", "fl oz", "pt", "qt", "gal")),
        "density": ("density", "kg/L", ("kg/L", "lb/gal")),
        "swath": ("swath", "m", ("m", "cm", "ft", "in")),
        "offset": ("offset", "m", ("m", "cm", "ft", "in")),
        "height": ("height", "m", ("m", "cm", "ft", "in")),
        "course": ("course", "m", ("m", "ft")),
        "speed": ("wind limit", "m/s", ("m/s", "km/h", "mph", "kn")),
        "pressure": ("pressure", "kPa", ("bar", "kPa", "psi")),
        "flow": ("flow", "L/min", ("L/min", "mL/min", "gal/min", "fl oz/min")),
        "catch": ("catch", "L", ("mL", "L", "fl oz", "pt", "qt", "gal")),
        "vessel step": ("vessel step", "L", ("mL", "L", "fl oz", "pt", "qt", "gal")),
        "catch weight": ("catch weight", "kg", ("g", "kg", "oz", "lb")),
        "scale step": ("scale step", "kg", ("g", "kg", "oz", "lb")),
        "cup spacing": ("cup spacing", "m", ("cm", "m", "in", "ft")),
        "water depth": ("water depth", "mm", ("mm", "in")),
        "mass on area": (
            "product mass on area",
            "kg/m2",
            ("g/100 m2", "kg/ha", "lb/1000 ft2", "oz/1000 ft2", "lb/acre"),
        ),
        "soil depth": ("soil depth", "mm", ("cm", "in")),
        "temperature": ("temperature", "°C", ("°C", "°F")),
    }
)
"""What a stated quantity measures: its limits in `LIMITS`, the unit of those, the units to choose from."""

RATES: Final = MappingProxyType(
    {
        "volume/area": (
            "product volume on area",
            "L/m2",
            ("mL/100 m2", "L/ha", "fl oz/1000 ft2", "pt/acre", "qt/acre", "gal/acre"),
        ),
        "mass/area": ("product mass on area", "kg/m2", ("g/100 m2", "kg/ha", "oz/1000 ft2", "lb/1000 ft2", "lb/acre")),
        "volume/volume": (
            "product volume in mix",
            "L/L",
            ("mL/L", "mL/100 L", "fl oz/gal", "tbsp/gal", "fl oz/100 gal"),
        ),
        "mass/volume": ("product mass in mix", "kg/L", ("g/L", "g/100 L", "oz/gal", "lb/100 gal")),
    }
)
"""Rates of a product by what they measure, in the same form; the measure "product rate" takes any of them."""


@dataclass(frozen=True, slots=True)
class Stated:
    """A quantity as a label or a person states it: kept in its own number and unit."""

    value: float
    unit: str
    __pydantic_config__: ClassVar[dict[str, Any]] = {"extra": "forbid"}


@dataclass(frozen=True, slots=True)
class Entered:
    """What a person entered; an entry that cannot be meant is refused with the field's name."""

    __pydantic_config__: ClassVar[dict[str, Any]] = {"extra": "forbid"}

    def __post_init__(self) -> None:
        """Check each field against its own description; raises EntryError."""
        for each in fields(self):
            check_field(each.name, each.metadata, getattr(self, each.name))


def entry(
    label: str,
    *,
    hint: str = "",
    limits: str | None = None,
    measures: str | None = None,
    choices: tuple[str, ...] = (),
    text: str = "line",
    refers: str = "",
    default: Any = MISSING,
    default_factory: Callable[[], Any] | Any = MISSING,
) -> Any:
    """Declare a field that a person fills in.

    Parameters
    ----------
    label
        Its name in words.
    hint
        What helps to fill it in.
    limits
        For a number: a key of `LIMITS` [its unit is there].
    measures
        For a stated quantity: a key of `MEASURES`, or "product rate".
    choices
        For a text: what it may be.
    text
        For any other text: "line", "note" (several lines), "day" (as 2027-05-31), or "name" (a line that is not empty).
    refers
        For a number of another card: which noun's, as "products".
    default
        What holds when nothing is entered; without one the field must be filled in.
    default_factory
        The same for what is made anew each time.

    Returns
    -------
    Any
        The field, as dataclasses have it.

    References
    ----------
    Derivation: fields' metadata as in the standard library's dataclasses.

    Examples
    --------
    >>> @dataclass(frozen=True, slots=True)
    ... class Plot(Entered):
    ...     area_m2: float = entry("Area", limits="area")
    >>> Plot(0.0)
    Traceback (most recent call last):
    server.core.errors.EntryError: area_m2: 0 m² is outside 1 to 1,000,000 m²
    """
    metadata = {
        "label": label,
        "hint": hint,
        "limits": "number" if refers else limits,
        "measures": measures,
        "choices": choices,
        "text": text,
        "refers": refers,
    }
    made: Any = field
    if default_factory is not MISSING:
        return made(default_factory=default_factory, metadata=metadata)
    return made(default=default, metadata=metadata)


def check_field(name: str, description: Mapping[str, Any], value: Any) -> None:
    """Refuse a field's value that cannot be meant.

    Parameters
    ----------
    name
        The field's name.
    description
        Its metadata, made by `entry`; empty: nothing is checked.
    value
        What was entered, in the unit of the field [see there]; None: nothing was.

    Raises
    ------
    EntryError
        If a number or a stated quantity is outside its limits, a text too long, empty, no day or none of the choices.

    References
    ----------
    Derivation: `LIMITS`, `MEASURES` and `RATES`.

    Examples
    --------
    >>> check_field("tank", {"measures": "tank"}, Stated(4.0, "gal"))
    >>> check_field("tank", {"measures": "tank"}, Stated(4.0, "oz"))
    Traceback (most recent call last):
    server.core.errors.EntryError: tank: oz is none of its units: give L, gal or imp gal
    """
    if value is None or not description:
        return
    if isinstance(value, Stated):
        _check_stated(name, description["measures"], value)
    elif isinstance(value, str):
        _check_text(name, description, value)
    elif description.get("limits"):
        for number in value if isinstance(value, tuple) else (value,):
            try:
                check_entry(description["limits"], float(number))
            except EntryError as error:
                raise EntryError(name, error.problem) from error


def in_si(stated: Stated, *, measures: str, density_kg_per_l: float | None = None) -> float:
    """A stated quantity in the unit of its limits.

    Parameters
    ----------
    stated
        Number and unit [any of `measures`].
    measures
        A key of `MEASURES` or of `RATES`.
    density_kg_per_l
        Mass of a litre [kg/L], where a weight is wanted as a volume or the other way round.

    Returns
    -------
    float
        The number in the unit named there, SI but for kPa, L/min, mm and °C; a rate of mass in kg.

    Raises
    ------
    ValueError
        If the unit does not measure that.

    References
    ----------
    As `server.core.quantity.convert_exactly`.

    Examples
    --------
    >>> round(in_si(Stated(1, "gal/1000 ft2"), measures="carrier rate"), 5), in_si(Stated(18, "km/h"), measures="speed")
    (0.04075, 5.0)
    """
    _, unit, _ = MEASURES[measures] if measures in MEASURES else RATES[measures]
    return convert(stated.value, stated.unit, into=unit, density_kg_per_l=density_kg_per_l)


def describe_fields(record: type[Any]) -> list[dict[str, Any]]:
    """What a form has to know of each field of a record.

    Parameters
    ----------
    record
        A dataclass whose fields were made by `entry`.

    Returns
    -------
    list of dict
        A row a field with key, label, hint, what kind of value it takes, choices, text, which noun it refers to,
        whether it must be filled in, its default, its limits (one range in one unit, or of a stated quantity a range
        for each unit), and the fields of each row where it takes rows.

    References
    ----------
    Derivation: `LIMITS`, `MEASURES` and `RATES`.

    Examples
    --------
    >>> @dataclass(frozen=True, slots=True)
    ... class Plot(Entered):
    ...     area: Stated = entry("Area", measures="area")
    >>> describe_fields(Plot)[0]["units"]["ha"]
    [0.0001, 100.0]
    """
    return [_describe(each) for each in fields(record) if each.metadata]


def _describe(each: Any) -> dict[str, Any]:
    about = each.metadata
    limits = LIMITS[about["limits"]] if about["limits"] else None
    has_default = each.default is not MISSING or each.default_factory is not MISSING
    default = each.default if isinstance(each.default, bool | int | float | str) else None
    return {
        "key": each.name,
        "label": about["label"],
        "hint": about["hint"],
        "kind": _kind_of(each.type, about),
        "choices": list(about["choices"]),
        "text": about["text"],
        "refers": about["refers"],
        "is_needed": not has_default,
        "default": default,
        "range": list(limits[:2]) if limits else None,
        "unit": limits[2] if limits else "",
        "units": _ranges_of(about["measures"]) if about["measures"] else None,
        "rows": describe_fields(get_args(each.type)[0]) if _kind_of(each.type, about) == "rows" else None,
    }


def _kind_of(annotation: Any, about: Mapping[str, Any]) -> str:
    """What kind of value a field takes: stated, choice, text, flag, number, numbers, texts or rows."""
    if about["measures"]:
        return "stated"
    if get_origin(annotation) is tuple:
        part = get_args(annotation)[0]
        return "rows" if is_dataclass(part) else "texts" if part is str else "numbers"
    if annotation is bool:
        return "flag"
    if about["choices"]:
        return "choice"
    return "number" if about["limits"] else "text"


def _ranges_of(measures: str) -> dict[str, list[float]]:
    """Each unit to choose with the least and most in it."""
    found: dict[str, list[float]] = {}
    for limit, base, units in RATES.values() if measures == "product rate" else (MEASURES[measures],):
        least, most, _ = LIMITS[limit]
        found |= {unit: [float(f"{convert(end, base, into=unit):.6g}") for end in (least, most)] for unit in units}
    return found


def _check_stated(name: str, measures: str, stated: Stated) -> None:
    table = RATES if measures == "product rate" else {measures: MEASURES[measures]}
    known = [unit for _, _, units in table.values() for unit in units]
    if stated.unit not in known:
        raise EntryError(name, f"{stated.unit} is none of its units: give {', '.join(known[:-1])} or {known[-1]}")
    limit, base, _ = RATES[kind_of(stated.unit)] if measures == "product rate" else MEASURES[measures]
    least, most, _ = LIMITS[limit]
    value = convert(stated.value, stated.unit, into=base) if isfinite(stated.value) else stated.value
    if not least - 1e-9 * abs(least) <= value <= most + 1e-9 * abs(most):
        ends = [f"{convert(end, base, into=stated.unit):.4g}" for end in (least, most)]
        raise EntryError(name, f"{stated.value:g} {stated.unit} is outside {ends[0]} to {ends[1]} {stated.unit}")


def _check_text(name: str, description: Mapping[str, Any], value: str) -> None:
    choices, kind = description.get("choices"), description.get("text")
    if choices:
        if value not in choices:
            raise EntryError(name, f"{value!r} is none of {', '.join(choices)}")
        return
    most = LONGEST_NOTE if kind == "note" else LONGEST_LINE
    if len(value) > most:
        raise EntryError(name, f"{len(value)} characters are too many, {most} go in")
    if kind == "name" and not value.strip():
        raise EntryError(name, "must be filled in")
    if kind == "day" and value:
        _check_day(name, value)


def _check_day(name: str, value: str) -> None:
    try:
        is_day = _DAY.fullmatch(value) is not None and str(np.datetime64(value, "D")) == value
    except ValueError:
        is_day = False
    if not is_day:
        raise EntryError(name, f"{value!r} is no day: write it as 2027-05-31")
    if not FIRST_DAY <= value <= LAST_DAY:
        raise EntryError(name, f"{value} is outside {FIRST_DAY} to {LAST_DAY}")
