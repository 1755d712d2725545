"""The air's page on the real service: awkward tables brought along on screen, browsed by keyboard, removed again."""

import gzip
import math
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, Page
from programs import Http, Program, wait_for
from screens import MEASURE, SIZES

from server.core.blocks import Block
from server.store.connection import open_writer
from server.store.history import Source, save_blocks

BERLIN = ZoneInfo("Europe/Berlin")
TOLD = {"zone": "Europe/Berlin", "stamp": "end", "date_order": "dmy", "unit": "km/h"}


@pytest.fixture
def service(free_port: int, tmp_path: Path) -> Iterator[Http]:
    """The real service with an empty database and no broker to hear."""
    program = Program(
        tmp_path / "service.log", "server", "serve", "--database", str(tmp_path / "db.sqlite3"), "--broker",
        "127.0.0.1:9", "--port", str(free_port),
    )  # fmt: skip
    program.start()
    http = Http(free_port)
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    yield http
    program.kill()


@pytest.fixture
def visit(browser: Browser, service: Http):
    """Opens the page in Berlin; what it complains of is gathered on it."""

    def open_place(size: str = "laptop", scheme: str = "light") -> Page:
        width, height = SIZES[size]
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            timezone_id="Europe/Berlin",
            locale="en-GB",
        )
        page = context.new_page()
        page.complaints = []
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.goto(f"{service.base}/#air")
        page.get_by_label("The file").wait_for()
        return page

    return open_place


def awkward(first: datetime, hours: int) -> bytes:
    """Ten-minute rows of local time with semicolons, decimal commas, a comment, missing ones and bad flags."""
    draw, rows = random.Random(7), ["Logger 12; yard", "Datum;Wind km/h;Böe km/h;Windrichtung;Güte"]
    for k in range(6 * hours):
        local = (first.astimezone(UTC) + timedelta(minutes=10 * k)).astimezone(BERLIN)
        speed = 9.0 + 5.0 * math.sin(k / 40) + draw.random()
        text = "-999" if k % 50 == 7 else f"{speed:.1f}"
        flag = "9" if k % 60 == 11 else "0"
        numbers = f"{text};{1.6 * speed:.1f};{k % 360}".replace(".", ",")
        rows.append(f"{local:%d.%m.%Y %H:%M};{numbers};{flag}")
    return ("\n".join(rows) + "\n").encode("utf-8")


def choose(page: Page, path: Path) -> None:
    """Choose a file."""
    page.get_by_label("The file").set_input_files(path)


