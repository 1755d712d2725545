"""Another sprayer in the middle of a job: a second part with settings of its own, and no alarm lost on the way."""

import anyio
import pytest
from deck import deal
from standing import live_through, stand

from rig import wire
from server.store.jobs import find_job


def begin(desk, messages, papers):
    """A running job over the first half of the recording."""
    half = [each for each in messages if not each.topic.endswith("/event")][: len(messages) // 2]
    desk.take(half)
    deal(desk)
    made = desk.ask("POST", "/api/jobs", {"name": "Lawn", "start": ["0000000000000001", 0.0], "papers": papers})
    assert made.status_code == 201, made.text
    await_reading(desk)
    rest = [each for each in messages if not each.topic.endswith("/event")][len(half) :]
    return made.json()["id"], rest


def await_reading(desk) -> None:
    """Wait until the store has been read."""
    for _ in range(1000):
        if not desk.service.is_reading:
            return
        desk.portal.call(anyio.sleep, 0.01)
    raise AssertionError("the store is still being read")


def setup_of(desk, number):
    return desk.service.jobs.read(lambda connection: find_job(connection, number)).setup


def test_a_swap_makes_a_second_part_with_the_same_papers_and_its_own_sprayer(desk, messages) -> None:
    first, rest = begin(desk, messages, {"treatment": 1, "operator": 1})
    answer = desk.ask("POST", f"/api/jobs/{first}/swap", {"sprayer": "boom"})
    assert answer.status_code == 201, answer.text
    part = answer.json()
    assert (part["name"], part["part_of"], part["state"]) == ("Lawn part 2", first, "running")
    assert desk.ask("GET", f"/api/jobs/{first}").json()["state"] == "finished"
    before, after = setup_of(desk, first), setup_of(desk, part["id"])
    assert (before.flow_meter.pulses_per_l, after.flow_meter.pulses_per_l) == (450.0, 300.0)
    assert after.sprayer.swath_m == pytest.approx(1.2192)
    assert (after.treatment, after.zones, after.anemometer) == (before.treatment, before.zones, before.anemometer)
    assert before.job.end == after.job.start
    papers = desk.ask("GET", f"/api/jobs/{part['id']}/papers").json()
    assert (papers["treatment"]["number"], papers["operator"]["number"], papers["sprayer"]["number"]) == (1, 1, 2)
    assert papers["parts"] == [first, part["id"]]
    assert desk.ask("GET", f"/api/jobs/{first}/papers").json()["parts"] == [first, part["id"]]
    desk.take(rest)
    assert desk.ask("GET", "/api/live").json()["job"]["id"] == part["id"]
    assert desk.ask("GET", "/api/live").json()["swath_m"] == pytest.approx(1.2192), "the strip's width"
    desk.ask("POST", f"/api/jobs/{part['id']}/buttons", {"kind": "finish"})
    litres = [desk.await_review(number)["volume_l"] for number in (first, part["id"])]
    pulses = litres[0] * 450.0 + litres[1] * 300.0
    whole = desk.ask("POST", "/api/jobs", {"name": "All", "start": ["0000000000000001", 0.0], "end": list(_end(desk))})
    total = desk.await_review(whole.json()["id"])["volume_l"]
    k = setup_of(desk, whole.json()["id"]).flow_meter.pulses_per_l
    assert pulses == pytest.approx(total * k, abs=2.0), "no pulse is lost between the parts or counted twice"


def test_what_the_first_sprayer_did_is_not_left_for_the_second(desk, messages, open_desk) -> None:
    first, rest = begin(desk, messages, {})
    desk.take(rest)
    before = desk.ask("GET", "/api/live").json()
    assert 0.0 < before["area_left_m2"] < before["zone_area_m2"] - 10.0
    part = desk.ask("POST", f"/api/jobs/{first}/swap", {"sprayer": 2}).json()["id"]
    assert desk.service.live.way._done_before_m2 == pytest.approx(
        before["zone_area_m2"] - before["area_left_m2"], abs=0.2
    )
    assert desk.await_review(first)["state"] == "ready"
    done = desk.portal.call(desk.service.office.records.find_done, part)
    assert done == pytest.approx(before["zone_area_m2"] - before["area_left_m2"], abs=0.5), "the same after a restart"


def _end(desk):
    return setup_of(desk, 2).job.end


def test_an_alarm_goes_on_through_a_swap(desk) -> None:
    deal(desk)
    live_through(desk, stand(1, 0.8))
    first = desk.ask("POST", "/api/jobs", {"name": "Lawn", "start": "now", "papers": {"treatment": 1}}).json()["id"]
    live_through(desk, stand(3, 9.0, from_s=60))
    before = desk.ask("GET", "/api/live").json()["alarm"]
    assert before["level"] == "stop"
    desk.replies.sent.clear()
    assert desk.ask("POST", f"/api/jobs/{first}/swap", {"sprayer": 2}).status_code == 201
    assert desk.ask("GET", "/api/live").json()["alarm"] == before
    live_through(desk, stand(0.5, 9.0, from_s=240))
    after = desk.ask("GET", "/api/live").json()
    assert (after["alarm"]["level"], after["alarm"]["since_utc"]) == ("stop", before["since_utc"])
    assert after["tank_l"] == pytest.approx(37.854, abs=1e-3), "the boom's ten gallons"
    levels = {message.level for _, message, _ in desk.replies.sent if isinstance(message, wire.Alarm)}
    assert levels == {"stop"}, "the rig is told whose job it is now, never that the alarm is over"


def test_a_third_sprayer_is_a_third_part_of_the_first_job(desk, messages) -> None:
    first, _ = begin(desk, messages, {})
    second = desk.ask("POST", f"/api/jobs/{first}/swap", {"sprayer": 1}).json()["id"]
    third = desk.ask("POST", f"/api/jobs/{second}/swap", {"sprayer": 2}).json()
    assert (third["name"], third["part_of"]) == ("Lawn part 3", first)
    jobs = {each["id"]: each["part_of"] for each in desk.ask("GET", "/api/jobs").json()}
    assert jobs == {first: None, second: first, third["id"]: first}


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        ({"sprayer": 1}, 422, "Knapsack is the one in use"),
        ({"sprayer": 9}, 422, "there is no sprayer 9"),
        ({}, 422, "must be filled in"),
    ],
)
def test_a_swap_that_cannot_be_meant_leaves_the_job_as_it_is(desk, messages, body, status, words) -> None:
    first, _ = begin(desk, messages, {"sprayer": 1})
    refused = desk.ask("POST", f"/api/jobs/{first}/swap", body)
    assert (refused.status_code, words in refused.json()["detail"]) == (status, True), refused.text
    assert desk.ask("GET", f"/api/jobs/{first}").json()["state"] == "running"
    assert len(desk.ask("GET", "/api/jobs").json()) == 1


def test_a_finished_job_is_not_swapped_under(desk, messages) -> None:
    first, _ = begin(desk, messages, {"sprayer": 1})
    desk.ask("POST", f"/api/jobs/{first}/buttons", {"kind": "finish"})
    refused = desk.ask("POST", f"/api/jobs/{first}/swap", {"sprayer": 2})
    assert refused.status_code == 409
    assert "is not open" in refused.json()["detail"]
