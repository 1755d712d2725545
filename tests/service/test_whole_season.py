"""A season of our own played through the API, from the soil in March to the last feed in June.

Two sprayers, a pre-emergent and a conditioner that go through the soil, a foliar feed and one for the soil that bring
the same nutrient; mechanical work, water, rain. Jobs are simulated, each on its day, and everything else is entered as
a person would. Expected figures are reckoned by hand in the comments.
"""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.setup import save_setup
from firmware_sim.world.sprayer import Sprayer
from server.rawlog import read_raw_log
from server.settings import read_setup

LINES, LENGTH_M = 6, 20.0
TARGET = {"value": 4.0, "unit": "L/100 m2"}
BARRIER = {
    "name": "Seed barrier", "sort": "pre_emergent", "action": "soil", "rate_most": {"value": 60, "unit": "mL/100 m2"},
    "rate_least": {"value": 20, "unit": "mL/100 m2"}, "watering": "must", "water_within_h": 24,
    "water_depth": {"value": 6, "unit": "mm"}, "interval_days": 42, "season_times": 2, "is_licence_needed": True,
    "registration": "0000-11", "wind_limit": {"value": 15, "unit": "km/h"},
}  # fmt: skip
TONIC = {
    "name": "Root tonic", "sort": "conditioner", "action": "soil", "rate_most": {"value": 100, "unit": "mL/100 m2"},
    "interval_days": 21, "wind_limit": {"value": 10, "unit": "mph"},
}  # fmt: skip
GREEN = {
    "name": "Leaf green", "action": "foliar", "rate_most": {"value": 150, "unit": "mL/100 m2"},
    "density": {"value": 1.2, "unit": "kg/L"}, "watering": "must_not", "dry_h": 6, "interval_days": 14,
    "constituents": [{"name": "nitrogen", "share_percent": 10}],
}  # fmt: skip
FEED = {
    "name": "Slow feed", "action": "soil", "rate_most": {"value": 500, "unit": "mL/100 m2"},
    "density": {"value": 1.25, "unit": "kg/L"}, "watering": "must", "water_within_h": 12, "interval_days": 30,
    "constituents": [{"name": "nitrogen", "share_percent": 20}],
}  # fmt: skip
PACK = {
    "name": "Backpack", "swath": {"value": 1, "unit": "m"}, "pulses_per_l": [450], "tank": {"value": 3, "unit": "L"},
}  # fmt: skip
CART = {**PACK, "name": "Walk-behind", "kind": "walk_behind", "tank": {"value": 10, "unit": "L"}}


def utc_of(day: str, time: str) -> float:
    """An instant of the season."""
    return datetime.fromisoformat(f"{day}T{time}:00").replace(tzinfo=UTC).timestamp()


class Grower:
    """Somebody at the dashboard, and the rig that is carried."""

    def __init__(self, desk: Any, folder: Path) -> None:
        self._desk, self._folder, self._jobs = desk, folder, 0

    def ask(self, method: str, path: str, body: Any = None, *, status: int = 200) -> Any:
        """One request that is expected to end so."""
        answer = self._desk.ask(method, path, body)
        assert answer.status_code == status, answer.text
        return answer.json()

    def add(self, noun: str, **body: Any) -> int:
        """A new card's number."""
        return int(self.ask("POST", f"/api/{noun}", body, status=201)["number"])

    def treat(self, day: str, time: str, papers: dict[str, Any], *, lines: int = LINES) -> int:
        """Walk a job and let the service review it; gives its number."""
        self._jobs += 1
        boot, folder = f"{self._jobs:016x}", self._folder / str(self._jobs)
        folder.mkdir()
        walk = plan_strips(lines, pace_mps=1.2, scatter_m=0.02)
        scenario = Scenario("season", "", strip_lawn(LINES, LENGTH_M), walk, sprayer=Sprayer(flow_l_per_min=2.88))
        world = build_world(scenario, self._jobs, receiver_class="fixed", utc_start=utc_of(day, time))
        write_log(world.feed, folder / "log.ndjson.gz", rig="rig-1", boot=boot)
        save_setup(world.scenario, world.receiver.latency_s, folder)
        messages = read_raw_log(folder / "log.ndjson.gz")
        self._desk.take([each for each in messages if not each.topic.endswith("/event")])
        if self._jobs == 1:
            saved = replace(read_setup(folder / "setup.toml"), zones=())
            self._desk.portal.call(self._desk.service.jobs.save_setup, saved)
        span = {"start": [boot, MONO_START_S], "end": [boot, MONO_START_S + world.walk.duration_s]}
        job = self.ask("POST", "/api/jobs", {"name": f"{day} {time}", **span, "papers": papers}, status=201)
        assert self._desk.await_review(job["id"])["state"] == "ready"
        self._desk.portal.call(self._desk.service.settle)
        return int(job["id"])

    def site_from_file(self) -> int:
        """A site from the outline that the simulated lawn has, brought along as GeoJSON."""
        world = build_world(Scenario("lawn", "", strip_lawn(LINES, LENGTH_M), plan_strips(LINES)), 0)
        save_setup(world.scenario, 0.0, self._folder)
        data = (self._folder / "lawn.geojson").read_bytes()
        answer = self._desk.ask("POST", "/api/sites/proposal", content=data)
        zones = [row["zone"] for row in answer.json() if row["zone"] is not None]
        assert zones, answer.text
        return self.add("sites", name="Mill Lane", address="12 Mill Lane", zones=zones)

    def ask_text(self, path: str) -> str:
        """A file's text, ends of lines as they are."""
        return str(self._desk.ask("GET", path).content.decode())

    def season(self, day: str, time: str = "12:00") -> Any:
        """What is told on a day."""
        return self.ask("GET", f"/api/season?day={day}&time={time}")

    def matters(self, day: str, time: str = "12:00") -> dict[str, Any]:
        """Its matters by kind; of several of a kind the gravest, which stands first."""
        found: dict[str, Any] = {}
        for each in self.season(day, time)["matters"]:
            found.setdefault(each["kind"], each)
        return found


