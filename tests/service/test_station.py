"""The rig parked in the yard: a block a minute goes into the store, once, and can be browsed."""

import sqlite3
from math import nan

import pytest

from rig import wire
from server.core.blocks import Block
from server.core.setup import Anemometer, Treatment
from server.core.windfold import Second, WindState
from server.errors import UnknownError
from server.rawlog import Received
from server.station import Station
from server.store.connection import open_writer
from server.store.history import (
    Source,
    find_shelf,
    list_shelves,
    read_means,
    read_steps,
    remove_source,
    save_blocks,
)  # fmt: skip

BOOT = "00ff00ff00ff00ff"
BEGIN = 1_750_000_020.0
SLOPE = 0.34
LATE_S = 30.0
"""The rig is switched on so long after the begin of a minute."""


def block(minute, mean=2.0, known_s=60, **more):
    """A block with little to it."""
    fields = {"gust_mps": 3.0, "from_east": 0.6, "from_north": -0.8, "below_s": 0, "is_station": True, **more}
    return Block(minute, mean, known_s=known_s, **fields)


def parked(minutes, hz, *, from_s=0.0, velocity=(0.0, 0.0), boot=BOOT, utc=True):
    """What a rig sends that stands in a wind: counts five times a second, a fix each second."""
    found = []
    speed, course = velocity
    for i in range(int(minutes * 300) + 1):
        mono = round(from_s + i / 5, 3)
        pulses = int(mono * hz)
        edge = pulses / hz if pulses else None
        found.append(("wind", wire.Wind(boot, i, mono, pulses, edge, 0)))
        if i % 5 == 0:
            at = BEGIN + LATE_S + mono if utc else None
            fix = (boot, i // 5, mono, "fixed", at, 45.0, -30.0, None, speed, course, 9, 0.8, None, None)
            found.append(("position", wire.Position(*fix)))
    return [Received(wire.topic_of("yard", s), BEGIN + m.mono, wire.encode(m)) for s, m in found]


@pytest.fixture
def connection(tmp_path):
    """A new database's writing connection."""
    found = open_writer(tmp_path / "store.db")
    yield found
    found.close()


def browse(desk, minutes=10, step=60):
    """The history since the rig was parked, once all is written that waits to be."""
    desk.service.ingest.call(lambda writer: None).result(30)
    path = f"/api/history?from={BEGIN}&to={BEGIN + 60 * minutes}&step={step}"
    return desk.ask("GET", path).json()


def test_a_parked_rig_records_each_minute_at_its_cups_height(desk) -> None:
    desk.take(parked(3.6, hz=10.0))
    (series,) = browse(desk)["series"]
    (shelf,) = desk.service.jobs.read(list_shelves)
    cup = desk.service.jobs.setup.anemometer
    assert shelf.source == Source("rig", "yard", cup.height_m, 60)
    assert series["start_utc"] == [BEGIN + 60 * k for k in range(4)]
    assert series["mean_mps"][1:] == pytest.approx([cup.offset_mps + 10 * cup.mps_per_hz] * 3, abs=0.005)
    assert series["gust_3s_mps"][1:] == pytest.approx([cup.offset_mps + 10 * cup.mps_per_hz] * 3, abs=0.005)
    assert series["known_fraction"][1:] == [1.0] * 3
    assert series["station_fraction"] == [1.0] * 4
    assert series["from_deg"] == [None] * 4, "a standing cup tells no direction"


def test_a_wrong_date_that_the_receiver_told_once_stops_nothing() -> None:
    station = Station(Anemometer(SLOPE), Treatment(0.04))
    for t in range(400):
        second = Second(float(t), 3.0, False, 0.0, 0.0, 0.05, is_spraying=False)
        offset = BEGIN + (1e8 if 100 <= t < 102 else 0.0) + 0.2 * (t % 3)
        station.take(second, WindState(), offset)
    known = {block.minute * 60 - BEGIN: block.known_s for block in station.drain()}
    assert [known.get(60.0 * k) for k in (2, 3, 4, 5)] == [60] * 4


def test_the_same_messages_again_change_nothing(desk) -> None:
    messages = parked(3.1, hz=10.0)
    desk.take(messages)
    before = browse(desk)
    desk.take(messages)
    assert browse(desk) == before


def test_a_minute_costs_one_write(desk) -> None:
    """Each insertion into the blocks' table as SQLite itself reports it."""
    writes = []
    desk.service.ingest.call(
        lambda writer: writer.connection.set_trace_callback(
            lambda text: writes.append(text) if "INTO wind_block" in text else None
        )
    ).result(5)
    desk.take(parked(5.6, hz=10.0))
    desk.service.ingest.call(lambda writer: None).result(30)
    assert len(writes) == 6


def test_without_a_date_from_the_receiver_nothing_is_recorded(desk) -> None:
    desk.take(parked(2.1, hz=10.0, utc=False))
    assert browse(desk)["series"] == []


def test_a_walk_whose_wind_cannot_be_told_is_no_station_and_no_block(desk) -> None:
    """One heading leaves the wind open: nothing is recorded rather than the air past the rig."""
    desk.take(parked(2.1, hz=10.0, velocity=(1.2, 90.0)))
    recorded = [s["mean_mps"] for s in browse(desk)["series"]]
    assert recorded in ([], [[]])


def test_what_the_disk_refuses_is_stored_with_the_next_minute(desk, monkeypatch) -> None:
    from server.store import history

    save = history.save_blocks

    def refuse(*args):
        raise sqlite3.OperationalError("disk full")

    monkeypatch.setattr(history, "save_blocks", refuse)
    messages = parked(3.6, hz=10.0)
    desk.take(messages[: len(messages) // 2])
    assert browse(desk)["series"] == []
    monkeypatch.setattr(history, "save_blocks", save)
    desk.take(messages[len(messages) // 2 :])
    assert len(browse(desk)["series"][0]["start_utc"]) == 4


def test_of_one_minute_told_twice_by_a_rig_the_fuller_one_stays(connection) -> None:
    rig = Source("rig", "yard", 2.0)
    save_blocks(connection, rig, [block(10, 2.0, 40)])
    save_blocks(connection, rig, [block(10, 5.0, 20)])
    assert read_steps(connection, 1, from_utc=0, to_utc=1e6, step_s=60)[0][1] == 2.0
    save_blocks(connection, rig, [block(10, 3.0, 60)])
    assert read_steps(connection, 1, from_utc=0, to_utc=1e6, step_s=60)[0][1] == 3.0


def test_an_import_told_again_counts(connection) -> None:
    mast = Source("import", "mast", 10.0)
    save_blocks(connection, mast, [block(10, 2.0), block(11, 2.0)])
    save_blocks(connection, mast, [block(10, 1.0)])
    assert [row[1] for row in read_steps(connection, 1, from_utc=0, to_utc=1e6, step_s=60)] == [1.0, 2.0]


def test_steps_weigh_blocks_by_what_is_known_and_keep_the_highest_gust(connection) -> None:
    save_blocks(
        connection,
        Source("rig", "yard", 2.0),
        [block(10, 2.0, 60), block(11, 5.0, 30, gust_mps=7.5), block(12, 1.0, 60, from_east=nan, from_north=nan)],
    )
    (row,) = read_steps(connection, 1, from_utc=0, to_utc=1e6, step_s=600)
    assert row[:3] == (600, pytest.approx((120 + 150 + 60) / 150), 7.5)
    assert row[3:5] == (pytest.approx(0.6), pytest.approx(-0.8))


def test_other_heights_are_other_sources_and_a_removed_one_is_gone(connection) -> None:
    save_blocks(connection, Source("rig", "yard", 2.0), [block(10)])
    save_blocks(connection, Source("rig", "yard", 1.5), [block(11)])
    assert [shelf.blocks for shelf in list_shelves(connection)] == [1, 1]
    remove_source(connection, 1)
    with pytest.raises(UnknownError, match="no source 1"):
        find_shelf(connection, 1)
    assert connection.execute("SELECT count(*) FROM wind_block").fetchone() == (1,)


def test_the_past_is_told_by_the_end_of_each_block_and_thin_ones_are_missing(connection) -> None:
    save_blocks(connection, Source("rig", "yard", 2.0), [block(10, 2.5), block(11, 9.0, 44), block(12, 3.5, 45)])
    ends, means = read_means(connection, 1, from_utc=0.0, to_utc=1e6)
    assert ends.tolist() == [660.0, 720.0, 780.0]
    assert means[[0, 2]].tolist() == [2.5, 3.5]
    assert means[1] != means[1]
