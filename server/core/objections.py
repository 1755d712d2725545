"""What speaks against a treatment, with numbers: refused, asked about, or only told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

SEVERITIES = ("refuse", "ask", "tell")
"""Cannot be meant or is above the label; to be asked about; to be known."""


@dataclass(frozen=True, slots=True)
class Objection:
    """One objection: a stable key, what it is about, its sentence in the units entered, its numbers in SI."""

    key: str
    severity: str
    subject: str
    sentence: str
    numbers: Mapping[str, float] = field(default_factory=dict)


SLIPS = (
    (10.0, "is the decimal point right"),
    (43.56, "was it meant for an acre, not for 1000 ft²"),
    (128.0, "were fluid ounces meant"),
    (1000.0, "were millilitres or grams meant"),
    (100.0, "was it meant for a hectare, not for 100 m²"),
    (16.0, "were ounces or pints mixed up"),
)
"""Factors by which entries go wrong (units' sizes; the decimal point: common practice, no source)."""


def sort_objections(found: Sequence[Objection]) -> tuple[Objection, ...]:
    """Objections, the gravest first, else in their order.

    Parameters
    ----------
    found
        In any order.

    Returns
    -------
    tuple of Objection
        Refused, asked about, told.

    References
    ----------
    Derivation: the order of `SEVERITIES`.

    Examples
    --------
    >>> [each.key for each in sort_objections([Objection("a", "tell", "", ""), Objection("b", "refuse", "", "")])]
    ['b', 'a']
    """
    return tuple(sorted(found, key=lambda each: SEVERITIES.index(each.severity)))


def guess_slip(value: float, *, least: float, most: float) -> str:
    """How an entry far outside a range may have come about: by which usual factor it would be inside.

    Parameters
    ----------
    value
        What was entered [any unit].
    least
        Least that is usual [same unit].
    most
        Most that is usual [same unit].

    Returns
    -------
    str
        A question, or nothing where no factor fits or the value is within three times of the range.

    References
    ----------
    Derivation: value over or times a factor of `SLIPS` within the range, 10 % granted.

    Examples
    --------
    >>> guess_slip(30.0, least=2.0, most=3.0)
    'A tenth of it would fit: is the decimal point right?'
    >>> guess_slip(131.0, least=2.0, most=3.0)
    '43.56 times less would fit: was it meant for an acre, not for 1000 ft²?'
    >>> guess_slip(3.5, least=2.0, most=3.0)
    ''
    """
    low, high = (least if least > 0.0 else most / 2.0) * 0.9, most * 1.1
    is_above = value > 3.0 * most
    if not is_above and not 0.0 < value < least / 3.0:
        return ""
    for factor, question in SLIPS:
        if low <= (value / factor if is_above else value * factor) <= high:
            less = "A tenth of it" if factor == 10.0 else f"{factor:g} times less"
            times = less if is_above else f"{factor:g} times that"
            return f"{times} would fit: {question}?"
    return ""
