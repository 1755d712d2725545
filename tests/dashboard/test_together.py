"""Two phones and a laptop at one job: they see the same, and of buttons pressed at once there is one outcome."""

import gzip
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page
from programs import Http, run_command, start_service, wait_for
from weaklink import KEEP_STORE, Walker

from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS

RIG = "rig-1"
LEAD_MS = 800
AT_ONCE = """([at_ms, selector]) => new Promise((done) => setTimeout(() => {
  const button = document.querySelector(selector);
  button.click();
  button.click();
  done(Date.now());
}, at_ms - Date.now()))"""
BEGIN = "(words) => { window.begun = (" + AT_ONCE + ")(words); return true; }"
CALL = """([at_ms, path, method, body]) => { window.begun = new Promise((done) => setTimeout(async () => {
  const headers = {'Content-Type': 'application/json'};
  const answer = await fetch(path, {method, body: body && JSON.stringify(body), headers});
  done({status: answer.status, text: await answer.text()});
}, at_ms - Date.now())); return true; }"""
SAID = "() => document.querySelector('.buttons .said').textContent"
ANSWERED = """(before) => {
  const now = document.querySelector('.buttons .said').textContent;
  return now !== before && !/^$|Press again/.test(now);
}"""
FIGURES = """() => ['.ledger', '.strips', '.job', '.faults', '.alarm-words'].map((part) =>
  document.querySelector(part)?.textContent ?? '')"""
GLOVE, FINISH = ".buttons .glove", ".buttons .finish"


@pytest.fixture
def http(broker, free_port: int, tmp_path: Path) -> Iterator[Http]:
    """A service with a rig that has worked for a while and now stands still, its link open."""
    scenario = tmp_path / "scenario"
    assert run_command("firmware_sim", "log", "demo", "--out", str(scenario), "--rig", RIG).returncode == 0
    service, http = start_service(tmp_path, setup=scenario / "setup.toml", broker_port=broker.port, port=free_port)
    walker = Walker(build_world(SCENARIOS["demo"], 1), broker.port, rig=RIG, pace=12.0)
    walker.start()
    wait_for(lambda: http.ask("/api/live")["passes_done"] >= 2, "two passes are done")
    walker.stop()
    wait_for(lambda: http.ask("/api/live")["strips"] is not None, "the strips are judged")
    yield http
    service.kill()


def open_pages(browser: Browser, http: Http) -> list[Page]:
    """Two phones and a laptop on the lawn."""
    pages = []
    for width, height in ((390, 844), (390, 844), (1440, 900)):
        page = browser.new_context(viewport={"width": width, "height": height}).new_page()
        page.add_init_script(KEEP_STORE)
        page.goto(f"{http.base}/#lawn")
        page.wait_for_function("() => window.known?.snapshot?.rig.name && window.known.strips !== null")
        pages.append(page)
    return pages


def press_at_once(pages: list[Page], selectors: tuple[str, ...]) -> list[str]:
    """Press a button on each page at the same instant; what each page says afterwards."""
    before = [page.evaluate(SAID) for page in pages]
    at_ms = 1000.0 * time.time() + LEAD_MS
    for page, selector in zip(pages, selectors, strict=True):
        page.evaluate(BEGIN, [at_ms, selector])
    instants = [page.evaluate("() => window.begun") for page in pages]
    assert max(instants) - min(instants) < 500.0, "pressed at once"
    for page, words in zip(pages, before, strict=True):
        page.wait_for_function(ANSWERED, arg=words)
    return [page.evaluate(SAID) for page in pages]


def call_at_once(pages: list[Page], calls: list[tuple[str, str, Any]]) -> list[dict[str, Any]]:
    """Ask the service from each page at the same instant."""
    at_ms = 1000.0 * time.time() + LEAD_MS
    for page, (method, path, body) in zip(pages, calls, strict=True):
        page.evaluate(CALL, [at_ms, path, method, body])
    return [page.evaluate("() => window.begun") for page in pages]


def see_same(pages: list[Page]) -> list[str]:
    """The figures and verdicts, the same on every page."""
    seen: list[list[str]] = []

    def is_same() -> bool:
        seen[:] = [page.evaluate(FIGURES) for page in pages]
        return all(each == seen[0] for each in seen)

    wait_for(is_same, "the pages say the same", 5.0)
    return seen[0]


def test_three_pages_see_the_same_and_buttons_pressed_at_once_have_one_outcome(browser: Browser, http: Http) -> None:
    pages = open_pages(browser, http)
    phone, other, laptop = pages
    ledger, strips, job, *_ = see_same(pages)
    assert "L" in ledger
    assert "Strip 2" in strips
    assert "running" in job
    # The same button twice: one of them did it, the other one is told so.
    said = press_at_once([phone, other], (GLOVE, GLOVE))
    assert sorted(words.split(".")[0] for words in said) == ["Already paused", "Paused"], said
    assert "Paused on another page or on the rig" in laptop.evaluate(SAID)
    assert "paused" in see_same(pages)[2]
    assert http.ask("/api/jobs")[0]["state"] == "paused"
    # Opposite ones: finishing is for good, whichever came first.
    press_at_once([phone, laptop], (GLOVE, FINISH))  # where going on came first, each page says so before the end
    wait_for(lambda: laptop.evaluate(SAID).startswith("Job finished"), "who finished is told so", 5.0)
    ends = ("Job 1 is already finished", "Finished on another page")
    wait_for(lambda: phone.evaluate(SAID).startswith(ends), "who went on is told of the end", 5.0)
    wait_for(lambda: other.evaluate(SAID).startswith("Finished on another page"), "the third one too", 5.0)
    assert http.ask("/api/jobs")[0]["state"] == "finished"
    wait_for(lambda: all("No job" in words for words in [page.evaluate(FIGURES)[2] for page in pages]), "all see it")
    # Two starts make one job.
    said = press_at_once([phone, other], (GLOVE, GLOVE))
    assert sorted(words[:11] for words in said) == ["Job 2 is st", "Job started"], said
    assert [each["state"] for each in http.ask("/api/jobs")] == ["running", "finished"]
    http.ask("/api/jobs/2/buttons", "POST", {"kind": "finish"})
    # A start and its forgetting: the job runs and is not forgotten, or it is gone and does not start.
    number = http.ask("/api/jobs", "POST", {"name": "planned"})["id"]
    path = f"/api/jobs/{number}"
    start, forget = call_at_once(
        [phone, other], [("POST", f"{path}/buttons", {"kind": "start"}), ("DELETE", path, None)]
    )
    assert (start["status"], forget["status"]) in ((200, 409), (404, 204))
    assert "finish it first" in forget["text"] if start["status"] == 200 else "there is no job" in start["text"]
    assert (http.ask("/api/live")["job"] is not None) == (start["status"] == 200)
    log = http.file("/api/jobs/1/files/log.ndjson.gz")
    check_course(log)


def check_course(log: bytes) -> None:
    """The first job's raw log tells one course: begun on the rig, paused, perhaps gone on, finished."""
    lines = [json.loads(line) for line in gzip.decompress(log).splitlines()]
    kinds = [line["payload"]["kind"] for line in lines if line["topic"].endswith("/operator")]
    assert kinds in (["pause", "finish"], ["pause", "start", "finish"])
    monos = [line["payload"]["mono"] for line in lines if line["topic"].endswith("/operator")]
    assert monos == sorted(monos)
