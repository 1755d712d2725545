"""The tank through the API: fills before and in a job, the level by the meter, what to mix after a stop."""

import asyncio

import pytest
from cardbox import FEED, SITE, SPRAYER, treatment

FIRST = 300


def pour_waiting(desk) -> None:
    """What the service does each second: give what waits to the job that runs."""
    desk.portal.call(lambda: desk.service.office.tanks.pour(desk.service.live.job))


def await_rebuilt(desk) -> None:
    """Wait until the store has been read."""
    for _ in range(2000):
        if not desk.service.is_reading:
            return
        desk.portal.call(asyncio.sleep, 0.01)
    raise AssertionError("the store is read without end")


@pytest.fixture
def samples(messages):
    """The job's messages without the rig's own buttons."""
    return [message for message in messages if not message.topic.endswith("/event")]


@pytest.fixture
def field(desk, samples):
    """A desk whose rig has been heard for a little while."""
    for noun, body in (("sites", SITE), ("sprayers", SPRAYER), ("products", FEED), ("treatments", treatment())):
        desk.ask("POST", f"/api/{noun}", body)
    desk.take(samples[:FIRST])
    return desk


def test_a_tank_of_which_nothing_was_told_says_that_it_is_assumed(field) -> None:
    found = field.ask("GET", "/api/tank").json()
    assert (found["job"], found["is_assumed"], found["left_l"]) == (None, True, found["tank_l"])


def test_a_fill_before_the_job_waits_and_goes_into_its_raw_log(field, samples) -> None:
    made = field.ask("POST", "/api/tank/fills", {"added_l": 9.5, "treatment": 1, "load": 1})
    assert made.status_code == 201, made.text
    assert field.ask("GET", "/api/tank").json()["left_l"] == 9.5
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    pour_waiting(field)
    pour_waiting(field)
    field.take(samples[FIRST:])
    found = field.ask("GET", f"/api/jobs/{job}/tank").json()
    picture = field.ask("GET", "/api/live").json()
    assert found["sprayed_l"] == pytest.approx(picture["volume_l"], abs=1e-3)
    assert found["sprayed_l"] > 0.4
    assert found["left_l"] == pytest.approx(9.5 - found["sprayed_l"], abs=2e-3)
    assert picture["tank_left_l"] == pytest.approx(found["left_l"], abs=1e-3)
    assert (found["is_assumed"], [fill["load"] for fill in found["fills"]]) == (False, [1])
    assert found["left_sd_l"] >= 0.19
    field.ask("POST", f"/api/jobs/{job}/buttons", {"kind": "finish"})
    done = field.ask("GET", f"/api/jobs/{job}/tank").json()
    assert done["left_l"] == pytest.approx(found["left_l"], abs=0.02), "the same from the raw log"
    assert field.ask("GET", "/api/tank").json()["is_assumed"], "nothing waits for the next job"


def test_fills_in_a_job_add_up_and_what_it_holds_replaces_them(field, samples) -> None:
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    field.ask("POST", "/api/tank/fills", {"holds_l": 2.0})
    field.take(samples[FIRST:])
    sprayed = field.ask("GET", f"/api/jobs/{job}/tank").json()["sprayed_l"]
    field.ask("POST", "/api/tank/fills", {"added_l": 5.0})
    assert field.ask("GET", f"/api/jobs/{job}/tank").json()["left_l"] == pytest.approx(7.0 - sprayed, abs=2e-3)
    field.ask("POST", "/api/tank/fills", {"holds_l": 1.25})
    assert field.ask("GET", "/api/tank").json()["left_l"] == 1.25
    field.ask("POST", f"/api/jobs/{job}/buttons", {"kind": "refill"})
    assert field.ask("GET", "/api/tank").json()["left_l"] == field.ask("GET", "/api/tank").json()["tank_l"]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ({"added_l": 60.0}, "60 L would be in a tank of"),
        ({"holds_l": 57.0}, "57 L would be in a tank of"),
        ({"added_l": 0.0}, "is outside"),
        ({"added_l": 2.0, "holds_l": 3.0}, "either what was added"),
        ({}, "either what was added"),
    ],
)
def test_a_fill_that_cannot_be_in_the_tank_is_refused(field, body, words) -> None:
    refused = field.ask("POST", "/api/tank/fills", body)
    assert (refused.status_code, refused.json()["key"]) == (422, "litres")
    assert words in refused.json()["detail"]
    assert field.ask("GET", "/api/tank").json()["fills"] == []


