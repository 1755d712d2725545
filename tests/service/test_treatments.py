"""Treatments through the API: the mistakes that cost money, each caught or asked about before it reaches the tank."""

import pytest
from cardbox import FEED, SITE, SPRAYER, treatment

AREA_M2 = 0.0004 * 78846.835 * 0.0002 * 111131.777 - 0.0001 * 78846.835 * 0.00005 * 111131.777


@pytest.fixture
def shop(desk):
    """A desk with a site, a sprayer and a product."""
    for noun, body in (("sites", SITE), ("sprayers", SPRAYER), ("products", FEED)):
        made = desk.ask("POST", f"/api/{noun}", body)
        assert made.status_code == 201, made.text
    return desk


def look(shop, body, *, today="2027-05-31", day=""):
    """What is said of a treatment before it is saved."""
    answer = shop.ask("POST", f"/api/treatments/look?today={today}" + (f"&day={day}" if day else ""), body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def key_of(found):
    """The keys with how grave each is."""
    return {each["key"]: each["severity"] for each in found["objections"]}


def test_a_good_treatment_passes_and_its_sheet_is_of_the_zone_less_the_bed(shop) -> None:
    assert look(shop, treatment())["objections"] == []
    assert shop.ask("POST", "/api/treatments", treatment()).status_code == 201
    sheet = shop.ask("GET", "/api/treatments/1/sheet?flow_l_per_min=2.4").json()
    assert sheet["area_m2"] == pytest.approx(AREA_M2, rel=1e-4)
    assert sheet["total"]["mix_l"] == pytest.approx(AREA_M2 * 0.0407458, rel=1e-4)
    loads = sheet["full_count"] * sheet["full"]["mix_l"] + sheet["last"]["mix_l"]
    assert loads == pytest.approx(sheet["total"]["mix_l"], abs=1e-3)
    amount = sheet["full"]["amounts"][0]
    assert sheet["full"]["first_carrier_l"] + sheet["full"]["rest_carrier_l"] + amount["volume_l"] == pytest.approx(
        15.0
    )
    assert amount["tool"] == "cup"
    assert sheet["walk"]["seconds_per_100_ft"] == pytest.approx(3.048 * sheet["walk"]["seconds_per_10_m"], abs=0.05)
    assert sheet["passes"] == 23


SLIPS = [
    ("ten times the rate", treatment(40.0), "rate_above_label", "refuse"),
    ("an acre's number for 1000 ft2", treatment(174.0), "rate_above_label", "refuse"),
    ("gallons for fluid ounces", treatment(4.0, "gal/acre"), "rate_above_label", "refuse"),
    ("ounces for fluid ounces", treatment(4.0, "oz/1000 ft2"), "ounces_for_fluid_ounces", "refuse"),
    ("a tenth of the rate", treatment(0.4), "rate_below_label", "ask"),
    ("a date in ten years", treatment(planned_on="2037-05-31"), "day_far", "ask"),
    ("a date of ten years ago", treatment(planned_on="2017-05-31"), "day_far", "ask"),
    ("a zone that is not there", treatment(zones=["back"]), "zone_unknown", "refuse"),
    ("an unusual carrier", treatment(target={"value": 10.0, "unit": "gal/1000 ft2"}), "carrier_unusual", "ask"),
]


@pytest.mark.parametrize(("body", "key", "severity"), [each[1:] for each in SLIPS], ids=[each[0] for each in SLIPS])
def test_a_slip_is_named_before_it_is_saved_and_when_it_was(shop, body, key, severity) -> None:
    assert key_of(look(shop, body))[key] == severity
    shop.ask("POST", "/api/treatments", body)
    found = shop.ask("GET", "/api/treatments/1/warnings?today=2027-05-31").json()
    assert key_of(found)[key] == severity
    assert found["is_refused"] == (severity == "refuse")
    sheet = shop.ask("GET", "/api/treatments/1/sheet")
    assert (sheet.status_code == 422) == (severity == "refuse"), "what is refused never becomes a sheet"


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("fill_l=20", "more than the sprayer's tank of 15 L"),
        ("fill_l=0", "is outside"),
        ("area_m2=0", "0 m² is outside"),
        ("area_m2=2000000", "is outside"),
        ("spare_l=-1", "is outside"),
        ("flow_l_per_min=0", "is outside"),
        ("flow_l_per_min=nan", "finite"),
        ("zones=back", "is no zone of Home"),
        ("sprayer=7", "there is no sprayer 7"),
    ],
)
def test_a_sheet_of_what_cannot_be_meant_is_refused_in_a_line(shop, query, words) -> None:
    shop.ask("POST", "/api/treatments", treatment())
    refused = shop.ask("GET", f"/api/treatments/1/sheet?{query}")
    assert refused.status_code == 422
    assert words in refused.json()["detail"]


