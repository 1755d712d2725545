"""Jobs that begin with cards: settings of their own, what is next, other cards afterwards, another sprayer midway."""

import json

import anyio
import pytest
from deck import HOME, deal

from server.store.jobs import find_job

BOOT = "0000000000000001"


def setup_of(desk, number: int):
    """A job's frozen settings."""
    return desk.service.jobs.read(lambda connection: find_job(connection, number)).setup


def begin(desk, papers=None, **more):
    """Begin a job now."""
    body = {"name": "Lawn", "start": "now", **more}
    return desk.ask("POST", "/api/jobs", body if papers is None else {**body, "papers": papers})


def press_start(desk, messages) -> None:
    """A START on the rig itself."""
    mono = max(_mono(m) for m in messages) + 1.0
    payload = (
        f'{{"v":1,"boot":"{BOOT}","seq":999,"mono":{mono},"kind":"button","detail":{{"name":"start"}}}}'
    ).encode()
    desk.service.ingest.take("calmpass/1/rig-1/event", payload)
    desk.service.ingest.call(lambda writer: None).result(30)
    desk.portal.call(desk._turn)


def _mono(message) -> float:
    return float(json.loads(message.payload).get("mono", 0.0))


def test_a_job_with_papers_freezes_the_zones_the_sprayer_the_target_and_the_limit(busy_desk) -> None:
    deal(busy_desk)
    made = begin(busy_desk, {"treatment": "spring feed", "zones": ["Back"], "operator": 1})
    assert made.status_code == 201, made.text
    setup = setup_of(busy_desk, made.json()["id"])
    assert [zone.name for zone in setup.zones] == ["Back", "Pond"]
    assert (setup.sprayer.swath_m, setup.flow_meter.pulses_per_l, setup.sprayer.tank_l) == (1.0, 450.0, 15.0)
    assert setup.treatment.target_l_per_m2 == pytest.approx(0.0407458, rel=1e-6)
    assert (setup.treatment.wind_limit_stated, setup.treatment.wind_averaging_s) == ("10 mph", 60.0)
    papers = busy_desk.ask("GET", f"/api/jobs/{made.json()['id']}/papers").json()
    names = {role: papers[role]["name"] for role in ("site", "sprayer", "treatment", "operator", "customer")}
    assert names == {
        "site": "Home", "sprayer": "Knapsack", "treatment": "Spring feed", "operator": "A. Grower",
        "customer": "B. Owner",
    }  # fmt: skip
    assert papers["products"] == [{"number": 1, "version": 1, "name": "Feed"}]
    assert papers["zones"] == ["Back"]


def test_a_job_keeps_the_site_of_its_day_and_takes_a_newer_version_only_when_asked(busy_desk) -> None:
    deal(busy_desk)
    number = begin(busy_desk, {"site": 1}).json()["id"]
    smaller = {**HOME, "zones": HOME["zones"][:1]}
    busy_desk.ask("PUT", "/api/sites/1?version=1", smaller)
    same = busy_desk.ask("PUT", f"/api/jobs/{number}/papers", {"site": 1, "operator": 1}).json()
    assert same["site"]["version"] == 1
    assert len(setup_of(busy_desk, number).zones) == 3
    newer = busy_desk.ask("PUT", f"/api/jobs/{number}/papers", {"site": {"number": 1, "version": 2}}).json()
    assert newer["site"]["version"] == 2
    assert len(setup_of(busy_desk, number).zones) == 1


@pytest.mark.parametrize(
    ("papers", "key", "words"),
    [
        ({"site": 2, "treatment": 1}, "treatment", "Spring feed is planned for Home, not for Away"),
        ({"site": 1, "zones": ["Side"]}, "zones", "'Side' is no zone of Home: there is Front, Back"),
        ({"site": "Nowhere"}, "site", "there is no site 'Nowhere'"),
        ({"sprayer": 7}, "sprayer", "there is no sprayer 7"),
        ({"sprayer": 1, "fill": {"value": 10, "unit": "gal"}}, "fill", "does not go into a tank of 15 L"),
        ({"sprayer": 1, "fill": {"value": 0, "unit": "gal"}}, "fill", "outside"),
        ({"sprayer": 1, "paint": 1}, "papers.paint", "nexpected"),
    ],
)
def test_papers_that_do_not_go_together_are_refused_in_a_line_and_no_job_begins(busy_desk, papers, key, words) -> None:
    deal(busy_desk)
    before = busy_desk.ask("GET", "/api/jobs").json()
    refused = begin(busy_desk, papers)
    assert refused.status_code == 422, refused.text
    assert refused.json()["key"].startswith(key)
    assert words in refused.json()["detail"]
    assert busy_desk.ask("GET", "/api/jobs").json() == before


def test_cards_put_away_are_refused_for_a_new_job(busy_desk) -> None:
    deal(busy_desk)
    busy_desk.ask("DELETE", "/api/sprayers/1?version=1")
    assert "Knapsack is put away" in begin(busy_desk, {"sprayer": 1}).json()["detail"]
    busy_desk.ask("DELETE", "/api/products/1?version=1")
    treated = begin(busy_desk, {"treatment": 1, "sprayer": 2}).json()
    assert "Feed of Spring feed is put away" in treated["detail"]


