"""A site: the lawn of one address, its zones and keep-outs as polygons (longitude, latitude in degrees, WGS 84)."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.core.entered import Entered, entry
from server.core.errors import EntryError
from server.core.outline import find_flaws, polygon_area
from server.core.setup import Ring

KINDS = ("zone", "keep_out")
SOURCES = ("imported", "drawn", "walked")
MOST_ZONES = 100


@dataclass(frozen=True, slots=True)
class ZoneCard(Entered):
    """One polygon: rings, the first the outside, the others holes; how it came about, and how sure its area is.

    Without rings it has a name and no shape yet. `part_of` names the shape of several parts that it is one of.
    """

    name: str = entry("Name", text="name")
    kind: str = entry("What it is", choices=KINDS, default="zone")
    rings: tuple[Ring, ...] = ()
    source: str = entry("How it was made", choices=SOURCES, default="imported")
    area_sd_m2: float | None = entry("How sure the area is", limits="area sd", default=None)
    part_of: str = entry("Part of", default="")

    def __post_init__(self) -> None:
        """See that it is a shape that ground can have; raises EntryError with the place that is wrong."""
        Entered.__post_init__(self)
        flaws = find_flaws(self.rings) if self.rings else ()
        if flaws:
            raise EntryError("rings", f"{self.name}: {flaws[0]}")

    @property
    def area_m2(self) -> float:
        """The area of the outside less the holes."""
        return polygon_area(self.rings)


@dataclass(frozen=True, slots=True)
class SiteCard(Entered):
    """A site as it is kept: every change makes a version, and each job keeps the shape of its day."""

    name: str = entry("Name", text="name")
    address: str = entry("Address", default="")
    customer: int | None = entry("Customer", refers="people", default=None)
    zones: tuple[ZoneCard, ...] = ()
    note: str = entry("Note", text="note", default="")

    def __post_init__(self) -> None:
        """See that zones can be told apart by name; raises EntryError."""
        Entered.__post_init__(self)
        if len(self.zones) > MOST_ZONES:
            raise EntryError("zones", f"{len(self.zones)} are too many, {MOST_ZONES} go in")
        twice = find_twin([zone.name for zone in self.zones])
        if twice is not None:
            raise EntryError("zones", f"two are called {twice!r}: give each a name of its own")


def find_twin(names: Sequence[str]) -> str | None:
    """The first name that is there twice, capitals and blanks around it aside.

    Parameters
    ----------
    names
        Names in order.

    Returns
    -------
    str | None
        The name as it stands the second time, None where each is its own.

    References
    ----------
    Derivation: names are compared after `str.casefold` and without blanks at both ends.

    Examples
    --------
    >>> find_twin(["Front", "Back", "front "])
    'front '
    """
    seen: set[str] = set()
    for name in names:
        plain = name.strip().casefold()
        if plain in seen:
            return name
        seen.add(plain)
    return None
