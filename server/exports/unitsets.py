"""The sets of units that pictures are drawn in, by the names that the dashboard uses."""

from dataclasses import dataclass

from server.core.units import (
    ACRE_M2,
    AREA_UNITS,
    FOOT_M,
    HECTARE_M2,
    RATE_UNITS,
    SPEED_UNITS,
    US_GALLON_L,
    VOLUME_UNITS,
)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit's sign and how many of it one of SI's is."""

    sign: str
    per_si: float

    def say(self, value: float, digits: int) -> str:
        """A value of SI in this unit, or a dash where it is not known."""
        return "–" if value != value else f"{value * self.per_si:.{digits}f} {self.sign}"


@dataclass(frozen=True, slots=True)
class UnitSet:
    """One unit for each quantity; flows are a minute's."""

    rate: Unit
    length: Unit
    area: Unit
    volume: Unit
    flow: Unit
    speed: Unit


_METRE, _FOOT = Unit("m", 1.0), Unit("ft", 1.0 / FOOT_M)
_SQUARE_METRE, _SQUARE_FOOT = Unit("m²", 1.0 / AREA_UNITS["m2"]), Unit("ft²", 1.0 / AREA_UNITS["ft2"])
_LITRE, _GALLON = Unit("L", 1.0 / VOLUME_UNITS["L"]), Unit("gal", 1.0 / VOLUME_UNITS["gal"])
_PER_MINUTE, _GALLONS_PER_MINUTE = Unit("L/min", 60.0), Unit("gal/min", 60.0 / US_GALLON_L)
_MPS, _KMH, _MPH = (
    Unit("m/s", 1.0),
    Unit("km/h", 1.0 / SPEED_UNITS["km/h"]),
    Unit("mph", 1.0 / SPEED_UNITS["mph"]),
)
_METRIC = (_METRE, _SQUARE_METRE, _LITRE, _PER_MINUTE)
_CUSTOMARY = (_FOOT, _SQUARE_FOOT, _GALLON, _GALLONS_PER_MINUTE)
UNIT_SETS = {
    "l_per_100m2": UnitSet(Unit("L/100 m²", 100.0), *_METRIC, _MPS),
    "l_per_ha": UnitSet(Unit("L/ha", HECTARE_M2), *_METRIC, _KMH),
    "gal_per_1000ft2": UnitSet(Unit("gal/1000 ft²", 1.0 / RATE_UNITS["gal/1000 ft2"]), *_CUSTOMARY, _MPH),
    "gal_per_acre": UnitSet(Unit("gal/acre", ACRE_M2 / US_GALLON_L), *_CUSTOMARY, _MPH),
}
FIRST_SET = "l_per_100m2"