def tell(page: Page, **more: str) -> None:
    """Fill in what the table does not say."""
    for key, value in {**TOLD, **more}.items():
        field = page.locator(f"#told-{key}")
        if field.evaluate("node => node.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)
    for tick in page.locator("input[type=checkbox]").all():
        tick.check()


def press(page: Page) -> None:
    """Send it."""
    page.get_by_role("button", name="Bring them along").click()


def said(page: Page) -> str:
    """The line under the file's field."""
    return page.locator("section.part .said").inner_text()


def test_a_table_over_a_change_of_clocks_is_told_brought_along_browsed_and_removed(visit, service, tmp_path) -> None:
    file = tmp_path / "yard 2025.csv"
    file.write_bytes(awkward(datetime(2025, 10, 20, tzinfo=BERLIN), 10 * 24))
    page = visit()
    page.get_by_text("Nothing is recorded yet").wait_for()
    choose(page, file)
    page.locator("#told-zone").wait_for()
    assert page.locator("table.head").inner_text().count("Böe km/h") == 1
    # What is not told stays open, and nothing is sent before it is.
    for key in ("zone", "stamp"):
        assert page.locator(f"#told-{key}").input_value() == ""
    assert page.locator("#told-height_m").input_value() == ""
    press(page)
    assert "still to be told" in said(page)
    assert page.locator("#told-zone").get_attribute("aria-invalid") == "true"
    assert service.ask("/api/history?from=1.6e9&to=1.9e9")["sources"] == []
    tell(page, height_m="2")
    press(page)
    page.get_by_text("yard 2025: done").wait_for(timeout=30_000)
    told = page.locator(".told").inner_text()
    rows = 10 * 24 * 6
    missing, flagged = len(range(7, rows, 50)), len(range(11, rows, 60))
    assert f"{missing} rows hold a code for a missing speed: left out" in told
    assert "carry a flag that is not among the good ones: left out" in told
    assert "lie in the hour that comes twice at the end of summer time; told apart by their order: kept" in told
    (source,) = service.ask("/api/history?from=1.6e9&to=1.9e9")["sources"]
    used = rows - missing - flagged + len(set(range(7, rows, 50)) & set(range(11, rows, 60)))
    assert source["blocks"] == used
    # The day with 25 hours: six steps an hour, all that were sent, and none twice.
    page.get_by_role("heading", name="October 2025", exact=True).wait_for()
    day = datetime(2025, 10, 26, tzinfo=BERLIN).timestamp()
    found = service.ask(f"/api/history?from={day}&to={day + 25 * 3600}&step=86400&zone=Europe/Berlin")["series"][0]
    assert found["end_utc"][0] - found["start_utc"][0] == 25 * 3600
    assert 0.9 < found["known_fraction"][0] < 1.0
    browse_by_keyboard(page)
    page.get_by_role("button", name="Remove yard 2025").click()
    page.get_by_text(f"Press again: {source['blocks']:,}".replace(",", "\u202f")).wait_for()
    assert service.ask("/api/history?from=1.6e9&to=1.9e9")["sources"] != []
    page.get_by_role("button", name="Press again").click()
    page.get_by_text("yard 2025 is removed").wait_for()
    assert service.ask("/api/history?from=1.6e9&to=1.9e9")["sources"] == []
    assert page.complaints == []


def browse_by_keyboard(page: Page) -> None:
    """From the month into its longest day and through it, and the same as a table."""
    cursor = page.get_by_role("slider")
    cursor.focus()
    page.keyboard.press("Home")
    first = page.locator(".readout").inner_text()
    assert "mean" in first
    page.keyboard.press("ArrowRight")
    assert page.locator(".readout").inner_text() != first
    assert cursor.get_attribute("aria-valuetext") == page.locator(".readout").inner_text()
    assert cursor.get_attribute("aria-valuenow") == "2"
    page.keyboard.press("End")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="October 2025", exact=True).wait_for(state="hidden")
    assert page.get_by_role("button", name="Day", exact=True).get_attribute("aria-pressed") == "true"
    title = page.locator("h2.period").inner_text()
    page.keyboard.press("PageUp")
    page.wait_for_function(f"() => document.querySelector('h2.period').textContent !== {title!r}")
    page.get_by_text("The same as a table").click()
    page.wait_for_function("() => document.querySelectorAll('.as-table tbody tr').length > 100")
    assert "km/h" not in page.locator(".as-table").inner_text()
    page.get_by_label("Units").select_option("l_per_ha")
    page.wait_for_function("() => document.querySelector('.as-table').innerText.includes('km/h')")
    page.get_by_label("Units").select_option("l_per_100m2")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.csv", b"", "empty.csv is empty."),
        ("picture.csv", bytes(range(256)) * 300, "not a table of readings"),
        ("letter.csv", b"Dear neighbour,\nhow are you?\n", "not a table of readings"),
        ("torn head.csv.gz", b"\x1f\x8b" + b"torn", "broken"),
        ("zeros.csv", b"\0" * 5000, "not a table of readings"),
    ],
)  # fmt: skip
def test_what_is_no_table_is_told_in_one_line(visit, tmp_path, name, content, words) -> None:
    file = tmp_path / name
    file.write_bytes(content)
    page = visit("phone")
    choose(page, file)
    page.get_by_text(words).wait_for()
    assert "\n" not in said(page)
    assert page.get_by_role("button", name="Bring them along").count() == 0
    assert page.complaints == []


def test_a_file_that_is_too_large_is_not_even_sent(visit, service, tmp_path) -> None:
    file = tmp_path / "huge.csv"
    with file.open("wb") as out:
        out.truncate(64 * 2**20 + 1)
    page = visit()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    choose(page, file)
    page.get_by_text("is larger than 64 MB").wait_for()
    assert asked == []


def test_torn_packing_wrong_zones_and_wrong_orders_import_nothing_and_say_why(visit, service, tmp_path) -> None:
    whole = awkward(datetime(2025, 3, 28, tzinfo=BERLIN), 24 * 60)
    torn = tmp_path / "torn.csv.gz"
    torn.write_bytes(gzip.compress(whole)[:-2000])
    page = visit()
    choose(page, torn)
    page.locator("#told-zone").wait_for()
    tell(page, height_m="2")
    press(page)
    page.get_by_text("the compressed file is broken").wait_for(timeout=30_000)
    assert "\n" not in said(page)
    file = tmp_path / "yard.csv"
    file.write_bytes(whole)
    choose(page, file)
    page.locator("#told-name[value=yard]").wait_for()
    tell(page, height_m="2")
    page.locator("#told-zone").select_option("other")
    page.get_by_label("Another clock").fill("Nowhere/Town")
    press(page)
    page.locator("#told-zone-wrong").get_by_text("Nowhere/Town").wait_for(timeout=30_000)
    tell(page, height_m="0.1")
    press(page)
    page.locator("#told-height_m-wrong").get_by_text("0.3 to 200").wait_for(timeout=30_000)
    tell(page, height_m="2", date_order="mdy")
    press(page)
    page.get_by_text("rows cannot be read").wait_for(timeout=30_000)
    assert service.ask("/api/history?from=1.6e9&to=1.9e9")["sources"] == []
    # The same rows in the right zone: the hour that clocks skip was never written, so nothing is lost.
    tell(page, height_m="2")
    press(page)
    page.get_by_text("yard: done").wait_for(timeout=30_000)
    assert "skip" not in page.locator(".told").inner_text()
    assert page.complaints == []


