"""The demo's paperwork is what a person could have entered, and the next job rests on it."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

from server.settings import read_setup
from server.showcase import lay_out_papers


def enter(desk, folder: Path) -> None:
    """Enter it as the demo does."""

    def ask(method: str, path: str, body: dict[str, Any] | None) -> Any:
        answer = desk.ask(method, path, body)
        assert answer.status_code < 300, (path, answer.text)
        return answer.json()

    lay_out_papers(ask, read_setup(folder / "setup.toml"), today=date.today())


def test_the_next_job_rests_on_all_of_it_and_its_settings_stay_the_demos(desk, straight) -> None:
    enter(desk, straight)
    found = desk.ask("GET", "/api/next").json()
    assert found["problem"] is None
    filled = {name for name, value in found["papers"].items() if value}
    assert filled >= {"site", "sprayer", "treatment", "products", "operator", "customer"}
    setup = read_setup(straight / "setup.toml")
    assert found["setup"]["treatment"]["target_l_per_m2"] == setup.treatment.target_l_per_m2
    assert found["setup"]["treatment"]["wind_limit_mps"] == setup.treatment.wind_limit_mps
    assert found["setup"]["sprayer"]["swath_m"] == setup.sprayer.swath_m
    assert found["setup"]["sprayer"]["tank_l"] == setup.sprayer.tank_l
    assert found["setup"]["flow_meter"]["pulses_per_l"] == setup.flow_meter.pulses_per_l
    assert desk.ask("GET", "/api/tank").json()["left_l"] == 5.0


def test_nothing_of_it_is_refused_on_the_mix_sheet_and_the_journal_lies_behind(desk, straight) -> None:
    enter(desk, straight)
    warned = desk.ask("GET", "/api/treatments/1/warnings").json()
    assert not warned["is_refused"], warned
    days = [each["card"]["day"] for each in desk.ask("GET", "/api/works").json()]
    assert len(days) == 4
    assert max(days) <= (date.today() - timedelta(days=1)).isoformat()


def test_what_is_there_already_is_left_alone(desk, straight) -> None:
    desk.ask("POST", "/api/sites", {"name": "My own"})
    enter(desk, straight)
    assert [each["card"]["name"] for each in desk.ask("GET", "/api/sites").json()] == ["My own"]
    assert desk.ask("GET", "/api/products").json() == []
