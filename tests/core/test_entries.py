"""Every entry has limits, and says them."""

import math

import pytest

from server.core.entries import LIMITS, check_entry
from server.core.errors import EntryError


@pytest.mark.parametrize("field", sorted(LIMITS))
def test_every_field_takes_its_limits_and_nothing_beyond(field) -> None:
    least, most, unit = LIMITS[field]
    assert [check_entry(field, value) for value in (least, most)] == [least, most]
    for value in (least - 0.001 * (most - least), most * 1.001, -math.inf, math.inf, math.nan):
        with pytest.raises(EntryError) as caught:
            check_entry(field, value)
        assert caught.value.key == field
        assert caught.value.problem.endswith((f"{unit} is wanted", unit))


def test_the_line_says_value_and_limits_as_people_write_them() -> None:
    with pytest.raises(EntryError, match=r"^area: 2,500,000 m² is outside 1 to 1,000,000 m²$"):
        check_entry("area", 2.5e6)
    with pytest.raises(EntryError, match=r"^vessel step: a number from 0.0001 to 1 L is wanted$"):
        check_entry("vessel step", math.nan)
