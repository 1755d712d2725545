"""A record and its job as files: pages, PDF, tables, GeoJSON, GeoPackage."""

import csv
import io
import json
import sqlite3
import warnings
from contextlib import closing
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pyogrio
import pytest
import shapely
from click.testing import CliRunner
from playwright.sync_api import sync_playwright
from sheets import count_pages, read_places, read_text

from firmware_sim.bench import write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from server.__main__ import main
from server.core.geodesy import ring_area
from server.core.measured import gather_measured
from server.core.papers import Papers, Reference
from server.exports.geopackage import write_geopackage
from server.exports.layers import geojson_object, map_layers
from server.exports.recordpdf import find_fonts, write_pdf
from server.exports.tables import PASS_COLUMNS, pass_rows
from server.exports.unitsets import UNIT_SETS
from server.rawlog import gather_log, read_raw_log
from server.review import review_job
from server.settings import read_setup

NAME, HTML = "Żaneta Ångström", "<b>12 Mill Lane</b> & co"


@pytest.fixture(scope="module")
def reviewed(tmp_path_factory):
    """A demo job reviewed: its result and settings."""
    folder = tmp_path_factory.mktemp("layers")
    world = build_world(SCENARIOS["demo"], 3)
    write_log(world.feed, folder / "log.ndjson", rig="sim", boot="0" * 16)
    save_setup(world.scenario, world.receiver.latency_s, folder)
    setup = read_setup(folder / "setup.toml")
    return review_job(gather_log(read_raw_log(folder / "log.ndjson"), setup.job), setup), setup


@pytest.fixture
def job(busy_desk, messages):
    """A finished, reviewed job with an ordinary record: its number and where its files are."""
    desk = busy_desk
    found = [json.loads(message.payload) for message in messages]
    boot, end = next(each["boot"] for each in found if "boot" in each), max(each.get("mono", 0.0) for each in found)
    number = desk.ask("POST", "/api/jobs", {"name": "Front", "start": [boot, 0.0], "end": [boot, end]}).json()["id"]
    desk.await_review(number)
    rate = {"value": 6, "unit": "fl oz/1000 ft2"}
    desk.ask("POST", "/api/people", {"name": NAME, "licence": "CA-20431"})
    desk.ask("POST", "/api/sites", {"name": "Mill Lane", "address": HTML})
    desk.ask("POST", "/api/sprayers", {"name": "Green", "swath": {"value": 1, "unit": "m"}, "pulses_per_l": [450]})
    for name in ("Feed", "Weed stop"):
        desk.ask("POST", "/api/products", {"name": name, "rate_most": rate, "registration": "0000-1"})
    doses = [{"product": 1, "rate": rate}, {"product": 2, "rate": rate}]
    target = {"value": 0.4, "unit": "gal/1000 ft2"}
    desk.ask("POST", "/api/treatments", {"name": "Spring", "site": 1, "target": target, "doses": doses})
    one = Reference(1, 1)
    papers = Papers(site=one, sprayer=one, treatment=one, products=(one, Reference(2, 1)), operator=one)
    desk.portal.call(desk.service.office.cards.save_papers, number, papers)
    desk.ask("PATCH", f"/api/jobs/{number}/record", {"typed": {"notes": "=1+1", "noncertified": "nobody"}})
    return number


def fetch(desk, number, name, **query):
    """A file of a job."""
    answer = desk.ask("GET", f"/api/jobs/{number}/files/{name}", params=query)
    assert answer.status_code == 200, answer.text
    return answer


