"""The touch-up plan of a simulated job: through the API, in its files, beside the labels of its treatment."""

import csv
import io
from pathlib import Path
from typing import Any

import pytest

from firmware_sim.bench import write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.setup import save_setup
from server.core.papers import Papers, Reference
from server.packed import unpack_steps
from server.rawlog import read_raw_log
from server.settings import read_setup

BOOT = "0000000000000001"
FEED = {
    "name": "Feed", "rate_most": {"value": 3, "unit": "L/ha"}, "carrier_least": {"value": 200, "unit": "L/ha"},
    "carrier_most": {"value": 800, "unit": "L/ha"},
}  # fmt: skip


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with line 3 of 7 left out, the last one too, and line 5 walked twice."""
    folder = tmp_path_factory.mktemp("touchup")
    scenario = Scenario("touchup", "", strip_lawn(7, 20.0), plan_strips(7, missed=(2, 6), doubled=(4,), scatter_m=0.03))
    world = build_world(scenario, 1, receiver_class="fixed")
    write_log(world.feed, folder / "log.ndjson.gz", rig="rig-1", boot=BOOT)
    save_setup(world.scenario, world.receiver.latency_s, folder)
    return folder


@pytest.fixture
def mended(desk, recorded) -> Any:
    """A service with that job reviewed."""
    desk.take([m for m in read_raw_log(recorded / "log.ndjson.gz") if not m.topic.endswith("/event")])
    desk.portal.call(desk.service.jobs.save_setup, read_setup(recorded / "setup.toml"))
    answer = desk.ask("POST", "/api/jobs", {"name": "Lawn", "start": [BOOT, 0.0], "end": [BOOT, 1e6]})
    assert answer.status_code == 201, answer.text
    assert desk.await_review(1)["state"] == "ready"
    return desk


def test_the_plan_names_the_strips_that_were_truly_missed_and_the_one_that_was_doubled(mended) -> None:
    found = mended.ask("GET", "/api/jobs/1/touchup").json()
    assert {each["kind"] for each in found["repeats"]} == {"gap", "edge"}
    assert all(each["probability"] > 0.9 for each in found["repeats"])
    for each in found["repeats"]:
        assert each["length_m"] == pytest.approx(19.5, abs=1.6)
        assert each["width_m"] == pytest.approx(1.0, abs=0.2)
        assert each["volume_l"] == pytest.approx(each["length_m"] * found["target_l_per_m2"], rel=1e-6)
    assert [each["order"] for each in found["repeats"]] == [1, 2]
    assert [each["kind"] for each in found["alone"]] == ["doubled"]
    assert found["alone"][0]["times_target"] == pytest.approx(2.0, abs=0.2)
    assert found["alone"][0]["is_beyond_label"] is None, "no label was entered"
    assert found["untold_m"] == 0.0


def test_the_tanks_rest_is_taken_first(mended) -> None:
    need = mended.ask("GET", "/api/jobs/1/touchup").json()["mix"]
    assert need["mix_l"] == pytest.approx(need["need_l"])
    some = mended.ask("GET", "/api/jobs/1/touchup?tank_left_l=0.3").json()["mix"]
    assert (some["from_tank_l"], some["mix_l"]) == (0.3, pytest.approx(need["need_l"] - 0.3))
    refused = mended.ask("GET", "/api/jobs/1/touchup?tank_left_l=-1")
    assert (refused.status_code, refused.json()["key"]) == (422, "tank_left_l")


def test_the_labels_of_the_jobs_treatment_say_what_is_beyond_them(mended) -> None:
    cards = mended.service.office.cards
    for noun, body in (
        ("sites", {"name": "Yard", "zones": []}),
        ("products", FEED),
        ("treatments", {
            "name": "Spring", "site": 1, "target": {"value": 300, "unit": "L/ha"},
            "doses": [{"product": 1, "rate": {"value": 2, "unit": "L/ha"}}],
        }),
    ):  # fmt: skip
        made = mended.ask("POST", f"/api/{noun}", body)
        assert made.status_code == 201, made.text
    papers = Papers(treatment=Reference(1, 1), products=(Reference(1, 1),))
    mended.portal.call(cards.save_papers, 1, papers)
    changed = {**FEED, "rate_most": {"value": 30, "unit": "L/ha"}}
    assert mended.ask("PUT", "/api/products/1?version=1", changed).status_code == 200
    found = mended.ask("GET", "/api/jobs/1/touchup").json()
    assert found["label"]["most_times"] == pytest.approx(1.5), "as the card stood at the job"
    assert found["label"]["carrier_least_l_per_m2"] == pytest.approx(0.02)
    assert [each["is_beyond_label"] for each in found["alone"]] == [True]
    mix = found["mix"]
    (feed,) = mix["load"]["amounts"]
    # Product for the mix is its rate over the carrier rate: University of Georgia, 4 pt/acre in 25 gal/acre is 2 %.
    assert feed["volume_l"] == pytest.approx(mix["mix_l"] * 2e-4 / found["target_l_per_m2"], abs=2e-6)
    assert feed["volume_l"] + mix["load"]["carrier_l"] == pytest.approx(mix["mix_l"], abs=2e-5)
    enough = mended.ask("GET", "/api/jobs/1/touchup?tank_left_l=5").json()["mix"]
    assert enough["load"] is None


def test_a_tank_of_which_no_fill_is_known_is_not_taken_to_hold_anything(mended) -> None:
    assert mended.ask("GET", "/api/jobs/1/touchup").json()["mix"]["from_tank_l"] == 0.0, "never filled: not assumed"


def test_the_plan_is_among_the_jobs_files(mended) -> None:
    plan = mended.ask("GET", "/api/jobs/1/touchup").json()
    drawn = mended.ask("GET", "/api/jobs/1/files/touchup.geojson").json()
    kinds = [feature["properties"]["what"] for feature in drawn["features"]]
    assert kinds.count("repeat") == len(plan["repeats"])
    assert kinds.count("alone") == len(plan["alone"])
    for feature in drawn["features"]:
        assert feature["geometry"]["type"] == "LineString"
        for lon, lat in feature["geometry"]["coordinates"]:
            assert abs(lat - 45.0) < 0.01
            assert abs(lon + 30.0) < 0.01
    rows = list(csv.DictReader(io.StringIO(mended.ask("GET", "/api/jobs/1/files/touchup.csv").text)))
    assert [row["order"] for row in rows if row["what"] == "repeat"] == ["1", "2"]
    assert {row["what"] for row in rows} == {"repeat", "alone"}
    assert sum(float(row["volume_l"]) for row in rows if row["what"] == "repeat") == pytest.approx(plan["volume_l"])


def test_a_job_without_a_review_has_no_plan_yet(busy_desk) -> None:
    busy_desk.ask("POST", "/api/jobs", {"name": "open"})
    answer = busy_desk.ask("GET", "/api/jobs/1/touchup")
    assert answer.status_code == 404
    assert "touchup" in answer.json()["detail"]


def test_what_one_part_of_a_job_sprayed_is_not_sprayed_again_by_the_plan_of_the_other(mended) -> None:
    whole = mended.ask("GET", "/api/jobs/1/touchup").json()
    rows = list(csv.DictReader(io.StringIO(mended.ask("GET", "/api/jobs/1/files/passes.csv").text)))
    cut = (float(rows[2]["end_mono"]) + float(rows[3]["start_mono"])) / 2.0
    for name, ends in (("First", (0.0, cut)), ("Second", (cut, 1e6))):
        body = {"name": name, "start": [BOOT, ends[0]], "end": [BOOT, ends[1]]}
        assert mended.ask("POST", "/api/jobs", body).status_code == 201
    for number in (2, 3):
        assert mended.await_review(number)["state"] == "ready"
    alone = [mended.ask("GET", f"/api/jobs/{number}/touchup").json() for number in (2, 3)]
    mended.portal.call(mended.service.office.cards.save_papers, 3, Papers(part_of=2))
    parts = [mended.ask("GET", f"/api/jobs/{number}/touchup").json() for number in (2, 3)]
    for before, after in zip(alone, parts, strict=True):
        assert before["area_m2"] > whole["area_m2"] + 10.0, "the other part's ground looks missed"
        assert after["area_m2"] <= whole["area_m2"] + 1.0
        assert after["volume_l"] == pytest.approx(sum(each["volume_l"] for each in after["repeats"]), abs=1e-9)
    record = {each["key"]: each["value"] for each in mended.ask("GET", "/api/jobs/2/record").json()["items"]}
    missed = {each["key"]: each["value"] for each in mended.ask("GET", "/api/jobs/1/record").json()["items"]}
    assert record["missed_m2"] == pytest.approx(missed["missed_m2"], abs=1.5)


def test_what_is_drawn_says_when_each_pass_was_walked_and_how_sure_the_dose_of_each_cell_is(mended) -> None:
    passes, track, dose = (mended.ask("GET", f"/api/jobs/1/{name}").json() for name in ("passes", "track", "dose"))
    assert len(passes) == 6
    for each in passes:
        assert each["end_s"] - each["start_s"] == pytest.approx(each["end_utc"] - each["start_utc"], abs=0.05)
        wet = [s for t, s in zip(track["t_s"], track["spraying"], strict=True) if each["start_s"] < t < each["end_s"]]
        assert sum(wet) > 0.9 * len(wet) > 0
    assert all(sd is None or 0.0 < sd < 0.2 for sd in track["sd_m"]), "a receiver with fixed corrections"
    assert dose["swath_m"] == 1.0
    cells = unpack_steps(dose["step_l_per_m2"], dose["steps"])
    assert len(dose["sd_tenths"]) == dose["nx"] * dose["ny"] == len(cells)
    assert set(dose["sd_tenths"]) <= set("0123456789x")
    sure = [digit for digit, cell in zip(dose["sd_tenths"], cells, strict=True) if not cell]
    assert sure.count("0") > 0.5 * len(sure), "far from every pass nothing is doubted"
