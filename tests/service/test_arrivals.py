"""What is new, in order and live: repeats, late ones, other starts, and a rig that sends what it kept."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig import wire
from server.arrivals import HASTE_S, LIVE_WITHIN_S, STARTS_KEPT, Arrivals, Order
from server.numbers import Numbers

BOOT, OTHER = "a1b2c3d4e5f6a7b8", "0011223344556677"


def flow(seq, mono=None, boot=BOOT):
    """A flow message taken five times a second."""
    return wire.Flow(boot, seq, seq / 5 if mono is None else mono, seq, None, 0)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 12)), max_size=25))
def test_numbers_are_the_set_of_what_was_put_in(ranges):
    found, model = Numbers(), set()
    for low, length in ranges:
        found.add(low, low + length)
        model |= set(range(low, low + length + 1))
    assert found.count == len(model)
    assert [n for n in range(60) if n in found] == sorted(model)
    assert found.settled == next(n for n in range(99) if n not in model) - 1
    assert found.highest == max(model, default=-1)
    assert found.missing == (max(model) - min(model) + 1 - len(model) if model else 0)


def test_numbers_take_the_widest_range_of_the_wire_in_no_time():
    found = Numbers([(0, 0), (5, wire.SEQ_LIMIT)])
    found.add(1, 4)
    assert found.settled == wire.SEQ_LIMIT


@given(st.lists(st.integers(0, 30), min_size=1, max_size=60))
def test_each_number_counts_once_in_whatever_order_it_comes(seqs):
    arrivals, seen = Arrivals(), []
    for seq in seqs:
        found = arrivals.place(flow(seq), 100.0)
        assert found is not None
        order = Order.REPEAT if seq in seen else Order.NEXT if seq > max(seen, default=-1) else Order.LATE
        assert found.order is order
        seen.append(seq)
    assert arrivals.missing == max(seen) - min(seen) + 1 - len(set(seen))


@pytest.mark.parametrize(("behind_s", "is_live"), [(LIVE_WITHIN_S - 0.01, True), (LIVE_WITHIN_S + 0.01, False)])
def test_live_is_within_five_seconds_of_the_quickest(behind_s, is_live):
    # The rule of wire.md, principle 5.
    arrivals = Arrivals()
    arrivals.place(flow(0), 50.0)
    found = arrivals.place(flow(1), 50.2 + behind_s)
    assert found is not None
    assert found.is_live is is_live
    assert found.behind_s == pytest.approx(behind_s)


def test_a_start_that_sends_an_hour_of_what_it_kept_is_not_to_be_trusted_before_it_has_caught_up():
    arrivals, steady = Arrivals(), []
    for seq in range(18_000):
        found = arrivals.place(flow(seq), 4000.0 + seq / 2000)
        assert found is not None
        steady.append(found.is_steady)
    now = 4009.0
    assert not any(steady)
    later = [arrivals.place(flow(seq), now + (seq - 18_000) / 5) for seq in range(18_000, 18_010)]
    assert [found is not None and found.is_steady for found in later][-3:] == [True, True, True]


def test_a_simulated_rig_at_twelve_times_its_pace_is_trusted():
    arrivals = Arrivals()
    found = [arrivals.place(flow(seq), 10.0 + seq / 60) for seq in range(600)]
    assert all(arrival is not None and arrival.is_live for arrival in found)
    assert all(arrival is not None and arrival.is_steady for arrival in found[60:])
    assert HASTE_S > 2 * 12


def test_what_comes_of_an_earlier_start_is_neither_live_nor_followed():
    arrivals = Arrivals()
    arrivals.place(flow(0, boot=OTHER), 10.0)
    arrivals.place(flow(0), 20.0)
    found = arrivals.place(flow(1, boot=OTHER), 20.1)
    assert found is not None
    assert (found.order, found.is_live, found.is_new_start) == (Order.EARLIER_START, False, False)
    assert arrivals.current is not None
    assert arrivals.current.boot == BOOT


def test_job_seconds_never_fall_when_the_clock_of_what_was_stored_was_wrong():
    arrivals = Arrivals()
    before = arrivals.place(flow(500, boot=OTHER), 90_000.0, is_stored=True)
    after = arrivals.place(flow(0), 300.0)
    assert before is not None
    assert after is not None
    assert after.t >= before.t


def test_what_was_stored_teaches_nothing_about_the_clock_of_now():
    arrivals = Arrivals()
    arrivals.place(flow(0), -1e6, is_stored=True)
    first = arrivals.place(flow(1), 70.0)
    assert first is not None
    assert first.is_live
    assert not first.is_steady


def test_until_a_rig_is_heard_again_the_newest_stored_message_tells_its_clock():
    arrivals = Arrivals()
    for seq, arrived in ((0, 4000.0), (1, 4000.1), (500, 4001.0)):
        arrivals.place(flow(seq), arrived, is_stored=True)
    assert arrivals.current is not None
    assert arrivals.current.smallest_s == 4001.0 - 100.0


def test_what_still_comes_of_a_start_long_gone_is_not_taken_for_a_new_one():
    arrivals = Arrivals()
    for number in range(STARTS_KEPT + 1):
        arrivals.place(flow(0, boot=f"{number:016x}"), 10.0 + number)
    assert arrivals.place(flow(1, boot=f"{0:016x}"), 30.0) is None
    assert arrivals.current is not None
    assert arrivals.current.boot == f"{STARTS_KEPT:016x}"


def test_an_operator_message_starts_nothing_and_misses_nothing():
    arrivals = Arrivals()
    assert arrivals.place(wire.Operator(BOOT, 4, 1.0, None, "peg", {}), 10.0) is None
    assert arrivals.current is None


def test_only_so_many_starts_are_remembered_and_none_of_what_they_missed_is_forgotten():
    arrivals = Arrivals()
    for number in range(3 * STARTS_KEPT):
        for seq in (0, 2):
            arrivals.place(flow(seq, boot=f"{number:016x}"), 10.0 + number)
    assert arrivals.missing == 3 * STARTS_KEPT