@pytest.fixture
def grower(desk: Any, tmp_path: Path) -> Grower:
    """The season's cards entered, nothing done yet."""
    found = Grower(desk, tmp_path)
    found.ask("PUT", "/api/season/calendar", {"zone": "UTC"})
    found.add("people", name="A. Grower", licence="CA-1")
    site = found.site_from_file()
    for body in (PACK, CART):
        found.add("sprayers", **body)
    for body in (BARRIER, TONIC, GREEN, FEED):
        found.add("products", **body)
    for name, product, rate in (("Spring barrier", 1, 40), ("Tonic", 2, 80), ("Green up", 3, 100), ("Feed", 4, 400)):
        dose = {"product": product, "rate": {"value": rate, "unit": "mL/100 m2"}}
        found.add("treatments", name=name, site=site, target=TARGET, doses=[dose], sprayer=1)
    return found


def test_a_season_gives_the_expected_calendar_sheets_warnings_and_records(grower: Grower) -> None:
    area_m2 = _spring(grower)
    _summer(grower)
    _conflicts(grower)
    _records(grower, area_m2)


def _spring(grower: Grower) -> float:
    """Coring, then the pre-emergent in a backpack whose tank is too small for all of it, watered in late."""
    grower.add("works", day="2027-03-20", kind="coring", site=1)
    warnings = grower.ask("GET", "/api/treatments/1/warnings?day=2027-04-05&today=2027-04-05")
    assert [each["key"] for each in warnings["objections"]] == ["licence"]
    assert warnings["wind"]["limit_mps"] == pytest.approx(15 / 3.6)
    sheet = grower.ask("GET", "/api/treatments/1/sheet?day=2027-04-05&today=2027-04-05&flow_l_per_min=1.2")
    area_m2 = float(sheet["area_m2"])
    assert area_m2 == pytest.approx(LINES * LENGTH_M, rel=1e-3)
    # 120 m² at 4 L/100 m² are 4.8 L: one full tank of 3 L and 1.8 L; 40 mL/100 m² is a hundredth of the mix.
    assert (sheet["full_count"], sheet["full"]["mix_l"]) == (1, 3.0)
    assert sheet["last"]["mix_l"] == pytest.approx(0.04 * area_m2 - 3.0, abs=1e-4)
    assert sheet["full"]["amounts"][0]["volume_l"] == pytest.approx(0.030, abs=1e-6)
    assert sheet["full"]["first_carrier_l"] == pytest.approx((3.0 - 0.030) / 2, abs=1e-5)
    # 1.2 L/min through 1 m at 0.04 L/m² want 0.5 m/s: 20 s on 10 m.
    assert sheet["walk"]["seconds_per_10_m"] == pytest.approx(20.0)
    # Interrupted with a third of the lawn to do and 1 L left: 25 m² more, then 15 m² = 0.6 L to mix.
    first = grower.treat("2027-04-05", "08:00", {"treatment": 1, "sprayer": 1, "operator": 1}, lines=4)
    rest = grower.ask("POST", f"/api/jobs/{first}/rest", {"area_left_m2": 40.0, "tank_left_l": 1.0})
    assert rest["treats_m2"] == pytest.approx(25.0)
    assert rest["top_up"]["mix_l"] == pytest.approx(0.6)
    told = grower.season("2027-04-05", "12:00")
    assert told["sentence"].startswith("Water in Mill Lane by "), told["sentence"]
    assert grower.matters("2027-04-05")["watering_in"]["state"] == "due"
    assert grower.matters("2027-04-06", "20:00")["watering_in"]["state"] == "overdue"
    grower.add("works", day="2027-04-06", kind="watering", site=1, time="20:30", water={"value": 8, "unit": "mm"})
    assert grower.matters("2027-04-06", "21:00").get("watering_in", {"state": "fact"})["state"] not in (
        "due",
        "overdue",
    )
    return area_m2


