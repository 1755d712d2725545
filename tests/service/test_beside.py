"""Two simulated jobs on one lawn beside each other, against what they truly left out and doubled."""

from typing import Any

import pytest

from firmware_sim.bench import write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.setup import save_setup
from server.rawlog import read_raw_log
from server.settings import read_setup

LONG_M = 20.0


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> list[Any]:
    """Seven strips of 1 m: the first job leaves out the 3rd and 7th, the second the 3rd, and walks the 5th twice."""
    folders = []
    for number, (missed, doubled) in enumerate((((2, 6), ()), ((2,), (4,))), start=1):
        folder = tmp_path_factory.mktemp("beside")
        plan = plan_strips(7, missed=missed, doubled=doubled, scatter_m=0.03)
        world = build_world(Scenario("beside", "", strip_lawn(7, LONG_M), plan), number, receiver_class="fixed")
        write_log(world.feed, folder / "log.ndjson.gz", rig="rig-1", boot=f"{number:016d}")
        save_setup(world.scenario, world.receiver.latency_s, folder)
        folders.append(folder)
    return folders


def test_what_both_jobs_missed_is_what_both_truly_left_out(desk, recorded) -> None:
    for number, folder in enumerate(recorded, start=1):
        desk.take([m for m in read_raw_log(folder / "log.ndjson.gz") if not m.topic.endswith("/event")])
        desk.portal.call(desk.service.jobs.save_setup, read_setup(folder / "setup.toml"))
        boot = f"{number:016d}"
        answer = desk.ask("POST", "/api/jobs", {"name": f"Job {number}", "start": [boot, 0.0], "end": [boot, 1e6]})
        assert answer.status_code == 201, answer.text
        if number == 1:
            refused = desk.ask("GET", "/api/jobs/1/beside/2")
            assert refused.status_code == 404
    for number in (1, 2):
        assert desk.await_review(number)["state"] == "ready"
    answer = desk.ask("GET", "/api/jobs/1/beside/2")
    assert answer.status_code == 200, answer.text
    found = answer.json()
    strip_m2 = LONG_M * 1.0
    # A strip's two borders each to 4 cm of its metre, its ends to 0.3 m of 20 m, and a cell: a tenth and more.
    assert found["ground_m2"] == pytest.approx(7 * strip_m2, rel=0.01)
    assert found["missed_m2"] == [pytest.approx(2 * strip_m2, rel=0.12), pytest.approx(strip_m2, rel=0.12)]
    assert found["missed_both_m2"] == pytest.approx(strip_m2, rel=0.15)
    by_chance_m2 = found["missed_m2"][0] * found["missed_m2"][1] / found["ground_m2"]
    assert found["missed_by_chance_m2"] == pytest.approx(by_chance_m2, rel=1e-3)
    assert found["doubled_m2"] == [pytest.approx(0.0, abs=2.0), pytest.approx(strip_m2, rel=0.15)]
    # One strip was left out of both, another out of the first only.
    assert found["together_under_m2"] == pytest.approx(2 * strip_m2, rel=0.15)
    assert [each["job"] for each in found["season"]] == [1, 2]
    assert sum(found["wanted_ninths_m2"]) == pytest.approx(found["ground_m2"])
    assert sum(found["season"][0]["missed_ninths_m2"]) == pytest.approx(found["missed_m2"][0], rel=1e-6)
    turned = desk.ask("GET", "/api/jobs/2/beside/1").json()
    assert turned["missed_both_m2"] == pytest.approx(found["missed_both_m2"], rel=0.05)
    assert turned["shift_m"] == [pytest.approx(-each, abs=0.01) for each in found["shift_m"]]
