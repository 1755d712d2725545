"""A parked rig without a receiver: recorded only where it was said to stand, and the machine's clock is right."""

from math import nan

import pytest

from rig import wire
from server.clock import EARLIEST_UTC, judge_clock
from server.core.setup import Anemometer, FlowMeter, Setup, Sprayer, Treatment
from server.core.windfold import Second, WindState
from server.intake import Fresh
from server.live import Live
from server.station import SILENT_S, Station, Yard

BEGIN = 1_750_000_020.0
BOOT = "00ff00ff00ff00ff"
SETUP = Setup(Sprayer(1.0), FlowMeter(450.0), Treatment(0.04), anemometer=Anemometer(0.34, offset_mps=0.2))


def second(t, velocity=nan, *, is_spraying=False):
    """A second in a wind of 3 m/s; the velocity may be unknown."""
    return Second(float(t), 3.0, False, velocity, 0.0 * velocity, 0.05, is_spraying=is_spraying)


def record(seconds, *, stands=True):
    """The blocks of seconds, by their begin in minutes."""
    station = Station(Anemometer(0.34), Treatment(0.04), stands=stands)
    for each in seconds:
        station.take(each, WindState(), BEGIN)
    return [round(block.minute - BEGIN / 60) for block in station.drain()]


def test_a_rig_that_was_said_to_stand_needs_no_receiver() -> None:
    assert record(second(t) for t in range(1, 302)) == [0, 1, 2, 3, 4]


def test_otherwise_a_rig_without_a_receiver_records_nothing() -> None:
    assert record((second(t) for t in range(301)), stands=False) == []


def test_a_receiver_that_falls_silent_on_a_walk_makes_no_station_of_it() -> None:
    minutes = record(second(t, 1.2 if t < 60 else nan) for t in range(int(SILENT_S) + 301))
    assert minutes
    assert min(minutes) >= (60 + SILENT_S) // 60 - 1


def test_while_liquid_flows_nobody_stands_in_the_yard() -> None:
    assert record(second(t, is_spraying=t < 61) for t in range(301)) == []


@pytest.mark.parametrize(
    ("state", "utc", "found"),
    [
        (0, BEGIN, BEGIN - 100.0), (1, BEGIN, BEGIN - 100.0), (5, BEGIN, None), (-1, BEGIN, None),
        (0, EARLIEST_UTC - 1.0, None), (0, 0.0, None),
    ],
)  # fmt: skip
def test_a_clock_is_believed_only_where_the_system_says_that_it_is_set(state, utc, found) -> None:
    assert judge_clock(state, utc, 100.0) == found


def play(minutes, *, wall, stands=True, first_late_s=0.0, utc=None):
    """The blocks of a rig whose receiver tells nothing, as the live picture has them."""
    clock = [1000.0]
    live = Live(SETUP, now=lambda: clock[0], yard=Yard(stands, lambda: wall))
    found = []
    for k in range(int(minutes * 300) + 1):
        mono = round(k / 5, 3)
        clock[0] = 1000.0 + max(mono, first_late_s)
        live.take(Fresh("yard", wire.Wind(BOOT, k, mono, k * 2, max(mono - 0.01, 0.0), 0), clock[0], 0.0))
        if utc is not None and k % 5 == 0:
            fix = wire.Position(BOOT, k // 5, mono, "none", utc + mono, *[None] * 9)
            live.take(Fresh("yard", fix, clock[0], 0.0))
        found += live.station.drain()
    return [round(block.minute - BEGIN / 60) for block in found], [block.mean_mps for block in found]


def test_the_time_is_the_machines_where_the_receiver_tells_none() -> None:
    minutes, means = play(4.1, wall=BEGIN - 1000.0)
    assert minutes == [0, 1, 2, 3]
    assert means[1:] == pytest.approx([0.2 + 10 * 0.34] * 3, abs=0.01)


def test_first_messages_that_came_late_shift_no_minute() -> None:
    """Without the shift of 4 s the seconds before the full minute would lie behind it."""
    late, _ = play(4.1, wall=BEGIN - 1000.0 - 9.0, first_late_s=4.0)
    assert late == [-1, 0, 1, 2]


def test_a_clock_that_is_not_set_records_nothing() -> None:
    assert play(4.1, wall=None) == ([], [])


def test_the_receivers_date_counts_where_it_tells_one() -> None:
    minutes, _ = play(4.1, wall=BEGIN + 1e6, utc=BEGIN)
    known = [minute for minute in minutes if minute < 100]
    assert known == [0, 1, 2, 3]
