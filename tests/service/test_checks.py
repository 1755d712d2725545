"""Calibrating a sprayer through the API: pulses read from the rig, kept, put to use, due again."""

import json

import pytest
from deck import KNAPSACK, deal

from server.rawlog import Received

BOOT = "00aa00aa00aa00aa"
FLOW = "calmpass/1/rig-1/flow"
LITRES = 2.0


def catch_messages(runs, *, pulses_per_l=450.0, seconds=60.0, pause_s=20.0):
    """Flow messages of catches of two litres each, five a second; and each one's stretch on the rig's clock."""
    found, stretches, pulses, edge, seq, mono = [], [], 0, None, 0, 100.0
    per_s = LITRES * pulses_per_l / seconds
    for _ in range(runs):
        opened = mono + pause_s / 2.0
        stop = mono + pause_s + seconds
        stretches.append({"rig": "rig-1", "boot": BOOT, "start": mono + 2.0, "end": stop - 2.0})
        begun = pulses
        while mono < stop:
            mono += 0.2
            done = int(max(0.0, min(mono - opened, seconds)) * per_s + 1e-6)
            if begun + done > pulses:
                pulses = begun + done
                edge = opened + done / per_s
            body = {"boot": BOOT, "seq": seq, "mono": round(mono, 3), "pulses": pulses, "edge": edge and round(edge, 6),
                    "edges_rejected": 0}  # fmt: skip
            found.append(Received(FLOW, 1.78e9 + mono, json.dumps(body).encode()))
            seq += 1
    return found, stretches


def catch(stretches, volume=LITRES, **more):
    """The request for a catch test."""
    runs = [{"volume": {"value": volume, "unit": "L"}, "stretch": each} for each in stretches]
    return {"way": "catch", "runs": runs, "step": {"value": 20, "unit": "mL"}, **more}


def enter(desk, **more):
    """One sprayer."""
    answer = desk.ask("POST", "/api/sprayers", {**KNAPSACK, **more})
    assert answer.status_code == 201, answer.text
    return "/api/sprayers/1"


def test_pulses_and_times_are_read_from_the_rig_and_the_figure_is_put_to_use(desk) -> None:
    path = enter(desk)
    messages, stretches = catch_messages(3, pulses_per_l=495.0)
    desk.take(messages)
    early = desk.ask("POST", f"{path}/checks/look", catch(stretches[:2])).json()
    assert (early["is_usable"], "2 are too few" in early["refusal"]) == (False, True)
    assert early["runs"][0] == {"pulses": 990, "seconds": pytest.approx(60.0, abs=0.1)}
    kept = desk.ask("POST", f"{path}/checks", catch(stretches))
    assert kept.status_code == 201, kept.text
    found = kept.json()
    assert found["flow_l_per_min"] == pytest.approx(2.0, rel=2e-3)
    assert found["pulses_per_l"] == pytest.approx(495.0, rel=1e-3)
    assert (found["agreement"], found["applied_version"]) == ("differ", None)
    assert "tells 10.0% more than was caught" in found["words"][0]
    assert desk.ask("GET", path).json()["card"]["pulses_per_l"] == [450.0], "only the button puts it to use"
    used = desk.ask("POST", f"{path}/checks/{found['number']}/apply").json()
    assert {each["key"] for each in used["changes"]} == {"pulses_per_l", "meter_sd_percent"}
    assert used["card"]["version"] == used["applied_version"] == 2
    assert desk.ask("GET", path).json()["card"]["pulses_per_l"] == [pytest.approx(495.0, rel=1e-3)]
    assert [each["applied_version"] for each in desk.ask("GET", f"{path}/checks").json()] == [2]


def test_a_catch_that_is_too_small_is_kept_as_refused_and_cannot_be_put_to_use(desk) -> None:
    path = enter(desk)
    runs = [{"volume": {"value": 0.3, "unit": "L"}, "seconds": 10.0, "pulses": 135}] * 3
    kept = desk.ask(
        "POST", f"{path}/checks", {"way": "catch", "runs": runs, "step": {"value": 20, "unit": "mL"}}
    ).json()
    assert "catch at least 0.5 L" in kept["refusal"]
    refused = desk.ask("POST", f"{path}/checks/{kept['number']}/apply")
    assert refused.status_code == 409
    assert "was refused" in refused.json()["detail"]
    assert desk.ask("GET", f"{path}/due").json()["by"] == ["never"]


