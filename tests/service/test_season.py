"""The season through the API: jobs enter by themselves, rules with a way back, what is due, an order, a calendar."""

from datetime import UTC, datetime

import pytest

from server.core.papers import Papers, Reference
from server.journal import Measured, find_end, join_parts, tell_local
from server.store.connection import ask_store

SITE = {"name": "Mill Lane"}
BARRIER = {
    "name": "Barrier", "rate_most": {"value": 4.0, "unit": "pt/acre"}, "sort": "pre_emergent", "action": "soil",
    "watering": "must", "water_within_h": 24.0, "water_depth": {"value": 0.25, "unit": "in"},
}  # fmt: skip


def add(desk, noun: str, **body) -> int:
    made = desk.ask("POST", f"/api/{noun}", body)
    assert made.status_code == 201, made.text
    return int(made.json()["number"])


def season(desk, when: str) -> dict:
    day, _, time = when.partition("T")
    found = desk.ask("GET", f"/api/season?day={day}&time={time}")
    assert found.status_code == 200, found.text
    return dict(found.json())


def lines_of(desk, job: int) -> list[dict]:
    desk.portal.call(desk.service.settle)
    return [each for each in desk.ask("GET", "/api/works").json() if each["card"]["job"] == job]


def give_papers(desk, job: int) -> tuple[int, int, int]:
    """Cards of a site, a product and a treatment of it, and a job that rests on them."""
    site, product = add(desk, "sites", **SITE), add(desk, "products", **BARRIER)
    dose = {"product": product, "rate": {"value": 2.0, "unit": "pt/acre"}}
    target = {"value": 4.0, "unit": "L/100 m2"}
    treatment = add(desk, "treatments", name="Spring", site=site, target=target, doses=[dose])
    papers = Papers(Reference(site, 1), (), None, Reference(treatment, 1), (Reference(product, 1),))
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    return site, product, treatment


def run_job(desk) -> int:
    """The job that the rig's own buttons made of the simulated log, which is over."""
    desk.portal.call(desk.service.settle)
    (job,) = desk.ask("GET", "/api/jobs").json()
    assert job["state"] == "finished"
    return int(job["id"])


def test_a_finished_job_appears_in_the_journal_once(busy_desk) -> None:
    number = run_job(busy_desk)
    for _ in range(2):
        (line,) = lines_of(busy_desk, number)
        assert line["card"]["kind"] == "treatment"
        busy_desk.await_review(number)
        busy_desk.ask("PATCH", f"/api/jobs/{number}", {"name": "Front lawn again"})
        busy_desk.ask("POST", f"/api/jobs/{number}/review")
    assert len(lines_of(busy_desk, number)) == 1


def test_a_job_by_the_pages_buttons_appears_once_too(busy_desk) -> None:
    number = busy_desk.ask("POST", "/api/jobs", {"name": "Back lawn", "start": "now"}).json()["id"]
    assert lines_of(busy_desk, number) == []
    busy_desk.ask("POST", f"/api/jobs/{number}/buttons", {"kind": "finish"})
    assert len(lines_of(busy_desk, number)) == 1


def test_a_line_that_was_put_away_does_not_come_back(busy_desk) -> None:
    number = run_job(busy_desk)
    busy_desk.await_review(number)
    (line,) = lines_of(busy_desk, number)
    gone = busy_desk.ask("DELETE", f"/api/works/{line['number']}?version={line['version']}")
    assert gone.status_code == 200
    busy_desk.ask("PATCH", f"/api/jobs/{number}", {"name": "Front lawn again"})
    assert lines_of(busy_desk, number) == []


def test_a_job_without_papers_is_a_line_that_a_person_may_fill_in(busy_desk) -> None:
    number = run_job(busy_desk)
    busy_desk.await_review(number)
    (line,) = lines_of(busy_desk, number)
    card = line["card"]
    assert (card["site"], card["products"], card["treatment"]) == (None, [], None)
    site, product = add(busy_desk, "sites", **SITE), add(busy_desk, "products", **BARRIER)
    body = {**card, "site": site, "products": [product], "note": "the left half first"}
    changed = busy_desk.ask("PUT", f"/api/works/{line['number']}?version={line['version']}", body)
    assert changed.status_code == 200, changed.text
    busy_desk.ask("PATCH", f"/api/jobs/{number}", {"name": "Another name"})
    (after,) = lines_of(busy_desk, number)
    assert (after["card"]["site"], after["card"]["products"]) == (site, [product])
    assert after["card"]["note"] == "the left half first"


