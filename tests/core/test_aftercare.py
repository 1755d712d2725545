"""After a treatment: watering in, keeping dry, keeping off; depths and hours of the handbook's publications."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from seasons import BARRIER, CONDITIONER, FEED, LEAF, PRODUCTS, RULES, ask, make_book, spray, tell, without

from server.core.day import minute_of, write_day
from server.core.entered import Stated
from server.core.workcard import WorkCard


def water(day: str, time: str = "", depth: Stated | None = None, kind: str = "watering", **more) -> WorkCard:
    return WorkCard(day, kind, site=1, time=time, water=depth, **more)


QUARTER = Stated(0.25, "in")


def test_a_product_that_must_be_watered_in_is_due_until_its_hours_are_over() -> None:
    book = make_book(spray(BARRIER, "2027-04-10", "09:30"))
    assert tell(book, "2027-04-10", kind="watering_in") == [
        ("due", "Water in Mill Lane by 09:30 on 12 April: 0.25 in.")
    ]
    assert tell(book, "2027-04-12", "09:30", kind="watering_in")[0][0] == "due"
    assert tell(book, "2027-04-12", "09:31", kind="watering_in") == [
        ("overdue", "Mill Lane should have been watered in by 09:30 today: 0.25 in.")
    ]
    assert tell(book, "2027-04-25", kind="watering_in") == [
        ("conflict", "Mill Lane was not watered in after Barrier of 10 April.")
    ]


def test_a_quarter_of_an_inch_waters_in_what_the_label_leaves_open() -> None:
    """A quarter of an inch: Kansas State turf blog, handbook section 5."""
    conditioner = make_book(spray(CONDITIONER, "2027-05-01", "08:00"))
    (matter,) = ask(conditioner, "2027-05-01", kind="watering_in")
    assert matter.sentence == "Water in Mill Lane by 08:00 tomorrow: 0.25 in."
    assert "Kansas State" in matter.source
    assert "no source" in matter.source
    wet = make_book(spray(CONDITIONER, "2027-05-01", "08:00"), water("2027-05-01", "18:00", Stated(6.35, "mm")))
    assert tell(wet, "2027-05-01", "19:00", kind="watering_in") == []


@pytest.mark.parametrize("kind", ["watering", "rain"])
def test_water_counts_by_its_depth_and_only_after_the_treatment(kind) -> None:
    before = make_book(spray(BARRIER, "2027-04-10", "09:30"), water("2027-04-10", "07:00", QUARTER, kind))
    assert tell(before, "2027-04-10", kind="watering_in")[0][0] == "due"
    little = make_book(spray(BARRIER, "2027-04-10", "09:30"), water("2027-04-11", "07:00", Stated(0.1, "in"), kind))
    assert tell(little, "2027-04-11", kind="watering_in") == [
        ("due", "Water in Mill Lane by 09:30 tomorrow: 0.25 in, 0.1 in so far.")
    ]
    twice = make_book(
        spray(BARRIER, "2027-04-10", "09:30"),
        water("2027-04-11", "07:00", Stated(0.1, "in"), kind),
        water("2027-04-11", "20:00", Stated(0.15, "in"), kind),
    )
    assert tell(twice, "2027-04-11", "21:00", kind="watering_in") == []


def test_a_watering_without_a_depth_is_asked_about() -> None:
    book = make_book(spray(BARRIER, "2027-04-10", "09:30"), water("2027-04-11", "07:00"))
    ((state, sentence),) = tell(book, "2027-04-11", kind="watering_in")
    assert state == "due"
    assert sentence.endswith("A watering is noted without its depth: how much was it?")


def test_zones_that_were_not_watered_stay_due() -> None:
    book = make_book(spray(BARRIER, "2027-04-10", "09:30"), water("2027-04-11", "07:00", QUARTER, zones=("Front",)))
    assert tell(book, "2027-04-11", kind="watering_in") == [
        ("due", "Water in Back of Mill Lane by 09:30 tomorrow: 0.25 in.")
    ]


def test_rain_without_a_site_fell_on_all_of_them() -> None:
    rain = WorkCard("2027-04-11", "rain", time="07:00", water=Stated(9.0, "mm"))
    both = (spray(BARRIER, "2027-04-10", "09:30"), spray(BARRIER, "2027-04-10", "11:00", site=2))
    assert len(ask(make_book(*both), "2027-04-11", kind="watering_in")) == 2
    assert ask(make_book(*both, rain), "2027-04-11", kind="watering_in") == []


def test_water_that_came_late_is_told_as_late() -> None:
    book = make_book(spray(BARRIER, "2027-04-10", "09:30"), water("2027-04-13", "07:00", QUARTER))
    assert tell(book, "2027-04-13", kind="watering_in") == [
        ("conflict", "Mill Lane was watered in late after Barrier of 10 April.")
    ]


@pytest.mark.parametrize("product", [LEAF, FEED])
def test_foliar_products_and_those_of_which_nothing_is_said_are_never_to_be_watered_in(product) -> None:
    assert ask(make_book(spray(product, "2027-05-01", "09:00")), "2027-05-01", kind="watering_in") == []


def test_a_mix_of_both_sorts_is_asked_about_and_not_told_to_be_watered() -> None:
    mixed = WorkCard("2027-05-01", "treatment", site=1, time="09:00", products=(BARRIER, LEAF))
    assert tell(make_book(mixed), "2027-05-01", kind="watering_in") == [
        (
            "conflict",
            "Barrier + Leafway: part of it is to be watered in, Leafway is not. Look at both labels.",
        )
    ]


def test_rain_within_24_hours_weakens_a_foliar_product() -> None:
    """Rain or irrigation within 24 h reduces foliar broadleaf products: Kansas State turf blog, handbook section 5."""
    sprayed = spray(LEAF, "2027-05-01", "09:00")
    assert tell(make_book(sprayed), "2027-05-01", kind="keep_dry") == [
        ("wait", "Keep Mill Lane dry until 09:00 tomorrow, after Leafway.")
    ]
    assert tell(make_book(sprayed), "2027-05-02", "09:00", kind="keep_dry") == []
    wet = make_book(sprayed, water("2027-05-01", "17:00", Stated(5.0, "mm"), "rain"))
    assert ("conflict", "5 mm of rain today came too soon after Leafway on Mill Lane: it is weaker for it.") in tell(
        wet, "2027-05-01", "18:00", kind="keep_dry"
    )
    later = make_book(sprayed, water("2027-05-02", "09:01", Stated(5.0, "mm"), "rain"))
    assert tell(later, "2027-05-02", "12:00", kind="keep_dry") == []
    earlier = make_book(sprayed, water("2027-05-01", "07:00", Stated(5.0, "mm"), "rain"))
    assert [state for state, _ in tell(earlier, "2027-05-01", kind="keep_dry")] == ["wait"]


def test_rain_of_which_the_hour_is_not_known_only_may_have_weakened_it() -> None:
    book = make_book(spray(LEAF, "2027-05-01", "09:00"), water("2027-05-01", "", Stated(5.0, "mm"), "rain"))
    assert any("may have come too soon" in words for _, words in tell(book, "2027-05-01", kind="keep_dry"))


def test_a_watering_planned_too_soon_is_asked_about() -> None:
    book = make_book(spray(LEAF, "2027-05-01", "09:00"), water("2027-05-02", "06:00"))
    found = [each for each in ask(book, "2027-05-01", kind="keep_dry") if each.state == "conflict"]
    assert [(each.severity, each.sentence) for each in found] == [
        ("ask", "Watering is planned tomorrow, but Mill Lane has to stay dry after Leafway.")
    ]


def test_people_stay_off_until_the_label_says_or_the_spray_has_dried() -> None:
    """Until dry: National Pesticide Information Center, handbook section 5; twelve hours are the label's."""
    assert tell(make_book(spray(BARRIER, "2027-04-10", "09:30")), "2027-04-10", kind="re_entry") == [
        ("wait", "Keep off Mill Lane until 21:30 today, and until the spray has dried.")
    ]
    assert tell(make_book(spray(FEED, "2027-04-10", "09:30")), "2027-04-10", kind="re_entry") == [
        ("wait", "Keep off Mill Lane until the spray has dried.")
    ]
    assert tell(make_book(spray(FEED, "2027-04-10", "09:30")), "2027-04-11", "00:00", kind="re_entry") == []


