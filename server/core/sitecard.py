"""A site: the lawn of one address, its zones and keep-outs as polygons (longitude, latitude in degrees, WGS 84)."""

from dataclasses import dataclass

from server.core.entered import Entered, entry
from server.core.geodesy import ring_area
from server.core.setup import Ring

KINDS = ("zone", "keep_out")
SOURCES = ("imported", "drawn", "walked")


@dataclass(frozen=True, slots=True)
class ZoneCard(Entered):
    """One polygon: rings, the first the outside, the others holes; how it came about, and how sure its area is."""

    name: str = entry("Name", text="name")
    kind: str = entry("What it is", choices=KINDS, default="zone")
    rings: tuple[Ring, ...] = ()
    source: str = entry("How it was made", choices=SOURCES, default="imported")
    area_sd_m2: float | None = None

    @property
    def area_m2(self) -> float:
        """The area of the outside less the holes."""
        return sum(ring_area(ring) * (1.0 if place == 0 else -1.0) for place, ring in enumerate(self.rings))


@dataclass(frozen=True, slots=True)
class SiteCard(Entered):
    """A site as it is kept: every change makes a version, and each job keeps the shape of its day."""

    name: str = entry("Name", text="name")
    address: str = entry("Address", default="")
    customer: int | None = entry("Customer", refers="people", default=None)
    zones: tuple[ZoneCard, ...] = ()
    note: str = entry("Note", text="note", default="")
