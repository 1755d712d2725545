"""Links that break during a job: the page says how old it is, and lacks nothing afterwards."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from programs import Http, Program, run_command, start_service, wait_for
from weaklink import KEEP_STORE, LOOK, Walker, WeakLink, find_holes, watch_age

from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS

PACE = 8.0
RIG = "rig-1"


class Yard:
    """A service, a rig at work, a weak link, and a page behind it."""

    def __init__(self, service: Program, walker: Walker, link: WeakLink, http: Http, page: Page) -> None:
        self.service, self.walker, self.link, self.http, self.page = service, walker, link, http, page

    def wait_until(self, claim: str, within_ms: int = 20_000) -> None:
        """Wait for the page."""
        self.page.wait_for_function(f"() => {claim}", timeout=within_ms)


@pytest.fixture
def yard(broker, free_port: int, tmp_path: Path, browser: Browser) -> Iterator[Yard]:
    scenario = tmp_path / "scenario"
    assert run_command("firmware_sim", "log", "demo", "--out", str(scenario), "--rig", RIG).returncode == 0
    service, http = start_service(tmp_path, setup=scenario / "setup.toml", broker_port=broker.port, port=free_port)
    link, walker = WeakLink(free_port), Walker(build_world(SCENARIOS["demo"], 1), broker.port, rig=RIG, pace=PACE)
    walker.start()
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.add_init_script(KEEP_STORE)
    page.goto(f"http://127.0.0.1:{link.port}/#lawn")
    page.wait_for_function("() => window.known?.snapshot?.passes_done > 0", timeout=60_000)
    yield Yard(service, walker, link, http, page)
    walker.stop()
    link.close()
    service.kill()


IS_OLD = "document.querySelector('.age').classList.contains('old') && document.body.hasAttribute('data-old')"
IS_NEW = "!document.querySelector('.age').classList.contains('old') && !document.body.hasAttribute('data-old')"


def sleep_through_a_restart(yard: Yard) -> list[str]:
    """The phone sleeps, the service starts anew, the phone wakes: what it then told as current and was not."""
    wire = yard.page.context.new_cdp_session(yard.page)
    wire.send("Page.setWebLifecycleState", {"state": "frozen"})
    yard.service.kill()
    before = yard.walker.told_utc
    yard.service.start()
    wait_for(lambda: yard.http.ask("/api/health"), "the service answers again")
    wait_for(lambda: yard.walker.told_utc - before > 4.5 * PACE, "the rig has worked on")
    wire.send("Page.setWebLifecycleState", {"state": "active"})
    return watch_age(yard.page, yard.walker, 1.0)


def test_after_silence_a_dead_stream_refusal_and_sleep_nothing_is_missing_and_nothing_old_was_told_as_current(
    yard: Yard,
) -> None:
    yard.link.silence()
    faults = watch_age(yard.page, yard.walker, 1.0)
    yard.link.mend()
    faults += watch_age(yard.page, yard.walker, 0.6)
    assert yard.page.evaluate(LOOK)["isConnected"]
    yard.link.silence()
    faults += watch_age(yard.page, yard.walker, 8.0)
    assert "old" in yard.page.evaluate(LOOK)["text"]
    points = yard.page.evaluate("() => window.known.track.east_m.length")
    yard.link.forget()
    yard.wait_until(f"window.known.track.east_m.length > {points}")
    yard.wait_until(IS_NEW)
    yard.link.refuse()
    yard.wait_until(IS_OLD)
    assert "looking for the service" in yard.page.evaluate(LOOK)["text"]
    faults += watch_age(yard.page, yard.walker, 6.0)
    yard.link.mend()
    yard.wait_until(IS_NEW)
    faults += sleep_through_a_restart(yard)
    walked_utc = yard.walker.told_utc
    yard.wait_until(IS_NEW)
    wait_for(lambda: yard.walker.told_utc > walked_utc, "the rig still walks, or nothing could have been old")
    yard.walker.stop()
    assert faults == []
    assert find_holes(yard.page, yard.http.base) == []