@pytest.mark.parametrize(
    ("body", "key", "words"),
    [
        ({"way": "guess"}, "way", "none of catch, walk, swath, rate"),
        ({}, "way", "is needed"),
        ({"way": "walk", "course": {"value": 100, "unit": "mi"}}, "course", "none of its units"),
        ({"way": "walk", "course": {"value": 1, "unit": "m"}}, "course", "is outside 3 to 1000 m"),
        ({"way": "walk", "course": {"value": 30, "unit": "m"}, "times_s": [0.5]}, "times_s", "outside 2 to 3,600 s"),
        ({"way": "catch", "runs": [{"seconds": -3}]}, "runs.0.seconds", "outside"),
    ],
)
def test_an_entry_that_cannot_be_meant_is_refused_by_name(desk, body, key, words) -> None:
    refused = desk.ask("POST", f"{enter(desk)}/checks/look", body)
    assert (refused.status_code, refused.json()["key"]) == (422, key)
    assert words in refused.json()["detail"]


def test_a_stretch_in_which_nothing_flowed_says_so(desk) -> None:
    path = enter(desk)
    messages, stretches = catch_messages(1)
    desk.take(messages)
    still = {**stretches[0], "end": stretches[0]["start"] + 5.0}
    refused = desk.ask("POST", f"{path}/checks/look", catch([still]))
    assert refused.status_code == 422
    assert "was the valve open" in refused.json()["detail"]
    elsewhere = {**stretches[0], "boot": "ffffffffffffffff"}
    assert desk.ask("POST", f"{path}/checks/look", catch([elsewhere])).json()["key"] == "runs.0.stretch"


def test_a_catch_with_a_pause_in_it_is_refused(desk) -> None:
    path = enter(desk)
    messages, stretches = catch_messages(2)
    desk.take(messages)
    both = {**stretches[0], "end": stretches[1]["end"]}
    refused = desk.ask("POST", f"{path}/checks/look", catch([both]))
    assert "the flow paused for 20 s in the middle" in refused.json()["detail"]


def test_a_walk_tells_its_pace_and_changes_nothing(desk) -> None:
    path = enter(desk)
    body = {"way": "walk", "course": {"value": 30, "unit": "m"}, "times_s": [25.0, 24.0, 26.0]}
    kept = desk.ask("POST", f"{path}/checks", body).json()
    assert kept["pace_mps"] == pytest.approx(1.2)
    assert kept["seconds_per_10_m"] == pytest.approx(8.333, abs=1e-3)
    assert desk.ask("POST", f"{path}/checks/{kept['number']}/apply").status_code == 409


def test_a_measured_pattern_becomes_the_sprayer_s_swath(desk) -> None:
    path = enter(desk)
    row = {"amounts": [0, 25, 50, 75, 100, 75, 50, 25, 0]}
    body = {"way": "swath", "spacing": {"value": 30, "unit": "cm"}, "rows": [row, row, row]}
    kept = desk.ask("POST", f"{path}/checks", body).json()
    assert (kept["swath_m"], kept["pattern"]) == (pytest.approx(1.2, rel=0.01), "triangle")
    desk.ask("POST", f"{path}/checks/{kept['number']}/apply")
    card = desk.ask("GET", path).json()["card"]
    assert (card["swath"], card["pattern"]) == ({"value": 1.2, "unit": "m"}, "triangle")


