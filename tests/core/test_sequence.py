"""What goes before what: practice and trials side by side, wrong orders, and an order to propose."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from seasons import BARRIER, CONDITIONER, ask, deeds, make_book, plan, spray, tell, without

from server.core.sequence import propose_order
from server.core.workcard import WorkCard


def core(day: str, **more) -> WorkCard:
    return WorkCard(day, "coring", **{"site": 1, **more})


def test_a_coring_after_a_pre_emergent_shows_practice_and_trials_and_forbids_nothing() -> None:
    """Handbook P4 against Purdue, Aerification following preemergence herbicide."""
    (matter,) = ask(make_book(spray(BARRIER, "2027-04-01"), core("2027-05-01")), "2027-05-02", kind="undoes")
    assert matter.state == "conflict"
    assert matter.severity == "tell"
    assert matter.sentence == "Coring came yesterday, after Barrier on 1 April on Mill Lane: it is thought to undo it."
    assert "P4" in matter.source
    assert "no loss of control" in matter.against
    assert "Purdue" in matter.against_source


def test_a_planned_coring_is_asked_about_before_it_is_done() -> None:
    (matter,) = ask(make_book(spray(BARRIER, "2027-04-01"), core("2027-05-10")), "2027-05-02", kind="undoes")
    assert matter.severity == "ask"
    assert "is planned on 10 May" in matter.sentence


def test_the_right_order_and_works_far_apart_or_elsewhere_raise_nothing() -> None:
    for works in (
        (core("2027-03-20"), spray(BARRIER, "2027-04-01")),
        (spray(BARRIER, "2027-04-01"), core("2027-08-01")),
        (spray(BARRIER, "2027-04-01"), core("2027-05-01", site=2)),
        (spray(BARRIER, "2027-04-01", zones=("Front",)), core("2027-05-01", zones=("Back",))),
    ):
        found = ask(make_book(*works), "2027-08-02")
        assert [each for each in found if each.kind in ("undoes", "before")] == []


def test_works_of_one_day_without_their_times_are_not_put_in_an_order() -> None:
    book = make_book(spray(BARRIER, "2027-04-01"), core("2027-04-01"))
    assert ask(book, "2027-04-02", kind="undoes") == []
    timed = make_book(spray(BARRIER, "2027-04-01", "09:00"), core("2027-04-01", time="15:00"))
    assert len(ask(timed, "2027-04-02", kind="undoes")) == 1


def test_one_wrong_order_is_told_once() -> None:
    """A rule of order and a rule of undoing for the same pair do not both speak of what is done."""
    book = make_book(spray(BARRIER, "2027-04-01"), core("2027-05-01"))
    assert ask(book, "2027-05-02", kind="before") == []
    kept = make_book(spray(BARRIER, "2027-04-01"), core("2027-05-01"), rules=without("coring-undoes"))
    assert len(ask(kept, "2027-05-02", kind="before")) == 1


def test_a_conditioner_before_the_pre_emergent_is_the_wrong_order() -> None:
    book = make_book(spray(CONDITIONER, "2027-04-01"), plans=(plan(BARRIER, "2027-04-10"),))
    (matter,) = ask(book, "2027-04-05", kind="before")
    assert matter.severity == "ask"
    assert matter.treatments == (1,)
    assert matter.sentence == (
        "Barrier is planned on 10 April, after Loosener on 1 April on Mill Lane: it usually goes first."
    )


def test_a_second_half_after_a_conditioner_is_no_wrong_order() -> None:
    works = (spray(BARRIER, "2027-04-01"), spray(CONDITIONER, "2027-04-20"), spray(BARRIER, "2027-05-20"))
    assert ask(make_book(*works), "2027-05-21", kind="before") == []


def test_open_holes_help_a_conditioner_for_four_weeks() -> None:
    """Handbook P6, common practice, no source."""
    cored = make_book(core("2027-04-01"))
    assert tell(cored, "2027-04-29", "23:59", kind="helps") == [
        ("due", "The coring of 1 April on Mill Lane still helps a conditioner until today.")
    ]
    assert tell(cored, "2027-04-30", "00:00", kind="helps") == []
    used = make_book(core("2027-04-01"), spray(CONDITIONER, "2027-04-03", zones=("Front",)))
    assert tell(used, "2027-04-10", kind="helps") == [
        ("due", "The coring of 1 April on Back of Mill Lane still helps a conditioner until 29 April.")
    ]
    late = make_book(core("2027-04-01"), plans=(plan(CONDITIONER, "2027-05-05"),))
    assert tell(late, "2027-04-10", kind="helps")[0][0] == "conflict"


def test_coring_pre_emergent_and_conditioner_are_proposed_in_this_order_with_reasons() -> None:
    """Handbook P4, common practice, no source."""
    book = make_book(
        core("2027-04-30"), plans=(plan(CONDITIONER, "2027-04-05"), plan(BARRIER, "2027-04-10"), plan(4, "2027-04-07"))
    )
    steps = propose_order(book, deeds(book, "2027-04-01")[1])
    names = [step.deed.name for step in steps]
    assert names.index("coring") < names.index("Barrier") < names.index("Loosener")
    reasons = dict(zip(names, (step.reasons for step in steps), strict=True))
    assert reasons["coring"] == ()
    assert any("coring" in reason for reason in reasons["Barrier"])
    assert any("Barrier" in reason for reason in reasons["Loosener"])


def test_rules_that_contradict_each_other_leave_the_order_of_the_days() -> None:
    rules = without(coring_first={"first": "pre_emergent", "second": "coring"})
    book = make_book(core("2027-04-10"), plans=(plan(BARRIER, "2027-04-05"),), rules=rules)
    steps = propose_order(book, deeds(book, "2027-04-01")[1])
    assert [step.deed.kind for step in steps] == ["treatment", "coring"]


@given(st.lists(st.tuples(st.sampled_from([1, 2, 3, 4, 0]), st.integers(1, 28)), max_size=8))
def test_a_proposed_order_holds_every_plan_once_and_breaks_no_rule_of_order(drawn) -> None:
    works = [core(f"2027-05-{day:02d}") for product, day in drawn if product == 0]
    plans = tuple(plan(product, f"2027-05-{day:02d}") for product, day in drawn if product)
    book = make_book(*works, plans=plans)
    planned = deeds(book, "2027-04-01")[1]
    steps = propose_order(book, planned)
    assert sorted(step.deed.mark for step in steps) == sorted(deed.mark for deed in planned)
    for first, second in (("coring", "pre_emergent"), ("pre_emergent", "conditioner")):
        places = [k for k, step in enumerate(steps) if second in step.deed.tags]
        assert all(k < min(places, default=99) for k, step in enumerate(steps) if first in step.deed.tags)


@pytest.mark.parametrize("day", ["2027-04-02", "2028-06-01"])
def test_a_wrong_order_of_a_year_ago_is_not_told_any_more(day) -> None:
    book = make_book(spray(BARRIER, "2027-03-25"), core("2027-04-01"))
    assert len(ask(book, day, kind="undoes")) == (1 if day < "2028" else 0)
