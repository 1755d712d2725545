"""Cards of a small lawn for tests: a site with a bed, a sprayer, a product, a treatment."""

from typing import Any

RING = [[-30.0, 45.0], [-29.9996, 45.0], [-29.9996, 45.0002], [-30.0, 45.0002], [-30.0, 45.0]]
BED = [[-29.9999, 45.00005], [-29.9998, 45.00005], [-29.9998, 45.0001], [-29.9999, 45.0001], [-29.9999, 45.00005]]
SITE = {
    "name": "Home",
    "zones": [{"name": "front", "rings": [RING]}, {"name": "bed", "kind": "keep_out", "rings": [BED]}],
}
SPRAYER = {"name": "Backpack", "swath": {"value": 1.0, "unit": "m"}, "pulses_per_l": [450.0]}
FEED = {
    "name": "Feed",
    "rate_most": {"value": 6.0, "unit": "fl oz/1000 ft2"},
    "rate_least": {"value": 3.0, "unit": "fl oz/1000 ft2"},
    "interval_days": 21.0,
}
GALLON = {"value": 1.0, "unit": "gal/1000 ft2"}


def treatment(rate: float = 4.0, unit: str = "fl oz/1000 ft2", **more: Any) -> dict[str, Any]:
    """A treatment of the one product."""
    doses = [{"product": 1, "rate": {"value": rate, "unit": unit}}]
    return {"name": "Spring feed", "site": 1, "sprayer": 1, "target": GALLON, "doses": doses, **more}
