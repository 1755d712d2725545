"""A rule of the season: the user's own to change; it tells and asks, and forbids nothing."""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from server.core.entered import Entered, Stated, entry
from server.core.errors import EntryError
from server.core.productcard import SORTS

KINDS = (
    "before", "helps", "undoes", "repeat", "watering_in", "keep_dry", "re_entry", "interval", "soil_temperature",
    "split",
)  # fmt: skip
NEEDS: Final = MappingProxyType(
    {
        "before": ("second",), "helps": ("second", "days_most"), "undoes": ("second", "days_most"),
        "repeat": ("days_least",), "keep_dry": ("within_h",), "soil_temperature": ("temperature",),
        "split": ("days_least",),
    }
)  # fmt: skip
"""The fields without which a kind says nothing."""
SUBJECTS = ("coring", "mowing", "watering", "rain", "treatment", *SORTS[:-1], "soil_applied", "foliar")
SUBJECT_WORDS: Final = MappingProxyType(
    {each: each.replace("_", " ") for each in SUBJECTS}
    | {"pre_emergent": "pre-emergent", "soil_applied": "soil-applied product", "foliar": "foliar product"}
)
PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class RuleCard(Entered):
    """One rule; what its kind does not need stays empty, and a product's label goes before it."""

    name: str = entry("Rule", text="name")
    kind: str = entry("What it says", choices=KINDS)
    first: str = entry("Of", hint="before, helps, undoes: the one that acts", choices=SUBJECTS, default="treatment")
    second: str = entry("And", hint="the other one of a pair", choices=("none", *SUBJECTS), default="none")
    days_least: float | None = entry("From", hint="days after", limits="days", default=None)
    days_most: float | None = entry("Until", hint="days after", limits="days", default=None)
    within_h: float | None = entry("For, or within", hint="hours after", limits="hours", default=None)
    water: Stated | None = entry("Water", measures="water depth", default=None)
    temperature: Stated | None = entry("Soil reaches", measures="temperature", default=None)
    depth: Stated | None = entry("At a depth of", measures="soil depth", default=None)
    days_in_row: float | None = entry("Days in a row", limits="days in a row", default=None)
    first_month: float | None = entry("From month", limits="month", default=None)
    last_month: float | None = entry("To month", limits="month", default=None)
    is_used: bool = entry("In use", default=True)
    reason: str = entry("Why", text="note", default="")
    source: str = entry("Source", default=PRACTICE)
    against: str = entry("What speaks against it", text="note", default="")
    against_source: str = entry("Source of that", default="")
    shipped: str = ""

    def __post_init__(self) -> None:
        """Check that the rule has what its kind needs, and that its days are in order."""
        # The class is made anew for its slots, so that a bare super() would not find it.
        super(RuleCard, self).__post_init__()
        for key in NEEDS.get(self.kind, ()):
            if getattr(self, key) in (None, "none"):
                raise EntryError(key, f"must be filled in for a rule of the kind {self.kind.replace('_', ' ')}")
        if self.days_least is not None and self.days_most is not None and self.days_least > self.days_most:
            raise EntryError("days_most", f"{self.days_most:g} days are before {self.days_least:g}")
