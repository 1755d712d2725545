"""The API: every refusal is a problem document, orders do what they say, nothing that is sent ends the service."""

import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rig import wire
from server.core.setup import TEXTS
from server.rawlog import Received

PROBLEM = "application/problem+json"


def check_problem(answer: Any, status: int, *words: str, key: str | None = None) -> None:
    """See that an answer is a problem document (RFC 9457, section 3.1) that says so much."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == PROBLEM
    found = answer.json()
    assert found["type"] == "about:blank"
    assert found["title"]
    assert found["status"] == status
    assert found.get("key") == key
    for word in words:
        assert word in found["detail"]


JOB_ROUTES = [
    ("GET", ""), ("PATCH", ""), ("DELETE", ""), ("POST", "/buttons"), ("GET", "/review"), ("POST", "/review"),
    ("GET", "/passes"), ("GET", "/pairs"), ("GET", "/findings"), ("GET", "/track"), ("GET", "/wind"), ("GET", "/flow"),
    ("GET", "/dose"), ("GET", "/files/job.json"),
]  # fmt: skip
BODIES = {"PATCH": {"name": "another"}, "/buttons": {"kind": "note"}}


@pytest.mark.parametrize(("method", "path"), JOB_ROUTES)
def test_a_job_that_is_not_there_is_not_found_on_every_route(desk, method, path) -> None:
    body = BODIES.get(path, BODIES.get(method))
    check_problem(desk.ask(method, f"/api/jobs/99{path}", body), 404, "99")
    check_problem(desk.ask(method, f"/api/jobs/first{path}", body), 422, "integer", key="number")


def test_unknown_paths_and_methods_are_told(desk) -> None:
    check_problem(desk.ask("GET", "/api/nothing"), 404, "/api/nothing")
    check_problem(desk.ask("DELETE", "/api/live"), 405)
    check_problem(desk.ask("GET", "/api/jobs/1/soup"), 422, "passes", key="view")


@pytest.mark.parametrize(
    ("body", "key"),
    [
        ({}, "name"), ({"name": ""}, "name"), ({"name": 5}, "name"), ({"name": "a", "colour": "red"}, "colour"),
        ({"name": "a", "rig": "Rig 1"}, "rig"), ({"name": "a", "start": "now", "end": ["0123abcd", 1.0]}, "end"),
        ({"name": "a", "start": ["x", 1.0], "end": ["0123abcd", 1.0]}, "start"),
        ({"name": "a", "start": ["0123abcd", -1.0]}, "start"),
    ],
)  # fmt: skip
def test_a_job_that_makes_no_sense_is_refused_by_key(desk, body, key) -> None:
    check_problem(desk.ask("POST", "/api/jobs", body), 422, key=key)
    assert desk.ask("GET", "/api/jobs").json() == []


def test_without_a_rig_no_job_begins_and_the_answer_says_what_to_look_at(desk) -> None:
    check_problem(desk.ask("POST", "/api/jobs", {"name": "a", "start": "now"}), 404, "no rig has been heard")


def test_settings_are_refused_with_name_value_and_range(desk) -> None:
    before = desk.ask("GET", "/api/setup").json()
    wrong = {**before, "sprayer": {**before["sprayer"], "swath_m": 900}}
    check_problem(desk.ask("PUT", "/api/setup", wrong), 422, "900", "0.1 to 20", key="sprayer.swath_m")
    wrong = {**before, "sprayer": {**before["sprayer"], "swath_ft": 3}}
    check_problem(desk.ask("PUT", "/api/setup", wrong), 422, "swath_m", key="sprayer.swath_ft")
    assert desk.ask("GET", "/api/setup").json() == before


def test_settings_that_are_saved_are_those_of_the_next_start(desk, open_desk) -> None:
    wanted = desk.ask("GET", "/api/setup").json()
    wanted["treatment"]["wind_limit_mps"] = 3.25
    assert desk.ask("PUT", "/api/setup", wanted).json() == wanted
    stored = desk.service.jobs.read(lambda c: c.execute("SELECT setup FROM default_setup").fetchone()[0])
    assert "3.25" in stored


COUNTS = ("_fraction", ".directions")
"""Settings that are plain numbers."""


def test_every_key_of_the_form_has_a_unit_and_a_range_choices_or_a_kind_of_text(desk) -> None:
    keys = {found["key"]: found for found in desk.ask("GET", "/api/setup/keys").json()}
    assert keys["sprayer.swath_m"] == {
        "key": "sprayer.swath_m", "unit": "m", "range": [0.1, 20.0], "default": None, "choices": None,
    }  # fmt: skip
    assert [key for key, found in keys.items() if not (found["range"] or found["choices"] or "text" in found)] == []
    assert {key: found["text"] for key, found in keys.items() if "text" in found} == TEXTS
    assert [key for key, f in keys.items() if f["range"] and not (f["unit"] or key.endswith(COUNTS))] == []


def test_a_job_goes_from_declared_to_reviewed(desk, messages) -> None:
    planned = desk.ask("POST", "/api/jobs", {"name": "Front lawn"}).json()
    assert (planned["state"], planned["start"]) == ("idle", None)
    check_problem(desk.ask("POST", "/api/jobs/1/buttons", {"kind": "pause"}), 409, "has not begun")
    desk.take([m for m in messages if not m.topic.endswith("/event")])
    started = desk.ask("POST", "/api/jobs/1/buttons", {"kind": "start"}).json()
    assert (started["state"], started["rig"]) == ("running", "rig-1")
    assert desk.ask("GET", "/api/live").json()["job"]["name"] == "Front lawn"
    check_problem(desk.ask("POST", "/api/jobs", {"name": "b", "start": "now"}), 409, "job 1 is still open")
    check_problem(desk.ask("DELETE", "/api/jobs/1"), 409, "finish it first")
    assert desk.ask("POST", "/api/jobs/1/buttons", {"kind": "pause"}).json()["state"] == "paused"
    assert desk.ask("POST", "/api/jobs/1/buttons", {"kind": "finish"}).json()["state"] == "finished"
    check_problem(desk.ask("POST", "/api/jobs/1/buttons", {"kind": "refill"}), 409, "finished")
    assert desk.ask("POST", "/api/jobs/1/buttons", {"kind": "note", "detail": {"text": "dew"}}).status_code == 200
    kinds = desk.service.jobs.read(lambda c: c.execute("SELECT kind FROM operator ORDER BY seq").fetchall())
    assert [kind for (kind,) in kinds] == ["start", "pause", "finish", "note"]
    assert [m.kind for _, m, _ in desk.replies.sent if type(m).__name__ == "Operator"] == [kind for (kind,) in kinds]


@pytest.mark.parametrize("detail", [{"text": "x" * 2000}, {"text": "\ud800"}])
def test_a_button_that_fits_into_no_message_is_refused_and_the_writer_lives(busy_desk, detail) -> None:
    number = busy_desk.ask("GET", "/api/jobs").json()[0]["id"]
    path = f"/api/jobs/{number}/buttons"
    check_problem(busy_desk.ask("POST", path, {"kind": "note", "detail": detail}), 422, "1024", key="detail")
    assert busy_desk.ask("POST", path, {"kind": "note", "detail": {"text": "short"}}).status_code == 200


def test_a_job_declared_afterwards_is_reviewed_and_a_new_calibration_reviews_it_again(busy_desk) -> None:
    busy_desk.ask("DELETE", "/api/jobs/1")
    body = {
        "name": "Afterwards",
        "start": ["0000000000000001", 101.0],
        "end": {"boot": "0000000000000001", "mono": 1e6},
    }
    job = busy_desk.ask("POST", "/api/jobs", body).json()
    first = busy_desk.await_review(job["id"])
    assert (first["state"], first["passes"]) == ("ready", 1)
    setup = busy_desk.ask("GET", "/api/setup").json()
    setup["flow_meter"]["pulses_per_l"] /= 2.0
    changed = busy_desk.ask("PATCH", f"/api/jobs/{job['id']}", {"setup": setup}).json()
    assert changed["revision"] == job["revision"] + 1
    second = busy_desk.await_review(job["id"])
    assert second["volume_l"] == pytest.approx(2.0 * first["volume_l"], rel=1e-6)
    assert second["log_digest"] == first["log_digest"]
    assert second["setup_digest"] != first["setup_digest"]
    check_problem(busy_desk.ask("GET", f"/api/jobs/{job['id']}/files/secret"), 404, "job.json")


def test_changes_of_a_job_at_the_same_moment_are_all_kept(busy_desk) -> None:
    path, setup = "/api/jobs/1", busy_desk.ask("GET", "/api/setup").json()
    bodies = [{"setup": {**setup, "sprayer": {**setup["sprayer"], "swath_m": swath}}} for swath in (1.1, 1.2, 1.3)]
    bodies.insert(1, {"name": "Another name"})
    with ThreadPoolExecutor() as pool:
        answers = list(pool.map(lambda body: busy_desk.ask("PATCH", path, body), bodies))
    assert [answer.status_code for answer in answers] == [200] * 4
    job = busy_desk.ask("GET", path).json()
    assert job["revision"] == 4
    assert job["name"] == "Another name"


def test_a_review_is_computed_again_when_samples_come_late(desk, messages) -> None:
    samples = [m for m in messages if not m.topic.endswith("/event")]
    late = [m for k, m in enumerate(samples) if k % 5 == 2]
    desk.take([m for k, m in enumerate(samples) if k % 5 != 2])
    span = {"start": ["0000000000000001", 100.0], "end": ["0000000000000001", 1e6]}
    desk.ask("POST", "/api/jobs", {"name": "Late", **span})
    assert desk.await_review(1)["messages"]["missing"] > 100
    desk.take(late)
    again = desk.await_review(1)
    assert again["messages"]["missing"] == 0
    assert again["messages"]["read"] == len(samples)


def test_a_job_over_nothing_recorded_is_refused(busy_desk) -> None:
    span = {"start": ["ffffffff", 1.0], "end": ["ffffffff", 2.0]}
    check_problem(busy_desk.ask("POST", "/api/jobs", {"name": "a", **span}), 422, "ffffffff")
    span = {"start": ["0000000000000001", 1e6], "end": ["0000000000000001", 2e6]}
    check_problem(busy_desk.ask("POST", "/api/jobs", {"name": "a", **span}), 422, "no sample")


def test_the_time_of_day_names_the_same_sample_as_the_device_clock(busy_desk, messages) -> None:
    fix = next(json.loads(m.payload) for m in messages[400:] if m.topic.endswith("/position"))
    utc = fix["utc"]
    body = {"name": "By the clock", "start": {"utc": utc}, "end": {"utc": utc + 10.0}}
    job = busy_desk.ask("POST", "/api/jobs", body).json()
    assert job["start"][1] == pytest.approx(fix["mono"], abs=0.2)
    assert job["end"][1] - job["start"][1] == pytest.approx(10.0, abs=0.002)


def test_spraying_that_no_job_covers_is_proposed(desk, messages) -> None:
    desk.take([m for m in messages if not m.topic.endswith("/event")])
    (found,) = desk.ask("GET", "/api/jobs/proposals").json()
    assert found["rig"] == "rig-1"
    assert found["volume_l"] == pytest.approx(0.5156, abs=0.01)
    body = {"name": "Proposed", "start": found["start"], "end": found["end"]}
    assert desk.ask("POST", "/api/jobs", body).status_code == 201
    assert desk.ask("GET", "/api/jobs/proposals").json() == []


def test_an_order_from_a_page_of_somebody_else_is_refused(desk) -> None:
    foreign = {"headers": {"origin": "http://elsewhere.example"}}
    check_problem(desk.ask("POST", "/api/jobs", {"name": "a"}, **foreign), 403, "own pages")
    own = {"headers": {"origin": "http://127.0.0.1:8460"}}
    assert desk.ask("POST", "/api/jobs", {"name": "a"}, **own).status_code == 201
    assert desk.ask("GET", "/api/jobs", **foreign).status_code == 200


def test_pages_are_not_kept_by_browsers_unasked_and_load_nothing_from_outside(desk) -> None:
    for path in ("/", "/main.js", "/api/live"):
        answer = desk.ask("GET", path)
        assert answer.status_code == 200
        assert answer.headers["cache-control"] == "no-cache"
        assert "default-src 'self'" in answer.headers["content-security-policy"]
    page = desk.ask("GET", "/main.js")
    unchanged = desk.ask("GET", "/main.js", headers={"if-none-match": page.headers["etag"]})
    assert unchanged.status_code == 304


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=8,
)
KEYS = st.sampled_from(["name", "start", "end", "rig", "setup", "kind", "detail", "passcode", "sprayer", "zone", "job"])
ORDERS = st.sampled_from(
    [("POST", "/api/jobs"), ("PATCH", "/api/jobs/1"), ("POST", "/api/jobs/1/buttons"), ("PUT", "/api/setup"),
     ("POST", "/api/passcode")]
)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=ORDERS, body=JSON | st.dictionaries(KEYS, JSON, max_size=4))
def test_whatever_is_sent_the_answer_is_an_answer(busy_desk, order, body) -> None:
    answer = busy_desk.ask(*order, body)
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        check_problem(answer, answer.status_code, key=answer.json().get("key"))
    assert busy_desk.service.ingest.call(lambda writer: 7).result(5) == 7


def test_the_api_describes_itself(desk) -> None:
    paths = desk.ask("GET", "/api/openapi.json").json()["paths"]
    assert {"/api/live", "/api/jobs", "/api/jobs/{number}/review", "/api/setup", "/api/history"} <= set(paths)


def test_buttons_pressed_on_the_rig_in_one_breath_count_in_their_order(desk) -> None:
    """The first is still being written when the next comes."""
    boot = "00000000000000aa"
    fix = wire.Position(boot, 0, 10.0, "fixed", 1_750_000_000.0, 52.0, 0.0, None, 0.0, 0.0, 9, 0.8, None, None)
    presses = [
        wire.Event(boot, k, 10.1 + 0.1 * k, "button", {"name": name}) for k, name in enumerate(("start", "finish"))
    ]
    sent = [("position", fix), *(("event", press) for press in presses)]
    desk.take([Received(wire.topic_of("yard", s), 1_750_000_000.0 + m.mono, wire.encode(m)) for s, m in sent])
    assert [job["state"] for job in desk.ask("GET", "/api/jobs").json()] == ["finished"]


def test_a_number_too_large_for_the_store_is_not_there_and_the_service_goes_on(desk):
    huge = 2**70
    for method, path, body in (
        ("GET", f"/api/jobs/{huge}/tank", None), ("GET", f"/api/jobs/{huge}/papers", None),
        ("DELETE", f"/api/jobs/{huge}", None), ("PATCH", f"/api/jobs/{huge}/record", {"typed": {}}),
        ("DELETE", f"/api/tank/fills/{huge}", None), ("PUT", f"/api/jobs/{huge}/papers", {}),
    ):  # fmt: skip
        assert desk.ask(method, path, body).status_code == 404, (method, path)
    assert desk.ask("POST", "/api/people", {"name": "A. Grower"}).status_code == 201


def test_half_a_character_is_refused_and_nothing_of_it_is_kept(desk):
    job = desk.ask("POST", "/api/jobs", {"name": "Front"}).json()["id"]
    for method, path, body in (
        ("POST", "/api/people", b'{"name": "\\ud800"}'),
        ("PATCH", f"/api/jobs/{job}/record", b'{"typed": {"notes": "\\ud800"}}'),
        ("POST", "/api/works", b'{"day": "2027-05-01", "kind": "note", "note": "\\ud800"}'),
    ):
        refused = desk.ask(method, path, content=body, headers={"content-type": "application/json"})
        check_problem(refused, 422, "half a character")
    assert desk.ask("GET", "/api/people").json() == []
    assert desk.ask("GET", "/api/works").json() == []
    assert desk.ask("GET", f"/api/jobs/{job}/record").status_code == 200
