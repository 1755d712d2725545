"""The wind's history over HTTP and on the command line: brought along, browsed, told again, forgotten."""

import json
import sys
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.__main__ import main
from server.history.mapping import read_mapping
from server.history.upload import LARGEST_FILE, Uploads
from server.store.history import Source, save_blocks

PROBLEM = "application/problem+json"
BEGIN = datetime(2025, 3, 1, tzinfo=UTC).timestamp()
MAPPING = {
    "time": [1], "speed": 2, "gust": 3, "direction": 4, "unit": "km/h", "date_order": "ymd", "zone": "UTC",
    "stamp": "begin", "height_m": 10.0,
}  # fmt: skip


def table(minutes=120, speed="7.2"):
    """A table of minutes with a head."""
    rows = [f"2025-03-01 {i // 60:02}:{i % 60:02},{speed},14.4,{(350 + 20 * (i % 2)) % 360}" for i in range(minutes)]
    return "\n".join(["Time,Wind speed (km/h),Wind gust (km/h),Wind direction", *rows, ""]).encode()


def bring(desk, data, name="mast", mapping=None, **more):
    """Import a table over HTTP."""
    told = json.dumps({**MAPPING, **(mapping or {})})
    return desk.ask("POST", "/api/history", params={"mapping": told, "name": name}, content=data, **more)


def browse(desk, **query):
    """The history of that day's first two hours."""
    query = {"from": BEGIN, "to": BEGIN + 7200, **query}
    return desk.ask("GET", "/api/history", params=query)


def check_problem(answer, status, *words, key=None):
    """See that an answer is a problem document that says so much."""
    assert (answer.status_code, answer.headers["content-type"]) == (status, PROBLEM), answer.text
    assert answer.json().get("key") == key
    for word in words:
        assert word in answer.json()["detail"]


def test_a_table_goes_from_its_head_to_the_history(desk) -> None:
    proposal = desk.ask("POST", "/api/history/proposal", content=table()[:2000]).json()
    assert proposal["columns"][1] == "Wind speed (km/h)"
    assert [doubt["key"] for doubt in proposal["doubts"]] == ["zone", "stamp", "height_m"]
    mapping = {**proposal["mapping"], "zone": "UTC", "stamp": "begin", "height_m": 10.0}
    report = bring(desk, table(), mapping=mapping)
    assert report.status_code == 201, report.text
    assert (report.json()["used_rows"], report.json()["added_blocks"], report.json()["notes"]) == (120, 120, [])
    found = browse(desk, step=3600).json()
    (source,) = found["sources"]
    assert (source["name"], source["kind"], source["height_m"], source["blocks"]) == ("mast", "import", 10.0, 120)
    (series,) = found["series"]
    assert series["start_utc"] == [BEGIN, BEGIN + 3600]
    assert series["mean_mps"] == [2.0, 2.0]
    assert series["gust_3s_mps"] == [4.0, 4.0]
    assert series["from_deg"] == pytest.approx([0.0, 0.0], abs=0.05)
    assert series["from_sd_deg"] == pytest.approx([10.0, 10.0], rel=0.02)
    assert series["known_fraction"] == [1.0, 1.0]


def test_the_same_table_again_adds_nothing_and_a_corrected_one_replaces(desk) -> None:
    bring(desk, table())
    before = browse(desk, step=60).json()
    assert bring(desk, table()).json()["added_blocks"] == 0
    assert browse(desk, step=60).json() == before
    assert bring(desk, table(), mapping={"unit": "m/s"}).json()["added_blocks"] == 0
    assert browse(desk, step=3600).json()["series"][0]["mean_mps"] == [7.2, 7.2]


def test_an_import_can_be_forgotten_and_a_rigs_own_record_cannot(desk) -> None:
    number = bring(desk, table()).json()["source"]
    assert desk.ask("DELETE", f"/api/history/{number}").status_code == 204
    assert browse(desk).json()["sources"] == []
    check_problem(desk.ask("DELETE", f"/api/history/{number}"), 404, "no source")
    save = desk.service.ingest.call(lambda writer: save_blocks(writer.connection, Source("rig", "yard", 2.0), []))
    save.result(5)
    check_problem(desk.ask("DELETE", "/api/history/1"), 409, "own record")


@pytest.mark.parametrize(
    ("query", "key"),
    [
        ({"to": BEGIN}, "to"), ({"step": 90}, "step"), ({"step": 60, "to": BEGIN + 1e7}, "step"),
        ({"step": 59}, "step"), ({"from": "nan"}, "from"), ({"from": "now"}, "from"), ({"source": 0}, "source"),
    ],
)  # fmt: skip
def test_a_question_that_makes_no_sense_is_refused_by_key(desk, query, key) -> None:
    check_problem(browse(desk, **query), 422, key=key)


