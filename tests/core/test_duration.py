"""How long a job takes."""

from math import isnan, nan

import pytest

from server.core.duration import estimate_duration

GEAR = {"swath_m": 1.0, "pace_mps": 1.2, "target_l_per_m2": 0.04, "tank_l": 15.0, "tank_left_l": 15.0}


def test_walking_agrees_with_the_speed_of_work_in_extension_tables() -> None:
    """Speed of work: acres an hour = mph x swath in feet / 8.25 (43,560 ft² / 5,280 ft), extension tables, from memory.

    3 mph with a swath of 5.5 ft: 2 acres an hour.
    """
    found = estimate_duration(2 * 4046.8564, **{**GEAR, "swath_m": 5.5 * 0.3048, "pace_mps": 3 * 0.44704})
    assert found.walk_min == pytest.approx(60.0, rel=1e-4)


def test_fills_are_counted_from_what_is_in_the_tank() -> None:
    for area, left, fills in ((375.0, 15.0, 0), (376.0, 15.0, 1), (375.0, 0.0, 1), (1000.0, 10.0, 2), (750.0, 15.0, 1)):
        assert estimate_duration(area, **{**GEAR, "tank_left_l": left}).fills == fills, (area, left)


def test_a_square_lawn_has_as_many_turns_as_swaths_lie_side_by_side() -> None:
    found = estimate_duration(400.0, **GEAR)
    assert found.passes == 20
    assert found.turns_min == pytest.approx(20 * 5.0 / 60.0)


def test_nothing_left_takes_no_time() -> None:
    for area in (0.0, -3.0):
        assert estimate_duration(area, **GEAR).total_min == 0.0


@pytest.mark.parametrize("changed", [{"pace_mps": nan}, {"pace_mps": 0.0}, {"pace_mps": -1.0}])
def test_without_a_pace_no_time_is_known(changed) -> None:
    assert isnan(estimate_duration(400.0, **{**GEAR, **changed}).total_min)
    assert isnan(estimate_duration(nan, **GEAR).total_min)


@pytest.mark.parametrize("name", ["swath_m", "target_l_per_m2", "tank_l"])
def test_gear_that_cannot_be_is_refused(name) -> None:
    with pytest.raises(ValueError, match="above 0"):
        estimate_duration(400.0, **{**GEAR, name: 0.0})