def test_a_job_brings_its_papers_and_what_its_review_measured(busy_desk) -> None:
    """The applied rate is the planned one by the measured dose's share of the target; the day is the log's own."""
    number = run_job(busy_desk)
    busy_desk.await_review(number)
    busy_desk.ask("PUT", "/api/season/calendar", {"zone": "UTC"})
    site, product, treatment = give_papers(busy_desk, number)
    busy_desk.ask("PATCH", f"/api/jobs/{number}", {"name": "With papers"})
    busy_desk.ask("POST", f"/api/jobs/{number}/review")
    assert busy_desk.await_review(number)["state"] == "ready"
    found = busy_desk.ask("GET", f"/api/jobs/{number}/files/job.json").json()
    target = busy_desk.portal.call(busy_desk.service.jobs.find, number).setup.treatment.target_l_per_m2
    (line,) = lines_of(busy_desk, number)
    card = line["card"]
    assert (card["site"], card["products"], card["treatment"]) == (site, [product], treatment)
    (applied,) = card["applied"]
    expected = 2.0 * found["mean_dose_l_per_m2"] / target
    assert applied["rate"] == {"value": pytest.approx(expected, rel=1e-3), "unit": "pt/acre"}
    ended = datetime.fromtimestamp(found["end_utc"], UTC)
    assert (card["day"], card["time"]) == (ended.strftime("%Y-%m-%d"), ended.strftime("%H:%M"))


def test_the_parts_of_a_job_with_a_swap_are_one_line(busy_desk) -> None:
    first = run_job(busy_desk)
    busy_desk.await_review(first)
    second = busy_desk.ask("POST", "/api/jobs", {"name": "Part 2", "start": "now"}).json()["id"]
    busy_desk.portal.call(busy_desk.service.office.cards.save_papers, second, Papers(part_of=first))
    busy_desk.ask("POST", f"/api/jobs/{second}/buttons", {"kind": "finish"})
    assert lines_of(busy_desk, second) == []
    assert len(lines_of(busy_desk, first)) == 1


def test_parts_are_joined_by_their_areas_and_end_with_the_last() -> None:
    """100 m² at 1.2 and 300 m² at 0.8 of the target are 0.9 of it on the whole."""
    joined = join_parts([Measured(900.0, 1.2, 100.0), Measured(2000.0, 0.8, 300.0), Measured(1500.0, None)])
    assert joined.end_utc == 2000.0
    assert joined.share == pytest.approx(0.9)
    assert join_parts([Measured(5.0, None)]).share is None


def test_a_job_that_has_no_review_yet_has_the_day_of_its_log(busy_desk) -> None:
    number = run_job(busy_desk)
    busy_desk.await_review(number)
    end_utc = busy_desk.ask("GET", f"/api/jobs/{number}/files/job.json").json()["end_utc"]
    job = busy_desk.portal.call(busy_desk.service.jobs.find, number)
    found = ask_store(busy_desk.service.database, lambda connection: find_end(connection, job))
    assert found == pytest.approx(end_utc, abs=2.0)


def test_days_of_jobs_are_those_of_the_lawns_zone(desk) -> None:
    """2027-04-01 00:00 UTC; clocks in Auckland stand at UTC+13 until 4 April 2027."""
    assert tell_local(1_806_537_600.0, "UTC") == ("2027-04-01", "00:00")
    assert tell_local(1_806_537_600.0, "-05:00") == ("2027-03-31", "19:00")
    assert tell_local(1_806_537_600.0, "Pacific/Auckland") == ("2027-04-01", "13:00")
    refused = desk.ask("PUT", "/api/season/calendar", {"zone": "Atlantis/Nowhere"})
    assert refused.status_code == 422
    assert refused.json()["key"] == "zone"
    kept = desk.ask("PUT", "/api/season/calendar", {"zone": "-05:00", "year_begins": 7})
    assert kept.json()["card"] == {"zone": "-05:00", "year_begins": 7.0}
    assert season(desk, "2027-04-01T10:00")["zone"] == "-05:00"


def test_jobs_that_finished_before_are_entered_at_the_next_start(open_desk, messages) -> None:
    first = open_desk()
    first.take(messages)
    number = run_job(first)
    first.await_review(number)
    assert len(lines_of(first, number)) == 1
    drop = "DELETE FROM card WHERE kind = 'work'"
    first.service.ingest.call(lambda writer: writer.connection.execute(drop)).result()
    assert lines_of(first, number) == []
    assert len(lines_of(open_desk(), number)) == 1