def test_what_is_next_holds_for_start_on_the_dashboard_and_on_the_rig(busy_desk, messages) -> None:
    deal(busy_desk)
    chosen = busy_desk.ask("PUT", "/api/next", {"treatment": 1, "operator": "a. grower"}).json()
    assert chosen["problem"] is None
    assert chosen["choice"] == {"treatment": 1, "operator": 1}
    assert chosen["papers"]["sprayer"]["name"] == "Knapsack"
    live = busy_desk.ask("GET", "/api/live").json()
    assert live["wind"]["limit_stated"] == "10 mph", "the next job's limit is the one to look at before it begins"
    first = begin(busy_desk).json()["id"]
    assert busy_desk.ask("GET", f"/api/jobs/{first}/papers").json()["treatment"]["number"] == 1
    busy_desk.ask("POST", f"/api/jobs/{first}/buttons", {"kind": "finish"})
    press_start(busy_desk, messages)
    second = busy_desk.ask("GET", "/api/jobs").json()[0]["id"]
    assert second == first + 1
    assert busy_desk.ask("GET", f"/api/jobs/{second}/papers").json()["operator"]["name"] == "A. Grower"


def test_start_on_the_rig_begins_even_where_its_papers_are_of_no_use_and_says_so(busy_desk, messages) -> None:
    deal(busy_desk)
    busy_desk.ask("PUT", "/api/next", {"sprayer": 1})
    busy_desk.ask("DELETE", "/api/sprayers/1?version=1")
    assert "put away" in busy_desk.ask("GET", "/api/next").json()["problem"]
    assert begin(busy_desk).status_code == 422
    press_start(busy_desk, messages)
    job = busy_desk.ask("GET", "/api/jobs").json()[0]
    assert job["state"] == "running"
    faults = busy_desk.ask("GET", "/api/live").json()["faults"]
    assert any("began without its papers" in fault and "Knapsack is put away" in fault for fault in faults)


def test_a_choice_that_could_begin_no_job_is_refused_and_the_old_one_stays(busy_desk) -> None:
    deal(busy_desk)
    busy_desk.ask("PUT", "/api/next", {"site": "Home"})
    assert busy_desk.ask("PUT", "/api/next", {"site": 2, "treatment": 1}).status_code == 422
    assert busy_desk.ask("GET", "/api/next").json()["choice"] == {"site": 1}
    assert busy_desk.ask("PUT", "/api/next", {}).json()["choice"] == {}


def test_papers_given_afterwards_make_a_revision_that_is_reviewed_again(busy_desk) -> None:
    deal(busy_desk)
    declared = busy_desk.ask("POST", "/api/jobs", {"name": "Late", "start": [BOOT, 0.0], "end": [BOOT, 9e4]}).json()
    before = busy_desk.await_review(declared["id"])
    answer = busy_desk.ask("PUT", f"/api/jobs/{declared['id']}/papers", {"sprayer": 2, "operator": 1})
    assert answer.status_code == 200, answer.text
    assert busy_desk.ask("GET", f"/api/jobs/{declared['id']}").json()["revision"] == declared["revision"] + 1
    after = busy_desk.await_review(declared["id"])
    ratio = after["volume_l"] / before["volume_l"]
    assert ratio == pytest.approx(450.0 / 300.0, rel=1e-3), "litres by the boom's own meter"


def test_papers_of_an_open_job_change_its_live_picture(busy_desk) -> None:
    deal(busy_desk)
    number = begin(busy_desk, {}).json()["id"]
    busy_desk.ask("PUT", f"/api/jobs/{number}/papers", {"treatment": 1})
    await_reading(busy_desk)
    live = busy_desk.ask("GET", "/api/live").json()
    assert live["job"]["id"] == number
    assert live["target_l_per_m2"] == pytest.approx(0.0407458, rel=1e-5)
    assert live["wind"]["limit_stated"] == "10 mph"


def await_reading(desk) -> None:
    """Wait until the open job is read anew."""
    for _ in range(500):
        if not desk.service.is_reading:
            return
        desk.portal.call(anyio.sleep, 0.01)
    raise AssertionError("the store is still being read")


def test_a_forgotten_job_leaves_no_papers_to_the_next_one(busy_desk) -> None:
    deal(busy_desk)
    number = begin(busy_desk, {"site": 1}).json()["id"]
    busy_desk.ask("POST", f"/api/jobs/{number}/buttons", {"kind": "finish"})
    busy_desk.portal.call(busy_desk.service.settle)  # its line of the journal is written
    busy_desk.ask("DELETE", f"/api/jobs/{number}")
    again = begin(busy_desk, {}).json()["id"]
    assert again > number, "the journal still names the first"
    assert busy_desk.ask("GET", f"/api/jobs/{again}/papers").json()["site"] is None