def test_a_fill_that_waits_can_be_taken_back_and_one_of_a_job_cannot(field) -> None:
    field.ask("POST", "/api/tank/fills", {"added_l": 5.0})
    assert field.ask("DELETE", "/api/tank/fills/1").status_code == 204
    assert field.ask("GET", "/api/tank").json()["is_assumed"] is True
    field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"})
    number = field.ask("POST", "/api/tank/fills", {"added_l": 5.0}).json()["number"]
    assert field.ask("DELETE", f"/api/tank/fills/{number}").status_code == 404


def test_a_fill_that_was_not_pressed_yet_when_the_power_failed_is_pressed_once_afterwards(field, samples) -> None:
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    tanks = field.service.office.tanks
    press = tanks._press

    async def fail(*_: object) -> None:
        raise OSError("the power failed")

    tanks._press = fail
    with pytest.raises(OSError, match="power"):
        field.portal.call(tanks.fill, field.service.live, {"added_l": 5.0})
    tanks._press = press
    pour_waiting(field)
    pour_waiting(field)
    found = field.ask("GET", f"/api/jobs/{job}/tank").json()
    assert (found["left_l"], len(found["fills"]), found["is_assumed"]) == (5.0, 1, False)


def test_a_button_with_odd_words_disturbs_nothing(field) -> None:
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    for detail in ({"fill": [1]}, {"holds_l": 1e308}, {"added_l": {"x": 1}, "fill": {}}):
        pressed = field.ask("POST", f"/api/jobs/{job}/buttons", {"kind": "refill", "detail": detail})
        assert pressed.status_code == 200, pressed.text
        assert field.ask("GET", f"/api/jobs/{job}/tank").json()["is_assumed"] is True


def test_after_a_stop_it_says_how_far_the_rest_goes_and_what_to_mix(field) -> None:
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    field.ask("POST", "/api/tank/fills", {"holds_l": 4.0})
    rest = field.ask("POST", f"/api/jobs/{job}/rest", {"treatment": 1, "area_left_m2": 300.0, "tank_l": 15.0}).json()
    rate = 0.0407458
    assert rest["treats_m2"] == pytest.approx(4.0 / rate, rel=1e-4)
    assert rest["sheet"]["total"]["mix_l"] == pytest.approx(300.0 * rate - 4.0, rel=1e-4)
    assert rest["top_up"]["mix_l"] == pytest.approx(300.0 * rate - 4.0, rel=1e-4)
    done = field.ask("POST", f"/api/jobs/{job}/rest", {"treatment": 1, "area_left_m2": 50.0}).json()
    assert done["sheet"] is None
    assert done["surplus_l"] == pytest.approx(4.0 - 50.0 * rate, rel=1e-3)


def test_after_a_stop_the_area_left_is_the_jobs_own_where_it_is_known(field, samples) -> None:
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    field.take(samples[FIRST:])
    field.ask("POST", "/api/tank/fills", {"holds_l": 4.0})
    picture = field.ask("GET", "/api/live").json()
    rest = field.ask("POST", f"/api/jobs/{job}/rest", {"treatment": 1}).json()
    assert picture["area_left_m2"] is not None
    assert rest["area_left_m2"] == pytest.approx(picture["area_left_m2"], abs=0.1)


def test_a_rest_that_cannot_be_meant_is_refused(field) -> None:
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    for body, words in (
        ({"area_left_m2": 100.0}, "the job has none"),
        ({"treatment": 1, "area_left_m2": 100.0, "tank_left_l": 80.0}, "more than the tank"),
        ({"treatment": 1, "area_left_m2": -5.0}, "is outside"),
        ({"treatment": 1, "area_left_m2": 100.0, "fill_l": 999.0}, "more than the sprayer's tank"),
    ):
        refused = field.ask("POST", f"/api/jobs/{job}/rest", body)
        assert refused.status_code == 422
        assert words in refused.json()["detail"], body


def test_fills_outlast_a_restart_in_the_middle_of_a_job(field, samples, open_desk) -> None:
    job = field.ask("POST", "/api/jobs", {"name": "Front", "start": "now"}).json()["id"]
    field.ask("POST", "/api/tank/fills", {"added_l": 9.0})
    field.take(samples[FIRST:])
    before = field.ask("GET", f"/api/jobs/{job}/tank").json()
    field.portal.call(field.service.stop)
    again = open_desk()
    await_rebuilt(again)
    found = again.ask("GET", f"/api/jobs/{job}/tank").json()
    assert found["left_l"] == pytest.approx(before["left_l"], abs=0.02)
    assert found["is_assumed"] is False
