"""Cards through the API: described, kept in versions, refused by name, put away."""

import pytest

MISTAKES = [
    ({}, "name", "must be filled in"),
    ({"name": "", "rate_most": {"value": 3, "unit": "fl oz/1000 ft2"}}, "name", "must be filled in"),
    ({"name": "Feed", "rate_most": {"value": 3, "unit": "cups"}}, "rate_most", "none of its units"),
    ({"name": "Feed", "rate_most": {"value": 3000, "unit": "fl oz/1000 ft2"}}, "rate_most", "is outside"),
    ({"name": "Feed", "rate_most": {"value": 3, "unit": "L/ha"}, "form": "paste"}, "form", "none of dry"),
    ({"name": "Feed", "rate_most": {"value": 3, "unit": "L/ha"}, "colour": "blue"}, "colour", "Unexpected"),
    (
        {
            "name": "Feed",
            "rate_most": {"value": 3, "unit": "L/ha"},
            "constituents": [{"name": "N", "share_percent": 120}],
        },
        "constituents.0.share_percent",
        "outside 0.0001 to 100 %",
    ),
]


def test_a_card_is_kept_as_it_was_entered_and_each_change_is_a_version(desk) -> None:
    body = {"name": "Feed 20-0-5", "rate_most": {"value": 3.0, "unit": "fl oz/1000 ft2"}}
    made = desk.ask("POST", "/api/products", body)
    assert made.status_code == 201, made.text
    assert made.json()["card"]["rate_most"] == body["rate_most"]
    changed = desk.ask("PUT", "/api/products/1?version=1", {**body, "density": {"value": 10.2, "unit": "lb/gal"}})
    assert changed.json()["version"] == 2
    stale = desk.ask("PUT", "/api/products/1?version=1", body)
    assert stale.status_code == 409
    assert "changed meanwhile" in stale.json()["detail"]
    assert desk.ask("GET", "/api/products/1?version=1").json()["card"]["density"] is None
    assert [each["version"] for each in desk.ask("GET", "/api/products/1/versions").json()] == [1, 2]


def test_what_is_put_away_is_no_longer_offered_but_stays_readable(desk) -> None:
    desk.ask("POST", "/api/people", {"name": "A. Grower", "role": "operator"})
    desk.ask("DELETE", "/api/people/1?version=1")
    assert desk.ask("GET", "/api/people").json() == []
    assert desk.ask("GET", "/api/people?retired=true").json()[0]["is_retired"] is True
    assert desk.ask("GET", "/api/people/1").json()["card"]["name"] == "A. Grower"
    assert desk.ask("GET", "/api/people/2").status_code == 404


@pytest.mark.parametrize(("body", "key", "words"), MISTAKES, ids=lambda each: str(each)[:30])
def test_an_entry_that_cannot_be_meant_is_refused_by_its_field(desk, body, key, words) -> None:
    refused = desk.ask("POST", "/api/products", body)
    assert refused.status_code == 422
    assert refused.json()["key"] == key
    assert words in refused.json()["detail"]


@pytest.mark.parametrize("noun", ["sites", "sprayers", "products", "treatments", "people", "works", "rules"])
def test_every_field_of_a_form_has_words_and_every_number_says_its_limits(desk, noun) -> None:
    fields = desk.ask("GET", f"/api/{noun}/fields").json()
    assert all(each["label"] for each in fields)
    for each in fields:
        ranges = [each["range"]] if each["range"] else list((each["units"] or {}).values())
        assert all(least < most for least, most in ranges), each["key"]