def test_it_is_due_again_by_a_later_check_beyond_doubt_and_a_catch_that_agrees_counts(desk) -> None:
    path = enter(desk)
    right = [
        {"volume": {"value": v, "unit": "L"}, "seconds": 60.0, "pulses": round(450 * v)} for v in (2.0, 2.02, 1.98)
    ]
    body = {"way": "catch", "runs": right, "step": {"value": 10, "unit": "mL"}}
    assert desk.ask("POST", f"{path}/checks", body).json()["agreement"] == "agree"
    fine = desk.ask("GET", f"{path}/due").json()
    assert (fine["is_due"], fine["litres_since"]) == (False, 0.0)
    assert fine["sentence"].startswith("Knapsack: calibrated today, 0 L sprayed since; due in")
    wrong = [{**each, "pulses": round(each["pulses"] * 1.1)} for each in right]
    drifted = desk.ask("POST", f"{path}/checks", {**body, "runs": wrong}).json()
    due = desk.ask("GET", f"{path}/due").json()
    assert due["by"] == ["drift"]
    assert "differs from the meter by +10.0 %" in due["sentence"]
    desk.ask("POST", f"{path}/checks/{drifted['number']}/apply")
    assert desk.ask("GET", f"{path}/due").json()["is_due"] is False
    card = desk.ask("GET", path).json()
    desk.ask("PUT", f"{path}?version={card['version']}", {**card["card"], "pulses_per_l": [470.0]})
    assert desk.ask("GET", f"{path}/due").json()["by"] == ["never"], "a figure altered by hand is nobody's calibration"


def test_litres_since_come_from_the_reviews_of_its_jobs(busy_desk) -> None:
    deal(busy_desk)
    due = {"due_volume": {"value": 0.2, "unit": "L"}}
    busy_desk.ask("PUT", "/api/sprayers/1?version=1", {**KNAPSACK, **due})
    right = [{"volume": {"value": 2.0, "unit": "L"}, "seconds": 60.0, "pulses": p} for p in (899, 900, 901)]
    body = {"way": "catch", "runs": right, "step": {"value": 10, "unit": "mL"}}
    busy_desk.ask("POST", "/api/sprayers/1/checks", body)
    span = {"start": ["0000000000000001", 0.0], "end": ["0000000000000001", 9e4]}
    made = busy_desk.ask("POST", "/api/jobs", {"name": "Lawn", **span, "papers": {"sprayer": 1}}).json()
    before = busy_desk.ask("GET", "/api/sprayers/1/due").json()
    assert (before["litres_since"], before["unknown_jobs"]) == (0.0, 1)
    litres = busy_desk.await_review(made["id"])["volume_l"]
    after = busy_desk.ask("GET", "/api/sprayers/1/due").json()
    assert (after["litres_since"], after["unknown_jobs"]) == (pytest.approx(litres, abs=1e-3), 0)
    assert after["by"] == ["use"], "more than the fifth of a litre that is set"
    assert busy_desk.ask("GET", "/api/sprayers/2/due").json()["by"] == ["never"]


def test_what_is_put_to_use_is_next_job_s_and_wear_is_told_against_the_first_catch_at_a_setting(busy_desk) -> None:
    deal(busy_desk)
    busy_desk.ask("PUT", "/api/next", {"sprayer": 1})

    def check(pulses, litres):
        runs = [{"volume": {"value": litres, "unit": "L"}, "seconds": 60.0, "pulses": pulses}] * 3
        body = {"way": "catch", "runs": runs, "step": {"value": 10, "unit": "mL"}, "setting": "dial 3"}
        return busy_desk.ask("POST", "/api/sprayers/1/checks", body).json()

    first = check(990, 2.0)
    assert first["wear"] is None
    busy_desk.ask("POST", f"/api/sprayers/1/checks/{first['number']}/apply")
    job = busy_desk.ask("POST", "/api/jobs", {"name": "Lawn", "start": "now"}).json()["id"]
    papers = busy_desk.ask("GET", f"/api/jobs/{job}/papers").json()
    assert papers["sprayer"]["version"] == 2
    assert busy_desk.ask("GET", "/api/next").json()["setup"]["flow_meter"]["pulses_per_l"] == 495.0
    worn = check(1114, 2.25)
    assert (worn["wear"], worn["wear_excess"]) == ("replace", pytest.approx(0.125, abs=1e-3))
    assert "at this pump setting" in worn["words"][-1]
