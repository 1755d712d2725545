"""A walk through the real pages on the real service: live, then the review; contrast, sizes, no errors."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from programs import Http, Program, run_command, wait_for
from screens import MEASURE, SIZES


@pytest.fixture
def job(broker, free_port: int, tmp_path: Path):
    """The demo's job on the real service, at 12 times its pace."""
    scenario = tmp_path / "scenario"
    assert run_command("firmware_sim", "log", "demo", "--out", str(scenario), "--rig", "rig-1").returncode == 0
    address = f"127.0.0.1:{broker.port}"
    service = Program(
        tmp_path / "service.log", "server", "serve", "--setup", str(scenario / "setup.toml"), "--database",
        str(tmp_path / "db.sqlite3"), "--broker", address, "--port", str(free_port),
    )  # fmt: skip
    rig = Program(
        tmp_path / "rig.log", "firmware_sim", "rig", "demo", "--broker", address, "--rig", "rig-1", "--spool",
        str(tmp_path / "spool.sqlite3"), "--pace", "12",
    )  # fmt: skip
    service.start()
    http = Http(free_port)
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    rig.start()
    yield http
    rig.kill()
    service.kill()


def open_page(browser: Browser, http: Http, size: str, scheme: str, words: list[str]) -> Page:
    """A page of a size and a colour scheme, its complaints gathered."""
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    page.on("console", lambda message: words.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: words.append(str(error)))
    page.goto(f"{http.base}/#lawn")
    return page


def test_walk_from_live_to_review(browser: Browser, job: Http) -> None:
    complaints: list[str] = []
    pages = {
        (size, scheme): open_page(browser, job, size, scheme, complaints)
        for size in SIZES
        for scheme in ("light", "dark")
    }
    phone = pages["phone", "light"]
    phone.get_by_text("running").first.wait_for(timeout=30_000)
    phone.wait_for_function("document.body.innerText.includes('L/100 m²')", timeout=30_000)
    phone.wait_for_function("/\\d+\\.\\d ± \\d/.test(document.body.innerText)", timeout=60_000)
    phone.get_by_text("a strip seems missed", exact=False).first.wait_for(timeout=60_000)
    phone.get_by_text("STOP SPRAYING", exact=True).wait_for(timeout=90_000)
    for name, page in pages.items():
        found = page.evaluate(MEASURE)
        assert found == {"faint": [], "small": [], "wide": 0}, name
    wait_for(lambda: any(j["state"] == "finished" for j in job.ask("/api/jobs") or []), "the job is finished", 90)
    wait_for(lambda: (job.ask("/api/jobs/1/review") or {}).get("state") == "ready", "the review is ready")
    lawn, dose = job.ask("/api/lawn?job=1"), job.ask("/api/jobs/1/dose")
    corners = [point for zone in lawn["zones"] for ring in zone["rings_m"] for point in ring]
    for axis, (low, count) in enumerate((("x0_m", "nx"), ("y0_m", "ny"))):
        inside = [dose[low] < point[axis] < dose[low] + dose[count] * dose["cell_m"] for point in corners]
        assert all(inside), "the lawn lies where the dose does"
    for name, page in pages.items():
        page.goto(f"{job.base}/#got/1")
        page.get_by_text("missed", exact=False).first.wait_for(timeout=30_000)
        page.wait_for_function("document.querySelectorAll('table tr').length > 8", timeout=30_000)
        page.get_by_text("By what is known now the 60-s mean was above the limit once", exact=False).wait_for()
        found = page.evaluate(MEASURE)
        assert found == {"faint": [], "small": [], "wide": 0}, name
        page.goto(f"{job.base}/#start")
        page.get_by_text("Start now?", exact=True).last.wait_for(timeout=30_000)
        page.get_by_label("Must stay calm for").select_option("20")
        page.get_by_text("20 minutes, as you chose.", exact=False).first.wait_for(timeout=30_000)
        found = page.evaluate(MEASURE)
        assert found == {"faint": [], "small": [], "wide": 0}, name
        page.goto(f"{job.base}/#gear")
        page.get_by_label("Width of a pass", exact=False).first.wait_for(timeout=30_000)
        found = page.evaluate(MEASURE)
        assert found == {"faint": [], "small": [], "wide": 0}, name
        page.get_by_role("link", name="Calibrate the cup").click()
        page.get_by_text("not calibrated, so ± 3 %", exact=False).wait_for(timeout=30_000)
        found = page.evaluate(MEASURE)
        assert found == {"faint": [], "small": [], "wide": 0}, name
    assert complaints == []
