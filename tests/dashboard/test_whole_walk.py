"""The whole way by presses, at three sizes: start, the lawn, the alarm, finish, what it got, the record, its files.

At each size four pages follow one job, by day and by night, in metric and in US customary units; each press is another
page's. The factors are those of NIST SP 811 (2008), appendix B: 0.3048 m a foot, 3.785411784 L a US gallon, 0.44704 m/s
a mile per hour.
"""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page
from programs import Http, start_service, wait_for
from sheets import count_pages, read_text
from strolls import CHOOSE, COUNT_REQUESTS, SCREENS, UNITS, judge, settle
from weaklink import Walker

from firmware_sim.build import World, build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from firmware_sim.world.wind import Change, WindPlan

RIG, LONG_MS = "rig-1", 30_000
GUST = Change(100.0, 9.0, 10.0, from_deg=255.0)
FOOT_M, GALLON_L = 0.3048, 3.785411784
METRIC = {
    "ft": ("m", FOOT_M), "ft²": ("m²", FOOT_M**2), "gal": ("L", GALLON_L), "gal/min": ("L/min", GALLON_L),
    "mph": ("m/s", 0.44704), "gal/1000 ft²": ("L/100 m²", GALLON_L / (10.0 * FOOT_M**2)),
}  # fmt: skip
SAYS_UNIT = "|".join(sorted((re.escape(u) for pair in METRIC.items() for u in (pair[0], pair[1][0])), key=len)[::-1])
FIGURE = re.compile(rf"(?<![\w.,:/])(\d[\d,]*(?:\.\d+)?)\s({SAYS_UNIT})(?![\w/²])")
RUNS = "document.querySelector('.lawn-page:not(.idle)') !== null"
RESTS = "document.querySelector('.lawn-page.idle') !== null"
COVERED = "document.querySelector('.alarm')?.classList.contains('whole') === true"
SEEN = "document.querySelector('main').innerText"


def make_world() -> World:
    """The demo's lawn with the wind rising early; the buttons of the job are left to the pages."""
    wind = WindPlan(2.2, 235.0, 0.2, slow_sd=0.05, changes=(GUST,))
    world = build_world(replace(SCENARIOS["demo"], wind=wind), 1)
    presses = tuple(press for press in world.feed.presses if press.name not in {"start", "finish"})
    return replace(world, feed=replace(world.feed, presses=presses))


@pytest.fixture
def lawn(broker, free_port: int, tmp_path: Path) -> Iterator[tuple[Http, Walker]]:
    """A service that waits for a rig, and the rig."""
    world = make_world()
    save_setup(world.scenario, world.receiver.latency_s, tmp_path)
    service, http = start_service(tmp_path, setup=tmp_path / "setup.toml", broker_port=broker.port, port=free_port)
    walker = Walker(world, broker.port, rig=RIG, pace=10.0)
    yield http, walker
    walker.stop()
    service.kill()


def open_pages(browser: Browser, http: Http, size: str, complaints: list[str]) -> list[Page]:
    """Metric by day, US by day, metric by night, US by night; the units chosen at the page's foot."""
    pages, (width, height) = [], SCREENS[size]
    for scheme, units in product(("light", "dark"), UNITS):
        context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
        page = context.new_page()
        page.set_default_timeout(LONG_MS)
        page.add_init_script(COUNT_REQUESTS)
        page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(http.base)
        page.get_by_role("heading", name="Start now?", level=1).wait_for()
        page.evaluate(CHOOSE, {"units": units})
        pages.append(page)
    return pages


def hold(page: Page, bar: Locator, until: str) -> None:
    """Hold a bar, as a thumb does, until what it is for has come about."""
    bar.scroll_into_view_if_needed()
    bar.hover()
    page.mouse.down()
    page.wait_for_function(f"() => {until}")
    page.mouse.up()


def see_stop(page: Page) -> None:
    """Hold Seen until the stop that covers the page is a line above it."""
    assert page.evaluate(COVERED)
    hold(page, page.locator(".alarm .glove"), f"!({COVERED})")


def finish_job(page: Page) -> None:
    """Press Finish twice; the first press only asks."""
    button = page.locator(".buttons .finish")
    button.click()
    assert page.evaluate(RUNS), "one press does not finish"
    assert button.inner_text() == "Press again"
    button.click()


def go(page: Page, place: str) -> None:
    """Press a place's link."""
    page.locator(f'#places a[href="#{place}"]').click()


def await_all(pages: list[Page], claim: str) -> None:
    """Wait until each page shows it."""
    for page in pages:
        page.wait_for_function(f"() => {claim}")


def read_figures(page: Page) -> list[tuple[str, str]]:
    """Numbers with a unit that differs between the sets, in the order of the page."""
    return FIGURE.findall(page.evaluate(SEEN).replace("\u00a0", " "))


def half_step(number: str) -> float:
    """By how much a written number may be off."""
    return 0.5000001 * 10.0 ** -len(number.partition(".")[2])


