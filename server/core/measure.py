"""What to measure an amount with, and how to write it, in metric or US customary units.

Litres and kilograms.
"""

from dataclasses import dataclass
from math import floor, isfinite, isnan, log10

from server.core.quantity import convert

GOOD_SHARE = 0.05
"""Half a step of the tool may be this share of the amount: the rate itself is to be within 5 %."""
SYSTEMS = ("metric", "US")


@dataclass(frozen=True, slots=True)
class Tool:
    """What an amount is measured with, its step [L or kg], and whether even it is too coarse."""

    name: str
    step: float
    is_too_coarse: bool = False


_FOR_VOLUME = (Tool("jug", 0.1), Tool("cup", 0.01), Tool("syringe", 0.001), Tool("fine syringe", 0.0002))
_FOR_MASS = (Tool("scale", 0.01), Tool("kitchen scale", 0.001), Tool("fine scale", 0.0001))
"""Steps of usual household tools (common practice, no source)."""


def choose_tool(amount: float, *, is_mass: bool = False) -> Tool:
    """The coarsest tool with which an amount is still measured to 5 %.

    Parameters
    ----------
    amount
        What is to be measured [L], or [kg] if it is a mass; above 0.
    is_mass
        Whether it is weighed.

    Returns
    -------
    Tool
        From a jug (0.1 L) to a fine syringe (0.2 mL), or from a scale (10 g) to a fine one (0.1 g). `is_too_coarse`
        below 2 mL or 1 g, where not even that will do.

    Raises
    ------
    ValueError
        If the amount is not above 0.

    References
    ----------
    Derivation: half a step over the amount against 5 %; the tools' steps are common practice, no source.

    Examples
    --------
    >>> [choose_tool(litres).name for litres in (1.5, 0.15, 0.02, 0.004)]
    ['jug', 'cup', 'syringe', 'fine syringe']
    >>> choose_tool(0.0005, is_mass=True).is_too_coarse
    True
    """
    if not amount > 0.0:
        raise ValueError(f"an amount above 0 is wanted, not {amount:g}")
    tools = _FOR_MASS if is_mass else _FOR_VOLUME
    for tool in tools:
        if tool.step / 2.0 <= GOOD_SHARE * amount * (1.0 + 1e-9):
            return tool
    return Tool(tools[-1].name, tools[-1].step, True)


def write_amount(amount: float, *, is_mass: bool = False, system: str = "metric") -> str:
    """An amount in words: three digits and the unit that people measure with.

    Parameters
    ----------
    amount
        The amount [L], or [kg] if it is a mass; NaN is written as not known.
    is_mass
        Whether it is a mass.
    system
        "metric" (mL and L, g and kg) or "US" (fl oz and gal, oz and lb; fluid ounces below a gallon, ounces below a
        pound).

    Returns
    -------
    str
        Number and unit, rounded to three digits: within 0.5 %.

    Raises
    ------
    ValueError
        If the system is not one of the two, or the amount is infinite.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (through `server.core.quantity`).

    Examples
    --------
    >>> write_amount(0.1514), write_amount(0.1514, system="US"), write_amount(1.134, is_mass=True, system="US")
    ('151 mL', '5.12 fl oz', '2.50 lb')
    """
    if system not in SYSTEMS:
        raise ValueError(f"system {system!r} is not known: give one of {', '.join(SYSTEMS)}")
    if isnan(amount):
        return "not known"
    if not isfinite(amount):
        raise ValueError("an infinite amount cannot be written")
    base, (small, large) = _UNITS_OF[system, is_mass]
    number = convert(amount, base, into=large)
    unit = large if abs(_round(number)) >= 1.0 else small
    number = _round(convert(amount, base, into=unit))
    return f"{number:.{_decimals(number)}f} {unit}"


_UNITS_OF = {
    ("metric", False): ("L", ("mL", "L")),
    ("metric", True): ("kg", ("g", "kg")),
    ("US", False): ("L", ("fl oz", "gal")),
    ("US", True): ("kg", ("oz", "lb")),
}


def _round(number: float) -> float:
    """Three digits."""
    return float(f"{number:.3g}")


def _decimals(number: float) -> int:
    """How many decimals three digits need."""
    return max(0, 2 - floor(log10(abs(number)))) if number else 0
