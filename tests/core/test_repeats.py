"""Programmes, least intervals, season's maxima and second halves."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from seasons import BARRIER, CONDITIONER, PRODUCTS, ask, deeds, make_book, plan, spray, tell

from server.core.day import minute_of, write_day
from server.core.entered import Stated
from server.core.treatmentcard import Dose
from server.core.workcard import WorkCard


def test_a_conditioner_is_due_from_21_to_28_days_after_the_last() -> None:
    """Handbook P5, common practice, no source."""
    book = make_book(spray(CONDITIONER, "2027-05-03"))
    days = ("2027-05-23", "2027-05-24", "2027-05-31", "2027-06-01")
    seen = {day: [each.state for each in ask(book, day, kind="repeat")] for day in days}
    assert seen == {"2027-05-23": ["later"], "2027-05-24": ["due"], "2027-05-31": ["due"], "2027-06-01": ["overdue"]}
    assert tell(book, "2027-05-20", kind="repeat") == [
        ("later", "Conditioner again on Mill Lane: from 24 May to 31 May.")
    ]


def test_a_programme_rests_outside_its_months_and_begins_anew_with_them() -> None:
    book = make_book(spray(CONDITIONER, "2027-10-20"))
    assert ask(book, "2027-10-25", kind="repeat") == []
    assert ask(book, "2028-04-10", kind="repeat") == []
    earlier = make_book(spray(CONDITIONER, "2027-09-20"))
    assert [each.state for each in ask(earlier, "2027-10-30", kind="repeat")] == ["overdue"]
    assert ask(earlier, "2028-05-01", kind="repeat") == []


def test_each_zone_has_a_programme_of_its_own() -> None:
    book = make_book(spray(CONDITIONER, "2027-05-03"), spray(CONDITIONER, "2027-05-17", zones=("Front",)))
    assert sorted(tell(book, "2027-05-25", kind="repeat")) == [
        ("due", "Conditioner again on Back of Mill Lane is due until 31 May."),
        ("later", "Conditioner again on Front of Mill Lane: from 7 June to 14 June."),
    ]


def test_a_plan_is_named_and_one_that_comes_too_early_is_asked_about() -> None:
    fitting = make_book(spray(CONDITIONER, "2027-05-03"), plans=(plan(CONDITIONER, "2027-05-26"),))
    assert tell(fitting, "2027-05-20", kind="repeat")[0][1].endswith("planned for 26 May.")
    early = make_book(spray(CONDITIONER, "2027-05-03"), plans=(plan(CONDITIONER, "2027-05-12"),))
    (matter,) = ask(early, "2027-05-10", kind="repeat")
    assert (matter.state, matter.severity) == ("conflict", "ask")


def test_the_least_interval_of_the_label_is_kept_in_sight() -> None:
    book = make_book(spray(BARRIER, "2027-04-01"))
    assert tell(book, "2027-04-10", kind="interval") == [
        ("wait", "Barrier not again on Mill Lane before 11 May: 40 days are the least.")
    ]
    assert tell(book, "2027-05-11", "00:00", kind="interval") == []
    early = make_book(spray(BARRIER, "2027-04-01"), plans=(plan(BARRIER, "2027-05-10"),))
    (matter,) = ask(early, "2027-04-10", kind="interval")
    assert matter.severity == "ask"
    assert matter.sentence.endswith("too soon: not before 11 May.")
    done = make_book(spray(BARRIER, "2027-04-01"), spray(BARRIER, "2027-05-10"))
    assert any("after 39 days" in words for _, words in tell(done, "2027-05-10", kind="interval"))
    other = make_book(spray(BARRIER, "2027-04-01"), plans=(plan(BARRIER, "2027-04-20", site=2),))
    assert [each.state for each in ask(other, "2027-04-10", kind="interval")] == ["wait"]


def test_applications_of_a_season_are_counted_against_the_labels_most() -> None:
    once = make_book(spray(BARRIER, "2027-04-01"))
    assert tell(once, "2027-04-10", kind="season_most_times") == [
        ("fact", "Barrier on Mill Lane: 1 of 2 applications used this season.")
    ]
    works = (spray(BARRIER, "2027-04-01"), spray(BARRIER, "2027-06-01"))
    planned = make_book(*works, plans=(plan(BARRIER, "2027-08-01"),))
    (matter,) = ask(planned, "2027-06-10", kind="season_most_times")
    assert (matter.state, matter.severity) == ("conflict", "ask")
    assert ask(make_book(*works), "2028-02-01", kind="season_most_times") == []


def test_two_jobs_of_one_day_are_one_application() -> None:
    book = make_book(spray(BARRIER, "2027-04-01", "09:00"), spray(BARRIER, "2027-04-01", "11:00"))
    assert [each.state for each in ask(book, "2027-04-10", kind="interval")] == ["wait"]
    assert "1 of 2 applications" in tell(book, "2027-04-10", kind="season_most_times")[0][1]


def test_a_plan_that_was_done_is_no_plan_any_more() -> None:
    plans = (plan(BARRIER, "2027-04-05"),)
    early, late, other = (
        make_book(WorkCard(day, "treatment", site=1, products=(BARRIER,), treatment=1), plans=plans)
        for day in ("2027-04-01", "2027-04-09", "2027-03-01")
    )
    assert deeds(early, "2027-04-10")[1] == deeds(late, "2027-04-10")[1] == ()
    assert len(deeds(other, "2027-04-10")[1]) == 1


def test_amounts_of_a_season_are_summed_in_the_labels_unit() -> None:
    """4 pt/acre is 1.469 fl oz/1000 ft2, handbook A28 (University of Georgia); the label's most here is 6 pt/acre."""
    first = spray(BARRIER, "2027-04-01", applied=(Dose(BARRIER, Stated(1.469, "fl oz/1000 ft2")),))
    second = spray(BARRIER, "2027-06-01", applied=(Dose(BARRIER, Stated(1.0, "pt/acre")),))
    (matter,) = ask(make_book(first, second), "2027-06-10", kind="season_most_amount")
    assert (matter.state, matter.sentence) == ("fact", "Barrier on Mill Lane: 5 of 6 pt/acre used this season.")
    unknown = make_book(first, spray(BARRIER, "2027-06-01"))
    assert "at least 4 of 6" in tell(unknown, "2027-06-10", kind="season_most_amount")[0][1]
    over = make_book(first, second, plans=(plan(BARRIER, "2027-08-01", rate=Stated(2.0, "pt/acre")),))
    assert tell(over, "2027-06-10", kind="season_most_amount")[0][0] == "conflict"


