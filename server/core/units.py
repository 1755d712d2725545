"""The units that users speak, from and to SI.

Inside: litres per square metre (1 L/m² = 1 mm), metres per second, litres, square metres. US gallons throughout.
"""

from types import MappingProxyType
from typing import Final

FOOT_M: Final = 0.3048
MILE_M: Final = 1609.344
NAUTICAL_MILE_M: Final = 1852.0
US_GALLON_L: Final = 3.785411784
FLUID_OUNCE_L: Final = US_GALLON_L / 128
ACRE_M2: Final = 43560 * FOOT_M**2
HECTARE_M2: Final = 10_000.0

RATE_UNITS: Final = MappingProxyType(
    {
        "L/m2": 1.0,
        "L/100 m2": 1 / 100.0,
        "L/ha": 1 / HECTARE_M2,
        "gal/1000 ft2": US_GALLON_L / (1000 * FOOT_M**2),
        "gal/acre": US_GALLON_L / ACRE_M2,
    }
)
"""What one of each rate unit is in L/m²."""
SPEED_UNITS: Final = MappingProxyType(
    {"m/s": 1.0, "km/h": 1 / 3.6, "mph": MILE_M / 3600, "kn": NAUTICAL_MILE_M / 3600, "ft/min": FOOT_M / 60}
)
"""What one of each speed unit is in m/s."""
AREA_UNITS: Final = MappingProxyType(
    {"m2": 1.0, "ha": HECTARE_M2, "ft2": FOOT_M**2, "1000 ft2": 1000 * FOOT_M**2, "acre": ACRE_M2}
)
"""What one of each area unit is in m²."""
VOLUME_UNITS: Final = MappingProxyType({"L": 1.0, "mL": 0.001, "gal": US_GALLON_L, "fl oz": FLUID_OUNCE_L})
"""What one of each volume unit is in litres."""


def rate_in(rate: float, *, unit: str) -> float:
    """A rate in the user's unit.

    Parameters
    ----------
    rate
        Liquid per area [L/m²]; NaN stays NaN.
    unit
        A key of `RATE_UNITS`.

    Returns
    -------
    float
        The rate in `unit`.

    Raises
    ------
    ValueError
        If the unit is not known.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (foot, acre, US gallon).

    Examples
    --------
    >>> rate_in(0.04, unit="L/100 m2"), round(rate_in(0.0407458, unit="gal/1000 ft2"), 4)
    (4.0, 1.0)
    """
    return rate / _factor(unit, RATE_UNITS)


def rate_from(rate: float, *, unit: str) -> float:
    """A rate in litres per square metre, from the user's unit.

    Parameters
    ----------
    rate
        Liquid per area in `unit`; NaN stays NaN.
    unit
        A key of `RATE_UNITS`.

    Returns
    -------
    float
        The rate [L/m²].

    Raises
    ------
    ValueError
        If the unit is not known.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (foot, acre, US gallon).

    Examples
    --------
    >>> rate_from(400.0, unit="L/ha")
    0.04
    """
    return rate * _factor(unit, RATE_UNITS)


def speed_in(speed: float, *, unit: str) -> float:
    """A speed in the user's unit.

    Parameters
    ----------
    speed
        Speed [m/s]; NaN stays NaN.
    unit
        A key of `SPEED_UNITS`.

    Returns
    -------
    float
        The speed in `unit`.

    Raises
    ------
    ValueError
        If the unit is not known.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (mile, nautical mile, knot).

    Examples
    --------
    >>> round(speed_in(4.4704, unit="mph"), 9), round(speed_in(1.0, unit="km/h"), 9)
    (10.0, 3.6)
    """
    return speed / _factor(unit, SPEED_UNITS)


def speed_from(speed: float, *, unit: str) -> float:
    """A speed in metres per second, from the user's unit.

    Parameters
    ----------
    speed
        Speed in `unit`; NaN stays NaN.
    unit
        A key of `SPEED_UNITS`.

    Returns
    -------
    float
        The speed [m/s].

    Raises
    ------
    ValueError
        If the unit is not known.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (mile, nautical mile, knot).

    Examples
    --------
    >>> round(speed_from(10.0, unit="mph"), 9), round(speed_from(1.0, unit="kn"), 6)
    (4.4704, 0.514444)
    """
    return speed * _factor(unit, SPEED_UNITS)


def area_in(area: float, *, unit: str) -> float:
    """An area in the user's unit.

    Parameters
    ----------
    area
        Area [m²]; NaN stays NaN.
    unit
        A key of `AREA_UNITS`.

    Returns
    -------
    float
        The area in `unit`.

    Raises
    ------
    ValueError
        If the unit is not known.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (acre, hectare, square foot).

    Examples
    --------
    >>> round(area_in(10_000.0, unit="acre"), 3)
    2.471
    """
    return area / _factor(unit, AREA_UNITS)


def volume_in(volume: float, *, unit: str) -> float:
    """A volume in the user's unit.

    Parameters
    ----------
    volume
        Volume [L]; NaN stays NaN.
    unit
        A key of `VOLUME_UNITS`.

    Returns
    -------
    float
        The volume in `unit`.

    Raises
    ------
    ValueError
        If the unit is not known.

    References
    ----------
    NIST Special Publication 811, 2008, appendix B.8 (US gallon, fluid ounce).

    Examples
    --------
    >>> round(volume_in(3.785411784, unit="fl oz"), 9)
    128.0
    """
    return volume / _factor(unit, VOLUME_UNITS)


def _factor(unit: str, units: MappingProxyType[str, float]) -> float:
    """One of a unit in SI, or a complaint that names the units there are."""
    if unit not in units:
        raise ValueError(f"unit {unit!r} is not known: give one of {', '.join(units)}")
    return units[unit]
