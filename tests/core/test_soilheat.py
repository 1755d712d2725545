"""Soil temperature: the thresholds of NC State and Ohio State, reached by one mean or by days in a row."""

import pytest
from seasons import BARRIER, ask, make_book, plan, soil, spray, tell, without

from server.core.day import minute_of
from server.core.entered import Stated, in_si
from server.core.errors import EntryError
from server.core.workcard import WorkCard

FOUR, ONE = Stated(4.0, "in"), Stated(1.0, "in")
ONLY_NC = without("soil-54")
ONLY_OHIO = without("soil-55")


def test_degrees_fahrenheit_become_celsius_by_their_definition() -> None:
    """From memory: 32 °F is 0 °C, 212 °F is 100 °C; 55 °F is 12.78 °C."""
    assert in_si(Stated(32.0, "°F"), measures="temperature") == 0.0
    assert in_si(Stated(212.0 / 4.0, "°F"), measures="temperature") == pytest.approx((53.0 - 32.0) / 1.8, abs=1e-12)
    assert in_si(Stated(55.0, "°F"), measures="temperature") == pytest.approx(12.7778, abs=1e-4)


@pytest.mark.parametrize(("value", "unit"), [(-31.0, "°C"), (61.0, "°C"), (-23.0, "°F"), (141.0, "°F")])
def test_temperatures_that_no_soil_has_are_refused_with_the_limits(value, unit) -> None:
    with pytest.raises(EntryError, match="is outside"):
        soil("2027-04-01", value, unit)


@pytest.mark.parametrize(("value", "unit"), [(-30.0, "°C"), (60.0, "°C"), (-22.0, "°F"), (140.0, "°F")])
def test_the_limits_themselves_may_be_entered(value, unit) -> None:
    assert soil("2027-04-01", value, unit).temperature == Stated(value, unit)


def test_a_soil_temperature_without_a_figure_is_refused() -> None:
    with pytest.raises(EntryError, match="temperature"):
        WorkCard("2027-04-01", "soil_temperature", site=1)


def test_a_mean_of_55_at_4_inches_is_the_time() -> None:
    """24-h mean at 4 in reaches 55 °F: NC State AG-763W, handbook section 5."""
    cold = soil("2027-04-01", 54.9, depth=FOUR, is_mean=True)
    assert tell(make_book(cold, rules=ONLY_NC), "2027-04-02", kind="soil_temperature") == [
        ("fact", "The soil of Mill Lane is at 54.9 °F yesterday; pre-emergent waits for 55 °F.")
    ]
    warm = make_book(cold, soil("2027-04-02", 55.0, depth=FOUR, is_mean=True), rules=ONLY_NC)
    assert tell(warm, "2027-04-02", kind="soil_temperature") == [
        ("due", "The soil of Mill Lane reached 55 °F today: pre-emergent is due.")
    ]


def test_two_readings_make_a_mean_and_one_is_called_so() -> None:
    morning, afternoon = soil("2027-04-01", 48.0, time="07:00"), soil("2027-04-01", 62.0, time="16:00")
    both = make_book(morning, afternoon, rules=ONLY_NC)
    assert "reached 55 °F today:" in tell(both, "2027-04-01", "17:00", kind="soil_temperature")[0][1]
    lone = make_book(afternoon, rules=ONLY_NC)
    assert "by one reading" in tell(lone, "2027-04-01", "17:00", kind="soil_temperature")[0][1]


def test_seven_days_of_54_in_the_upper_inch_are_the_time() -> None:
    """54 °F in the upper inch for 7 days: Ohio State, 7 April 2023, handbook section 5."""
    days = [soil(f"2027-04-{day:02d}", 54.0, depth=ONE, is_mean=True) for day in range(1, 8)]
    found = tell(make_book(*days, rules=ONLY_OHIO), "2027-04-07", kind="soil_temperature")
    assert found == [("due", "The soil of Mill Lane reached 54 °F for 7 days today: pre-emergent is due.")]
    six = tell(make_book(*days[1:], rules=ONLY_OHIO), "2027-04-07", kind="soil_temperature")
    assert six[0][0] == "fact"
    gap = tell(make_book(*days[:3], *days[4:], rules=ONLY_OHIO), "2027-04-07", kind="soil_temperature")
    assert gap[0][0] == "fact"


def test_readings_of_another_depth_do_not_count() -> None:
    deep = make_book(soil("2027-04-01", 60.0, depth=FOUR, is_mean=True), rules=ONLY_OHIO)
    assert ask(deep, "2027-04-01", kind="soil_temperature") == []
    near = make_book(soil("2027-04-01", 60.0, depth=Stated(10.0, "cm"), is_mean=True), rules=ONLY_NC)
    assert len(ask(near, "2027-04-01", kind="soil_temperature")) == 1


def test_what_was_waited_for_is_named_when_it_is_done_or_planned() -> None:
    warm = soil("2027-04-01", 56.0, depth=FOUR, is_mean=True)
    done = make_book(warm, spray(BARRIER, "2027-04-03"), rules=ONLY_NC)
    assert tell(done, "2027-04-04", kind="soil_temperature")[0] == (
        "fact",
        "The soil of Mill Lane reached 55 °F on 1 April; pre-emergent was done.",
    )
    planned = make_book(warm, plans=(plan(BARRIER, "2027-04-08"),), rules=ONLY_NC)
    assert tell(planned, "2027-04-04", kind="soil_temperature")[0][1].endswith("is due, planned for 8 April.")


def test_readings_of_last_year_say_nothing_of_this_one() -> None:
    book = make_book(soil("2027-04-01", 56.0, depth=FOUR, is_mean=True), rules=ONLY_NC)
    assert ask(book, "2028-03-01", kind="soil_temperature") == []
    assert ask(book, "2027-07-01", kind="soil_temperature")[0].state == "fact"
    assert minute_of("2027-04-01") % 1440 == 0