@pytest.mark.parametrize(("rate", "is_due"), [(2.0, True), (4.0, False)])
def test_the_second_half_follows_a_half_rate_after_6_to_8_weeks(rate, is_due) -> None:
    """Half, then half 6 to 8 weeks later: NC State AG-763W, handbook section 5."""
    book = make_book(spray(BARRIER, "2027-04-01", applied=(Dose(BARRIER, Stated(rate, "pt/acre")),)))
    expected = [("due", "The second half of Barrier on Mill Lane is due until 27 May.")] if is_due else []
    assert tell(book, "2027-05-13", kind="split") == expected
    if is_due:
        both = make_book(*book.works.values(), spray(BARRIER, "2027-05-20"))
        assert ask(both, "2027-05-21", kind="split") == []


@given(st.integers(0, 150), st.integers(0, 150))
def test_a_later_work_never_makes_a_repeat_due_sooner(first, second) -> None:
    begin = minute_of("2027-04-10")
    earlier, later = sorted((first, second))
    dues = []
    for offset in (earlier, later):
        day = write_day(begin + 1440 * offset)
        found = ask(make_book(spray(CONDITIONER, day)), day, "23:59", kind="repeat")
        dues += [(each.since, each.until) for each in found]
    if len(dues) == 2:
        assert dues[0][0] <= dues[1][0]
        assert dues[0][1] <= dues[1][1]


def test_products_that_are_not_known_any_more_raise_nothing() -> None:
    book = make_book(WorkCard("2027-05-01", "treatment", site=1, products=(99,)), products=PRODUCTS)
    assert [each.kind for each in ask(book, "2027-05-01")] == ["re_entry"]


def test_a_work_that_came_too_soon_and_the_wait_after_it_have_keys_of_their_own() -> None:
    found = ask(make_book(spray(BARRIER, "2027-04-01"), spray(BARRIER, "2027-04-02")), "2027-04-02", kind="interval")
    assert {each.state for each in found} == {"conflict", "wait"}
    assert len({each.key for each in found}) == 2
