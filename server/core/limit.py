"""A wind limit as a label or a law states it: number and unit kept as they are, compared exactly in SI.

Metres per second. The units' sizes are exact by definition, so a reading of as much as the limit is not above it.
"""

import re
from fractions import Fraction
from math import isclose
from types import MappingProxyType
from typing import Final

from server.core.quantity import convert_exactly, exact

EXACT_MPS: Final = MappingProxyType(
    {unit: convert_exactly(Fraction(1), unit, into="m/s") for unit in ("m/s", "km/h", "mph", "kn")}
)
"""What one of each unit that labels use is in m/s."""
_NAMES: Final = MappingProxyType(
    {
        "m/s": "m/s", "ms-1": "m/s", "mps": "m/s", "km/h": "km/h", "kmh": "km/h", "kph": "km/h", "mph": "mph",
        "mi/h": "mph", "miles per hour": "mph", "kn": "kn", "kt": "kn", "kts": "kn", "knot": "kn", "knots": "kn",
    }
)  # fmt: skip
_STATED: Final = re.compile(r"(\d{1,4}(?:[.,]\d{1,6})?)\s*([A-Za-z/][A-Za-z/ 1-]*)")


def read_limit(stated: str) -> float:
    """The speed that a label states, in metres per second.

    Parameters
    ----------
    stated
        Number and unit as the label has them: metres per second, kilometres or miles per hour, or knots.

    Returns
    -------
    float
        The float nearest to the exact speed [m/s].

    Raises
    ------
    ValueError
        Where it is no number followed by one of these units.

    References
    ----------
    BIPM, The International System of Units, 9th edition (2019), table 8 (hour) and, for nautical mile and knot, the
    8th edition (2006), table 8; ISO 31-1 (1992), annex A (mile of 1609.344 m). From memory.

    Examples
    --------
    >>> read_limit("10 mph"), read_limit("18 km/h"), read_limit("4,5 m/s")
    (4.4704, 5.0, 4.5)
    """
    number, unit = _split(stated)
    return float(number * EXACT_MPS[unit])


def exact_speed(speed: float, *, unit: str) -> float:
    """A reading in one of the labels' units in metres per second, for comparing it with a limit.

    Parameters
    ----------
    speed
        Speed in `unit`: the shortest decimal number that is this float is meant.
    unit
        A key of `EXACT_MPS`.

    Returns
    -------
    float
        The float nearest to the exact speed [m/s]: the same as `read_limit` gives for the same figures.

    Raises
    ------
    ValueError
        If the unit is not known or the speed is not finite.

    References
    ----------
    As `read_limit`.

    Examples
    --------
    >>> exact_speed(10.1, unit="mph") == read_limit("10.1 mph"), exact_speed(10.1, unit="mph") > read_limit("10.1 mph")
    (True, False)
    """
    if unit not in EXACT_MPS:
        raise ValueError(f"unit {unit!r} is not known: give one of {', '.join(EXACT_MPS)}")
    return float(exact(float(speed)) * EXACT_MPS[unit])


def tell_limit(limit_mps: float, stated: str | None) -> str:
    """A limit in words: as the label states it, and what that is in metres per second.

    Parameters
    ----------
    limit_mps
        The limit [m/s].
    stated
        As the label has it; None: it was set in metres per second.

    Returns
    -------
    str
        As in the examples.

    Raises
    ------
    ValueError
        Where `stated` cannot be read.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> tell_limit(4.4704, "10 mph"), tell_limit(4.5, None), tell_limit(4.5, "4.5 m/s")
    ('10 mph (4.5 m/s)', '4.5 m/s', '4.5 m/s')
    """
    if stated is None:
        return f"{limit_mps:.1f} m/s"
    return stated if _split(stated)[1] == "m/s" else f"{stated} ({limit_mps:.1f} m/s)"


def is_stated_so(limit_mps: float, stated: str) -> bool:
    """Whether a limit in metres per second is the one that a label states, but for rounding where it was typed.

    Parameters
    ----------
    limit_mps
        The limit [m/s].
    stated
        As the label has it.

    Returns
    -------
    bool
        Whether they differ by less than a millionth.

    Raises
    ------
    ValueError
        Where `stated` cannot be read.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> is_stated_so(4.4704, "10 mph"), is_stated_so(4.5, "10 mph")
    (True, False)
    """
    return isclose(limit_mps, read_limit(stated), rel_tol=1e-6)


def _split(stated: str) -> tuple[Fraction, str]:
    """Number and unit."""
    found = _STATED.fullmatch(stated.strip())
    unit = None if found is None else _NAMES.get(" ".join(found[2].lower().split()))
    if found is None or unit is None:
        raise ValueError(f"{stated!r} is no speed as a label states it: a number and one of {', '.join(EXACT_MPS)}")
    return Fraction(found[1].replace(",", ".")), unit
