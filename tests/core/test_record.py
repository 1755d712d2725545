"""The application record: undiluted amounts, where each value comes from, deviations, checklists, retention."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.entered import Stated
from server.core.errors import EntryError
from server.core.measured import Measured, Places, WindAt, ZoneShare, pick_winds
from server.core.personcard import PersonCard
from server.core.productcard import ProductCard
from server.core.quantity import convert
from server.core.record import Part, Sources, build_record, check_record
from server.core.recordair import find_deviations
from server.core.recorditem import SORTS, Item, merge_typed, read_value, sort_of
from server.core.recordproduct import Planned, reckon_applied
from server.core.regimes import REGIMES
from server.core.results import WindSeries
from server.core.retention import Retention, keep_until, may_go
from server.core.sitecard import SiteCard
from server.core.sprayercard import SprayerCard
from server.core.treatmentcard import Dose, TreatmentCard

GALLON_L, ACRE_M2 = 3.785411784, 4046.8564224
GPA = GALLON_L / ACRE_M2
START = 1_778_743_816.0
MEASURED = Measured(
    start_utc=START, end_utc=START + 1200.0, volume_l=8.0, volume_sd_l=0.16, covered_m2=200.0, covered_sd_m2=1.0,
    zones=(ZoneShare("front", 210.0, 200.0),), target_l_per_m2=0.04, mean_l_per_m2=0.04, off_target_l=0.0,
    off_target_sd_l=0.0, keep_out_l=0.0, unplaced_l=0.0, receiver="fixed",
    wind_start=WindAt(1.0, 0.1, 90.0, START + 60.0), wind_end=WindAt(2.0, 0.1, 180.0, START + 1200.0),
    wind_worst=WindAt(3.0, 0.1, 100.0, START + 500.0), gust_mps=4.0, wind_height_m=2.0, wind_averaging_s=60.0,
    limit_mps=4.0, limit_stated="9 mph", temperature_start_c=15.0, temperature_end_c=17.0, humidity_start_percent=60.0,
    humidity_end_percent=55.0, passes=10, passes_above=0, passes_unsure=0, passes_off=0, above_s=0.0, above_l=0.0,
    places=(), missing_messages=0, swath_m=1.0, pulses_per_l=(450.0,), meter_sd_percent=2.0,
)  # fmt: skip
FEED = ProductCard("Feed", Stated(9.0, "fl oz/1000 ft2"), registration="none", target="growth")
TREATMENT = TreatmentCard(
    "Spring", site=1, target=Stated(4.0, "L/100 m2"), doses=(Dose(1, Stated(50.0, "mL/100 m2")),)
)  # fmt: skip
WHOLE = Sources(
    (Part(3, "Front lawn", MEASURED, SprayerCard("Green", Stated(1.0, "m"), (450.0,), nozzle="fan 03")),),
    SiteCard("Mill Lane", address="12 Mill Lane"),
    ("front",),
    TREATMENT,
    {1: FEED},
    PersonCard("A. Grower", licence="CA-1", business="Willow"),
    PersonCard("M. Harrow", role="customer", address="12 Mill Lane"),
    typed={"noncertified": "nobody", "incidents": "none"},
)


def find(items, key):
    """One item of a record."""
    return next(item for item in items if item.key == key)


def plan(rate, unit, gpa):
    """A product at a rate in so many US gallons of mix an acre."""
    return Planned(ProductCard("Product", Stated(rate, unit)), Stated(rate, unit), gpa * GPA)


def test_the_undiluted_amount_is_the_share_of_the_mix_times_the_volume() -> None:
    # A12, UGA1 (University of Georgia): 4.0 pt/acre in 25 gal/acre: 2 gal of mix hold 5.1 fl oz (5.12 exactly).
    backpack = reckon_applied(plan(4.0, "pt/acre", 25.0), mix_l=2 * GALLON_L, mix_sd_l=None, mean_l_per_m2=None)
    assert convert(backpack.amount.value, "pt", into="fl oz") == pytest.approx(5.12, abs=0.005)
    assert backpack.amount.unit == "pt"
    # A17, HBK1: 3.5 acre at 15 gal/acre and 3 lb/acre: 52.5 gal hold 10.5 lb.
    field = reckon_applied(plan(3.0, "lb/acre", 15.0), mix_l=52.5 * GALLON_L, mix_sd_l=None, mean_l_per_m2=None)
    assert field.amount.value == pytest.approx(10.5, rel=1e-12)
    assert field.amount.unit == "lb"
    # A11, MESA2 (Mesa County): 25 gal at 150 gal/acre hold a sixth of the rate per acre.
    gun = reckon_applied(plan(6.0, "fl oz/1000 ft2", 150.0), mix_l=25 * GALLON_L, mix_sd_l=None, mean_l_per_m2=None)
    assert gun.amount.value == pytest.approx(6.0 * 43.56 / 6.0, rel=1e-12)
    # A18, UNHCR1: 1 g/m2 in 40 mL/m2 is 25 g/L.
    wall = Planned(FEED, Stated(100.0, "g/100 m2"), 0.04)
    assert reckon_applied(wall, mix_l=None, mix_sd_l=None, mean_l_per_m2=None).concentration == Stated(25.0, "g/L")


def test_a_rate_in_the_mix_needs_no_area() -> None:
    found = reckon_applied(plan(10.0, "mL/L", 25.0), mix_l=5.0, mix_sd_l=0.1, mean_l_per_m2=0.05)
    assert (found.amount, found.rate_applied) == (Stated(50.0, "mL"), None)
    assert found.amount_sd == pytest.approx(1.0)


def test_more_mix_on_the_ground_is_more_product_on_it() -> None:
    found = reckon_applied(plan(4.0, "pt/acre", 25.0), mix_l=1.0, mix_sd_l=None, mean_l_per_m2=1.1 * 25.0 * GPA)
    assert found.rate_applied.value == pytest.approx(4.4, rel=1e-12)


def test_a_record_with_everything_meets_every_rule_and_says_where_each_value_comes_from() -> None:
    items = build_record(WHOLE)
    checks = check_record(items)
    assert [key for key, needs in checks.items() if not all(need.is_met for need in needs)] == []
    sources = {item.key: item.source for item in items}
    assert sources["applicator"] == "card"
    assert sources["product.1.amount"] == "computed"
    assert sources["mix_l"] == sources["wind_start_mps"] == "measured"
    assert sources["incidents"] == "typed"
    assert sources["site_kind"] == "assumed"
    assert find(items, "product.1.amount").value == pytest.approx(100.0)
    assert find(items, "date").value == "2026-05-14"
    order = [sort.key for sort in SORTS]
    assert {sort_of(item.key).key for item in items} == set(order)


@pytest.mark.parametrize(
    ("change", "unmet"),
    [
        ({"operator": None}, {"us_federal", "us_commercial", "us_maryland"}),
        ({"customer": None}, {"us_commercial", "us_maryland", "us_georgia"}),
        ({"site": None}, {regime.key for regime in REGIMES}),
        ({"treatment": None, "products": {}}, {regime.key for regime in REGIMES}),
        ({"typed": {"incidents": "none"}}, {"us_commercial"}),
        ({"typed": {"noncertified": "nobody"}}, {"us_georgia"}),
        ({"products": {1: replace(FEED, registration="")}}, {"us_federal", "us_commercial", "us_maryland"}),
        (
            {"parts": (replace(WHOLE.parts[0], measured=replace(MEASURED, wind_start=None, wind_worst=None)),)},
            {"us_maryland"},
        ),
    ],
    ids=lambda each: str(each)[:40],
)  # fmt: skip
def test_what_is_missing_is_missed_by_the_rules_that_ask_for_it_and_by_no_other(change, unmet) -> None:
    items = build_record(replace(WHOLE, **change))
    found = {key for key, needs in check_record(items).items() if not all(need.is_met for need in needs)}
    assert found == unmet
    assert all(item.missing for item in items if item.value is None)


def test_the_field_lists_are_those_of_the_sources() -> None:
    # Counts of the fields named by CFR1, REC2, MD1 and GA1, as the handbook lists them; two years each.
    assert {regime.key: len(regime.needs) for regime in REGIMES} == {
        "us_federal": 9, "us_commercial": 12, "us_maryland": 13, "us_georgia": 10,
    }  # fmt: skip
    assert {regime.keep_years for regime in REGIMES} == {2.0}
    known = {sort.key for sort in SORTS}
    assert {key for regime in REGIMES for need in regime.needs for way in need.ways for key in way} <= known


def test_what_was_typed_stands_in_for_what_is_not_known_but_never_for_a_measurement() -> None:
    typed = {"area_m2": 150.0, "business": "Other", "notes": "wet edges"}
    items = build_record(replace(WHOLE, typed=typed))
    area, business, notes = (find(items, key) for key in typed)
    assert (area.value, area.source, area.beside) == (200.0, "measured", 150.0)
    assert (business.value, business.source, business.beside) == ("Other", "typed", "Willow")
    assert (notes.value, notes.source) == ("wet edges", "typed")
    blind = build_record(replace(WHOLE, parts=(Part(3, "Front", None),), typed=typed))
    assert (find(blind, "area_m2").value, find(blind, "area_m2").source) == (150.0, "typed")


def test_a_job_without_a_treatment_takes_its_products_as_typed() -> None:
    typed = {"product.1.name": "Feed", "product.2.name": "Iron", "product.2.amount": "12.5 fl oz"}
    items = build_record(replace(WHOLE, treatment=None, products={}, typed=typed))
    amount = find(items, "product.2.amount")
    assert (amount.value, amount.unit, amount.source) == (12.5, "fl oz", "typed")
    assert find(items, "product.1.amount").missing == "no treatment was chosen for this job"
    assert not any(item.key.startswith("product.3") for item in items)


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("product.1.amount", "12.5", "number and unit"),
        ("product.1.amount", "12.5 m2", "number and unit"),
        ("product.1.amount", "-3 fl oz", "cannot be meant"),
        ("product.1.rate", "3 fl oz", "number and unit"),
        ("product.99.name", "Feed", "holds 8"),
        ("wind_start_mps", 200.0, "outside 0 to 60"),
        ("wind_start_mps", "fast", "no number"),
        ("date", "31.5.2027", "no day"),
        ("colour", "blue", "no item"),
        ("product.*.name", "Feed", "no item"),
        ("notes", "x" * 1001, "too many"),
        ("customer", " ", "filled in"),
    ],
)
def test_what_cannot_be_meant_is_refused_by_its_item(key, value, words) -> None:
    with pytest.raises(EntryError, match=words):
        read_value(key, value)


def test_parts_of_a_job_stand_under_one_record() -> None:
    later = replace(
        MEASURED, start_utc=START + 2000.0, end_utc=START + 2600.0, volume_l=4.0, covered_m2=100.0, mean_l_per_m2=0.05,
        wind_worst=WindAt(5.0, 0.1, 10.0, START + 2500.0), wind_end=WindAt(4.0, 0.1, 0.0, START + 2600.0),
        passes_above=2, zones=(ZoneShare("front", 210.0, 50.0),), limit_mps=3.5,
    )  # fmt: skip
    parts = (*WHOLE.parts, Part(4, "Front lawn, second sprayer", later, SprayerCard("Red", Stated(1.0, "m"), (300.0,))))
    items = build_record(replace(WHOLE, parts=parts))
    assert find(items, "mix_l").value == 12.0
    assert find(items, "area_m2").value == 300.0
    assert find(items, "mean_l_per_m2").value == pytest.approx((200 * 0.04 + 100 * 0.05) / 300)
    assert (find(items, "start_utc").value, find(items, "end_utc").value) == (START, START + 2600.0)
    assert find(items, "wind_worst_mps").value == 5.0
    assert (find(items, "wind_start_mps").value, find(items, "wind_end_mps").value) == (1.0, 4.0)
    assert find(items, "wind_limit_mps").value == 3.5
    assert find(items, "passes_above").value == 2.0
    assert [find(items, f"part.{place}.sprayer").value for place in (1, 2)] == ["Green", "Red"]
    assert find(items, "zone.1.covered_m2").value == 210.0
    assert find(items, "mix_l").sd == pytest.approx(np.hypot(0.16, 0.16))
    half = build_record(replace(WHOLE, parts=(*WHOLE.parts, Part(4, "second", None))))
    assert find(half, "mix_l").missing == "the job has not been reviewed"


@pytest.mark.parametrize(
    ("mean", "words"),
    [
        (0.0419, None),
        (0.0421, "off by more than 5 %"),
        (0.0379, "off by more than 5 %"),
        (0.0441, "off by more than 10 %"),
        (0.0359, "off by more than 10 %"),
    ],
)
def test_a_rate_off_by_more_than_5_and_10_percent_is_told(mean, words) -> None:
    # 5 %: AGP1 (Ohio State University), PES2; 10 %: LUCK1, as the handbook lists them.
    part = replace(WHOLE.parts[0], measured=replace(MEASURED, mean_l_per_m2=mean))
    found = {each.key: each.words for each in find_deviations(build_record(replace(WHOLE, parts=(part,))))}
    assert found.get("rate_off_percent") == words


def test_each_deviation_is_told_and_a_clean_job_has_none() -> None:
    assert find_deviations(build_record(WHOLE)) == ()
    bad = replace(
        MEASURED, passes_above=2, passes_off=3, above_s=70.0, off_target_l=0.2, keep_out_l=0.1, unplaced_l=0.3,
        places=(Places("missed", 2, 3.0, 0.0), Places("doubled", 1, 2.0, 0.1)), missing_messages=7,
    )  # fmt: skip
    items = build_record(replace(WHOLE, parts=(replace(WHOLE.parts[0], measured=bad),)))
    assert {each.key for each in find_deviations(items)} == {
        "passes_above", "passes_off", "above_s", "off_target_l", "keep_out_l", "unplaced_l", "missed_m2", "doubled_m2",
        "missing_messages",
    }  # fmt: skip


def test_ground_that_another_part_of_the_job_sprayed_is_not_missed() -> None:
    half = replace(
        MEASURED, zones=(ZoneShare("front", 210.0, 100.0),), covered_m2=100.0, places=(Places("missed", 1, 108.0, 0.0),)
    )
    two = replace(WHOLE, parts=(Part(3, "One", half), Part(4, "Two", half)))
    found = {item.key: item.value for item in build_record(two)}
    assert found["missed_m2"] == pytest.approx(8.0)
    alone = {item.key: item.value for item in build_record(replace(WHOLE, parts=(Part(3, "One", half),)))}
    assert alone["missed_m2"] == pytest.approx(108.0)


def wind_of(speeds, *, start=0.0, side=90.0):
    """A wind series, a second a row."""
    none, t = np.zeros(0), start + np.arange(float(len(speeds)))
    sides, smooth = np.full(len(t), side), np.array(speeds)
    return WindSeries(none, none, t, START + t, *[none] * 5, sides, *[none] * 4, (), smooth, none)


def test_the_winds_of_a_record_are_those_of_the_spraying_and_not_of_the_time_around_it() -> None:
    # Gusts before and after the spraying (100 to 400 s) must not count; a rise in it must.
    speeds = [9.0] * 100 + [2.0] * 100 + [5.0] * 60 + [3.0] * 140 + [9.0] * 100
    start, end, worst = pick_winds(wind_of(speeds), start_t=100.0, end_t=399.0, averaging_s=60.0)
    assert (start.mean_mps, end.mean_mps, worst.mean_mps) == (2.0, 3.0, 5.0)
    assert start.utc == START + 159.0
    assert end.utc == START + 399.0
    assert worst.utc == START + 259.0
    assert worst.from_deg == pytest.approx(90.0)


def test_a_wind_that_was_not_heard_is_not_known() -> None:
    silent = wind_of([float("nan")] * 200)
    assert pick_winds(silent, start_t=10.0, end_t=150.0, averaging_s=60.0) == (None, None, None)
    nan = float("nan")
    assert pick_winds(wind_of([1.0] * 9), start_t=nan, end_t=nan, averaging_s=60.0) == (None, None, None)


@given(
    st.lists(st.floats(0.0, 20.0), min_size=30, max_size=120),
    st.integers(0, 20),
    st.integers(1, 90),
    st.sampled_from([3.0, 10.0, 60.0]),
)
def test_the_worst_wind_is_never_below_that_at_the_start_or_at_the_end(speeds, first, span, averaging) -> None:
    last = min(first + span, len(speeds) - 1)
    start, end, worst = pick_winds(wind_of(speeds), start_t=float(first), end_t=float(last), averaging_s=averaging)
    assert worst.mean_mps >= max(start.mean_mps, end.mean_mps) - 1e-9
    assert worst.mean_mps <= max(speeds) + 1e-9


def test_retention_is_never_shorter_than_the_longest_period() -> None:
    assert Retention().least_years == 2.0
    assert Retention(years=7).least_years == 7.0
    with pytest.raises(EntryError, match="outside 2 to 100"):
        Retention(years=1)
    with pytest.raises(EntryError, match="outside 2 to 100"):
        Retention(regimes=(), years=1)
    with pytest.raises(EntryError, match="none of us_federal"):
        Retention(regimes=("moon",))


@given(st.integers(1_700_000_000, 2_000_000_000), st.integers(2, 30))
def test_nothing_may_go_before_its_anniversary_in_any_zone(end, years) -> None:
    day = np.datetime64(end, "s").astype("datetime64[D]")
    month = day.astype("datetime64[M]") + 12 * years
    anniversary = month.astype("datetime64[D]") + (day - day.astype("datetime64[M]")).astype(int)
    last_s = int((anniversary + 1).astype("datetime64[s]").astype(int)) + 86_399
    assert keep_until(float(end), years=float(years)) == str(anniversary + 1)
    assert not may_go(float(end), float(last_s), years=float(years))
    assert may_go(float(end), float(last_s + 1), years=float(years))


def test_items_keep_their_order_and_number() -> None:
    items = [Item("site", None, missing="x"), Item("notes", None, missing="y")]
    assert [item.key for item in merge_typed(items, {"notes": "a"})] == ["site", "notes"]
