"""Application records through the API: typed into, signed once, amended, kept until their period is over."""

import json
import sqlite3
from contextlib import closing

import pytest

from server.core.papers import Papers, Reference
from server.core.retention import keep_until
from server.store.checks import Check, add_check, note_used
from server.store.connection import open_reader, open_writer
from server.store.records import list_signed

YEAR_S = 365.25 * 86_400.0


@pytest.fixture
def job(busy_desk, messages):
    """A finished and reviewed job with cards and papers; gives its number."""
    desk = busy_desk
    boot, ends = None, []
    for message in messages:
        found = json.loads(message.payload)
        boot = found.get("boot", boot)
        ends.append(found.get("mono", 0.0))
    made = desk.ask("POST", "/api/jobs", {"name": "Front lawn", "start": [boot, 0.0], "end": [boot, max(ends)]})
    number = made.json()["id"]
    desk.await_review(number)
    return number


@pytest.fixture
def papers(busy_desk):
    """Cards of an operator, a customer, a site, a sprayer, a product and a treatment."""
    desk = busy_desk
    cards = [
        ("people", {"name": "Żaneta Ångström", "licence": "CA-20431"}),
        ("people", {"name": "M. Harrow", "role": "customer", "address": "12 Mill Lane"}),
        ("sites", {"name": "Mill Lane", "address": "12 Mill Lane", "customer": 2}),
        ("sprayers", {"name": "Green", "swath": {"value": 1, "unit": "m"}, "pulses_per_l": [450]}),
        ("products", {"name": "Feed", "rate_most": {"value": 9, "unit": "fl oz/1000 ft2"}, "registration": "none"}),
        (
            "treatments",
            {
                "name": "Spring", "site": 1, "target": {"value": 0.4, "unit": "gal/1000 ft2"},
                "doses": [{"product": 1, "rate": {"value": 6, "unit": "fl oz/1000 ft2"}}],
            },
        ),
    ]  # fmt: skip
    for noun, body in cards:
        made = desk.ask("POST", f"/api/{noun}", body)
        assert made.status_code == 201, made.text
    one = Reference(1, 1)
    return Papers(site=one, sprayer=one, treatment=one, products=(one,), operator=one)


def record_of(desk, number):
    """A job's record, and its items by key."""
    answer = desk.ask("GET", f"/api/jobs/{number}/record")
    assert answer.status_code == 200, answer.text
    record = answer.json()
    return record, {item["key"]: item for item in record["items"]}


def sign(desk, number, name="Żaneta Ångström"):
    """Sign a job's record."""
    return desk.ask("POST", f"/api/jobs/{number}/record/sign", {"name": name, "zone": "-05:00"})


def test_a_record_is_filled_from_what_was_measured_and_from_the_cards(busy_desk, job, papers) -> None:
    desk = busy_desk
    _, bare = record_of(desk, job)
    assert bare["applicator"]["missing"] == "no operator was chosen for this job"
    assert bare["product.1.amount"]["missing"] == "no treatment was chosen for this job"
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    record, items = record_of(desk, job)
    totals = desk.ask("GET", f"/api/jobs/{job}/review").json()
    assert items["mix_l"]["value"] == totals["volume_l"]
    assert items["area_m2"]["value"] == totals["covered_area_m2"]
    # 6 fl oz in 0.4 gal are 15 fl oz/gal.
    gallons = totals["volume_l"] / 3.785411784
    assert items["product.1.amount"]["value"] == pytest.approx(15.0 * gallons, rel=1e-6)
    assert items["product.1.amount"]["unit"] == "fl oz"
    assert items["customer"]["value"] == "M. Harrow"
    assert "version 1" in items["part.1.calibration"]["value"]
    assert record["state"] == "unsigned"
    assert record["is_reviewed"]


def test_an_open_job_has_a_record_that_cannot_be_signed(busy_desk) -> None:
    number = busy_desk.ask("POST", "/api/jobs", {"name": "Later"}).json()["id"]
    record, items = record_of(busy_desk, number)
    assert record["state"] == "open"
    assert items["mix_l"]["missing"] == "the job has not been reviewed"
    refused = sign(busy_desk, number)
    assert refused.status_code == 409
    assert "not finished" in refused.json()["detail"]
    assert busy_desk.ask("GET", "/api/jobs/99/record").status_code == 404


