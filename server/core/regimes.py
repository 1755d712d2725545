"""What laws want an application record to hold, as lists of needs, and how long it is to be kept.

These lists are a help, not the law: defer to your local code. A need is a line of the rule with the items of the
record that answer it; a star stands for each product of the record.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final

LEAST_YEARS: Final = 2.0
"""All four regimes want two years."""


@dataclass(frozen=True, slots=True)
class Need:
    """A line of a rule; it is met when all items of any one of its ways are known."""

    label: str
    ways: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Regime:
    """One rule: whom it concerns, what it wants, for how many years, and where that was read."""

    key: str
    name: str
    concerns: str
    keep_years: float
    source: str
    needs: tuple[Need, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """One need held against a record: what of it is not known."""

    label: str
    is_met: bool
    missing: tuple[str, ...]


def _need(label: str, *keys: str) -> Need:
    return Need(label, (keys,))


_PRODUCT = _need("Product name", "product.*.name")
_REGISTRATION = _need("Registration number", "product.*.registration")
_AMOUNT = _need("Total amount applied, before dilution", "product.*.amount")
_PLACE = _need("Location", "address")
_AREA = _need("Size of the area treated", "area_m2")
_GROWS = _need("Crop, commodity or site", "site_kind")
_DATE = _need("Day, month and year", "date")
_TIME = _need("Time", "start_utc")
_WHO = _need("Applicator", "applicator")
_NUMBER = _need("Applicator's certificate number", "applicator_licence")

REGIMES: Final = (
    Regime(
        "us_federal", "US federal, restricted-use products", "certified applicators", LEAST_YEARS,
        "7 CFR 110.3(a), CFR1; two years ID1",
        (_PRODUCT, _REGISTRATION, _AMOUNT, _PLACE, _AREA, _GROWS, _DATE, _WHO, _NUMBER),
    ),
    Regime(
        "us_commercial", "US federal, commercial applicators", "commercial work with restricted-use products",
        LEAST_YEARS, "40 CFR 171.303(b)(7), REC2",
        (
            _need("Customer's name and address", "customer", "customer_address"), _PLACE, _AREA, _GROWS, _TIME, _DATE,
            _PRODUCT, _REGISTRATION, _AMOUNT, _WHO, _NUMBER,
            _need("Anybody without a certificate who applied", "noncertified"),
        ),
    ),
    Regime(
        "us_maryland", "Maryland", "each licensee and permit holder", LEAST_YEARS, "COMAR 15.05.01.12, MD1",
        (
            _WHO, _DATE, _need("Site and pest", "site_kind", "target"), _AREA, _PLACE, _need("Owner", "owner"),
            _PRODUCT, _REGISTRATION,
            Need(
                "Rate and concentration",
                (("product.*.rate_applied", "product.*.concentration"), ("product.*.rate", "product.*.concentration")),
            ),
            _AMOUNT, _need("Type of equipment", "part.*.kind"), _TIME,
            _need("Wind direction and speed at the site", "wind_start_from_deg", "wind_start_mps"),
        ),
    ),
    Regime(
        "us_georgia", "Georgia", "licensed applicators", LEAST_YEARS, "Rule 40-21-5, GA1",
        (
            _DATE, _TIME, _need("For whom", "customer"), _PLACE, _need("What it was for", "target"),
            Need("Area or amount", (("area_m2",), ("product.*.amount",))),
            _PRODUCT, Need("Rate", (("product.*.rate_applied",), ("product.*.rate",))),
            _need("Equipment", "part.*.sprayer"), _need("Unexpected events, drift among them", "incidents"),
        ),
    ),
)  # fmt: skip
"""The field lists by source; keys behind the rule name where it was read."""
REGIME_KEYS: Final = tuple(regime.key for regime in REGIMES)


def check_regime(regime: Regime, known: Collection[str], present: Iterable[str]) -> tuple[Check, ...]:
    """Each need of a rule held against what a record knows.

    Parameters
    ----------
    regime
        The rule.
    known
        Keys of the record's items that have a value.
    present
        Keys of all its items, in their order.

    Returns
    -------
    tuple of Check
        A check a need, in the rule's order; `missing` names the items that the nearest way still wants.

    References
    ----------
    Derivation: a need is met where one of its ways is known as a whole.

    Examples
    --------
    >>> federal = REGIMES[0]
    >>> checks = check_regime(federal, {"address", "product.1.name"}, ["product.1.name", "product.2.name", "address"])
    >>> [(each.label, each.is_met, each.missing) for each in checks if each.label in ("Location", "Product name")]
    [('Product name', False, ('product.2.name',)), ('Location', True, ())]
    """
    keys = list(present)
    found = []
    for need in regime.needs:
        wants = [[key for part in way for key in _spread(part, keys)] for way in need.ways]
        missing = min(([key for key in want if key not in known] for want in wants), key=len)
        found.append(Check(need.label, not missing, tuple(missing)))
    return tuple(found)


def longest_years(chosen: Collection[str]) -> float:
    """For how many years records must be kept at least.

    Parameters
    ----------
    chosen
        Keys of the rules that concern the user.

    Returns
    -------
    float
        The longest of their periods [years], never less than two.

    References
    ----------
    As `REGIMES`.

    Examples
    --------
    >>> longest_years(["us_georgia"])
    2.0
    """
    return max([LEAST_YEARS, *(regime.keep_years for regime in REGIMES if regime.key in chosen)])


def _spread(key: str, present: list[str]) -> list[str]:
    """A key with a star as those that the record has."""
    head, star, tail = key.partition("*")
    if not star:
        return [key]
    return [each for each in present if each.startswith(head) and each.endswith(tail)] or [f"{head}1{tail}"]
