"""Sites through the API: shapes checked, cut, brought along, walked, kept in versions and given out."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from squares import LAT_M, LON_M, SQUARE, ring

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import edges

from firmware_sim.bench import MONO_START_S, write_log
from firmware_sim.playback import carry_along
from firmware_sim.sensors.gnss import Receiver
from server.rawlog import read_raw_log

BOW = ring((0, 0), (20, 20), (20, 0), (0, 20))
HOLE = ring((5, 5), (5, 8), (9, 8), (9, 5))
BACK = ring((30, 0), (45, 0), (45, 12), (30, 12))
BOOT = "0123456789abcdef"


def feature(name, *polygons, **properties):
    """A GeoJSON feature."""
    parts = [[[list(corner) for corner in each] for each in rings] for rings in polygons]
    kind = "Polygon" if len(parts) == 1 else "MultiPolygon"
    geometry = {"type": kind, "coordinates": parts[0] if len(parts) == 1 else parts}
    return {"type": "Feature", "properties": {"name": name, **properties}, "geometry": geometry}


def collection(*features):
    """A FeatureCollection."""
    return {"type": "FeatureCollection", "features": list(features)}


def propose(desk, found):
    """What a file would make."""
    data = found if isinstance(found, bytes) else json.dumps(found).encode()
    return desk.ask("POST", "/api/sites/proposal", content=data)


def zone(name, *rings, kind="zone", **more):
    """A zone as the page sends it."""
    return {"name": name, "kind": kind, "rings": [list(map(list, each)) for each in rings], **more}


def test_geojson_comes_out_as_it_went_in_to_the_digit(desk) -> None:
    went_in = collection(
        feature("Vorgarten – Süd", [SQUARE, HOLE], kind="zone", source="imported"),
        feature("pond", [ring((2.0000001, 12), (4, 12), (4, 15.123456))], kind="keep_out", source="drawn"),
        feature("two lawns", [BACK], [ring((50, 0), (60, 0), (60, 9))], kind="zone", source="walked", area_sd_m2=4.25),
    )
    rows = propose(desk, went_in).json()
    assert [row["name"] for row in rows] == ["Vorgarten – Süd", "pond", "two lawns (1)", "two lawns (2)"]
    assert [row["notes"] for row in rows] == [[]] * 4
    made = desk.ask("POST", "/api/sites", {"name": "Home", "zones": [row["zone"] for row in rows]})
    assert made.status_code == 201, made.text
    out = desk.ask("GET", "/api/sites/1/geojson")
    assert out.headers["content-type"] == "application/geo+json"
    assert out.json() == went_in


def test_rings_wound_the_wrong_way_are_turned_and_said_to_be(desk) -> None:
    (row,) = propose(desk, collection(feature("Front", [SQUARE[::-1], HOLE[::-1]]))).json()
    assert row["zone"]["rings"] == [list(map(list, SQUARE)), list(map(list, HOLE))]
    assert "turned the way round" in row["notes"][0]


def test_each_feature_is_taken_or_refused_by_itself_with_its_reason_and_place(desk) -> None:
    found = collection(
        feature("Front", [SQUARE]),
        feature("Bow", [BOW]),
        {"type": "Feature", "properties": None, "geometry": {"type": "Point", "coordinates": [-30.0, 45.0]}},
        feature("Metres", [((500.0, 4700.0), (600.0, 4700.0), (600.0, 4800.0), (500.0, 4700.0))]),
        {"type": "Feature", "properties": {"name": "Nothing"}, "geometry": None},
        feature("Front", [BACK], kind="flower bed"),
        feature("Odd", [[["a", "b"], [1, 2]]]),
        feature("High", [[[*corner, 7.5] for corner in SQUARE]]),
    )
    rows = propose(desk, found).json()
    assert [row["zone"] is not None for row in rows] == [True, False, False, False, False, True, False, True]
    assert rows[0]["area_m2"] == pytest.approx(400.0, rel=1e-5)
    bow = rows[1]["flaws"][0]
    assert "crosses itself" in bow["problem"]
    assert bow["lon"] == pytest.approx(-30.0 + 10 * LON_M, abs=2e-9)
    assert rows[1]["rings"] == [list(map(list, BOW))], "so that it can be drawn"
    assert "Point, which has no area" in rows[2]["flaws"][0]["problem"]
    assert "not longitude and latitude in degrees" in rows[3]["flaws"][0]["problem"]
    assert "has no shape" in rows[4]["flaws"][0]["problem"]
    assert rows[5]["name"] == "Front 2"
    assert len(rows[5]["notes"]) == 2
    assert "neither zone nor keep_out" in rows[5]["notes"][0]
    assert "not rings" in rows[6]["flaws"][0]["problem"]
    assert rows[7]["notes"] == ["heights were left out"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "nothing was sent"),
        (b"lon,lat\n1,2\n", "no JSON"),
        (b"[1, 2]", "no GeoJSON with areas"),
        (b'{"type": "Topology"}', "no GeoJSON with areas"),
        (b'{"type": "FeatureCollection", "features": []}', "no shape in it"),
        (b"[" * 100_000, "no JSON"),
        (b" " * 2_000_001, "larger than 2 MB"),
    ],
    ids=lambda each: str(each)[:20],
)
def test_what_is_no_geojson_is_refused_in_one_line(desk, data, words) -> None:
    refused = propose(desk, data)
    assert refused.status_code == 422
    assert refused.json()["key"] == "file"
    assert words in refused.json()["detail"]


def test_a_number_that_is_none_in_a_file_is_refused_not_drawn(desk) -> None:
    text = json.dumps(collection(feature("Front", [SQUARE]))).replace("-30.0,", "NaN,", 1).encode()
    (row,) = propose(desk, text).json()
    assert "no number" in row["flaws"][0]["problem"]
    assert row["rings"] == []


@pytest.mark.parametrize("method", ["POST", "PUT"])
def test_a_wrong_shape_is_not_kept_and_its_place_is_told(desk, method) -> None:
    desk.ask("POST", "/api/sites", {"name": "Home", "zones": [zone("Front", SQUARE)]})
    path = "/api/sites" if method == "POST" else "/api/sites/1?version=1"
    refused = desk.ask(method, path, {"name": "Home", "zones": [zone("Front", SQUARE), zone("Bow", BOW)]})
    assert refused.status_code == 422
    assert refused.json()["key"] == "zones.1.rings"
    assert "Bow: its edge crosses itself" in refused.json()["detail"]
    assert f"at longitude {-30.0 + 10 * LON_M:.7f}, latitude {45.0 + 10 * LAT_M:.7f}" in refused.json()["detail"]
    twins = desk.ask(method, path, {"name": "Home", "zones": [zone("Front", SQUARE), zone(" front", BACK)]})
    assert twins.json()["key"] == "zones"
    assert "two are called" in twins.json()["detail"]
    assert len(desk.ask("GET", "/api/sites/1/versions").json()) == 1


def test_shapes_on_the_page_are_checked_without_being_kept(desk) -> None:
    draft = [zone("Front", SQUARE, HOLE), zone("Bow", BOW), zone("Pond", HOLE, kind="keep_out"), zone("Later")]
    found = desk.ask("POST", "/api/sites/check", {"zones": draft}).json()
    areas = [row["area_m2"] for row in found["zones"]]
    assert areas[0] == pytest.approx(388.0, rel=1e-5)
    assert areas[1] is None
    assert areas[3] == 0.0
    assert found["zones"][1]["flaws"][0]["lat"] == pytest.approx(45.0 + 10 * LAT_M, abs=2e-9)
    assert found["treated_m2"] == pytest.approx(388.0, rel=1e-5)
    assert found["cautions"] == ["Pond is a keep-out that lies in no zone"]
    assert desk.ask("GET", "/api/sites").json() == []


def test_a_shape_is_cut_in_two_and_a_line_that_parts_nothing_is_refused(desk) -> None:
    rings = zone("Front", SQUARE, HOLE)["rings"]
    across = [[-30.0 + 15 * LON_M, 45.0 - LAT_M], [-30.0 + 15 * LON_M, 45.0 + 21 * LAT_M]]
    pieces = desk.ask("POST", "/api/sites/cut", {"rings": rings, "line": across}).json()
    assert [piece["area_m2"] for piece in pieces] == pytest.approx([288.0, 100.0], rel=1e-4)
    assert [len(piece["rings"]) for piece in pieces] == [2, 1]
    beside = desk.ask("POST", "/api/sites/cut", {"rings": rings, "line": [[-30.1, 45.0], [-30.1, 45.1]]})
    assert beside.status_code == 422
    assert "does not part the shape" in beside.json()["detail"]
    crossed = desk.ask("POST", "/api/sites/cut", {"rings": zone("Bow", BOW)["rings"], "line": across})
    assert "crosses itself" in crossed.json()["detail"]


def test_history_tells_each_version_s_area_and_the_jobs_that_keep_it(busy_desk) -> None:
    desk = busy_desk
    desk.ask("POST", "/api/sites", {"name": "Home", "zones": [zone("Front", SQUARE)]})
    job = desk.ask("POST", "/api/jobs", {"name": "Spring", "papers": {"site": 1}})
    assert job.status_code == 201, job.text
    body = {"name": "Home", "zones": [zone("Front", SQUARE, HOLE), zone("Back", BACK)]}
    desk.ask("PUT", "/api/sites/1?version=1", body)
    newest, first = desk.ask("GET", "/api/sites/1/history").json()
    assert (newest["version"], first["version"]) == (2, 1)
    assert newest["treated_m2"] == pytest.approx(388.0 + 180.0, rel=1e-5)
    assert [each["name"] for each in newest["zones"]] == ["Front", "Back"]
    assert (newest["jobs"], first["jobs"]) == ([], [job.json()["id"]])
    before = desk.ask("GET", "/api/sites/1/geojson?version=1").json()
    assert before["features"][0]["geometry"]["coordinates"] == [list(map(list, SQUARE))]
    kept = desk.ask("GET", f"/api/lawn?job={job.json()['id']}").json()
    assert len(kept["zones"]) == 1
    assert len(kept["zones"][0]["rings_m"]) == 1, "the job keeps the shape of its day"
    assert desk.ask("GET", "/api/sites/9/history").status_code == 404


LAWN = np.array([[0.0, 0.0], [24.0, 2.0], [22.0, 16.0], [12.0, 12.0], [1.0, 17.0]])


def record(folder: Path, klass: str):
    """A walk round that lawn by the whole device program, and how long it took."""
    t, place, _ = edges.walk_edge(LAWN)
    still = (np.array([0.0, 1e4]), np.zeros(2), np.zeros(2))
    feed = carry_along((t, *place), still, receiver=Receiver(klass=klass), seed=3)
    write_log(feed, folder / "edge.ndjson", rig="rig-1", boot=BOOT)
    return list(read_raw_log(folder / "edge.ndjson")), float(t[-1])


def walked(until_s: float, **more):
    """The request for a walk."""
    interval = {"boot": BOOT, "start": MONO_START_S, "end": MONO_START_S + until_s}
    return {"rig": "rig-1", "interval": interval, **more}


def test_a_walk_round_the_edge_is_a_zone_with_its_area_and_how_sure_it_is(desk, tmp_path: Path) -> None:
    messages, until_s = record(tmp_path, "fixed")
    desk.take(messages)
    early = desk.ask("POST", "/api/sites/walk", walked(0.6 * until_s)).json()
    assert early["refusal"].startswith("the walk is open by")
    assert early["area_m2"] > 50.0
    found = desk.ask("POST", "/api/sites/walk", walked(until_s)).json()
    assert found["is_usable"], found
    assert found["area_m2"] == pytest.approx(edges.area_of(LAWN), abs=0.5 + 3.0 * found["area_sd_m2"])
    made = zone("Front", found["ring"], source="walked", area_sd_m2=found["area_sd_m2"])
    kept = desk.ask("POST", "/api/sites", {"name": "Home", "zones": [made]})
    assert kept.status_code == 201, kept.text
    assert kept.json()["card"]["zones"][0]["area_sd_m2"] == found["area_sd_m2"]
    wider = desk.ask("POST", "/api/sites/walk", walked(until_s, offset_m=0.5)).json()
    assert wider["area_m2"] - found["area_m2"] == pytest.approx(0.5 * found["length_m"], rel=0.05)


def test_no_walk_and_no_sense_are_refused(desk) -> None:
    nothing = desk.ask("POST", "/api/sites/walk", walked(90.0))
    assert nothing.status_code == 200
    assert not nothing.json()["is_usable"]
    assert nothing.json()["refusal"] != ""
    assert desk.ask("POST", "/api/sites/walk", walked(-1.0)).json()["key"] == "interval"
    assert desk.ask("POST", "/api/sites/walk", walked(90.0, offset_m=9.0)).status_code == 422
