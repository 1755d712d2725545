"""A treatment: which products at which rates, on which zones of which site, in how much carrier."""

from dataclasses import dataclass

from server.core.entered import Entered, Stated, entry


@dataclass(frozen=True, slots=True)
class Dose(Entered):
    """One product of a treatment at its rate."""

    product: int = entry("Product", refers="products")
    rate: Stated = entry("Rate", measures="product rate")


@dataclass(frozen=True, slots=True)
class TreatmentCard(Entered):
    """A treatment as it is planned; `zones` empty: all of the site's."""

    name: str = entry("Name", text="name")
    site: int = entry("Site", refers="sites")
    target: Stated = entry("Mix on an area", hint="water and products together", measures="carrier rate")
    doses: tuple[Dose, ...] = entry("Products", default=())
    zones: tuple[str, ...] = entry("Zones", hint="none named: all of them", default=())
    sprayer: int | None = entry("Sprayer", refers="sprayers", default=None)
    planned_on: str = entry("Planned for", text="day", default="")
    directions: int = entry("Directions", hint="2: half the rate in each", limits="directions", default=1)
    wind_limit: Stated | None = entry("Wind limit of your own", hint="if lower", measures="speed", default=None)
    note: str = entry("Note", text="note", default="")
