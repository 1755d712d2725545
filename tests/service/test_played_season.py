"""A season of our own invention, played by script through the API: what is told on each day was reckoned by hand.

Mill Lane has a front and a back. It is cored, gets a pre-emergent in two halves, a conditioner as a programme, a leaf
product that rain spoils, a second coring too late, and a watering that is forgotten. Hill Top gets a conditioner once.
"""

import pytest
from icalendar import Calendar

SQUARE = [[[0.0, 50.0], [0.001, 50.0], [0.001, 50.001], [0.0, 50.001], [0.0, 50.0]]]
PRODUCTS = {
    "Barrier": {
        "rate_most": {"value": 4.0, "unit": "pt/acre"}, "sort": "pre_emergent", "action": "soil", "watering": "must",
        "water_within_h": 48, "water_depth": {"value": 0.25, "unit": "in"}, "interval_days": 40, "season_times": 2,
    },
    "Loosener": {
        "rate_most": {"value": 9.0, "unit": "fl oz/1000 ft2"}, "sort": "conditioner", "action": "soil",
    },
    "Leafway": {
        "rate_most": {"value": 3.0, "unit": "pt/acre"}, "sort": "weed_control", "action": "foliar",
        "watering": "must_not", "re_entry_h": 24,
    },
}  # fmt: skip
HALF = {"value": 2.0, "unit": "pt/acre"}


class Player:
    """Types what people type, and asks what is told."""

    def __init__(self, desk) -> None:
        self.desk = desk
        self.sites = {
            "Mill Lane": self.add("sites", name="Mill Lane", zones=[self.zone("Front"), self.zone("Back")]),
            "Hill Top": self.add("sites", name="Hill Top"),
        }
        self.products = {name: self.add("products", name=name, **body) for name, body in PRODUCTS.items()}

    @staticmethod
    def zone(name: str) -> dict:
        return {"name": name, "rings": SQUARE}

    def add(self, noun: str, **body) -> int:
        made = self.desk.ask("POST", f"/api/{noun}", body)
        assert made.status_code == 201, made.text
        return int(made.json()["number"])

    def work(self, when: str, kind: str, site: str | None = "Mill Lane", **more) -> None:
        day, _, time = when.partition("T")
        self.add("works", day=day, time=time, kind=kind, site=self.sites.get(site or ""), **more)

    def spray(self, when: str, product: str, site: str = "Mill Lane", rate: dict | None = None, **more) -> None:
        number = self.products[product]
        applied = [{"product": number, "rate": rate or PRODUCTS[product]["rate_most"]}]
        self.work(when, "treatment", site, products=[number], applied=applied, **more)

    def told(self, when: str) -> set[tuple[str, str, str]]:
        day, _, time = when.partition("T")
        found = self.desk.ask("GET", f"/api/season?day={day}&time={time}").json()
        places = {number: name for name, number in self.sites.items()}
        return {
            (each["kind"], each["state"], places[each["site"]])
            for each in found["matters"]
            if each["state"] != "fact" and each["kind"] != "interval"
        }

    def sentence(self, when: str) -> str:
        day, _, time = when.partition("T")
        return str(self.desk.ask("GET", f"/api/season?day={day}&time={time}").json()["sentence"])


@pytest.fixture
def player(desk) -> Player:
    """Somebody with two lawns and three products."""
    return Player(desk)