class Outline(HTMLParser):
    """Notes what a page would load, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.loads, self.tags, self.text = [], set(), []

    def handle_starttag(self, tag, attrs):
        """Note one tag."""
        self.tags.add(tag)
        self.loads += [value for name, value in attrs if name in ("src", "href")]

    def handle_data(self, data):
        """Note its text."""
        self.text.append(data)


def test_the_page_needs_nothing_else_and_shows_text_as_text(busy_desk, job) -> None:
    answer = fetch(busy_desk, job, "record.html", show=True)
    outline = Outline()
    outline.feed(answer.text)
    assert outline.loads == []
    assert "b" not in outline.tags
    assert any(HTML in text for text in outline.text)
    policies = [value for name, value in answer.headers.multi_items() if name == "content-security-policy"]
    assert len(policies) == 1
    assert "default-src 'none'" in policies[0]
    assert answer.headers["content-disposition"].startswith("inline")


def test_an_ordinary_record_prints_on_two_pages_and_its_strips_on_a_third(busy_desk, job, tmp_path) -> None:
    pages = {}
    for units in ("l_per_100m2", "gal_per_1000ft2"):
        pages[units] = tmp_path / f"{units}.html"
        pages[units].write_bytes(fetch(busy_desk, job, "record.html", units=units).content)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page()
        counts = {}
        for units, file in pages.items():
            page.goto(file.as_uri())
            for paper in ("A4", "Letter"):
                counts[units, paper] = count_pages(page.pdf(format=paper, prefer_css_page_size=False))
        browser.close()
    assert set(counts.values()) == {2}, counts
    for units in pages:
        assert count_pages(fetch(busy_desk, job, "record.pdf", units=units).content) == 3, "with the strips"


def test_the_text_of_the_pdf_can_be_searched_in_any_letters(busy_desk, job) -> None:
    assert find_fonts() is not None, "this machine has the font"
    text = read_text(fetch(busy_desk, job, "record.pdf", units="gal_per_1000ft2").content)
    _, items = None, {item["key"]: item for item in busy_desk.ask("GET", f"/api/jobs/{job}/record").json()["items"]}
    assert NAME in text
    assert HTML in text
    assert "fl oz/1000 ft²" in text
    assert f"{items['product.1.amount']['value']:.3g} fl oz" in text
    assert "Not signed" in text
    for item in items.values():
        if item["value"] is not None and item["kind"] == "text" and len(str(item["value"])) < 25:
            assert str(item["value"]) in text, item["key"]


def test_no_line_of_the_pdf_lies_on_another_or_off_the_page(busy_desk, job) -> None:
    view = busy_desk.ask("GET", f"/api/jobs/{job}/record").json()
    for item in view["items"]:
        if item["key"] in ("notes", "incidents"):
            item |= {"value": "a long story " * 70, "source": "typed"}
    for units, height in (("l_per_ha", 841.9), ("gal_per_acre", 792.0)):
        for page in read_places(write_pdf(view, UNIT_SETS[units])):
            assert all(28.0 < x < 560.0 and 28.0 < y < height - 28.0 for x, y in page)
            columns = {x: sorted(y for other, y in page if other == x) for x, _ in page}
            # Lines of 7 points need that much and a little more.
            assert all(upper - lower > 7.5 for each in columns.values() for lower, upper in pairwise(each))


def test_without_a_font_what_cannot_be_printed_is_visible_and_said(busy_desk, job) -> None:
    view = busy_desk.ask("GET", f"/api/jobs/{job}/record").json()
    plain = read_text(write_pdf(view, UNIT_SETS["l_per_100m2"], search=False))
    assert "?aneta Ångström" in plain
    assert "printed as ?" in plain
    assert "printed as ?" not in read_text(write_pdf(view, UNIT_SETS["l_per_100m2"]))


def test_the_same_record_gives_the_same_bytes(busy_desk, job) -> None:
    busy_desk.ask("POST", f"/api/jobs/{job}/record/sign", {"name": "A. Grower"})
    for name in ("record.html", "record.pdf", "record.csv", "record.json"):
        assert fetch(busy_desk, job, name).content == fetch(busy_desk, job, name).content


def test_the_table_opens_with_its_dictionary_beside_it(busy_desk, job) -> None:
    record = busy_desk.ask("GET", f"/api/jobs/{job}/record").json()
    rows = list(csv.DictReader(io.StringIO(fetch(busy_desk, job, "record.csv").text)))
    words = list(csv.DictReader(io.StringIO(fetch(busy_desk, job, "record-dictionary.csv").text)))
    assert [row["key"] for row in rows] == [item["key"] for item in record["items"]]
    assert set(rows[0]) == {word["name"] for word in words if word["what"] == "column"}
    named = {word["name"] for word in words if word["what"] == "item"}
    starred = {".".join("*" if part.isdigit() else part for part in row["key"].split(".")) for row in rows}
    assert starred <= named
    by_key = {row["key"]: row for row in rows}
    assert float(by_key["mix_l"]["value"]) == next(i["value"] for i in record["items"] if i["key"] == "mix_l")
    assert by_key["applicator"]["value"] == NAME
    assert by_key["notes"]["value"] == "'=1+1"
    units = {word["name"]: word["unit"] for word in words}
    assert all(row["unit"] in ("", units[row["key"]]) for row in rows if row["key"] in units)


def test_amendments_are_in_every_file(busy_desk, job) -> None:
    desk = busy_desk
    desk.ask("POST", f"/api/jobs/{job}/record/sign", {"name": "A. Grower"})
    change = {"key": "noncertified", "value": "T. Helper", "reason": "forgot him", "who": "A. Grower"}
    assert desk.ask("POST", f"/api/jobs/{job}/record/amendments", change).status_code == 201
    page = fetch(desk, job, "record.html").text
    table = fetch(desk, job, "record.csv").text
    printed = read_text(fetch(desk, job, "record.pdf").content).replace("\n", " ")
    for text in (page, table, printed):
        assert "T. Helper" in text
        assert "nobody" in text
        assert "forgot him" in text
    assert "Signed by A. Grower" in page


def test_the_raw_log_and_the_maps_come_with_the_job(busy_desk, job) -> None:
    assert fetch(busy_desk, job, "log.ndjson.gz").content[:2] == b"\x1f\x8b"
    assert fetch(busy_desk, job, "job.gpkg").content[:16] == b"SQLite format 3\x00"
    assert busy_desk.ask("GET", f"/api/jobs/{job}/files/record.doc").status_code == 404


def read_layer(file, name):
    """A layer as GDAL reads it, with any warning an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        meta, _, geometry, values = pyogrio.raw.read(file, layer=name)
    return meta, shapely.from_wkb(geometry), dict(zip(meta["fields"], values, strict=True))


