"""A matter of the season: what is due, to wait for, or at odds with a rule, in one sentence with its reason."""

from dataclasses import dataclass, replace
from typing import Final

from server.core.rulecard import RuleCard

STATES: Final = ("overdue", "due", "wait", "conflict", "later", "fact")
"""Overdue; due now; wait until; at odds with a rule; due later; what is good to know."""


@dataclass(frozen=True, slots=True)
class Matter:
    """One matter; `since` and `until` are local minutes since 1970 and `until` the last minute in time."""

    key: str
    kind: str
    state: str
    severity: str
    site: int | None
    zones: tuple[str, ...]
    sentence: str
    since: int
    until: int | None = None
    is_timed: bool = False
    rule: int | None = None
    works: tuple[int, ...] = ()
    treatments: tuple[int, ...] = ()
    products: tuple[int, ...] = ()
    reason: str = ""
    source: str = ""
    against: str = ""
    against_source: str = ""
    title: str = ""
    """What it is in a few words that stay true from day to day; empty where the sentence alone tells it."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What a matter rests on: a rule, a product's label, or a label with a rule for what it leaves open."""

    number: int | None = None
    rule: RuleCard | None = None
    is_label: bool = False

    @property
    def key(self) -> str:
        """A name that stays the same."""
        if self.rule is None:
            return "label"
        return self.rule.shipped or f"rule-{self.number}"

    def explain(self, matter: Matter) -> Matter:
        """The matter with its reason and source, for and against."""
        label, rule = "the label, as entered with the product", self.rule
        if rule is None:
            return replace(matter, reason="The label says so.", source=label)
        told = replace(matter, rule=self.number, against=rule.against, against_source=rule.against_source)
        if self.is_label:
            return replace(
                told, reason=f"The label asks for it. {rule.reason}".strip(), source=f"{label}; {rule.source}"
            )
        return replace(told, reason=rule.reason, source=rule.source)


def name_state(since: int, until: int | None, now: int) -> str:
    """How a time from which something is due, and until when, stands to now.

    Parameters
    ----------
    since
        The minute from which it is due.
    until
        The last minute in time; None: no end.
    now
        The minute now.

    Returns
    -------
    str
        "later", "due" or "overdue".

    References
    ----------
    Derivation: by comparison.

    Examples
    --------
    >>> name_state(10, 20, 5), name_state(10, 20, 20), name_state(10, 20, 21)
    ('later', 'due', 'overdue')
    """
    if now < since:
        return "later"
    return "due" if until is None or now <= until else "overdue"