def test_what_is_not_known_can_be_typed_and_taken_back(busy_desk, job) -> None:
    desk, path = busy_desk, f"/api/jobs/{job}/record"
    typed = {"applicator": "A. Grower", "product.1.name": "Feed", "product.1.amount": "12.5 fl oz", "incidents": "none"}
    answer = desk.ask("PATCH", path, {"typed": typed, "zone": "America/New_York"})
    assert answer.status_code == 200, answer.text
    record, items = record_of(desk, job)
    assert {items[key]["source"] for key in typed} == {"typed"}
    assert items["product.1.amount"]["value"] == 12.5
    assert record["zone"] == "America/New_York"
    assert record["offset_s"] in (-4 * 3600.0, -5 * 3600.0)
    desk.ask("PATCH", path, {"typed": {"applicator": None}})
    assert record_of(desk, job)[1]["applicator"]["value"] is None
    assert record_of(desk, job)[1]["incidents"]["value"] == "none"


@pytest.mark.parametrize(
    ("body", "key"),
    [
        ({"typed": {"colour": "blue"}}, "colour"),
        ({"typed": {"passes": 3}}, "passes"),
        ({"typed": {"wind_start_mps": 900}}, "wind_start_mps"),
        ({"typed": {"product.1.amount": "12 cups"}}, "product.1.amount"),
        ({"typed": {"notes": ["a"]}}, "notes"),
        ({"typed": {}, "zone": "Moon/Base"}, "zone"),
    ],
    ids=lambda each: str(each)[:40],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_kept(busy_desk, job, body, key) -> None:
    before = record_of(busy_desk, job)[0]
    refused = busy_desk.ask("PATCH", f"/api/jobs/{job}/record", body)
    assert refused.status_code == 422
    assert refused.json()["key"] == key
    assert record_of(busy_desk, job)[0] == before


def test_a_record_is_signed_once_and_then_only_amended_with_the_old_values_kept(busy_desk, job, papers) -> None:
    desk, path = busy_desk, f"/api/jobs/{job}/record"
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    early = desk.ask("POST", f"{path}/amendments", {"key": "notes", "value": "x", "reason": "because", "who": "A."})
    assert early.status_code == 409
    assert sign(desk, job).status_code == 201
    signed, items = record_of(desk, job)
    assert signed["signature"]["name"] == "Żaneta Ångström"
    assert signed["signature"]["is_intact"]
    assert signed["offset_s"] == -5 * 3600.0
    assert sign(desk, job).status_code == 409
    assert desk.ask("PATCH", path, {"typed": {"notes": "late"}}).status_code == 409
    amount = items["product.1.amount"]["value"]
    for value, reason in (("20 fl oz", "a spill was refilled"), ("21 fl oz", "read the cup again")):
        change = {"key": "product.1.amount", "value": value, "reason": reason, "who": "A. Grower"}
        assert desk.ask("POST", f"{path}/amendments", change).status_code == 201
    record, items = record_of(desk, job)
    assert items["product.1.amount"]["value"] == 21.0
    assert [each["before"] for each in items["product.1.amount"]["amended"]] == [amount, 20.0]
    assert record["signature"] == signed["signature"]
    again = desk.ask("POST", f"{path}/amendments", {**change, "value": "21 fl oz"})
    assert again.status_code == 422
    assert "already" in again.json()["detail"]


def test_a_review_computed_anew_is_offered_and_changes_nothing_that_was_signed(busy_desk, job) -> None:
    desk = busy_desk
    sign(desk, job)
    before = record_of(desk, job)[1]["mix_l"]["value"]
    setup = desk.ask("GET", f"/api/setup?job={job}").json()
    setup = setup.get("setup", setup)
    meter = {**setup["flow_meter"], "pulses_per_l": 500.0}
    changed = desk.ask("PATCH", f"/api/jobs/{job}", {"setup": {**setup, "flow_meter": meter}})
    assert changed.status_code == 200, changed.text
    desk.await_review(job)
    record, items = record_of(desk, job)
    assert items["mix_l"]["value"] == before
    offered = {each["key"]: each for each in record["proposals"]}
    assert offered["mix_l"]["now"] == pytest.approx(0.9 * before, rel=1e-6)
    assert "part.1.calibration" in offered
    body = {"key": "mix_l", "value": offered["mix_l"]["now"], "reason": "calibrated again", "who": "A. Grower"}
    desk.ask("POST", f"/api/jobs/{job}/record/amendments", body)
    record, items = record_of(desk, job)
    assert items["mix_l"]["value"] == pytest.approx(0.9 * before, rel=1e-6)
    assert "mix_l" not in {each["key"] for each in record["proposals"]}


def test_a_card_changed_later_does_not_change_the_record(busy_desk, job, papers) -> None:
    desk = busy_desk
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    desk.ask("PUT", "/api/people/1?version=1", {"name": "Somebody Else"})
    assert record_of(desk, job)[1]["applicator"]["value"] == "Żaneta Ångström"


def test_what_was_signed_cannot_be_changed_in_the_store_and_a_change_would_show(busy_desk, job) -> None:
    desk = busy_desk
    sign(desk, job)
    desk.ask(
        "POST", f"/api/jobs/{job}/record/amendments", {"key": "notes", "value": "x", "reason": "late", "who": "A."}
    )
    with closing(open_writer(desk.service.database)) as connection:
        for order in ("UPDATE record SET body = '{}'", "UPDATE record_amendment SET body = '{}'"):
            with pytest.raises(sqlite3.IntegrityError, match="never changed"):
                connection.execute(order)
        connection.execute("DROP TRIGGER record_amendment_stays")
        connection.execute("UPDATE record_amendment SET body = replace(body, 'late', 'soon')")
    assert not record_of(desk, job)[0]["signature"]["is_intact"]


def test_a_job_with_a_signed_record_is_kept_until_its_period_is_over(busy_desk, job) -> None:
    desk = busy_desk
    sign(desk, job)
    with closing(open_writer(desk.service.database)) as connection:
        (signed,) = list_signed(connection)
    assert desk.ask("PUT", "/api/records/retention", {"regimes": ["us_georgia"], "years": 1}).status_code == 422
    refused = desk.ask("DELETE", f"/api/jobs/{job}")
    assert refused.status_code == 409
    assert keep_until(signed.kept_from_utc, years=2.0) in refused.json()["detail"]
    assert desk.ask("PUT", "/api/records/retention", {"regimes": [], "years": 5}).json()["least_years"] == 5.0
    desk.service.office.records.keeper._wall = lambda: signed.kept_from_utc + 4.9 * YEAR_S
    assert desk.ask("DELETE", f"/api/jobs/{job}").status_code == 409
    assert desk.portal.call(desk.service.office.records.keeper.sweep) == ()
    desk.service.office.records.keeper._wall = lambda: signed.kept_from_utc + 5.1 * YEAR_S
    assert desk.ask("DELETE", f"/api/jobs/{job}").status_code == 204
    assert desk.ask("GET", f"/api/jobs/{job}/record").status_code == 404


def test_records_go_by_themselves_only_where_a_period_is_set(busy_desk, job) -> None:
    desk = busy_desk
    sign(desk, job)
    keeper = desk.service.office.records.keeper
    with closing(open_writer(desk.service.database)) as connection:
        (signed,) = list_signed(connection)
    keeper._wall = lambda: signed.kept_from_utc + 50.0 * YEAR_S
    assert desk.portal.call(keeper.sweep) == ()
    desk.ask("PUT", "/api/records/retention", {"regimes": ["us_georgia"], "years": 3})
    assert desk.portal.call(keeper.sweep) == (job,)
    assert desk.ask("GET", f"/api/jobs/{job}").status_code == 404


def test_a_job_without_a_signed_record_can_be_forgotten_and_leaves_nothing_behind(busy_desk, job, papers) -> None:
    desk = busy_desk
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    desk.ask("PATCH", f"/api/jobs/{job}/record", {"typed": {"notes": "old"}})
    assert desk.ask("DELETE", f"/api/jobs/{job}").status_code == 204
    # The journal goes on telling what was done, so that its number is not given to another job.
    with closing(open_reader(desk.service.database)) as connection:
        left = {table: list(connection.execute(f"SELECT * FROM {table}")) for table in ("papers", "record_draft")}
    assert left == {"papers": [], "record_draft": []}
    number = desk.ask("POST", "/api/jobs", {"name": "Next"}).json()["id"]
    assert number == job + 1
    lines = [each["card"] for each in desk.ask("GET", "/api/works").json()]
    assert [line["job"] for line in lines].count(job) == 1
    _, items = record_of(desk, number)
    assert items["notes"]["value"] is None
    assert items["applicator"]["value"] is None


def test_the_parts_of_a_job_stand_under_its_first_one(busy_desk, job, papers) -> None:
    desk = busy_desk
    second = desk.ask("GET", f"/api/jobs/{job}").json()
    made = desk.ask("POST", "/api/jobs", {"name": "Second sprayer", "start": second["start"], "end": second["end"]})
    part = made.json()["id"]
    desk.await_review(part)
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    desk.portal.call(desk.service.office.cards.save_papers, part, Papers(sprayer=Reference(1, 1), part_of=job))
    one, items = record_of(desk, job)
    assert record_of(desk, part)[0] == one
    assert one["parts"] == [job, part]
    alone = desk.ask("GET", f"/api/jobs/{job}/review").json()["volume_l"]
    assert items["mix_l"]["value"] == pytest.approx(2 * alone, rel=1e-6)
    assert items["part.2.sprayer"]["value"] == "Green"
    rows = desk.ask("GET", "/api/records").json()
    assert [row["job"] for row in rows if part in row["parts"]] == [job]
    assert sign(desk, part).status_code == 201
    assert desk.ask("DELETE", f"/api/jobs/{part}").status_code == 409


def test_the_list_says_how_each_record_stands(busy_desk, job, papers) -> None:
    desk = busy_desk
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    (row,) = [row for row in desk.ask("GET", "/api/records").json() if row["job"] == job]
    record, _ = record_of(desk, job)
    missing = {key for rule in record["rules"] for need in rule["needs"] for key in need["missing"]}
    assert (row["state"], row["missing"], row["site"]) == ("unsigned", len(missing), "Mill Lane")
    desk.ask("PUT", "/api/records/retention", {"regimes": []})
    (row,) = [row for row in desk.ask("GET", "/api/records").json() if row["job"] == job]
    assert row["missing"] == 0
    sign(desk, job)
    (row,) = [row for row in desk.ask("GET", "/api/records").json() if row["job"] == job]
    assert row["signature"]["name"] == "Żaneta Ångström"


def test_every_item_says_what_it_means_and_what_may_be_typed(desk) -> None:
    items = desk.ask("GET", "/api/records/items").json()
    assert len(items) > 50
    assert all(item["label"] and item["says"] for item in items)


@pytest.mark.parametrize(
    ("way", "version", "words"),
    [
        ("catch", 1, "caught on 2027-03-01; sprayer's card, version 1"),
        ("swath", 1, "no catch on record; sprayer's card, version 1"),
        ("catch", 2, "no catch on record; sprayer's card, version 1"),
    ],
)
def test_the_calibration_is_the_catch_that_the_version_of_the_day_rests_on(
    busy_desk, job, papers, way, version, words
) -> None:
    desk = busy_desk
    desk.portal.call(desk.service.office.cards.save_papers, job, papers)
    check = Check(0, 1, way, 1_803_895_200.0, {}, {})  # 2027-03-01 14:00 UTC
    with closing(open_writer(desk.service.database)) as connection:
        note_used(connection, add_check(connection, check).number, version)
    assert words in record_of(desk, job)[1]["part.1.calibration"]["value"]
