"""My lawn on the real service: shapes drawn by touch and by keyboard, cut, brought along, walked, saved in versions."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page
from programs import Http, Program, wait_for
from screens import MEASURE
from squares import SQUARE, ring

BOW = ring((0, 30), (20, 50), (20, 30), (0, 50))
POND = ring((5, 5), (9, 5), (9, 8), (5, 8))
PHONE, LAPTOP = (390, 844), (1280, 800)


@pytest.fixture
def service(broker, free_port: int, tmp_path: Path) -> Iterator[Http]:
    """The real service with an empty store."""
    program = Program(
        tmp_path / "service.log", "server", "serve", "--database", str(tmp_path / "db.sqlite3"),
        "--broker", f"127.0.0.1:{broker.port}", "--port", str(free_port),
    )  # fmt: skip
    program.start()
    http = Http(free_port)
    wait_for(lambda: http.ask("/api/health"), "the service answers")
    yield http
    program.kill()


@pytest.fixture
def complaints() -> Iterator[list[str]]:
    """Exceptions in pages; there must be none."""
    found: list[str] = []
    yield found
    assert found == []


@pytest.fixture
def visit(browser: Browser, service: Http, complaints: list[str]) -> Callable[..., Page]:
    """Opens My lawn."""

    def open_page(size: tuple[int, int] = PHONE, scheme: Any = "light") -> Page:
        viewport = {"width": size[0], "height": size[1]}
        page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(f"{service.base}/#site")
        page.get_by_role("button", name="Add a site").wait_for()
        return page

    return open_page


def add_site(page: Page, name: str) -> None:
    """A new site, which opens by itself."""
    page.get_by_role("button", name="Add a site").click()
    page.get_by_label("Name").fill(name)
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text(f"{name}: zones and keep-outs").wait_for()


def begin_at(page: Page) -> None:
    """Where the lawn is, for a rig that has no position."""
    page.get_by_placeholder("Longitude").fill("-30")
    page.get_by_placeholder("Latitude").fill("45")
    page.get_by_role("button", name="Begin there").click()


def tap(page: Page, x: float, y: float) -> None:
    """A tap on the drawing."""
    page.locator("canvas.shape-map").click(position={"x": x, "y": y})


def drag(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    """From one point of the drawing to another."""
    canvas = page.locator("canvas.shape-map")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + start[0], box["y"] + start[1])
    page.mouse.down()
    page.mouse.move(box["x"] + end[0], box["y"] + end[1], steps=6)
    page.mouse.up()


def save(page: Page) -> None:
    """Keep the shapes, and wait until they are."""
    page.get_by_role("button", name="Save the shapes").click()
    page.get_by_role("button", name="Save the shapes").wait_for(state="hidden")


def keep_home(service: Http) -> None:
    """A site with a lawn and a pond."""
    zones = [
        {"name": "Front", "kind": "zone", "rings": [list(map(list, SQUARE))]},
        {"name": "Pond", "kind": "keep_out", "rings": [list(map(list, POND))]},
    ]
    service.ask("/api/sites", "POST", {"name": "Home", "zones": zones})


def test_a_shape_is_drawn_by_touch_marked_where_it_is_wrong_and_saved_when_right(visit, service: Http) -> None:
    page = visit()
    add_site(page, "Mill Yard")
    begin_at(page)
    page.get_by_role("button", name="Draw a zone").click()
    for x, y in ((60, 60), (300, 60), (300, 300), (60, 300)):
        tap(page, x, y)
    tap(page, 62, 58)
    page.get_by_role("button", name="Lawn: to treat").wait_for()
    drag(page, (300, 60), (20, 200))
    page.get_by_text("its edge crosses itself between corners", exact=False).first.wait_for()
    page.get_by_text("marked on the drawing, at -30.", exact=False).wait_for()
    page.get_by_role("button", name="Save the shapes").click()
    page.locator(".shapes .said").get_by_text("crosses itself").wait_for()
    assert service.ask("/api/sites/1")["card"]["zones"] == [], "nothing wrong is kept"
    drag(page, (20, 200), (300, 60))
    page.get_by_text("m² to treat.", exact=False).wait_for()
    save(page)
    card = service.ask("/api/sites/1")["card"]
    assert card["zones"][0]["source"] == "drawn"
    corners = card["zones"][0]["rings"][0]
    assert len(corners) == 5
    assert corners[0][1] == pytest.approx(corners[1][1], abs=3e-6), "north is up"
    assert corners[1][0] > corners[0][0]
    assert corners[2][1] < corners[1][1]


def test_a_shape_is_made_by_keyboard_alone_to_the_centimetre(visit, service: Http) -> None:
    page = visit()
    add_site(page, "Orchard")
    begin_at(page)
    page.get_by_role("button", name="Draw a zone").press("Enter")
    page.get_by_role("button", name="Begin with a corner as figures").press("Enter")
    for place in (1, 2, 3):
        page.get_by_label(f"Add a corner after {place} of the new shape").press("Enter")
    for place, east, north in ((2, "12,5", "0"), (3, "12.5", "8"), (4, "0", "8")):
        for word, figure in (("east", east), ("north", north)):
            page.get_by_label(f"{word} of corner {place} of the new shape, m").fill(figure)
            page.get_by_label(f"{word} of corner {place} of the new shape, m").press("Enter")
    page.get_by_label("east of corner 3 of the new shape, m").fill("far")
    page.get_by_label("east of corner 3 of the new shape, m").press("Enter")
    assert page.get_by_label("east of corner 3 of the new shape, m").get_attribute("aria-invalid") == "true"
    page.get_by_role("button", name="Close it").press("Enter")
    page.get_by_text("100.0 m² to treat.").wait_for()
    page.get_by_label("What it is").select_option("keep_out")
    page.get_by_role("button", name="Lawn: keep out").wait_for()
    page.get_by_label("What it is").select_option("zone")
    page.locator("#shape-name").fill("Terrace")
    page.locator("#shape-name").press("Enter")
    save(page)
    (zone,) = service.ask("/api/sites/1")["card"]["zones"]
    assert zone["name"] == "Terrace"
    assert service.ask("/api/sites/1/history")[0]["treated_m2"] == pytest.approx(100.0, abs=0.02)


def test_a_draft_outlives_a_reload_and_can_be_left(visit, service: Http) -> None:
    keep_home(service)
    page = visit()
    page.get_by_role("button", name="Home").click()
    page.get_by_role("button", name="Pond: keep out").click()
    page.get_by_role("button", name="Take the shape away").click()
    page.get_by_text("Changed, not saved yet.").wait_for()
    page.reload()
    page.get_by_role("button", name="Home").click()
    page.get_by_text("Changed, not saved yet.").wait_for()
    assert page.get_by_role("button", name="Pond: keep out").count() == 0
    page.get_by_role("button", name="Leave them as they were").click()
    page.get_by_role("button", name="Pond: keep out").wait_for()
    assert service.ask("/api/sites/1")["version"] == 1


def test_a_shape_is_cut_in_two_and_gets_a_hole(visit, service: Http) -> None:
    keep_home(service)
    page = visit()
    page.get_by_role("button", name="Home").click()
    page.get_by_role("button", name="Front: to treat, 400.0 m²").click()
    box = page.locator("canvas.shape-map").bounding_box()
    assert box is not None
    middle, height = box["width"] / 2, box["height"]
    page.get_by_role("button", name="Cut in two").click()
    tap(page, middle, 12)
    tap(page, middle, height - 12)
    page.get_by_text("Cut in 2.").wait_for()
    page.get_by_role("button", name="Front 2: to treat").click()
    page.get_by_role("button", name="Cut a hole").click()
    for x, y in ((40, -40), (80, -40), (80, -80)):
        tap(page, middle + x, height / 2 + y)
    page.get_by_role("button", name="Close it").click()
    save(page)
    zones = service.ask("/api/sites/1")["card"]["zones"]
    assert [zone["name"] for zone in zones] == ["Front", "Front 2", "Pond"]
    assert sorted(len(zone["rings"]) for zone in zones) == [1, 1, 2]
    newest = service.ask("/api/sites/1/history")[0]
    areas = [zone["area_m2"] for zone in newest["zones"]]
    assert areas[0] == pytest.approx(200.0, rel=0.05)
    assert sum(areas[:2]) < 399.0, "the hole is off"


def test_a_file_tells_what_is_taken_and_what_is_not_before_anything_is_kept(visit, service: Http, tmp_path) -> None:
    keep_home(service)
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": {"type": "Polygon", "coordinates": [shape]}}
        for name, shape in (("Bow", BOW), ("Front", ring((30, 0), (40, 0), (40, 10), (30, 10))))
    ]
    file = tmp_path / "lawn.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    wrong = tmp_path / "lawn.csv"
    wrong.write_text("lon,lat\n")
    page = visit()
    page.get_by_role("button", name="Home").click()
    page.get_by_text("Bring shapes from a file").click()
    page.locator("#shape-file").set_input_files(wrong)
    page.get_by_text("lawn.csv is no JSON").wait_for()
    page.locator("#shape-file").set_input_files(file)
    page.get_by_text("2 shapes in it, 1 not taken: why stands beside it.").wait_for()
    page.get_by_text("Bow: not taken. Its edge crosses itself").wait_for()
    page.get_by_text("Front, 100.0 m².").wait_for()
    page.get_by_role("button", name="Take them over").click()
    page.get_by_role("button", name="Front 2: to treat, 100.0 m²").wait_for()
    save(page)
    assert [zone["name"] for zone in service.ask("/api/sites/1")["card"]["zones"]] == ["Front", "Pond", "Front 2"]
    page.get_by_text("Versions", exact=True).click()
    page.get_by_text("Version 2,", exact=False).wait_for()
    with page.expect_download() as given:
        page.get_by_role("link", name="GeoJSON").first.click()
    out = json.loads(given.value.path().read_text())
    assert out["features"][2]["geometry"]["coordinates"] == [list(map(list, features[1]["geometry"]["coordinates"][0]))]


def test_a_walk_shows_its_area_so_far_survives_a_reload_and_becomes_a_zone(visit, service: Http) -> None:
    keep_home(service)
    page = visit()
    page.clock.install()
    walked = ring((30, 0), (42, 0), (42, 9), (30, 9))
    found = {
        "is_usable": False, "refusal": "the walk is open by 9.0 m: go on to where it began", "ring": walked,
        "area_m2": 54.0, "area_sd_m2": 1.5, "length_m": 33.0, "gap_m": 9.0, "beside_m2": 3.3, "place": None,
    }  # fmt: skip
    clock = {"rig": "rig-1", "boot": "0123abcd", "mono": 100.0}
    asked: list[Any] = []

    def answer(route: Any) -> None:
        if route.request.method == "POST":
            asked.append(route.request.post_data_json)
        route.fulfill(json=clock if "clock" in route.request.url else found)

    page.route("**/api/calibrations/clock", answer)
    page.route("**/api/sites/walk", answer)
    page.reload()
    page.get_by_role("button", name="Home").click()
    page.get_by_text("Walk round an edge").click()
    page.get_by_label("How far inside the edge").fill("0.3")
    page.get_by_role("button", name="Start", exact=True).click()
    page.get_by_text("Walking for").wait_for()
    clock["mono"] = 160.0
    page.clock.run_for(12_000)
    page.get_by_text("So far 33.0 m and, closed straight, 54.0 m² ± 3.0 m². The walk is open by 9.0 m").wait_for()
    page.reload()
    page.get_by_role("button", name="Home").click()
    page.get_by_text("Walking for").wait_for()
    clock["mono"] = 190.0
    found |= {"is_usable": True, "refusal": "", "area_m2": 108.0}
    page.get_by_role("button", name="Close", exact=True).click()
    page.get_by_role("button", name="Lawn: to treat, 108.0 m² ± 3.0 m²").wait_for()
    save(page)
    interval = {"boot": "0123abcd", "start": 100.0, "end": 190.0}
    assert asked[-1] == {"rig": "rig-1", "interval": interval, "offset_m": 0.3}
    kept = service.ask("/api/sites/1")["card"]["zones"][2]
    assert (kept["source"], kept["area_sd_m2"]) == ("walked", 1.5)
    assert kept["rings"] == [list(map(list, walked))]


@pytest.mark.parametrize(("size", "scheme"), [(PHONE, "light"), (PHONE, "dark"), (LAPTOP, "light"), (LAPTOP, "dark")])
def test_everything_can_be_read_and_pressed(visit, service: Http, size, scheme) -> None:
    keep_home(service)
    page = visit(size, scheme)
    page.get_by_role("button", name="Home").click()
    page.get_by_role("button", name="Front: to treat, 400.0 m²").click()
    for words in ("Corners as figures", "Walk round an edge", "Bring shapes from a file", "Versions"):
        page.get_by_text(words, exact=True).click()
    page.get_by_text("Version 1,", exact=False).wait_for()
    assert page.evaluate(MEASURE) == {"faint": [], "small": [], "wide": 0}