def test_gdal_reads_the_geopackage_as_it_was_meant(reviewed, tmp_path) -> None:
    result, setup = reviewed
    layers = map_layers(result, setup)
    file = tmp_path / "job.gpkg"
    file.write_bytes(write_geopackage(layers, utc=result.end_utc))
    assert [name for name, _ in pyogrio.list_layers(file)] == ["zones", "passes", "track", "findings", "dose"]
    for layer in layers:
        meta, shapes, values = read_layer(file, layer.name)
        assert meta["crs"] == "EPSG:4326"
        assert len(shapes) == len(layer.features) > 0
        assert list(values) == list(layer.columns)
        for place, feature in enumerate(layer.features):
            is_line = feature.rings == ()
            meant = (
                shapely.LineString(feature.line) if is_line else shapely.Polygon(*feature.rings[:1], feature.rings[1:])
            )
            assert shapely.equals_exact(shapes[place], meant, 0.0)
            for name in layer.columns:
                told, wanted = values[name][place], feature.figures[name]
                is_gap = wanted is None and (told is None or told != told)
                assert is_gap or told == wanted, (layer.name, place, name)
        bounds = pyogrio.read_info(file, layer=layer.name, force_total_bounds=True)["total_bounds"]
        assert np.allclose(bounds, shapely.total_bounds(shapes), atol=1e-12)


def test_the_layers_hold_what_the_review_says(reviewed, tmp_path) -> None:
    result, setup = reviewed
    zones, passes, track, findings, dose = map_layers(result, setup)
    assert [feature.figures["name"] for feature in zones.features] == [zone.name for zone in setup.zones]
    assert [feature.figures for feature in passes.features] == pass_rows(result)
    assert tuple(passes.columns) == PASS_COLUMNS
    for feature, found in zip(passes.features, result.passes, strict=True):
        lon, lat = feature.line[:, 0], feature.line[:, 1]
        east = np.diff(lon) * np.cos(np.radians(lat[0])) * 111_320.0
        north = np.diff(lat) * 111_132.0
        # A degree's length by rule of thumb: good to half a per cent.
        assert np.hypot(east, north).sum() == pytest.approx(found.length_m, rel=0.05)
    assert sum(feature.figures["spraying"] for feature in track.features) >= len(result.passes) - 1
    assert len(findings.features) == len(result.findings)
    side = dose.features[0].figures["side_m"]
    litres = sum(feature.figures["l_per_m2"] for feature in dose.features) * side * side
    placed = float(result.dose.dose_l_per_m2.sum()) * result.dose.cell_m**2
    assert litres == pytest.approx(placed, rel=1e-6)