def test_the_shipped_rules_are_there_at_first_use_and_a_change_is_kept(open_desk) -> None:
    desk = open_desk()
    rules = desk.ask("GET", "/api/rules").json()
    assert len(rules) == 12
    water = next(each for each in rules if each["card"]["shipped"] == "water-in")
    body = {**water["card"], "within_h": 6.0}
    desk.ask("PUT", f"/api/rules/{water['number']}?version=1", body)
    desk.ask("DELETE", f"/api/rules/{rules[0]['number']}?version=1")
    again = open_desk()
    after = again.ask("GET", "/api/rules").json()
    assert len(after) == 11
    assert next(each for each in after if each["number"] == water["number"])["card"]["within_h"] == 6.0


def test_a_rule_can_be_given_its_shipped_text_again_and_an_own_one_cannot(desk) -> None:
    first, *_ = desk.ask("GET", "/api/rules").json()
    desk.ask("DELETE", f"/api/rules/{first['number']}?version=1")
    back = desk.ask("POST", f"/api/rules/{first['number']}/shipped?version=2")
    assert back.status_code == 200, back.text
    assert (back.json()["card"], back.json()["is_retired"]) == (first["card"], False)
    own = add(desk, "rules", name="Mow before spraying", kind="before", first="mowing", second="treatment")
    refused = desk.ask("POST", f"/api/rules/{own}/shipped?version=1")
    assert refused.status_code == 422
    assert "your own" in refused.json()["detail"]


def test_the_sentence_of_the_day_follows_the_journal(desk) -> None:
    site, product = add(desk, "sites", **SITE), add(desk, "products", **BARRIER)
    assert season(desk, "2027-04-10T08:00")["sentence"] == "Nothing is due."
    add(desk, "works", day="2027-04-10", kind="treatment", site=site, time="09:00", products=[product])
    told = season(desk, "2027-04-10T10:00")
    assert told["sentence"].startswith("Water in Mill Lane by 09:00 tomorrow: 0.25 in.")
    (matter,) = [each for each in told["matters"] if each["kind"] == "watering_in"]
    assert (matter["since"], matter["until"], matter["until_time"]) == ("2027-04-10", "2027-04-11", "09:00")
    add(desk, "works", day="2027-04-10", kind="watering", site=site, time="18:00", water={"value": 7.0, "unit": "mm"})
    assert not [each for each in season(desk, "2027-04-10T19:00")["matters"] if each["kind"] == "watering_in"]
    assert [each["kind"] for each in season(desk, "2027-04-10T19:00")["lines"]] == ["treatment", "watering"]


@pytest.mark.parametrize(
    ("query", "key"), [("day=2027-02-30", "day"), ("day=soon", "day"), ("day=2027-04-01&time=25:00", "time")]
)
def test_a_day_that_is_none_is_refused_by_name(desk, query, key) -> None:
    refused = desk.ask("GET", f"/api/season?{query}")
    assert refused.status_code == 422
    assert refused.json()["key"] == key


def test_what_is_planned_is_put_in_an_order_with_its_reasons(desk) -> None:
    site, product = add(desk, "sites", **SITE), add(desk, "products", **BARRIER)
    dose = {"product": product, "rate": {"value": 2.0, "unit": "pt/acre"}}
    target = {"value": 1.0, "unit": "gal/1000 ft2"}
    add(desk, "treatments", name="Spring", site=site, target=target, doses=[dose], planned_on="2027-04-05")
    add(desk, "works", day="2027-04-12", kind="coring", site=site)
    steps = desk.ask("GET", f"/api/season/order?day=2027-04-01&site={site}").json()
    assert [step["name"] for step in steps] == ["coring", "Barrier"]
    assert "coring" in steps[1]["reasons"][0]


def test_the_soils_days_are_told_with_the_threshold(desk) -> None:
    site = add(desk, "sites", **SITE)
    for day, value in (("2027-04-01", 12.0), ("2027-04-02", 13.0)):
        reading = {"value": value, "unit": "°C"}
        add(desk, "works", day=day, kind="soil_temperature", site=site, temperature=reading, is_mean=True)
    found = {each["days_in_row"]: each for each in season(desk, "2027-04-03T10:00")["soil"]}
    assert (found[1]["reached"], found[7]["reached"]) == ("2027-04-02", None)
    assert found[1]["threshold_c"] == pytest.approx(12.7778, abs=1e-4)
    assert [day["mean_c"] for day in found[1]["days"]] == [12.0, 13.0]