def test_a_wrong_unit_is_refused_at_its_field(shop) -> None:
    for unit in ("L/min", "cups", "oz"):
        refused = shop.ask("POST", "/api/treatments", treatment(4.0, unit))
        assert (refused.status_code, refused.json()["key"]) == (422, "doses.0.rate")


def test_a_label_that_contradicts_itself_makes_no_sheet(shop) -> None:
    least = {"value": 8.0, "unit": "fl oz/1000 ft2"}
    assert shop.ask("PUT", "/api/products/1?version=1", {**FEED, "rate_least": least}).status_code == 200
    shop.ask("POST", "/api/treatments", treatment(6.0))
    refused = shop.ask("GET", "/api/treatments/1/sheet")
    assert (refused.status_code, refused.json()["key"]) == (422, "label_contradicts_itself")


def test_a_site_without_zones_needs_its_area_typed(shop) -> None:
    shop.ask("POST", "/api/sites", {"name": "Bare"})
    shop.ask("POST", "/api/treatments", treatment(site=2))
    assert key_of(shop.ask("GET", "/api/treatments/1/warnings").json())["no_area"] == "refuse"
    assert shop.ask("GET", "/api/treatments/1/sheet").status_code == 422
    assert shop.ask("GET", "/api/treatments/1/sheet?area_m2=300").json()["area_m2"] == 300.0
    asked = shop.ask("GET", "/api/treatments/1/sheet?area_m2=300&day=2037-05-31&today=2027-05-31").json()
    assert key_of(asked) == {"day_far": "ask"}, "what is asked about stands on the sheet"


def test_a_product_that_is_not_there_is_named_by_its_row(shop) -> None:
    body = treatment()
    body["doses"][0]["product"] = 9
    refused = shop.ask("POST", "/api/treatments/look", body)
    assert (refused.status_code, refused.json()["key"]) == (422, "doses.0.product")


def test_the_journal_is_the_history_and_a_treatment_is_not_its_own(shop) -> None:
    shop.ask("POST", "/api/treatments", treatment(planned_on="2027-05-31"))
    work = {"site": 1, "day": "2027-05-17", "kind": "treatment", "products": [1]}
    shop.ask("POST", "/api/works", work)
    assert key_of(look(shop, treatment(planned_on="2027-05-31")))["interval_short"] == "ask"
    assert key_of(look(shop, treatment(), day="2027-06-20")) == {}
    own = {**work, "day": "2027-06-20", "treatment": 1}
    shop.ask("POST", "/api/works", own)
    assert key_of(shop.ask("GET", "/api/treatments/1/warnings?today=2027-06-20&day=2027-06-20").json()) == {}
    measured = {
        **own,
        "day": "2027-03-01",
        "applied": [{"product": 1, "rate": {"value": 60, "unit": "fl oz/1000 ft2"}}],
    }
    shop.ask("POST", "/api/works", measured)
    found = shop.ask("GET", "/api/treatments/1/warnings?today=2027-06-20&day=2027-06-20").json()
    assert key_of(found) == {"rate_unlike_before": "ask"}


def test_the_pace_goes_by_the_newest_catch_test_unless_a_flow_is_typed(shop) -> None:
    shop.ask("POST", "/api/treatments", treatment())
    assert shop.ask("GET", "/api/treatments/1/sheet").json()["walk"] is None
    runs = [{"volume": {"value": litres, "unit": "L"}, "seconds": 60.0} for litres in (1.60, 1.61, 1.59)]
    entries = {"way": "catch", "runs": runs, "step": {"value": 10, "unit": "mL"}}
    kept = shop.ask("POST", "/api/sprayers/1/checks", entries)
    assert kept.status_code == 201, kept.text
    walk = shop.ask("GET", "/api/treatments/1/sheet").json()["walk"]
    assert (walk["flow_origin"], walk["flow_l_per_min"]) == ("catch", pytest.approx(1.60, abs=0.005))
    typed = shop.ask("GET", "/api/treatments/1/sheet?flow_l_per_min=2.4").json()["walk"]
    assert (typed["flow_origin"], typed["flow_l_per_min"]) == ("typed", 2.4)


def test_a_line_of_the_journal_that_is_to_come_is_no_history(shop) -> None:
    shop.ask("POST", "/api/works", {"site": 1, "day": "2027-06-05", "kind": "treatment", "products": [1]})
    assert key_of(look(shop, treatment(planned_on="2027-05-31"))) == {}
    assert key_of(look(shop, treatment(planned_on="2027-06-10"), today="2027-06-10")) == {"interval_short": "ask"}


def test_a_day_that_is_none_is_refused(shop) -> None:
    shop.ask("POST", "/api/treatments", treatment())
    refused = shop.ask("GET", "/api/treatments/1/warnings?day=2027-02-30")
    assert (refused.status_code, refused.json()["key"]) == (422, "day")
