"""Quantities as labels write them, converted exactly: amounts, areas, lengths, times, speeds, pressures, temperatures.

A unit is a name of `UNITS` or two of them with a stroke between, as "fl oz/1000 ft2" or "lb/gal". Sizes are fractions
in litres, kilograms, square metres, metres, seconds and pascals, so that nothing is lost on the way there and back.
Gallons, quarts, pints and fluid ounces are the US ones unless "imp" stands before them; "oz" is a weight.
"""

from fractions import Fraction
from math import isfinite
from types import MappingProxyType
from typing import Final

from server.core.units import FOOT_M, MILE_M, NAUTICAL_MILE_M, US_GALLON_L

_FOOT = Fraction(str(FOOT_M))
_INCH = _FOOT / 12
_GALLON = Fraction(str(US_GALLON_L))
_IMPERIAL_GALLON = Fraction("4.54609")
_POUND = Fraction("0.45359237")
_GRAVITY = Fraction("9.80665")

_KINDS: Final[dict[str, dict[str, Fraction]]] = {
    "volume": {
        "mL": Fraction(1, 1000),
        "L": Fraction(1),
        "100 L": Fraction(100),
        "tsp": _GALLON / 768,
        "tbsp": _GALLON / 256,
        "fl oz": _GALLON / 128,
        "cup": _GALLON / 16,
        "pt": _GALLON / 8,
        "qt": _GALLON / 4,
        "gal": _GALLON,
        "100 gal": 100 * _GALLON,
        "imp fl oz": _IMPERIAL_GALLON / 160,
        "imp pt": _IMPERIAL_GALLON / 8,
        "imp gal": _IMPERIAL_GALLON,
    },
    "mass": {"g": Fraction(1, 1000), "kg": Fraction(1), "oz": _POUND / 16, "lb": _POUND},
    "area": {
        "m2": Fraction(1),
        "100 m2": Fraction(100),
        "ha": Fraction(10_000),
        "ft2": _FOOT**2,
        "1000 ft2": 1000 * _FOOT**2,
        "acre": 43_560 * _FOOT**2,
    },
    "length": {
        "mm": Fraction(1, 1000),
        "cm": Fraction(1, 100),
        "m": Fraction(1),
        "km": Fraction(1000),
        "in": _INCH,
        "ft": _FOOT,
        "mi": Fraction(str(MILE_M)),
    },
    "time": {"s": Fraction(1), "min": Fraction(60), "h": Fraction(3600)},
    "length/time": {"mph": Fraction(str(MILE_M)) / 3600, "kn": Fraction(str(NAUTICAL_MILE_M)) / 3600},
    "pressure": {
        "Pa": Fraction(1),
        "kPa": Fraction(1000),
        "bar": Fraction(100_000),
        "psi": _POUND * _GRAVITY / _INCH**2,
    },
    "temperature": {"K": Fraction(1), "°C": Fraction(1), "°F": Fraction(5, 9)},
}
_ZEROS: Final = MappingProxyType(
    {"K": Fraction(0), "°C": Fraction("273.15"), "°F": Fraction("459.67") * Fraction(5, 9)}
)
"""What each scale of temperature calls nought, in kelvin: a temperature is no size alone."""
UNITS: Final = MappingProxyType({name: (kind, size) for kind, of in _KINDS.items() for name, size in of.items()})
"""The kind of each unit and its size in L, kg, m², m, s, m/s, Pa or K."""


def exact(number: float) -> Fraction:
    """A number as it was typed: 0.1 is a tenth, not the nearest binary number.

    Parameters
    ----------
    number
        Any finite number [-].

    Returns
    -------
    Fraction
        Its shortest decimal writing.

    Raises
    ------
    ValueError
        If the number is NaN or infinite.

    References
    ----------
    Derivation: the shortest decimal that reads back as the same number.

    Examples
    --------
    >>> exact(0.1)
    Fraction(1, 10)
    """
    if not isfinite(number):
        raise ValueError(f"{number} is not a number that can be converted")
    return Fraction(str(float(number))) if isinstance(number, float) else Fraction(number)


def kind_of(unit: str) -> str:
    """What a unit measures, as "volume", "mass/area" or "length/time".

    Parameters
    ----------
    unit
        A name of `UNITS`, or two with a stroke between.

    Returns
    -------
    str
        The kind; of a rate both, with a stroke between.

    Raises
    ------
    ValueError
        If a unit is not known.

    References
    ----------
    Derivation: table `UNITS`.

    Examples
    --------
    >>> kind_of("fl oz"), kind_of("oz"), kind_of("lb/acre"), kind_of("mph")
    ('volume', 'mass', 'mass/area', 'length/time')
    """
    return "/".join(_find(part, unit)[0] for part in unit.split("/"))