def test_without_a_step_one_is_chosen_that_gives_no_more_than_can_be_drawn(desk) -> None:
    bring(desk, table())
    for days in (1, 30, 400):
        (series,) = browse(desk, to=BEGIN + 86400 * days).json()["series"]
        assert 86400 * days / series["step_s"] <= 3000
    check_problem(browse(desk, source=9), 404, "no source 9")


@pytest.mark.parametrize(
    ("mapping", "key", "word"),
    [
        ({"zone": None}, "zone", "not told"), ({"unit": "furlong"}, "unit", "m/s"),
        ({"speed": 9}, "columns", "column 9"), ({"colour": 1}, "colour", "not known"),
        ({"date_order": None, "time": [1], "speed": None}, "speed", "not told"),
    ],
)  # fmt: skip
def test_a_mapping_that_does_not_do_is_refused_by_key_and_nothing_is_stored(desk, mapping, key, word) -> None:
    check_problem(bring(desk, table(), mapping=mapping), 422, word, key=key)
    assert browse(desk).json()["sources"] == []


def test_tables_that_are_none_are_refused_in_a_sentence(desk) -> None:
    check_problem(bring(desk, b""), 422, "nothing was sent", key="file")
    check_problem(bring(desk, table(), mapping={"date_order": "dmy"}), 422, "120 of 120 rows cannot be read")
    check_problem(bring(desk, b"\x1f\x8b\x08\x00 not packed at all"), 422, "compressed file is broken")
    check_problem(desk.ask("POST", "/api/history/proposal", content=b""), 422, "nothing", key="file")
    check_problem(desk.ask("POST", "/api/history/proposal", content=b"\x00\x01"), 422, "not a table")
    for text in ("{", "[]", "[" * 3000, "1"):
        answer = desk.ask("POST", "/api/history", params={"mapping": text, "name": "a"}, content=table())
        check_problem(answer, 422, key="mapping")


def test_a_file_that_is_too_long_leaves_nothing_on_the_disk(desk, tmp_path) -> None:
    async def pieces():
        for _ in range(LARGEST_FILE // 2**20 + 1):
            yield b"x" * 2**20

    check_problem(bring(desk, pieces()), 422, "64 MB", key="file")
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".import")] == []


def test_an_import_that_ends_badly_is_told_and_the_next_one_works(desk) -> None:
    uploads = desk.service.uploads
    desk.service.uploads = Uploads(
        uploads._database, program=(sys.executable, "-c", "raise SystemExit('out of paper')")
    )
    check_problem(bring(desk, table()), 422, "out of paper")
    desk.service.uploads = uploads
    assert bring(desk, table()).status_code == 201


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(head=st.binary(max_size=300))
def test_whatever_head_is_sent_the_answer_is_an_answer(desk, head) -> None:
    answer = desk.ask("POST", "/api/history/proposal", content=head)
    assert answer.status_code in (200, 422), answer.text


def run(*words):
    """The command with its output."""
    return CliRunner().invoke(main, ["history", "import", *map(str, words)])


@pytest.fixture
def file(tmp_path, monkeypatch):
    """A table on the disk, and a command that leaves the tests' own program where it stands."""
    monkeypatch.setattr("server.__main__.step_back", lambda: None)
    found = tmp_path / "yard.csv"
    found.write_bytes(table())
    return found


def test_the_command_asks_for_what_the_file_does_not_say(file) -> None:
    done = run(file)
    assert done.exit_code == 1
    for option in ("--zone", "--stamp", "--height-m"):
        assert option in done.output
    looked = run(file, "--look")
    assert "Wind speed (km/h)" in looked.output
    assert "Tell --zone" in looked.output
    assert read_mapping(json.loads(run(file, "--look", "--json").output)["mapping"]).speed == 2


def test_the_command_imports_beside_a_running_service(desk, file, tmp_path) -> None:
    told = ("--zone", "UTC", "--stamp", "begin", "--height-m", 10, "--database", tmp_path / "db.sqlite3")
    done = run(file, *told)
    assert done.exit_code == 0, done.output
    assert "yard: 120 of 120 rows, 120 blocks of 60 s, 120 of them new" in done.output
    assert browse(desk).json()["sources"][0]["name"] == "yard"
    again = json.loads(run(file, *told, "--json", "--gust", "none", "--speed", "Wind gust (km/h)").output)
    assert (again["added_blocks"], again["median_mps"], again["highest_gust_mps"]) == (0, 4.0, None)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--speed", "Colour"), "no column"), (("--zone", "Nowhere"), "Nowhere"),
        (("--mapping", "nothing.json"), "no mapping"),
        (("--zone", "UTC", "--stamp", "begin", "--height-m", "0"), "0.3 to 200"),
    ],
)  # fmt: skip
def test_the_command_refuses_in_one_line(file, words, said) -> None:
    done = run(file, *words)
    assert done.exit_code == 1
    assert said in done.output
    assert "Traceback" not in done.output
