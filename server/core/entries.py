"""The limits of what a person may enter for a job's preparation, and the one line that says them."""

from math import isfinite
from types import MappingProxyType
from typing import Final

from server.core.errors import EntryError

LIMITS: Final = MappingProxyType(
    {
        "area": (1.0, 1e6, "m²"),
        "shape": (0.01, 1e6, "m²"),
        "area sd": (0.0, 1e6, "m²"),
        "area left": (0.0, 1e6, "m²"),
        "carrier rate": (0.001, 2.0, "L/m²"),
        "tank": (0.1, 2000.0, "L"),
        "fill": (0.1, 2000.0, "L"),
        "spare mix": (0.0, 50.0, "L"),
        "left in the tank": (0.0, 2000.0, "L"),
        "density": (0.2, 3.0, "kg/L"),
        "content": (0.0001, 1.0, "of the product"),
        "swath": (0.1, 20.0, "m"),
        "pace": (0.1, 5.0, "m/s"),
        "flow": (0.02, 200.0, "L/min"),
        "course": (3.0, 1000.0, "m"),
        "time": (2.0, 3600.0, "s"),
        "catch": (0.01, 200.0, "L"),
        "vessel step": (0.0001, 1.0, "L"),
        "vessel error": (0.0, 0.2, "of the catch"),
        "vessel error percent": (0.0, 20.0, "%"),
        "catch weight": (0.01, 200.0, "kg"),
        "scale step": (0.0001, 1.0, "kg"),
        "water temperature": (0.0, 40.0, "°C"),
        "caught in a cup": (0.0, 1e6, ""),
        "cup in the middle": (1.0, 200.0, ""),
        "cup spacing": (0.01, 2.0, "m"),
        "pulses": (20.0, 1e7, "pulses"),
        "pressure": (10.0, 2000.0, "kPa"),
        "width": (0.3, 5000.0, "m"),
        "volume": (0.0001, 2000.0, "L"),
        "offset": (-5.0, 5.0, "m"),
        "height": (0.1, 30.0, "m"),
        "wind limit": (0.1, 40.0, "m/s"),
        "water depth": (0.0, 500.0, "mm"),
        "soil depth": (5.0, 500.0, "mm"),
        "temperature": (-30.0, 60.0, "°C"),
        "month": (1.0, 12.0, ""),
        "days in a row": (1.0, 60.0, "days"),
        "product volume on area": (1e-7, 0.2, "L/m²"),
        "product mass on area": (1e-8, 0.2, "kg/m²"),
        "product volume in mix": (1e-5, 0.5, "L/L"),
        "product mass in mix": (1e-6, 0.5, "kg/L"),
        "pulses a litre": (1.0, 1e6, "pulses/L"),
        "uncertainty": (0.1, 50.0, "%"),
        "share": (0.0001, 100.0, "%"),
        "delay": (0.0, 10.0, "s"),
        "averaging": (1.0, 3600.0, "s"),
        "days": (0.0, 730.0, "days"),
        "hours": (0.0, 720.0, "h"),
        "applications": (1.0, 100.0, "a year"),
        "directions": (1.0, 2.0, ""),
        "number": (1.0, 1e9, ""),
    }
)
"""Least, most and unit of each field (common practice, no source): wide, for what cannot be meant, not for advice."""


def check_entry(field: str, value: float) -> float:
    """A number that a person entered, or one line that says what it may be.

    Parameters
    ----------
    field
        A key of `LIMITS`.
    value
        What was entered, in the unit there [see `LIMITS`].

    Returns
    -------
    float
        The same number.

    Raises
    ------
    EntryError
        If it is not finite or outside its limits.

    References
    ----------
    Derivation: table `LIMITS`, common practice without a source.

    Examples
    --------
    >>> check_entry("area", 450.0)
    450.0
    >>> check_entry("area", 0.0)
    Traceback (most recent call last):
    server.core.errors.EntryError: area: 0 m² is outside 1 to 1,000,000 m²
    """
    least, most, unit = LIMITS[field]
    if not isfinite(value):
        raise EntryError(field, f"a number from {_write(least)} to {_write(most)} {unit} is wanted")
    if not least <= value <= most:
        raise EntryError(field, f"{_write(value)} {unit} is outside {_write(least)} to {_write(most)} {unit}")
    return value


def _write(number: float) -> str:
    """A number without exponents, where people enter one."""
    return f"{number:,.0f}" if abs(number) >= 1000.0 else f"{number:.4g}"
