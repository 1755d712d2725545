"""Of two labels the stricter one wins, in whatever units they state themselves."""

from math import inf

import pytest

from server.core.entered import Stated
from server.core.latitude import join_labels
from server.core.productcard import ProductCard

FEED = ProductCard(
    "Feed", Stated(6, "fl oz/1000 ft2"), carrier_least=Stated(1, "gal/1000 ft2"), carrier_most=Stated(3, "gal/1000 ft2")
)
HUMIC = ProductCard("Humic", Stated(3, "pt/acre"), carrier_least=Stated(500, "L/ha"))


def test_carrier_ranges_are_joined_and_the_least_room_above_the_rate_counts() -> None:
    found = join_labels([(FEED, Stated(3, "fl oz/1000 ft2")), (HUMIC, Stated(2, "pt/acre"))])
    # Penn State and Ohio State University Extension tables: 1 gal/1000 ft² is 407.5 L/ha.
    assert found.carrier_l_per_m2 == pytest.approx((0.05, 3 * 0.04075), rel=1e-3)
    assert (found.most_times, found.strictest) == (pytest.approx(1.5), "Humic")


def test_what_labels_do_not_say_is_not_told() -> None:
    bare = ProductCard("Bare", Stated(6, "fl oz/1000 ft2"))
    found = join_labels([(bare, Stated(2, "mL/L"))])
    assert (found.carrier_l_per_m2, found.most_times, found.strictest) == (None, None, "")
    assert join_labels(()).carrier_l_per_m2 is None
    assert join_labels([(HUMIC, Stated(3, "pt/acre"))]).carrier_l_per_m2 == (pytest.approx(0.05), inf)


def test_a_weight_is_compared_with_a_volume_by_the_density() -> None:
    heavy = ProductCard("Heavy", Stated(2, "kg/ha"), density=Stated(1.25, "kg/L"))
    assert join_labels([(heavy, Stated(0.8, "L/ha"))]).most_times == pytest.approx(2.0)
