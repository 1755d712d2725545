"""How days are counted: the zone of the lawns, and the month in which a season's counting of applications begins."""

from dataclasses import dataclass

from server.core.entered import Entered, entry


@dataclass(frozen=True, slots=True)
class CalendarCard(Entered):
    """The one calendar of a service; without a zone days are those of the service's machine."""

    zone: str = entry("Time zone", hint="Area/City, UTC, or an offset as -05:00", default="")
    year_begins: float = entry("A season's maximum counts from month", limits="month", default=1.0)