def _summer(grower: Grower) -> None:
    """The conditioner by a second sprayer; then due again, then overdue; a foliar feed on which it rains too soon."""
    grower.ask("PUT", "/api/next", {"treatment": "Tonic", "sprayer": "Walk-behind", "operator": 1})
    job = grower.treat("2027-04-20", "09:00", {"treatment": 2, "sprayer": 2, "operator": 1})
    grower.add("works", day="2027-04-20", kind="rain", time="17:00", water={"value": 12, "unit": "mm"})
    papers = grower.ask("GET", f"/api/jobs/{job}/papers")
    assert papers["sprayer"]["number"] == 2
    # 21 to 28 days after 20 April: due from 11 May, overdue after 18 May.
    states = {day: grower.matters(day)["repeat"]["state"] for day in ("2027-05-12", "2027-05-25")}
    assert states == {"2027-05-12": "due", "2027-05-25": "overdue"}
    grower.treat("2027-05-26", "07:00", {"treatment": 3, "sprayer": 2, "operator": 1})
    watered = [each for each in grower.season("2027-05-26", "08:00")["matters"] if each["kind"] == "watering_in"]
    assert [each["products"] for each in watered] == [[1]], "only the barrier's late watering; never a foliar product"
    grower.add("works", day="2027-05-26", kind="rain", site=1, time="10:00", water={"value": 5, "unit": "mm"})
    washed = [each for each in grower.season("2027-05-26", "12:00")["matters"] if each["kind"] == "keep_dry"]
    assert washed, "rain three hours after a product that wants six dry ones is told"
    # The feed five days later brings nitrogen again: 400 mL/100 m² x 1.25 kg/L x 20 % = 1.0 g/m² to the
    # 100 mL/100 m² x 1.2 kg/L x 10 % = 0.12 g/m² of before, by as much as was measured.
    warnings = grower.ask("GET", "/api/treatments/4/warnings?day=2027-05-31&today=2027-05-31")
    found = {each["key"]: each for each in warnings["objections"]}
    (again,) = [each for key, each in found.items() if key.startswith("same_constituent")]
    assert "nitrogen" in again["sentence"]
    amounts = sorted(value for name, value in again["numbers"].items() if name.endswith("kg_per_m2"))
    assert amounts[-2:] == pytest.approx([0.001, 0.00112], rel=0.01)


def _conflicts(grower: Grower) -> None:
    """What was done in the wrong order or too soon is told with both sides and forbidden by nobody."""
    grower.add("works", day="2027-06-02", kind="coring", site=1)
    told = grower.season("2027-06-02")["sentence"]
    assert told.startswith("Conditioner again on Mill Lane is overdue, it was due by 18 May"), told
    order = [each for each in grower.season("2027-06-02")["matters"] if each["state"] == "conflict"]
    undone = [each for each in order if each["against"]]
    assert undone, "a coring after a pre-emergent shows practice and the published trials"
    assert "it is thought to undo it" in undone[0]["sentence"]
    assert undone[0]["against_source"], "the trials that found no loss are named"
    soon = grower.ask("GET", "/api/treatments/3/warnings?day=2027-06-03&today=2027-06-03")
    assert "interval_short" in {each["key"] for each in soon["objections"]}
    calendar = grower.ask_text("/api/season.ics?day=2027-06-02&time=12:00")
    assert calendar.startswith("BEGIN:VCALENDAR\r\n")


def _records(grower: Grower, area_m2: float) -> None:
    """Each job has a record that knows product, operator and what was measured."""
    for number, product, share, part in ((1, "Seed barrier", 0.01, 4 / 6), (2, "Root tonic", 0.02, 1.0)):
        record = grower.ask("GET", f"/api/jobs/{number}/record")
        items = {each["key"]: each for each in record["items"]}
        assert items["product.1.name"]["value"] == product
        assert items["applicator"]["value"] == "A. Grower"
        # Undiluted product is its share of the measured mix, whatever the pace was.
        assert items["product.1.amount"]["value"] == pytest.approx(1000.0 * share * items["mix_l"]["value"], rel=1e-6)
        assert items["area_m2"]["value"] == pytest.approx(part * area_m2, rel=0.1)
        signed = grower.ask("POST", f"/api/jobs/{number}/record/sign", {"name": "A. Grower"}, status=201)
        assert signed["state"] == "signed"