def compare_figures(pages: list[Page]) -> int:
    """All pages say the same, by the exact factors and each to its last digit; gives how many figures that were."""
    metric, customary, *others = [read_figures(page) for page in pages]
    assert others == [metric, customary], "night and day say the same"
    assert len(metric) == len(customary), (metric, customary)
    for (number, unit), (own, its) in zip(metric, customary, strict=True):
        name, factor = METRIC[its]
        assert name == unit, (number, unit, own, its)
        room = half_step(number.replace(",", "")) + factor * half_step(own.replace(",", ""))
        off = abs(float(number.replace(",", "")) - factor * float(own.replace(",", "")))
        assert off <= room, (number, unit, own, its)
    return len(metric)


def take_file(page: Page, name: str) -> bytes:
    """Press a file's link and read what was saved."""
    with page.expect_download() as coming:
        page.locator(f'a[download="{name}"]').click()
    return Path(coming.value.path()).read_bytes()


def walk_lawn(pages: list[Page], walker: Walker, presser: int) -> list[str]:
    """From the start to the job's end; what is wrong with the screens on the way."""
    order = [pages[(presser + turn) % 4] for turn in range(4)]
    walker.start()
    await_all(pages, "/m\\/s|mph/.test(document.querySelector('main').innerText)")
    faults = [f"start: {each}" for each in judge(pages[presser])]
    first, second, third, fourth = order
    go(first, "lawn")
    hold(first, first.locator(".buttons .glove"), RUNS)
    # Who named no place is taken to the lawn.
    await_all(pages, RUNS)
    faults += [f"lawn: {each}" for each in judge(pages[presser])]
    assert not any(page.evaluate(COVERED) for page in pages), "the job began in calm"
    await_all(pages, COVERED)
    faults += [f"alarm: {each}" for each in judge(pages[presser])]
    assert {page.locator(".alarm strong[role=alert]").inner_text() for page in pages} == {"STOP SPRAYING"}
    for page in (third, fourth, first, second):  # each sees it for itself
        see_stop(page)
    assert not any(page.evaluate(COVERED) for page in pages), "the wind stays up: it is the same stop"
    finish_job(second)
    await_all(pages, RESTS)
    walker.stop()
    faults += [f"finished: {each}" for each in judge(pages[presser])]
    second.locator('.said a[href="#got"]').click()
    return faults


def keep_record(pages: list[Page], signer: Page) -> None:
    """Type what is missing of the record and sign it."""
    go(signer, "record")
    signer.locator('a[href="#record/1"]').click()
    signer.get_by_label("Applied by", exact=True).fill("A. Grower")
    signer.get_by_role("button", name="Keep what was typed").click()
    signer.get_by_text("Kept.", exact=True).wait_for()
    signer.get_by_role("button", name="Sign the record").click()
    signer.get_by_role("dialog").get_by_role("button", name="Sign as A. Grower").click()
    signer.get_by_text("Signed.", exact=True).wait_for()
    for page in pages:
        if page is not signer:
            go(page, "record")
            page.locator('a[href="#record/1"]').click()
        page.get_by_text("Who signed?").wait_for()
        settle(page)


def check_files(page: Page, http: Http) -> None:
    """The record's files open and say what the page and the service say."""
    rows = {row["key"]: row for row in csv.DictReader(io.StringIO(take_file(page, "record.csv").decode("utf-8-sig")))}
    items = {item["key"]: item for item in http.ask("/api/jobs/1/record")["items"]}
    assert rows.keys() == items.keys()
    for key, item in items.items():
        told, value = rows[key]["value"], item["value"]
        assert told == "" if value is None else float(told) == value if isinstance(value, float) else told == str(value)
    pdf = take_file(page, "record.pdf")
    assert count_pages(pdf) >= 2
    text = read_text(pdf).replace("\u00a0", " ")
    assert "A. Grower" in text
    shown, printed = (
        {(float(number.replace(",", "")), unit) for number, unit in figures}
        for figures in (read_figures(page), FIGURE.findall(text))
    )
    assert len(shown) > 3
    assert shown <= printed, shown - printed


@pytest.mark.parametrize(("presser", "size"), list(enumerate(SCREENS)))
def test_a_job_is_walked_by_presses_from_start_to_its_files(
    browser: Browser, lawn: tuple[Http, Walker], presser: int, size: str
) -> None:
    http, walker = lawn
    complaints: list[str] = []
    pages = open_pages(browser, http, size, complaints)
    faults = walk_lawn(pages, walker, presser)
    wait_for(lambda: (http.ask("/api/jobs/1/review") or {}).get("state") == "ready", "the review is ready")
    for page in pages:
        if not page.url.endswith("#got"):
            go(page, "got")
    await_all(pages, "document.querySelectorAll('main table tr').length > 3")
    for page in pages:
        settle(page)
    faults += [f"got: {each}" for each in judge(pages[presser])]
    assert compare_figures(pages) > 10
    keep_record(pages, pages[(presser + 2) % 4])
    faults += [f"record: {each}" for each in judge(pages[presser])]
    assert compare_figures(pages) > 3
    check_files(pages[(presser + 3) % 4], http)
    assert faults == []
    assert complaints == []
