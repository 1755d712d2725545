"""A product as its label has it, entered by the user: rates, carrier, constituents, wind, intervals, water."""

from dataclasses import dataclass

from server.core.entered import Entered, Stated, entry
from server.core.tankload import FORMS

ACTIONS = ("soil", "foliar", "either")
SORTS = ("pre_emergent", "conditioner", "fertilizer", "weed_control", "other")
WATERING = ("must", "must_not", "either")


@dataclass(frozen=True, slots=True)
class Constituent(Entered):
    """What a product brings: a nutrient, an active substance, and how much of the product's mass it is."""

    name: str = entry("Constituent", text="name")
    share_percent: float = entry("Share of the product's weight", limits="share")
    season_most: Stated | None = entry("Season's most of it on an area", measures="mass on area", default=None)


@dataclass(frozen=True, slots=True)
class ProductCard(Entered):
    """A product of the user's own; what is not filled in is not judged, and the label decides."""

    name: str = entry("Name", text="name")
    rate_most: Stated = entry("Label rate, the most", measures="product rate")
    form: str = entry("Form", choices=FORMS, default="solution")
    rate_least: Stated | None = entry("Label rate, the least", measures="product rate", default=None)
    density: Stated | None = entry("Density", measures="density", default=None)
    carrier_least: Stated | None = entry("Carrier on an area, the least", measures="carrier rate", default=None)
    carrier_most: Stated | None = entry("Carrier on an area, the most", measures="carrier rate", default=None)
    constituents: tuple[Constituent, ...] = entry("What it brings", default=())
    sort: str = entry("Sort", hint="which rules of the season go with it", choices=SORTS, default="other")
    action: str = entry("Works through", choices=ACTIONS, default="either")
    wind_limit: Stated | None = entry("Wind limit", measures="speed", default=None)
    wind_averaging_s: float | None = entry("Averaged over", hint="if the label says", limits="averaging", default=None)
    wind_height: Stated | None = entry("Meant for a height of", measures="height", default=None)
    interval_days: float | None = entry("Least interval", hint="days", limits="days", default=None)
    season_most: Stated | None = entry("Season's most on an area", measures="product rate", default=None)
    season_times: float | None = entry("Season's most applications", limits="applications", default=None)
    watering: str = entry("Watering in", choices=WATERING, default="either")
    water_within_h: float | None = entry("Within", hint="hours after", limits="hours", default=None)
    water_depth: Stated | None = entry("With so much water", measures="water depth", default=None)
    dry_h: float | None = entry("Keep dry for", hint="hours after", limits="hours", default=None)
    re_entry_h: float | None = entry("Keep off for", hint="hours; else until dry", limits="hours", default=None)
    is_licence_needed: bool = entry("Needs a licence", default=False)
    registration: str = entry("Registration number", default="")
    target: str = entry("What it is for", hint="pest, weed or need", default="")
    note: str = entry("Note", text="note", default="")