def convert_exactly(number: Fraction, unit: str, *, into: str, density_kg_per_l: Fraction | None = None) -> Fraction:
    """A quantity in another unit, exactly; there and back gives the same number.

    A volume becomes a mass, and a mass a volume, only by a density: fluid ounces are no ounces.

    Parameters
    ----------
    number
        How many of `unit` [-].
    unit
        The unit it is in.
    into
        The unit wanted.
    density_kg_per_l
        Mass of a litre [kg/L]; used only between mass and volume.

    Returns
    -------
    Fraction
        How many of `into`.

    Raises
    ------
    ValueError
        If a unit is not known, the two do not measure the same, or a density is missing or not above 0.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (foot, pound, US gallon, inch, standard gravity); the imperial
    gallon of 4.546 09 L by the UK Units of Measurement Regulations 1995, and the zeros of the scales of temperature
    (from memory).

    Examples
    --------
    >>> convert_exactly(Fraction(1), "gal", into="fl oz"), convert_exactly(Fraction(1), "lb", into="oz")
    (Fraction(128, 1), Fraction(16, 1))
    >>> convert_exactly(Fraction(1), "lb/acre", into="oz/1000 ft2")
    Fraction(400, 1089)
    >>> convert_exactly(Fraction(212), "°F", into="°C")
    Fraction(100, 1)
    """
    bridge = _bridge(unit, into, density_kg_per_l)
    if unit in _ZEROS:
        return (number * _size_of(unit) + _ZEROS[unit] - _ZEROS[into]) / _size_of(into)
    return number * _size_of(unit) * bridge / _size_of(into)


def convert(number: float, unit: str, *, into: str, density_kg_per_l: float | None = None) -> float:
    """A quantity in another unit, as near as a number can be.

    Parameters
    ----------
    number
        How many of `unit` [-]; NaN stays NaN.
    unit
        The unit it is in.
    into
        The unit wanted.
    density_kg_per_l
        Mass of a litre [kg/L]; used only between mass and volume.

    Returns
    -------
    float
        How many of `into`.

    Raises
    ------
    ValueError
        If a unit is not known, the two do not measure the same, or a density is missing or not above 0.

    References
    ----------
    As `convert_exactly`.

    Examples
    --------
    >>> round(convert(40.0, "gal/acre", into="gal/1000 ft2"), 4), convert(1.5, "bar", into="kPa")
    (0.9183, 150.0)
    >>> convert(16.0, "oz", into="fl oz")
    Traceback (most recent call last):
    ValueError: oz is a weight and fl oz a volume: give the density, or the other unit if that was meant
    """
    density = None if density_kg_per_l is None else exact(density_kg_per_l)
    if unit in _ZEROS and isfinite(number):
        return float(convert_exactly(exact(number), unit, into=into))
    factor = convert_exactly(Fraction(1), unit, into=into, density_kg_per_l=density)
    return float(exact(number) * factor) if isfinite(number) else number * float(factor)


def _bridge(unit: str, into: str, density: Fraction | None) -> Fraction:
    """What takes a unit's kind to the other's: 1, or a density; or a complaint."""
    have, want = kind_of(unit).partition("/"), kind_of(into).partition("/")
    if have == want:
        return Fraction(1)
    if have[1:] != want[1:] or {have[0], want[0]} != {"mass", "volume"}:
        raise ValueError(f"{unit} is {''.join(have)} and {into} is {''.join(want)}: one does not become the other")
    if density is None:
        words = {"mass": "weight", "volume": "volume"}
        raise ValueError(
            f"{unit} is a {words[have[0]]} and {into} a {words[want[0]]}: "
            "give the density, or the other unit if that was meant"
        )
    if density <= 0:
        raise ValueError(f"a density of {float(density):g} kg/L cannot be: it must be above 0")
    return density if have[0] == "volume" else 1 / density


def _size_of(unit: str) -> Fraction:
    """One of a unit, or of a rate, in base units."""
    above, *below = (_find(part, unit)[1] for part in unit.split("/"))
    return above / below[0] if below else above


def _find(name: str, whole: str) -> tuple[str, Fraction]:
    """Kind and size of one unit, or a complaint that names the units there are."""
    if name not in UNITS or whole.count("/") > 1 or ("/" in whole and "/" in UNITS[name][0]):
        raise ValueError(f"unit {whole!r} is not known: give one of {', '.join(UNITS)}, or two with a stroke between")
    return UNITS[name]
