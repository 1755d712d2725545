"""What the demo's person entered before the job: site, sprayer, products, treatment, people, journal. All invented."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from server.core.setup import Setup

Ask = Callable[[str, str, dict[str, Any] | None], Any]
"""(method, path, body) to the answer's value."""

PEOPLE = (
    {"name": "Demo operator", "role": "operator", "licence": "DEMO-0001", "business": "Demo lawns"},
    {"name": "Demo customer", "role": "customer", "address": "1 Example Lane"},
)
CONDITIONER: dict[str, Any] = {
    "name": "Demo soil conditioner", "form": "solution", "sort": "conditioner", "action": "soil",
    "rate_least": {"value": 3.0, "unit": "L/ha"}, "rate_most": {"value": 10.0, "unit": "L/ha"},
    "density": {"value": 1.12, "unit": "kg/L"},
    "carrier_least": {"value": 100.0, "unit": "L/ha"}, "carrier_most": {"value": 800.0, "unit": "L/ha"},
    "constituents": [{"name": "Humic acids", "share_percent": 12.0}, {"name": "Iron", "share_percent": 1.0}],
    "watering": "must", "water_within_h": 24.0, "water_depth": {"value": 6.0, "unit": "mm"},
    "interval_days": 21.0, "season_times": 6.0, "re_entry_h": 4.0, "target": "loosening compacted soil",
    "note": "Invented for the demo.",
}  # fmt: skip
FEED: dict[str, Any] = {
    "name": "Demo foliar iron", "form": "solution", "sort": "fertilizer", "action": "foliar",
    "rate_most": {"value": 5.0, "unit": "L/ha"}, "density": {"value": 1.25, "unit": "kg/L"},
    "carrier_least": {"value": 100.0, "unit": "L/ha"}, "carrier_most": {"value": 400.0, "unit": "L/ha"},
    "constituents": [{"name": "Iron", "share_percent": 6.0}], "watering": "must_not", "dry_h": 24.0,
    "interval_days": 14.0, "target": "colour", "note": "Invented for the demo.",
}  # fmt: skip
RATE_L_PER_HA = 6.0
FILL_L = 5.0


def lay_out_papers(ask: Ask, setup: Setup, *, today: date) -> None:
    """Enter what a job rests on, and choose it for the next one; nothing where there are sites already."""
    if ask("GET", "/api/sites", None):
        return
    operator, customer = (_enter(ask, "people", person) for person in PEOPLE)
    site = _enter(ask, "sites", _site(setup, customer))
    sprayer = _enter(ask, "sprayers", _sprayer(setup))
    limit = setup.treatment.wind_limit_mps
    wind = {} if limit is None else {"wind_limit": {"value": limit, "unit": "m/s"}}
    conditioner, feed = (_enter(ask, "products", {**product, **wind}) for product in (CONDITIONER, FEED))
    treatment = _enter(ask, "treatments", {
        "name": "Soil conditioner, spring", "site": site, "sprayer": sprayer, "planned_on": today.isoformat(),
        "target": {"value": round(100.0 * setup.treatment.target_l_per_m2, 6), "unit": "L/100 m2"},
        "doses": [{"product": conditioner, "rate": {"value": RATE_L_PER_HA, "unit": "L/ha"}}],
    })  # fmt: skip
    for work in _journal(today, feed):
        _enter(ask, "works", {"site": site, **work})
    ask("PUT", "/api/next", {"treatment": treatment, "sprayer": sprayer, "operator": operator, "customer": customer})
    ask("POST", "/api/tank/fills", {"holds_l": min(FILL_L, setup.sprayer.tank_l), "treatment": treatment})


def _enter(ask: Ask, noun: str, body: dict[str, Any]) -> int:
    """Keep a card; its number."""
    return int(ask("POST", f"/api/{noun}", body)["number"])


def _site(setup: Setup, customer: int) -> dict[str, Any]:
    """The simulated lawn as a site."""
    zones = [{"name": zone.name, "kind": zone.kind, "rings": zone.rings} for zone in setup.zones]
    return {"name": "Demo lawn", "address": "1 Example Lane", "customer": customer, "zones": zones}


def _sprayer(setup: Setup) -> dict[str, Any]:
    """The simulated sprayer as its owner would describe it."""
    sprayer, pulses = setup.sprayer, setup.flow_meter.pulses_per_l
    found: dict[str, Any] = {
        "name": "Demo sprayer", "swath": {"value": sprayer.swath_m, "unit": "m"},
        "pulses_per_l": pulses if isinstance(pulses, tuple) else [pulses],
        "flow_l_per_min": setup.flow_meter.flow_l_per_min or [], "meter_sd_percent": setup.flow_meter.sd_percent,
        "tank": {"value": sprayer.tank_l, "unit": "L"}, "pattern": sprayer.pattern, "delay_s": sprayer.delay_s,
        "nozzle_forward": {"value": sprayer.nozzle_forward_m, "unit": "m"},
        "nozzle_right": {"value": sprayer.nozzle_right_m, "unit": "m"},
    }  # fmt: skip
    if sprayer.pattern_top_m is not None:
        found["pattern_top"] = {"value": sprayer.pattern_top_m, "unit": "m"}
    return found


def _journal(today: date, feed: int) -> tuple[dict[str, Any], ...]:
    """The weeks before."""

    def before(days: int) -> str:
        return (today - timedelta(days=days)).isoformat()

    return (
        {"day": before(16), "kind": "treatment", "products": [feed], "note": "For colour."},
        {"day": before(12), "kind": "coring", "note": "Holes left open."},
        {"day": before(11), "kind": "watering", "water": {"value": 10.0, "unit": "mm"}},
        {"day": before(2), "kind": "mowing"},
    )
