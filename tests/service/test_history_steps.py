"""Steps of the history by the clocks of a place: local days, also where clocks change, and the scatter of a step."""

from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.blocks import Block
from server.history.steps import DAY_S, WEEK_S, Grid
from server.store.connection import open_writer
from server.store.history import Source, read_steps, save_blocks

ZONES = ["Europe/Berlin", "America/Los_Angeles", "Australia/Lord_Howe", "Asia/Kathmandu", "America/Santiago", "UTC"]


def at(zone, *parts):
    """An instant of a place's clocks, seconds since 1970 UTC."""
    return datetime(*parts, tzinfo=ZoneInfo(zone)).timestamp()


def block(minute, mean=2.0):
    """A minute's block of a standing rig."""
    return Block(minute, mean, 3.0, 0.6, -0.8, 60, 0, is_station=True)


@pytest.fixture
def connection(tmp_path):
    """A new database's writing connection."""
    found = open_writer(tmp_path / "store.db")
    yield found
    found.close()


def fill(connection, from_utc, to_utc, every_s=600):
    """Blocks of a minute, one every so often, of 1 m/s and 3 m/s in turns."""
    minutes = range(int(from_utc) // 60, int(to_utc) // 60, every_s // 60)
    save_blocks(connection, Source("rig", "yard", 2.0), [block(m, 1.0 + 2.0 * (k % 2)) for k, m in enumerate(minutes)])


def browse(desk, zone, begin, end, step):
    """The history by a zone's clocks."""
    answer = desk.ask("GET", "/api/history", params={"from": begin, "to": end, "step": step, "zone": zone})
    assert answer.status_code == 200, answer.text
    return answer.json()["series"][0]


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        # 30 March and 26 October 2025 by the rule of Directive 2000/84/EC: last Sundays of March and October.
        ("Europe/Berlin", (2025, 3, 30), 23), ("Europe/Berlin", (2025, 10, 26), 25),
        ("Europe/Berlin", (2025, 6, 1), 24), ("Australia/Lord_Howe", (2025, 4, 6), 24.5), ("UTC", (2025, 3, 30), 24),
    ],
)  # fmt: skip
def test_a_day_is_that_of_the_readers_clocks(desk, zone, day, hours) -> None:
    begin, end = at(zone, *day), at(zone, *day[:2], day[2] + 1)
    work = desk.service.ingest.call(lambda writer: fill(writer.connection, begin - DAY_S, end + DAY_S, 60))
    work.result(30)
    found = browse(desk, zone, begin, end, DAY_S)
    assert (found["start_utc"], found["end_utc"]) == ([begin], [end])
    assert (end - begin) / 3600 == hours
    assert found["known_fraction"] == [1.0]


@pytest.mark.parametrize("zone", ZONES)
@settings(max_examples=60, deadline=None)
@given(day=st.integers(0, 3600), step=st.sampled_from([10_800, 43_200, DAY_S, 2 * DAY_S, WEEK_S]))
def test_every_minute_lies_in_the_step_that_is_said_to_hold_it(zone, day, step) -> None:
    begin = 1_600_000_020 + DAY_S * day
    grid = Grid(step, ZoneInfo(zone))
    shifts = grid.find_shifts(begin, begin + 3 * WEEK_S)
    for utc in range(begin, begin + 3 * WEEK_S, 53 * 60):
        minute = utc // 60
        shift = [ahead for place, (since, ahead) in enumerate(shifts) if place == 0 or minute >= since][-1]
        number = (minute + shift) * 60 // step
        # Clocks put back over midnight show the end of a day again: its minutes still count to that day.
        slack = 3600 if zone == "America/Santiago" else 0
        assert grid.begin_of(number) <= utc < grid.begin_of(number + 1) + slack


def test_weeks_begin_on_monday() -> None:
    grid = Grid(WEEK_S, ZoneInfo("Europe/Berlin"))
    begins = [datetime.fromtimestamp(grid.begin_of(k), ZoneInfo("Europe/Berlin")) for k in range(2800, 2860)]
    assert {(each.weekday(), each.hour) for each in begins} == {(0, 0)}
    assert {b.date() - a.date() for a, b in pairwise(begins)} == {timedelta(days=7)}


def test_hours_are_those_of_utc_so_that_none_comes_twice(desk) -> None:
    begin = at("Europe/Berlin", 2025, 10, 26)
    desk.service.ingest.call(lambda writer: fill(writer.connection, begin, begin + 25 * 3600, 60)).result(30)
    found = browse(desk, "Europe/Berlin", begin, begin + 25 * 3600, 3600)
    assert [b - a for a, b in zip(found["start_utc"], found["end_utc"], strict=True)] == [3600] * 25


def test_scatter_is_that_of_the_blocks_means_and_of_one_block_not_known(connection, tmp_path) -> None:
    fill(connection, 0, 7200)
    rows = read_steps(connection, 1, from_utc=0, to_utc=7200, step_s=3600)
    assert [(row[1], row[8], row[9]) for row in rows] == [(2.0, pytest.approx(1.0), 6)] * 2
    rows = read_steps(connection, 1, from_utc=0, to_utc=7200, step_s=600)
    assert {row[9] for row in rows} == {1}


def test_one_block_has_no_scatter(desk) -> None:
    desk.service.ingest.call(lambda writer: fill(writer.connection, 0, 7200)).result(30)
    assert set(browse(desk, "UTC", 0, 7200, 600)["mean_sd_mps"]) == {None}
    assert browse(desk, "UTC", 0, 7200, 3600)["mean_sd_mps"] == [1.0, 1.0]


def test_days_stay_days_for_blocks_of_seven_minutes(desk) -> None:
    source = Source("import", "mast", 10.0, 420)
    blocks = [block(7 * k) for k in range(1000)]
    desk.service.ingest.call(lambda writer: save_blocks(writer.connection, source, blocks)).result(30)
    assert browse(desk, "UTC", 0, 4 * DAY_S, DAY_S)["start_utc"] == [0.0, DAY_S, 2.0 * DAY_S, 3.0 * DAY_S]


@pytest.mark.parametrize("zone", ["Nowhere/Town", "+25:00", "../etc/passwd", ""])
def test_a_zone_that_is_none_is_refused(desk, zone) -> None:
    answer = desk.ask("GET", "/api/history", params={"from": 0, "to": 7200, "zone": zone})
    assert (answer.status_code, answer.json()["key"]) == (422, "zone")
