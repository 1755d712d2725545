"""The season as a whole: one sentence, invariants over invented seasons, and the shipped rules themselves."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from seasons import BARRIER, CONDITIONER, LEAF, PRODUCTS, ask, make_book, plan, soil, spray, without

from server.core.day import is_growing, minute_of, tell_day, write_day, write_time
from server.core.entered import Stated
from server.core.errors import EntryError
from server.core.journal import Book, read_deeds
from server.core.matter import STATES
from server.core.rulecard import KINDS, PRACTICE, RuleCard
from server.core.season import choose_sentence, judge_season
from server.core.shippedrules import SHIPPED
from server.core.treatmentcard import Dose
from server.core.workcard import WorkCard

DAYS = st.integers(0, 240).map(lambda offset: write_day(minute_of("2027-03-01") + 1440 * offset))
TIMES = st.sampled_from(["", "06:00", "09:30", "17:45"])
WORKS = st.lists(
    st.one_of(
        st.builds(spray, st.sampled_from(list(PRODUCTS)), DAYS, TIMES, zones=st.sampled_from([(), ("Front",)])),
        st.builds(WorkCard, DAYS, st.sampled_from(["coring", "mowing"]), site=st.just(1), time=TIMES),
        st.builds(
            WorkCard, DAYS, st.sampled_from(["watering", "rain"]), site=st.sampled_from([1, None]), time=TIMES,
            water=st.sampled_from([None, Stated(2.0, "mm"), Stated(0.5, "in")]),
        ),
        st.builds(soil, DAYS, st.floats(30.0, 80.0)),
    ),
    max_size=9,
)  # fmt: skip


def sentence(book, day: str, time: str = "12:00") -> str:
    now = minute_of(day, time)
    return choose_sentence(judge_season(book, now), now)


def test_the_front_page_says_what_cannot_be_made_good_later() -> None:
    works = (WorkCard("2027-04-02", "coring", site=1), spray(CONDITIONER, "2027-04-02", "14:00", site=2))
    assert sentence(make_book(*works, spray(BARRIER, "2027-04-10", "18:00")), "2027-04-12", "10:00").startswith(
        "Water in Mill Lane by 18:00 today: 0.25 in."
    )
    assert sentence(make_book(), "2027-04-12") == "Nothing is due."
    assert sentence(make_book(spray(LEAF, "2027-05-01", "09:00")), "2027-05-01") == (
        "Keep Mill Lane dry until 09:00 tomorrow, after Leafway. And 1 more."
    )


def test_a_season_of_our_own_gives_the_matters_that_we_reckoned_by_hand() -> None:
    """Coring, then a pre-emergent, a conditioner forgotten, a leaf product rained on, a second coring too late."""
    book = make_book(
        WorkCard("2027-03-20", "coring", site=1),
        soil("2027-04-01", 56.0, depth=Stated(4.0, "in"), is_mean=True),
        spray(BARRIER, "2027-04-02", "10:00", applied=(Dose(BARRIER, Stated(4.0, "pt/acre")),)),
        WorkCard("2027-04-03", "watering", site=1, time="07:00", water=Stated(7.0, "mm")),
        spray(CONDITIONER, "2027-04-05", "10:00"),
        WorkCard("2027-04-05", "rain", time="20:00", water=Stated(8.0, "mm")),
        spray(LEAF, "2027-05-02", "11:00"),
        WorkCard("2027-05-02", "rain", time="15:00", water=Stated(3.0, "mm")),
        WorkCard("2027-05-08", "coring", site=1),
        plans=(plan(BARRIER, "2027-05-11"),),
    )
    states = {(each.kind, each.state) for each in ask(book, "2027-05-09")}
    assert states == {
        ("repeat", "overdue"), ("keep_dry", "conflict"), ("undoes", "conflict"), ("helps", "due"),
        ("interval", "conflict"), ("season_most_times", "fact"), ("season_most_amount", "conflict"),
        ("soil_temperature", "fact"), ("plan", "later"),
    }  # fmt: skip


def test_a_plan_is_due_on_its_day_overdue_until_it_is_done_and_asked_about_far_away() -> None:
    plans = (plan(BARRIER, "2027-04-05"),)
    seen = {
        day: [(each.state, each.severity) for each in ask(make_book(plans=plans), day, kind="plan")]
        for day in ("2026-02-01", "2027-04-04", "2027-04-05", "2027-04-06", "2027-07-01")
    }
    assert list(seen.values()) == [
        [("conflict", "ask")], [("later", "tell")], [("due", "tell")], [("overdue", "tell")], [("conflict", "ask")],
    ]  # fmt: skip
    assert sentence(make_book(plans=plans), "2027-04-06") == (
        "Barrier was planned yesterday on Mill Lane and is not noted as done."
    )
    done = make_book(WorkCard("2027-04-06", "treatment", site=1, products=(BARRIER,), treatment=1), plans=plans)
    assert ask(done, "2027-04-06", kind="plan") == []
    coring = WorkCard("2027-04-05", "coring", site=1, is_plan=True)
    assert [each.state for each in ask(make_book(coring), "2027-04-06", kind="plan")] == ["overdue"]
    assert ask(make_book(coring), "2027-04-06", kind="helps") == []
    assert ask(make_book(replace(coring, is_plan=False)), "2027-04-06", kind="plan") == []


@given(WORKS, DAYS, st.sampled_from(["note", "mowing"]))
def test_a_work_that_no_rule_speaks_of_or_on_another_site_changes_nothing(works, day, kind) -> None:
    book = make_book(*works)
    more = replace(book, works={**book.works, 99: WorkCard(day, kind, site=1), 98: spray(BARRIER, day, site=2)})
    before, after = ([each for each in ask(found, day) if each.site == 1] for found in (book, more))
    assert before == after


@given(WORKS, DAYS)
def test_each_matter_has_a_key_of_its_own_a_reason_and_a_source(works, day) -> None:
    found = ask(make_book(*works, plans=(plan(BARRIER, "2027-06-01"),)), day)
    keys = [each.key for each in found]
    assert len(set(keys)) == len(keys)
    for each in found:
        assert each.state in STATES
        assert each.severity in ("ask", "tell")
        assert each.reason
        assert each.source
        assert each.sentence.endswith((".", "?"))
        assert each.until is None or each.since <= each.until


@given(WORKS, DAYS)
def test_what_is_due_stays_due_until_it_is_done_or_its_time_is_over(works, day) -> None:
    """From one day to the next a due matter that nothing was done about is due, overdue or gone by its own end."""
    book = make_book(*works)
    tomorrow = write_day(minute_of(day) + 1440)
    if any(work.day in (day, tomorrow) for work in works):
        return
    later = {each.key: each for each in ask(book, tomorrow)}
    for each in ask(book, day):
        if each.kind == "watering_in" and each.state == "due":
            assert later[each.key].state in ("due", "overdue")


@pytest.mark.parametrize(
    ("fields", "key"),
    [
        ({"kind": "before", "first": "coring"}, "second"),
        ({"kind": "repeat", "first": "mowing"}, "days_least"),
        ({"kind": "soil_temperature", "first": "pre_emergent"}, "temperature"),
        ({"kind": "repeat", "first": "mowing", "days_least": 9.0, "days_most": 5.0}, "days_most"),
        ({"kind": "repeat", "first": "mowing", "days_least": 9.0, "first_month": 13.0}, "first_month"),
        ({"kind": "forbid"}, "kind"),
    ],
)
def test_a_rule_that_says_nothing_or_cannot_be_meant_is_refused_by_its_field(fields, key) -> None:
    with pytest.raises(EntryError) as refused:
        RuleCard("Ours", **fields)
    assert refused.value.key == key


def test_every_shipped_rule_has_its_reason_and_source_and_every_kind_is_there() -> None:
    assert {rule.kind for rule in SHIPPED.values()} == set(KINDS)
    for key, rule in SHIPPED.items():
        assert rule.shipped == key
        assert rule.reason
        assert rule.source
        assert bool(rule.against) or not rule.against_source
    practice = [rule.source for rule in SHIPPED.values() if PRACTICE in rule.source]
    assert all(source.rpartition("P")[0].endswith(("", "; ")) and "P" in source for source in practice)


def test_without_rules_only_labels_speak() -> None:
    book = make_book(spray(BARRIER, "2027-04-10", "09:30"), spray(CONDITIONER, "2027-04-01"), rules={})
    assert {each.rule for each in ask(book, "2027-04-10")} == {None}
    assert {each.kind for each in ask(book, "2027-04-10")} >= {"watering_in", "re_entry", "interval"}
    assert "repeat" in {each.kind for each in ask(make_book(*book.works.values()), "2027-04-10")}
    assert without("water-in").keys() < without().keys()


def test_days_and_times_are_written_as_they_are_read() -> None:
    minute = minute_of("2028-02-29", "23:59")
    assert (write_day(minute), write_time(minute)) == ("2028-02-29", "23:59")
    assert tell_day(minute_of("2028-03-01"), minute) == "tomorrow"
    assert is_growing(minute_of("2027-12-31"), 10.0, 3.0)
    assert not is_growing(minute_of("2027-07-01"), 10.0, 3.0)


def test_what_a_job_did_is_done_even_where_its_rigs_clock_is_fast() -> None:
    book = Book(works={1: WorkCard("2027-04-10", "treatment", time="12:20", job=7)})
    done, planned = read_deeds(book, minute_of("2027-04-10", "12:00"))
    assert [deed.number for deed in done] == [1]
    assert planned == ()
