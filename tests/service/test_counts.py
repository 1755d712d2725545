"""What the pulse lines counted since the rig was heard."""

import pytest

from rig import wire
from server.counts import Counts


def flow(mono: float, pulses: int, boot: str = "one") -> wire.Flow:
    return wire.Flow(boot, 0, mono, pulses, None, 0)


def squeeze(counts: Counts, *, from_s: float, seconds: float, hz: float, start: int) -> int:
    for step in range(round(5 * seconds) + 1):
        counts.take(from_s + step / 5, flow(from_s + step / 5, start + int(hz * step / 5)))
    return start + int(hz * seconds)


def test_pulses_from_before_the_rig_was_heard_are_not_counted() -> None:
    counts = Counts()
    counts.take(1.0, flow(1.0, 900))
    assert counts.tell(2.0).flow_pulses == 0
    assert counts.tell(2.0).flow_ago_s is None
    counts.take(3.0, flow(3.0, 912))
    found = counts.tell(5.5)
    assert (found.flow_pulses, found.flow_ago_s) == (12, 2.5)


def test_a_squeeze_has_a_rate_and_keeps_it_after_its_end() -> None:
    counts = Counts()
    counts.take(0.0, flow(0.0, 0))
    squeeze(counts, from_s=10.0, seconds=6.0, hz=9.0, start=0)
    assert counts.tell(40.0).flow_hz == pytest.approx(9.0, abs=0.35)  # whole pulses, five looks a second
    squeeze(counts, from_s=50.0, seconds=1.0, hz=30.0, start=54)
    assert counts.tell(60.0).flow_hz == pytest.approx(9.0, abs=0.35), "too short to tell a rate"


def test_a_new_start_of_the_device_counts_on() -> None:
    counts = Counts()
    counts.take(0.0, flow(0.0, 100))
    counts.take(1.0, flow(1.0, 110))
    counts.take(9.0, flow(0.2, 4, "two"))
    assert counts.tell(9.0).flow_pulses == 14


def test_an_instrument_without_pulses_turns_too() -> None:
    counts = Counts()
    counts.take(1.0, wire.Wind("one", 0, 1.0, None, None, None, 0.0))
    assert counts.tell(2.0).cup_ago_s is None
    counts.take(2.0, wire.Wind("one", 1, 2.0, None, None, None, 0.8))
    assert (counts.tell(3.0).cup_pulses, counts.tell(3.0).cup_ago_s) == (None, 1.0)