def fill(database: Path, last: datetime) -> None:
    """A rig's year with walks, holes and calm, as its record would be."""
    draw, end = random.Random(5), int(last.timestamp()) // 60
    blocks = []
    for k in range(0, 400 * 1440, 7):
        minute = end - 400 * 1440 + k
        if k // 1440 in range(200, 230) or k // 1440 == 390:
            continue
        mean = max(0.2, 2.0 + 1.5 * math.sin(k / 230) + draw.gauss(0, 0.3))
        walks = k % 180 >= 120  # also in the hour that is now
        aim = math.radians(310 + draw.gauss(0, 20)) if walks else math.nan
        known = {"known_s": 60, "below_s": 60 if mean < 0.3 else 0, "is_station": not walks}
        blocks.append(Block(minute, mean, 1.5 * mean, math.sin(aim), math.cos(aim), **known))
    connection = open_writer(database)
    save_blocks(connection, Source("rig", "yard", 2.0), blocks)
    connection.close()


def read_ink(page: Page, selector: str) -> float:
    """Which share of a canvas is drawn on."""
    share: float = page.evaluate(
        """selector => { const canvas = document.querySelector(selector);
        const {data} = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
        let drawn = 0; for (let at = 3; at < data.length; at += 4) drawn += data[at] > 60;
        return drawn / (data.length / 4); }""",
        selector,
    )
    return share


def test_a_day_and_a_year_are_drawn_on_any_screen_by_day_and_night(visit, service, tmp_path) -> None:
    fill(tmp_path / "db.sqlite3", datetime.now(UTC))
    for size in SIZES:
        for scheme in ("light", "dark"):
            page = visit(size, scheme)
            for span in ("Day", "Week", "Month", "Year"):
                page.get_by_role("button", name=span, exact=True).click()
                page.wait_for_function("() => document.querySelector('.period-told').textContent.includes('mean')")
                page.wait_for_timeout(150)
                assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}, (size, scheme, span)
                assert read_ink(page, ".air") > 0.01
                assert read_ink(page, ".air-from") > 0.002
                assert "walked" in page.locator(".period-told").inner_text()
            text = page.inner_text("main")
            assert "NaN" not in text
            assert "undefined" not in text
            assert page.complaints == []
            page.context.close()


def test_an_empty_book_says_what_to_do(visit) -> None:
    for size in SIZES:
        page = visit(size)
        page.get_by_text("Park the rig in the yard").wait_for()
        assert not page.get_by_role("slider").is_visible()
        assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}


def test_while_an_answer_is_awaited_all_that_is_shown_stays_of_one_time(visit, service, tmp_path) -> None:
    fill(tmp_path / "db.sqlite3", datetime.now(UTC))
    page = visit()
    page.get_by_text("of the time known").wait_for()
    cursor = page.get_by_role("slider")
    cursor.press("Home")
    page.wait_for_timeout(200)
    before, title, held = read_ink(page, ".air"), page.locator("h2.period").inner_text(), []
    page.route("**/api/history?**", lambda route: held.append(route))
    with page.expect_request("**/api/history?**"):
        page.get_by_role("button", name="Year", exact=True).click()
    cursor.press("Home")
    page.wait_for_timeout(200)
    assert page.locator("h2.period").inner_text() == title
    assert read_ink(page, ".air") == pytest.approx(before, rel=0.02), "no step of the day lies on the year's axis"
    assert page.get_by_role("button", name="Year", exact=True).get_attribute("aria-pressed") == "true"
    held[0].continue_()
    page.unroute("**/api/history?**")
    page.wait_for_function("() => /^[0-9]{4}$/.test(document.querySelector('h2.period').textContent)")
    page.wait_for_timeout(200)
    assert read_ink(page, ".air") != pytest.approx(before, rel=0.02)
    # A service that is gone is told, and what was shown stays.
    service_down = page.locator("h2.period").inner_text()
    page.route("**/api/history?**", lambda route: route.abort())
    page.get_by_role("button", name="Week", exact=True).click()
    page.get_by_text("The service cannot be reached").first.wait_for()
    assert page.locator("h2.period").inner_text() == service_down
    assert page.get_by_role("button", name="Year", exact=True).get_attribute("aria-pressed") == "true"