def test_the_geopackage_keeps_to_its_standard(reviewed) -> None:
    result, setup = reviewed
    content = write_geopackage(map_layers(result, setup), utc=result.end_utc)
    assert content == write_geopackage(map_layers(result, setup), utc=result.end_utc)
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.deserialize(content)
        # OGC 12-128r18, requirements 2, 6, 7, 11: application id, integrity, foreign keys, the three systems.
        assert connection.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        systems = {row[0] for row in connection.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert systems == {-1, 0, 4326}
        (head,) = connection.execute("SELECT substr(geom, 1, 4) FROM zones LIMIT 1").fetchone()
        assert head == b"GP\x00\x03"


def test_a_job_without_zones_or_fixes_still_makes_a_geopackage(reviewed, tmp_path) -> None:
    result, setup = reviewed
    from dataclasses import replace

    bare = tuple(replace(layer, features=()) for layer in map_layers(result, setup))
    file = tmp_path / "bare.gpkg"
    file.write_bytes(write_geopackage(bare, utc=float("nan")))
    for layer in bare:
        meta, shapes, _ = read_layer(file, layer.name)
        assert len(shapes) == 0
        assert meta["crs"] == "EPSG:4326"


def test_the_geojson_keeps_to_rfc_7946_and_in_is_out(reviewed) -> None:
    result, setup = reviewed
    layers = map_layers(result, setup)
    found = json.loads(json.dumps(geojson_object(layers)))
    by_layer = {
        name: [each for each in found["features"] if each["properties"]["layer"] == name]
        for name in ("zones", "passes", "findings")
    }
    assert sum(map(len, by_layer.values())) == len(found["features"])
    for zone, feature in zip(setup.zones, by_layer["zones"], strict=True):
        outside, *holes = feature["geometry"]["coordinates"]
        assert shapely.LinearRing(outside).is_ccw
        assert not any(shapely.LinearRing(hole).is_ccw for hole in holes)
        assert set(map(tuple, outside)) == set(zone.rings[0])
        assert feature["properties"]["area_m2"] == pytest.approx(ring_area(zone.rings[0]), rel=1e-8)
    for feature in by_layer["passes"]:
        assert feature["geometry"]["type"] == "LineString"
        assert all(-180 <= lon <= 180 and -90 <= lat <= 90 for lon, lat in feature["geometry"]["coordinates"])


def test_what_a_record_says_of_a_review_is_what_the_review_says(reviewed) -> None:
    result, setup = reviewed
    found = gather_measured(result, setup)
    assert found.volume_l == result.totals.volume_l
    assert found.passes == len(result.passes)
    assert found.passes_above == sum(each.wind_verdict == "above" for each in result.passes)
    assert result.start_utc <= found.start_utc < found.end_utc <= result.end_utc
    in_zones = result.totals.zone_area_m2 - result.totals.zone_missed_m2
    assert sum(zone.covered_m2 for zone in found.zones) == pytest.approx(in_zones, rel=1e-9)
    assert found.wind_worst.mean_mps >= max(found.wind_start.mean_mps, found.wind_end.mean_mps)
    assert found.wind_worst.mean_mps <= found.gust_mps


def test_export_writes_the_same_record_as_the_service(busy_desk, job, tmp_path) -> None:
    database = str(busy_desk.service.database)
    done = CliRunner().invoke(main, ["export", "--job", str(job), "--database", database, str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    for name in ("record.csv", "record.html", "job.gpkg", "job.geojson", "measured.json"):
        assert (tmp_path / "out" / name).read_bytes() == fetch(busy_desk, job, name).content, name


def test_a_pdf_is_made_by_a_program_of_its_own_so_that_the_service_stays_small(busy_desk, job, monkeypatch) -> None:
    def refuse(*_: object, **__: object) -> bytes:
        raise AssertionError("made in the service")

    monkeypatch.setattr("server.exports.recordpdf.write_pdf", refuse)
    answer = fetch(busy_desk, job, "record.pdf")
    assert answer.status_code == 200
    assert answer.content.startswith(b"%PDF-")
