"""The journal: one work done on a site, or weather that counts as one."""

import re
from dataclasses import dataclass

from server.core.entered import Entered, Stated, entry
from server.core.errors import EntryError
from server.core.treatmentcard import Dose

KINDS = ("coring", "mowing", "watering", "rain", "treatment", "soil_temperature", "note")
_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")


@dataclass(frozen=True, slots=True)
class WorkCard(Entered):
    """A line of the journal; one of a job carries the job's number, its treatment and products."""

    day: str = entry("Day", hint="one to come is a plan", text="day")
    kind: str = entry("What was done", choices=KINDS)
    site: int | None = entry("Site", hint="none: all of them, as rain", refers="sites", default=None)
    zones: tuple[str, ...] = entry("Zones", hint="none named: all of them", default=())
    time: str = entry("Time of day", hint="as 14:30; it ended then", default="")
    water: Stated | None = entry("Water", measures="water depth", default=None)
    temperature: Stated | None = entry("Soil temperature", measures="temperature", default=None)
    depth: Stated | None = entry("Measured at a depth of", measures="soil depth", default=None)
    is_mean: bool = entry("It is the mean of 24 hours", default=False)
    products: tuple[int, ...] = entry("Products", refers="products", default=())
    applied: tuple[Dose, ...] = entry("How much of each", hint="if it differs from the treatment", default=())
    treatment: int | None = entry("Treatment", refers="treatments", default=None)
    job: int | None = entry("Job", refers="jobs", default=None)
    is_plan: bool = entry("Only planned", hint="not yet done", default=False)
    note: str = entry("Note", text="note", default="")

    def __post_init__(self) -> None:
        """Check what no field's description says: the time of day, and that a reading has its figure."""
        # The class is made anew for its slots, so that a bare super() would not find it.
        super(WorkCard, self).__post_init__()
        if self.time and not _TIME.fullmatch(self.time):
            raise EntryError("time", f"{self.time!r} is no time of day: write it as 14:30")
        if self.kind == "soil_temperature" and self.temperature is None:
            raise EntryError("temperature", "must be filled in for a soil temperature")
