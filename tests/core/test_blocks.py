"""Minutes of wind from seconds: WMO's mean and gust, directions over north, calm, walks and gaps."""

from math import cos, isnan, nan, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.blocks import BlockSums, WindSecond, step_block, tell_direction

START = 1_700_000_040.0  # The begin of a minute.


def fold(seconds):
    """All blocks that the seconds complete."""
    sums, found = BlockSums(), []
    for second in seconds:
        sums, block = step_block(sums, second)
        if block is not None:
            found.append(block)
    return found


def steady(speeds, **more):
    """A second after the other from the begin of a minute, and one more that ends the last minute."""
    return [WindSecond(START + 1.0 + i, float(v), **more) for i, v in enumerate([*speeds, nan])]


@pytest.mark.parametrize(
    ("directions", "mean", "sigma"), [((359, 0, 1), 0.0, 0.81649), ((350, 10, 0, 20, 340), 0.0, 14.1486)]
)
def test_directions_over_north_are_averaged_as_yamartino_does(directions, mean, sigma) -> None:
    """Check rows of Yamartino (1984); the plain mean of 359, 0 and 1 would be 120."""
    angles = np.radians(directions)
    found = tell_direction(np.sin(angles).mean(), np.cos(angles).mean())
    assert (found[0] - mean + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-9)
    assert found[1] == pytest.approx(sigma, abs=5e-5)


def test_directions_that_cancel_are_not_told() -> None:
    assert all(isnan(found) for found in tell_direction(0.0, 0.0))
    assert all(isnan(found) for found in tell_direction(nan, nan))


@given(st.lists(st.floats(0.0, 40.0), min_size=60, max_size=240))
def test_mean_and_gust_are_those_of_the_definition(speeds) -> None:
    """WMO-No. 8: the mean of the minute's samples; the gust is the highest 3-s running mean (WMO-No. 306, 15.5.5)."""
    found = fold(steady(speeds))
    for k, block in enumerate(found[: len(speeds) // 60]):
        inside = np.array(speeds[60 * k : 60 * k + 60])
        before = np.array(speeds[max(60 * k - 2, 0) : 60 * k + 60])
        assert block.minute == START / 60 + k
        assert block.mean_mps == pytest.approx(inside.mean(), abs=1e-9)
        assert block.gust_mps == pytest.approx(np.convolve(before, np.full(3, 1 / 3), "valid").max(), abs=1e-9)
        assert block.known_s == 60


def test_a_gust_needs_three_known_seconds_in_a_row() -> None:
    speeds = [2.0] * 60
    speeds[20:23] = [9.0, nan, 9.0]
    (block,) = fold(steady(speeds))
    assert block.known_s == 59
    assert block.gust_mps == pytest.approx((9.0 + 2.0 + 2.0) / 3)
    holes = [second for i, second in enumerate(steady([2.0] * 60)) if i % 3 != 1]
    assert isnan(fold(holes)[0].gust_mps)


def test_a_cup_that_does_not_turn_is_neither_zero_nor_its_bound() -> None:
    (block,) = fold(steady([0.6] * 60, is_below=True))
    assert block.mean_mps == pytest.approx(0.3)
    assert block.below_s == 60


def test_a_minute_stood_is_a_stations_and_a_minute_walked_is_marked() -> None:
    (parked,) = fold(steady([3.0] * 60, minute_mean_mps=2.0, minute_gust_mps=4.0))
    (walked,) = fold(steady([3.0] * 60, is_standing=False, minute_mean_mps=2.0, minute_gust_mps=4.0))
    assert (parked.is_station, parked.mean_mps, parked.gust_mps) == (True, 3.0, pytest.approx(3.0))
    assert (walked.is_station, walked.mean_mps, walked.gust_mps) == (False, 2.0, 4.0)


def test_a_walk_that_ended_within_the_minute_keeps_the_mean_of_its_own_seconds() -> None:
    cut = [*steady([3.0] * 50, is_standing=False, minute_mean_mps=2.0)[:50], WindSecond(START + 100.0, 3.0)]
    assert fold(cut)[0].mean_mps == 3.0


def test_a_second_told_again_or_late_changes_nothing() -> None:
    once = steady(range(60))
    assert fold([second for second in once for _ in range(2)]) == fold(once)
    late = [*once[:30], once[3], *once[30:]]
    assert fold(late) == fold(once)


def test_a_minute_of_which_nothing_is_known_makes_no_block() -> None:
    assert fold(steady([nan] * 180)) == []


def test_the_mean_vector_holds_directions_exactly() -> None:
    seconds = [WindSecond(START + 1.0 + i, 2.0, from_deg=350.0 if i % 2 else 30.0) for i in range(61)]
    (block,) = fold(seconds)
    assert block.from_east == pytest.approx((sin(radians(350)) + sin(radians(30))) / 2)
    assert block.from_north == pytest.approx((cos(radians(350)) + cos(radians(30))) / 2)
    assert tell_direction(block.from_east, block.from_north)[0] == pytest.approx(10.0)