def test_a_played_season_tells_what_was_reckoned_by_hand(player) -> None:
    mill, hill = "Mill Lane", "Hill Top"
    assert player.told("2027-03-01T12:00") == set()

    player.work("2027-03-20T09:00", "coring")
    assert player.told("2027-03-20T12:00") == {("helps", "due", mill)}

    for day, value in ((28, 51.0), (29, 54.5), (30, 55.5)):
        reading = {"value": value, "unit": "°F"}
        player.work(
            f"2027-03-{day}", "soil_temperature", temperature=reading, is_mean=True, depth={"value": 4, "unit": "in"}
        )
    assert player.told("2027-03-30T12:00") == {("helps", "due", mill), ("soil_temperature", "due", mill)}

    player.spray("2027-04-01T10:00", "Barrier", rate=HALF)
    assert player.told("2027-04-01T11:00") == {
        ("helps", "due", mill), ("watering_in", "due", mill), ("re_entry", "wait", mill), ("split", "later", mill),
    }  # fmt: skip
    assert player.sentence("2027-04-01T11:00").startswith("Water in Mill Lane by 10:00 on 3 April: 0.25 in.")

    player.work("2027-04-02T06:30", "watering", water={"value": 7, "unit": "mm"}, zones=["Front"])
    player.work("2027-04-02T20:00", "watering", water={"value": 7, "unit": "mm"}, zones=["Back"])
    assert player.told("2027-04-02T21:00") == {("helps", "due", mill), ("split", "later", mill)}

    player.spray("2027-04-12T10:00", "Loosener")
    player.spray("2027-04-12T14:00", "Loosener", hill)
    player.work("2027-04-12T20:00", "rain", None, water={"value": 9, "unit": "mm"})
    assert player.told("2027-04-13T12:00") == {
        ("repeat", "later", mill), ("repeat", "later", hill), ("split", "later", mill),
    }  # fmt: skip

    player.spray("2027-05-08T09:00", "Leafway")
    player.work("2027-05-08T15:00", "rain", None, water={"value": 4, "unit": "mm"})
    assert player.told("2027-05-08T16:00") == {
        ("repeat", "due", mill), ("repeat", "due", hill), ("split", "later", mill), ("keep_dry", "wait", mill),
        ("keep_dry", "conflict", mill), ("re_entry", "wait", mill),
    }  # fmt: skip
    assert player.sentence("2027-05-08T16:00").startswith("Keep Mill Lane dry until 09:00 tomorrow")

    player.work("2027-05-12T09:00", "coring", zones=["Back"])
    assert player.told("2027-05-14T12:00") == {
        ("repeat", "overdue", mill), ("repeat", "overdue", hill), ("split", "due", mill),
        ("keep_dry", "conflict", mill), ("undoes", "conflict", mill), ("helps", "due", mill),
    }  # fmt: skip

    player.spray("2027-05-20T10:00", "Barrier", rate=HALF)
    assert player.told("2027-05-22T12:00") == {
        ("repeat", "overdue", mill), ("repeat", "overdue", hill), ("keep_dry", "conflict", mill),
        ("undoes", "conflict", mill), ("helps", "due", mill), ("watering_in", "overdue", mill),
    }  # fmt: skip
    assert player.sentence("2027-05-22T12:00").startswith("Mill Lane should have been watered in by 10:00 today")
    assert ("watering_in", "conflict", mill) in player.told("2027-06-10T12:00")


def test_a_planned_third_application_and_a_wrong_order_are_asked_about_before_they_are_done(player) -> None:
    player.spray("2027-04-01T10:00", "Barrier")
    player.spray("2027-05-20T10:00", "Barrier")
    barrier = player.products["Barrier"]
    dose = {"product": barrier, "rate": HALF}
    body = {"site": player.sites["Mill Lane"], "target": {"value": 1.0, "unit": "gal/1000 ft2"}, "doses": [dose]}
    player.add("treatments", name="Once more", planned_on="2027-06-10", **body)
    player.work("2027-06-12", "coring")
    found = player.desk.ask("GET", "/api/season?day=2027-06-01").json()["matters"]
    asked = {each["kind"] for each in found if each["severity"] == "ask" and each["state"] == "conflict"}
    assert asked == {"season_most_times", "interval", "undoes"}
    order = player.desk.ask("GET", "/api/season/order?day=2027-06-01").json()
    assert [step["name"] for step in order] == ["coring", "Barrier"]


def test_a_rule_that_is_changed_in_midseason_holds_from_then_on(player) -> None:
    player.spray("2027-05-03T10:00", "Loosener")
    rule = next(each for each in player.desk.ask("GET", "/api/rules").json() if each["card"]["kind"] == "repeat")
    body = {**rule["card"], "days_least": 14, "days_most": 18}
    player.desk.ask("PUT", f"/api/rules/{rule['number']}?version=1", body)
    assert ("repeat", "due", "Mill Lane") in player.told("2027-05-17T12:00")
    player.desk.ask("POST", f"/api/rules/{rule['number']}/shipped?version=2")
    assert ("repeat", "later", "Mill Lane") in player.told("2027-05-17T12:00")


def test_the_calendar_file_of_the_played_season_holds_what_is_due(player) -> None:
    player.spray("2027-04-01T10:00", "Barrier", rate=HALF)
    player.spray("2027-04-12T10:00", "Loosener")
    content = player.desk.ask("GET", "/api/season.ics?day=2027-04-12&time=11:00").content
    names = {str(event["SUMMARY"]) for event in Calendar.from_ical(content).walk("VEVENT")}
    assert names == {
        "The second half of Barrier on Mill Lane", "Conditioner again on Mill Lane", "Water in Mill Lane",
    }  # fmt: skip
