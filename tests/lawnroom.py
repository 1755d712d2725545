"""A made-up service for the lawn's page: what it says, and what it was asked. A double, clearly."""

import json
from typing import Any

from playwright.sync_api import Route

JOB = {"id": 2, "name": "North lawn", "state": "running", "started_at": "2027-01-15T08:00:00+00:00"}
WIND_KEYS = (
    "apparent_mps true_mps true_sd_mps mean_60s_mps mean_60s_sd_mps mean_2min_mps mean_2min_sd_mps gust_3s_mps "
    "gust_3s_sd_mps from_deg from_sd_deg p_above_limit limit_mps notice_mps height_m"
)
WIND = dict.fromkeys(WIND_KEYS.split())
COUNTS = dict.fromkeys(["read", "refused", "duplicate", "missing", "unknown_stream", "backlog"], 0)
EMPTY_ROOM = {
    "at_utc": None, "sequence": 1,
    "rig": {"name": None, "boot": None, "link": "unknown", "age_s": None, "spool_s": None},
    "receiver": {"fix": None, "sats": None, "hdop": None, "sd_m": None, "rate_hz": None}, "position": None,
    "speed_mps": None, "wanted_speed_mps": None, "flow_l_per_min": None, "is_spraying": False, "rate_l_per_m2": None,
    "rate_percent": None, "target_l_per_m2": 0.04, "swath_m": 1.0, "volume_l": 0.0, "tank_l": 15.0, "tank_left_l": 15.0,
    "covered_area_m2": 0.0, "area_left_m2": None, "zone_area_m2": None, "wind": WIND, "alarm": None, "job": None,
    "passes_done": 0, "messages": COUNTS,
    "faults": [],
}  # fmt: skip
POSITION = {"east_m": 3.0, "north_m": 2.0, "heading_deg": 90.0, "lat_deg": 45.0, "lon_deg": -30.0}
SETUP = {"sprayer": {"swath_m": 1.0}, "flow_meter": {"pulses_per_l": 450.0}, "treatment": {"target_l_per_m2": 0.04}}
KEYS = [{"key": "sprayer.swath_m", "unit": "m", "range": [0.1, 20.0], "default": None, "choices": None}]
LAWN = {"plane": None, "zones": [{"name": "lawn", "kind": "zone", "rings_m": [[[0, 0], [9, 0], [9, 9], [0, 0]]]}]}


class Answers:
    """What the made-up service says, and what it was asked."""

    def __init__(self) -> None:
        self.known: dict[str, Any] = {
            "live": EMPTY_ROOM, "lawn": LAWN, "jobs": [JOB], "jobs/proposals": [], "jobs/2": JOB, "setup": SETUP,
            "setup/keys": KEYS,
        }  # fmt: skip
        self.posted: dict[str, Any] = {}
        self.strips: Any = None
        self.track: Any = None
        self.is_down = False
        self.is_locked = False
        self.asked: list[tuple[str, str, Any]] = []

    def answer(self, route: Route) -> None:
        """One answer."""
        request = route.request
        name = request.url.partition("/api/")[2].partition("?")[0]
        body = json.loads(request.post_data) if request.post_data else None
        self.asked.append((request.method, name, body))
        if self.is_down:
            route.abort()
        elif name == "passcode":
            self.is_locked = body["passcode"] != "seven"
            route.fulfill(status=401 if self.is_locked else 204, body="" if not self.is_locked else "{}")
        elif self.is_locked:
            route.fulfill(status=401, json={"title": "Unauthorized", "detail": "a passcode is needed"})
        elif name == "live/stream":
            event = f"event: snapshot\ndata: {json.dumps(self.known['live'])}\n\n"
            event += f"event: strips\ndata: {json.dumps(self.strips)}\n\n"
            if self.track is not None:
                event += f"event: track\ndata: {json.dumps(self.track)}\n\n"
            route.fulfill(status=200, content_type="text/event-stream", body=event)
        elif request.method == "PUT" and name == "setup" and body["sprayer"]["swath_m"] > 20:
            detail = "30.0 is out of range: 0.1 to 20.0"
            route.fulfill(status=422, json={"title": "Refused", "detail": detail, "key": "sprayer.swath_m"})
        elif request.method == "POST" and name in self.posted:
            route.fulfill(status=201, json=self.posted[name])
        elif name in self.known:
            route.fulfill(status=200, json=self.known[name])
        else:
            route.fulfill(status=200 if request.method == "POST" else 404, json={"title": "Not here", **JOB})

    def count(self, name: str) -> int:
        """How often something was asked."""
        return sum(asked == name for _, asked, _ in self.asked)


def errors_of(answers: Answers) -> list[str]:
    """Exceptions that the page raised."""
    return [what for method, what, _ in answers.asked if method == "ERROR"]
