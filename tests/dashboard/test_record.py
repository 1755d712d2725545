"""The record in a browser on the real service: what is missing is typed, it is signed, and amended."""

from contextlib import closing
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from programs import Http, Program, run_command, wait_for
from screens import MEASURE, SIZES

from rig import wire
from server.rawlog import read_raw_log
from server.store.connection import open_writer
from server.store.messages import Arrival, MessageWriter

CLEAN = {"faint": [], "small": [], "wide": 0}


@pytest.fixture
def service(broker, free_port: int, tmp_path: Path):
    """The real service over a stored pass, its job finished and reviewed."""
    scenario, database = tmp_path / "scenario", tmp_path / "db.sqlite3"
    assert run_command("firmware_sim", "log", "straight", "--out", str(scenario), "--rig", "rig-1").returncode == 0
    arrivals = []
    for found in read_raw_log(scenario / "log.ndjson.gz"):
        rig, stream = wire.split_topic(found.topic)
        if stream in wire.DATA_STREAMS:
            message = wire.decode(stream, found.payload)
            arrivals.append(Arrival(found.topic, found.received_utc, found.payload, rig, stream, message))
    with closing(open_writer(database)) as connection:
        MessageWriter(connection).write(arrivals)
    program = Program(
        tmp_path / "service.log", "server", "serve", "--setup", str(scenario / "setup.toml"), "--database",
        str(database), "--broker", f"127.0.0.1:{broker.port}", "--port", str(free_port),
    )  # fmt: skip
    program.start()
    http = Http(free_port)
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    monos = [arrival.message.mono for arrival in arrivals]
    body = {
        "name": "Front lawn",
        "start": [arrivals[0].message.boot, 0.0],
        "end": [arrivals[0].message.boot, max(monos)],
    }
    number = http.ask("/api/jobs", "POST", body)["id"]
    wait_for(lambda: (http.ask(f"/api/jobs/{number}/review") or {}).get("state") == "ready", "the review is ready")
    yield http, number
    program.kill()


def open_page(browser: Browser, http: Http, size: str, scheme: str, words: list[str]) -> Page:
    """The list of records, complaints gathered."""
    width, height = SIZES[size]
    page = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme).new_page()
    page.on("console", lambda message: words.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: words.append(str(error)))
    page.goto(f"{http.base}/#record")
    return page


def look(browser: Browser, http: Http, address: str, words: str) -> None:
    """See that a page is readable on both screens by day and by night."""
    complaints: list[str] = []
    for size in SIZES:
        for scheme in ("light", "dark"):
            page = open_page(browser, http, size, scheme, complaints)
            page.goto(f"{http.base}/{address}")
            page.get_by_text(words, exact=False).first.wait_for()
            assert page.evaluate(MEASURE) == CLEAN, (address, size, scheme)
            page.context.close()
    assert complaints == []


def test_a_record_is_completed_signed_and_amended_on_the_page(browser: Browser, service) -> None:
    http, number = service
    complaints: list[str] = []
    page = open_page(browser, http, "phone", "light", complaints)
    page.get_by_role("link", name="Front lawn").click()
    page.get_by_text("What is missing, and what else happened?").wait_for()
    page.get_by_label("Applied by", exact=True).fill("A. Grower")
    page.get_by_label("Total amount, undiluted", exact=True).fill("12 cups of it")
    page.get_by_role("button", name="Keep what was typed").click()
    page.get_by_text("write number and unit, as", exact=False).wait_for()
    assert http.ask(f"/api/jobs/{number}/record")["zone"] == ""
    page.get_by_label("Total amount, undiluted", exact=True).fill("12 fl oz")
    page.get_by_role("button", name="Keep what was typed").click()
    page.get_by_text("Kept.", exact=True).wait_for()
    look(browser, http, f"#record/{number}", "What is missing, and what else happened?")
    page.get_by_role("button", name="Sign the record").click()
    dialog = page.get_by_role("dialog")
    assert "never changed" in dialog.inner_text()
    dialog.get_by_role("button", name="Not yet").click()
    assert http.ask(f"/api/jobs/{number}/record")["signature"] is None
    page.get_by_role("button", name="Sign the record").click()
    dialog.get_by_role("button", name="Sign as A. Grower").click()
    page.get_by_text("Signed.", exact=True).wait_for()
    assert page.get_by_role("button", name="Keep what was typed").count() == 0
    page.get_by_label("What is to be changed").select_option("product.1.amount")
    page.get_by_label("Total amount, undiluted", exact=True).fill("14 fl oz")
    page.get_by_label("Why", exact=True).fill("read the cup again")
    page.get_by_label("Who changes it", exact=True).fill("A. Grower")
    page.get_by_role("button", name="Add the amendment").click()
    page.get_by_text("changed by A. Grower", exact=False).wait_for()
    record = http.ask(f"/api/jobs/{number}/record")
    amount = next(item for item in record["items"] if item["key"] == "product.1.amount")
    assert (amount["value"], amount["amended"][0]["before"]) == (14.0, 12.0)
    assert page.evaluate(MEASURE) == CLEAN
    look(browser, http, f"#record/{number}", "Who signed?")
    look(browser, http, "#record", "signed by A. Grower, one amendment")
    # The one complaint is the browser's own, of the amount that was refused.
    assert all("422" in word for word in complaints), complaints
