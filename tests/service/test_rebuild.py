"""The running job's picture after a restart: the same as if nothing had been, and nobody waits for it."""

import asyncio
import json
import threading

import pytest

from server import stored as module
from server.rawlog import Received

BOOT = "0000000000000001"


def samples_of(messages: list[Received]) -> list[Received]:
    """The job's messages without the rig's own buttons."""
    return [m for m in messages if not m.topic.endswith("/event")]


def begin(desk, name: str = "Lawn") -> int:
    """A job over all that was recorded, still open."""
    answer = desk.ask("POST", "/api/jobs", {"name": name, "start": [BOOT, 0.0]})
    assert answer.status_code == 201, answer.text
    return int(answer.json()["id"])


def await_rebuilt(desk) -> None:
    """Wait until the store has been read."""
    for _ in range(2000):
        if not desk.service.is_reading:
            return
        desk.portal.call(asyncio.sleep, 0.01)
    raise AssertionError("the store is read without end")


def figures(desk) -> dict:
    """What the dashboard shows of the job."""
    found = desk.ask("GET", "/api/live").json()
    names = ("volume_l", "covered_area_m2", "area_left_m2", "tank_left_l", "passes_done", "job", "position")
    return {name: found[name] for name in names} | {"missing": found["messages"]["missing"]}


def test_a_restart_in_the_midst_of_a_job_changes_nothing(open_desk, messages) -> None:
    samples = samples_of(messages)
    half, rest = samples[: len(samples) // 2], samples[len(samples) // 2 :]
    desk = open_desk()
    desk.take(half[:1])
    number = begin(desk)
    await_rebuilt(desk)
    desk.take(half[1:])
    before = figures(desk)
    assert before["volume_l"] > 0.1
    desk.portal.call(desk.service.stop)

    again = open_desk()
    await_rebuilt(again)
    assert figures(again) == before
    again.take(rest)
    after = figures(again)
    again.ask("POST", f"/api/jobs/{number}/buttons", {"kind": "finish"})
    review = again.await_review(number)
    assert after["volume_l"] == pytest.approx(review["volume_l"], abs=1e-3)
    assert after["passes_done"] == review["passes"] == 1
    again.portal.call(again.service.stop)


def test_a_job_declared_from_earlier_on_shows_what_was_recorded_before(desk, messages) -> None:
    desk.take(samples_of(messages))
    assert figures(desk)["volume_l"] == pytest.approx(0.5156, abs=0.01)
    begin(desk)
    await_rebuilt(desk)
    assert figures(desk)["volume_l"] == pytest.approx(0.5156, abs=0.01)


def test_finish_pressed_right_after_a_restart_waits_for_the_store_and_cuts_nothing_off(
    open_desk, messages, monkeypatch
) -> None:
    samples = samples_of(messages)
    desk = open_desk()
    desk.take(samples[:900])
    number = begin(desk)
    await_rebuilt(desk)
    desk.portal.call(desk.service.stop)
    read, gate = module._read_chunk, threading.Event()
    monkeypatch.setattr(module, "_read_chunk", lambda stored: (gate.wait(20), read(stored))[1])

    again = open_desk()
    opening = threading.Timer(0.2, gate.set)
    opening.start()
    answer = again.ask("POST", f"/api/jobs/{number}/buttons", {"kind": "finish"})
    assert answer.status_code == 200, answer.text
    assert answer.json()["state"] == "finished"
    assert again.await_review(number)["messages"]["read"] == 901
    again.portal.call(again.service.stop)


def test_a_part_of_the_service_that_fails_is_not_silent(open_desk, messages, monkeypatch, caplog) -> None:
    desk = open_desk()
    desk.take(samples_of(messages)[:50])
    begin(desk)
    await_rebuilt(desk)
    desk.portal.call(desk.service.stop)
    monkeypatch.setattr(module, "_read_chunk", lambda stored: 1 / 0)
    again = open_desk()
    for _ in range(500):
        if "has failed" in caplog.text:
            break
        again.portal.call(asyncio.sleep, 0.01)
    assert "a part of the service has failed" in caplog.text
    again.portal.call(again.service.stop)


def test_what_happens_while_the_store_is_read_is_shown_at_once_and_kept(open_desk, messages, monkeypatch) -> None:
    samples = samples_of(messages)
    desk = open_desk()
    desk.take(samples[:900])
    begin(desk)
    await_rebuilt(desk)
    desk.portal.call(desk.service.stop)
    read, gate = module._read_chunk, threading.Event()
    monkeypatch.setattr(module, "_read_chunk", lambda stored: (gate.wait(20), read(stored))[1])

    again = open_desk()
    assert any("still being read" in fault for fault in again.ask("GET", "/api/live").json()["faults"])
    again.take(samples[900:1000])
    assert again.ask("GET", "/api/live").json()["rig"]["age_s"] is not None
    mono = json.loads(samples[999].payload)["mono"]
    assert again.portal.call(again.service.live.device_clock)[2] == pytest.approx(mono, abs=30.0)
    assert again.ask("POST", "/api/jobs/1/buttons", {"kind": "refill"}).status_code in (200, 201)
    gate.set()
    await_rebuilt(again)
    found = again.ask("GET", "/api/live").json()
    assert found["faults"] == [] or "still being read" not in found["faults"][0]
    assert found["tank_left_l"] == found["tank_l"]
    assert found["volume_l"] > 0.0
    assert found["messages"]["missing"] == 0
    again.portal.call(again.service.stop)


def test_a_message_that_cannot_be_shown_keeps_no_other_from_the_picture(open_desk, messages, monkeypatch) -> None:
    desk, sent = open_desk(), samples_of(messages)[:90]
    take, tried = desk.service.live.take, []

    def fail_once(fresh, **more):
        tried.append(fresh)
        if len(tried) == 1:
            raise RuntimeError("the first one")
        return take(fresh, **more)

    monkeypatch.setattr(desk.service.live, "take", fail_once)

    def put_all() -> None:
        """On the loop's own thread, so that all have come before the first is taken."""
        for message in sent:
            desk.service.ingest.take(message.topic, message.payload)

    desk.portal.call(put_all)
    for _ in range(500):
        if len(tried) == len(sent):
            break
        desk.portal.call(asyncio.sleep, 0.01)
    assert len(tried) == len(sent)
    assert desk.ask("GET", "/api/live").json()["rig"]["name"] == "rig-1"
    desk.portal.call(desk.service.stop)
