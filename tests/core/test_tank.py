"""The tank by its fills and the flow meter."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.errors import EntryError
from server.core.flow import VolumeCurve
from server.core.tank import assume_full, check_fill, fill_tank, follow_tank, level_of

METER = {"meter_share": 0.02, "tank_l": 15.0}


def test_a_tank_of_which_nothing_was_said_is_taken_as_full_and_says_so() -> None:
    state = assume_full(15.0)
    assert state.is_assumed
    assert level_of(state, sprayed_l=4.0, meter_share=0.02).left_l.value == 11.0


def test_the_level_follows_the_meter_with_both_doubts() -> None:
    """GUM, equation 10: 2 % of a fill of 10 L and 2 % of 8 L counted are 0.2 and 0.16 L, together 0.256."""
    state = fill_tank(assume_full(15.0), {"added_l": 10.0}, sprayed_l=0.0, **METER)
    level = level_of(state, sprayed_l=8.0, meter_share=0.02)
    assert level.left_l.value == pytest.approx(2.0)
    assert level.left_l.sd == pytest.approx(0.256, abs=0.001)
    assert not level.is_contradiction


def test_what_is_added_comes_to_what_was_left_and_what_it_holds_replaces_it() -> None:
    state = fill_tank(assume_full(15.0), {"added_l": 10.0}, sprayed_l=0.0, **METER)
    topped = fill_tank(state, {"added_l": 5.0}, sprayed_l=8.0, **METER)
    assert level_of(topped, sprayed_l=9.0, meter_share=0.02).left_l.value == pytest.approx(6.0)
    known = fill_tank(topped, {"holds_l": 3.0}, sprayed_l=9.0, **METER)
    assert level_of(known, sprayed_l=9.0, meter_share=0.02).left_l.value == 3.0
    assert fill_tank(known, {}, sprayed_l=9.0, **METER).held.value == 15.0


def test_more_sprayed_than_filled_is_a_contradiction_and_an_empty_tank_owes_nothing() -> None:
    state = fill_tank(assume_full(15.0), {"added_l": 5.0}, sprayed_l=0.0, **METER)
    assert level_of(state, sprayed_l=6.0, meter_share=0.02).is_contradiction
    again = fill_tank(state, {"added_l": 5.0}, sprayed_l=6.0, **METER)
    assert again.held.value == 5.0


@pytest.mark.parametrize("odd", [{"added_l": "7"}, {"added_l": float("nan")}, {"added_l": -1.0}, {"holds_l": True}])
def test_what_is_no_volume_counts_as_the_plain_button(odd) -> None:
    assert fill_tank(assume_full(15.0), odd, sprayed_l=2.0, **METER).held.value == 15.0


@pytest.mark.parametrize("odd", [{"fill": [1]}, {"fill": {}, "holds_l": 1e308}, {"added_l": 1e200, "fill": "x"}])
def test_whatever_a_button_was_pressed_with_the_tank_is_followed(odd) -> None:
    curve = VolumeCurve(np.array([0.0, 100.0]), np.array([0.0, 12.0]), np.array([0.0, 5400.0]))
    state, _ = follow_tank(curve, [(50.0, odd), (60.0, odd)], **METER)
    assert (state.held.value, state.is_assumed) == (15.0, True)


def test_a_fill_that_stands_twice_in_the_log_was_poured_once() -> None:
    curve = VolumeCurve(np.array([0.0, 100.0]), np.array([0.0, 0.0]), np.array([0.0, 0.0]))
    fills = [(1.0, {"added_l": 4.0, "fill": 7}), (2.0, {"added_l": 4.0, "fill": 7}), (3.0, {"added_l": 4.0, "fill": 8})]
    assert follow_tank(curve, fills, **METER)[0].held.value == 8.0


def test_a_press_without_an_amount_stays_an_assumption_until_one_is_told() -> None:
    state = fill_tank(assume_full(15.0), {"added_l": 10.0}, sprayed_l=0.0, **METER)
    pressed = fill_tank(state, {}, sprayed_l=9.0, **METER)
    assert (pressed.held.value, pressed.from_l, pressed.is_assumed) == (15.0, 9.0, True)
    told = fill_tank(pressed, {"added_l": 3.0}, sprayed_l=9.0, **METER)
    assert (told.held.value, told.is_assumed) == (3.0, False)


def test_a_fill_that_does_not_go_in_is_refused() -> None:
    state = fill_tank(assume_full(15.0), {"added_l": 10.0}, sprayed_l=0.0, **METER)
    check_fill(state, sprayed_l=0.0, tank_l=15.0)
    with pytest.raises(EntryError, match="18 L would be in a tank of 15 L"):
        check_fill(fill_tank(state, {"added_l": 10.0}, sprayed_l=2.0, **METER), sprayed_l=2.0, tank_l=15.0)


@given(st.lists(st.floats(0.5, 7.0), min_size=1, max_size=8))
def test_litre_in_is_litre_out_over_any_fills(fills) -> None:
    """Each fill is sprayed out but for a litre before the next: what is left is what was poured less what went."""
    t, litres, told, filled, sprayed = [0.0], [0.0], [], 0.0, 0.0
    for place, litre in enumerate(fills):
        told.append((float(100 * place), {"added_l": litre}))
        filled += litre
        sprayed += max(0.0, filled - sprayed - 1.0)
        t += [100 * place + 1.0, 100 * place + 99.0]
        litres += [litres[-1], sprayed]
    curve = VolumeCurve(np.array(t), np.array(litres), np.array(litres) * 450.0)
    state, total = follow_tank(curve, told, **METER)
    assert total == pytest.approx(sprayed)
    assert level_of(state, sprayed_l=total, meter_share=0.02).left_l.value == pytest.approx(filled - sprayed, abs=1e-9)
