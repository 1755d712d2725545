"""The passcode: without it nothing but the health is told; a browser that gave it stays admitted."""

import anyio
import pytest

from server.api import passcode as module
from server.api.passcode import COOKIE, Gate

WORD = "grün & nass"


@pytest.fixture
def guarded(open_desk, monkeypatch):
    monkeypatch.setattr(module, "FAILURE_DELAY_S", 0.001)
    return open_desk(WORD)


@pytest.mark.parametrize("path", ["/api/live", "/api/live/stream", "/api/jobs", "/api/setup", "/api/quarantine"])
def test_nothing_is_told_without_the_passcode(guarded, path) -> None:
    answer = guarded.ask("GET", path)
    assert answer.status_code == 401
    assert answer.json()["detail"] == "a passcode is needed"


def test_health_and_the_pages_are_open(guarded) -> None:
    assert guarded.ask("GET", "/api/health").status_code == 200
    assert guarded.ask("GET", "/").status_code == 200


def test_the_right_passcode_admits_and_a_wrong_one_does_not(guarded) -> None:
    assert guarded.ask("POST", "/api/passcode", {"passcode": "guess"}).status_code == 401
    assert guarded.ask("GET", "/api/live").status_code == 401
    answer = guarded.ask("POST", "/api/passcode", {"passcode": WORD})
    assert answer.status_code == 204
    assert "HttpOnly" in answer.headers["set-cookie"]
    assert "SameSite=strict" in answer.headers["set-cookie"]
    assert guarded.ask("GET", "/api/live").status_code == 200


@pytest.mark.parametrize("cookie", [b"guess", b"\xe4", b""])
def test_a_forged_cookie_does_not_admit(guarded, cookie) -> None:
    assert guarded.ask("GET", "/api/live", headers={"cookie": COOKIE.encode() + b"=" + cookie}).status_code == 401


def test_the_cookie_outlives_a_restart_but_not_another_passcode() -> None:
    assert Gate(WORD).token == Gate(WORD).token
    assert Gate(WORD).token != Gate(WORD + ".").token
    assert WORD not in Gate(WORD).token


def test_failures_slow_the_next_answers_and_are_forgotten_after_a_minute() -> None:
    clock = [1000.0]
    gate = Gate(WORD, now=lambda: clock[0])
    assert gate._delay() == 0.0
    gate._failures, gate._failed_at = 1, clock[0]
    first = gate._delay()
    gate._failures = 4
    assert gate._delay() == 8.0 * first
    gate._failures = 40
    assert gate._delay() == module.LONGEST_DELAY_S
    clock[0] += module.FORGET_S + 1.0
    assert gate._delay() == 0.0


def test_many_guesses_at_once_are_turned_away(guarded) -> None:
    async def rush() -> list[int]:
        found: list[int] = []

        async def guess() -> None:
            found.append((await guarded.client.post("/api/passcode", json={"passcode": "guess"})).status_code)

        async with anyio.create_task_group() as group:
            for _ in range(30):
                group.start_soon(guess)
        return found

    codes = guarded.portal.call(rush)
    assert set(codes) == {401, 429}
    assert codes.count(401) < 15