def test_a_rule_that_is_changed_or_put_aside_is_followed() -> None:
    works = (spray(CONDITIONER, "2027-05-01", "08:00"),)
    sooner = make_book(*works, rules=without(water_in={"within_h": 6.0, "water": Stated(4.0, "mm")}))
    assert tell(sooner, "2027-05-01", kind="watering_in") == [("due", "Water in Mill Lane by 14:00 today: 4 mm.")]
    assert ask(make_book(*works, rules=without("water-in")), "2027-05-01", kind="watering_in") == []
    off = make_book(*works, rules=without(water_in={"is_used": False}))
    assert ask(off, "2027-05-01", kind="watering_in") == []


def test_the_label_goes_before_the_rule_and_is_named_as_the_reason() -> None:
    (matter,) = ask(make_book(spray(BARRIER, "2027-04-10", "09:30")), "2027-04-10", kind="watering_in")
    assert matter.source.startswith("the label")
    assert matter.rule == next(number for number, rule in RULES.items() if rule.shipped == "water-in")


def test_a_job_of_which_nothing_is_known_asks_once_to_keep_off() -> None:
    book = make_book(WorkCard("2027-05-01", "treatment", time="09:00", job=7))
    assert tell(book, "2027-05-01") == [("wait", "Keep off the lawn until the spray has dried.")]


@given(st.integers(0, 47), st.integers(0, 47), st.sampled_from(["", "09:30"]))
def test_a_later_treatment_is_never_to_be_watered_in_sooner(first, second, time) -> None:
    ends = []
    for offset in sorted((first, second)):
        day = write_day(minute_of("2027-04-01") + 1440 * offset)
        (matter,) = ask(make_book(spray(BARRIER, day, time)), day, "12:00", kind="watering_in")
        ends.append(matter.until)
    assert ends[0] <= ends[1]


@given(st.lists(st.floats(0.0, 8.0), max_size=6))
def test_a_watering_in_is_done_exactly_when_its_depths_add_up(depths) -> None:
    """A quarter of an inch is 6.35 mm; 95 % of it count as all."""
    waters = [water("2027-04-11", f"{6 + k:02d}:00", Stated(depth, "mm")) for k, depth in enumerate(depths)]
    book = make_book(spray(BARRIER, "2027-04-10", "09:30"), *waters)
    is_open = bool(ask(book, "2027-04-11", "20:00", kind="watering_in"))
    total = sum(depths)
    if abs(total - 0.95 * 6.35) > 1e-6:
        assert is_open == (total < 0.95 * 6.35)


def test_without_hours_anywhere_a_watering_in_is_due_without_an_end() -> None:
    bare = replace(PRODUCTS[BARRIER], water_within_h=None, water_depth=None)
    book = make_book(spray(BARRIER, "2027-04-10"), rules={}, products={**PRODUCTS, BARRIER: bare})
    (matter,) = ask(book, "2027-04-11", kind="watering_in")
    assert (matter.state, matter.until) == ("due", None)
