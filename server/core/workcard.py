"""The journal: one work done on a site, or weather that counts as one."""

from dataclasses import dataclass

from server.core.entered import Entered, Stated, entry

KINDS = ("coring", "mowing", "watering", "rain", "treatment", "soil_temperature", "note")


@dataclass(frozen=True, slots=True)
class Applied(Entered):
    """A product that was applied, at the rate that was laid."""

    product: int = entry("Product", refers="products")
    rate: Stated = entry("Rate", measures="product rate")


@dataclass(frozen=True, slots=True)
class WorkCard(Entered):
    """A line of the journal; one of a job carries the job's number, its treatment and products."""

    site: int = entry("Site", refers="sites")
    day: str = entry("Day", text="day")
    kind: str = entry("What was done", choices=KINDS)
    zones: tuple[str, ...] = entry("Zones", hint="none named: all of them", default=())
    time: str = entry("Time of day", hint="as 14:30, if it matters", default="")
    water: Stated | None = entry("Water", measures="water depth", default=None)
    temperature_c: float | None = None
    products: tuple[int, ...] = entry("Products", refers="products", default=())
    applied: tuple[Applied, ...] = entry("Applied", hint="if measured", default=())
    treatment: int | None = entry("Treatment", refers="treatments", default=None)
    job: int | None = entry("Job", refers="jobs", default=None)
    note: str = entry("Note", text="note", default="")
