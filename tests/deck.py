"""A small deck of cards for the service's tests: two sites, two sprayers, a product, a treatment, people."""

from typing import Any

EAST, WEST = 8.0005, 8.0000
FRONT = [[WEST, 50.0], [EAST, 50.0], [EAST, 50.0003], [WEST, 50.0003], [WEST, 50.0]]
BACK = [[WEST, 50.0004], [EAST, 50.0004], [EAST, 50.0006], [WEST, 50.0006], [WEST, 50.0004]]
POND = [[8.0001, 50.0001], [8.0002, 50.0001], [8.0002, 50.0002], [8.0001, 50.0001]]
HOME = {
    "name": "Home",
    "customer": 2,
    "zones": [
        {"name": "Front", "kind": "zone", "rings": [FRONT]},
        {"name": "Back", "kind": "zone", "rings": [BACK]},
        {"name": "Pond", "kind": "keep_out", "rings": [POND]},
    ],
}
AWAY = {"name": "Away", "zones": [{"name": "All", "kind": "zone", "rings": [BACK]}]}
KNAPSACK = {
    "name": "Knapsack", "kind": "hand_pump", "swath": {"value": 1.0, "unit": "m"}, "pulses_per_l": [450.0],
    "tank": {"value": 15, "unit": "L"},
}  # fmt: skip
BOOM = {
    "name": "Boom", "kind": "walk_behind", "swath": {"value": 4, "unit": "ft"}, "pulses_per_l": [300.0],
    "tank": {"value": 10, "unit": "gal"},
}  # fmt: skip
FEED = {
    "name": "Feed", "rate_most": {"value": 3, "unit": "fl oz/1000 ft2"}, "wind_limit": {"value": 10, "unit": "mph"},
    "wind_averaging_s": 60,
}  # fmt: skip
SPRING = {
    "name": "Spring feed", "site": 1, "target": {"value": 1, "unit": "gal/1000 ft2"}, "sprayer": 1,
    "doses": [{"product": 1, "rate": {"value": 3, "unit": "fl oz/1000 ft2"}}],
}  # fmt: skip
PEOPLE = [{"name": "A. Grower", "role": "operator", "licence": "L-17"}, {"name": "B. Owner", "role": "customer"}]


def deal(desk: Any) -> None:
    """Enter them all: home 1, away 2, knapsack 1, boom 2, feed 1, spring 1, grower 1, owner 2."""
    entries = [
        *(("people", each) for each in PEOPLE), ("sites", HOME), ("sites", AWAY), ("sprayers", KNAPSACK),
        ("sprayers", BOOM), ("products", FEED), ("treatments", SPRING),
    ]  # fmt: skip
    for noun, body in entries:
        answer = desk.ask("POST", f"/api/{noun}", body)
        assert answer.status_code == 201, answer.text
