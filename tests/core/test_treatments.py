"""What speaks against a treatment: each slip that costs money, with its numbers; and the sheet to fill by."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.entered import Stated
from server.core.errors import EntryError
from server.core.plancheck import check_plan
from server.core.productcard import Constituent, ProductCard
from server.core.quantity import convert
from server.core.recipe import Ingredient, Plan, make_product
from server.core.seasoncheck import Application
from server.core.sheet import fill_sheet
from server.core.sitecard import SiteCard, ZoneCard
from server.core.sprayercard import SprayerCard
from server.core.treatmentcard import TreatmentCard
from server.core.windlimit import rank_limits

LAWN = ZoneCard(
    "front", rings=(((-30.0, 45.0), (-29.9996, 45.0), (-29.9996, 45.0002), (-30.0, 45.0002), (-30.0, 45.0)),)
)
SITE = SiteCard("Home", zones=(LAWN, replace(LAWN, name="back")))
SPRAYER = SprayerCard("Backpack", Stated(1.0, "m"), (450.0,), tank=Stated(15.0, "L"))
FEED = ProductCard(
    "Feed",
    Stated(6.0, "fl oz/1000 ft2"),
    rate_least=Stated(3.0, "fl oz/1000 ft2"),
    density=Stated(10.0, "lb/gal"),
    carrier_least=Stated(1.0, "gal/1000 ft2"),
    carrier_most=Stated(3.0, "gal/1000 ft2"),
    constituents=(Constituent("Iron", 5.0),),
    interval_days=21.0,
    season_most=Stated(12.0, "fl oz/1000 ft2"),
    season_times=3.0,
    wind_limit=Stated(10.0, "mph"),
    wind_averaging_s=120.0,
    wind_height=Stated(6.0, "ft"),
)
GREEN = ProductCard("Green", Stated(4.0, "oz/1000 ft2"), form="dry", constituents=(Constituent(" iron ", 10.0),))
TODAY = "2027-05-31"


def plan_of(*parts, **more):
    """A treatment of products and rates, on the front lawn unless told otherwise."""
    doses = tuple(Ingredient(number, card, Stated(*rate)) for number, (card, rate) in enumerate(parts, 1))
    own = {key: more.pop(key) for key in ("target", "zones", "wind_limit", "directions") if key in more}
    treatment = TreatmentCard("Spring", 1, own.pop("target", Stated(1.5, "gal/1000 ft2")), **own)
    return Plan(treatment, doses, more.pop("site", SITE), more.pop("sprayer", SPRAYER), more.pop("day", TODAY), 7)


def keys_of(plan, past=(), today=TODAY):
    """The keys of what speaks against it, with how grave each is."""
    return {each.key: each for each in check_plan(plan, past=past, today=today)}


GOOD = plan_of((FEED, (4.0, "fl oz/1000 ft2")))


def applied(day, rate=(4.0, "fl oz/1000 ft2"), card=FEED, number=1, zones=()):
    """One earlier application."""
    return Application(day, zones, number, card, None if rate is None else Stated(*rate), 0.06)


def test_nothing_speaks_against_a_treatment_within_its_label() -> None:
    assert keys_of(GOOD) == {}


MISTAKES = [
    ((FEED, (40.0, "fl oz/1000 ft2")), "rate_above_label", "refuse", "decimal point"),
    ((FEED, (4.0, "gal/acre")), "rate_above_label", "refuse", "1.96 times"),
    ((FEED, (174.24, "fl oz/1000 ft2")), "rate_above_label", "refuse", "meant for an acre"),
    ((FEED, (0.4, "fl oz/1000 ft2")), "rate_below_label", "ask", "10 times that would fit"),
    ((replace(FEED, density=None), (4.0, "oz/1000 ft2")), "ounces_for_fluid_ounces", "refuse", "choose fl oz"),
    ((FEED, (4.0, "oz/1000 ft2")), "weight_for_volume", "ask", "weigh on purpose"),
    ((GREEN, (3.0, "fl oz/1000 ft2")), "volume_for_weight", "refuse", "weigh it"),
]


@pytest.mark.parametrize(("part", "key", "severity", "words"), MISTAKES, ids=[each[1] + each[3] for each in MISTAKES])
def test_a_slip_in_number_or_unit_is_caught(part, key, severity, words) -> None:
    found = keys_of(plan_of(part))
    assert found[key].severity == severity
    assert words in found[key].sentence


def test_a_rate_within_the_label_but_unlike_before_is_asked_about() -> None:
    loose = replace(FEED, rate_most=Stated(60.0, "fl oz/1000 ft2"), season_most=None)
    past = [
        applied("2026-05-01", (4.0, "fl oz/1000 ft2"), loose),
        applied("2026-09-01", (5.0, "fl oz/1000 ft2"), loose),
    ]
    found = keys_of(plan_of((loose, (45.0, "fl oz/1000 ft2"))), past)["rate_unlike_before"]
    assert found.numbers["times"] == pytest.approx(10.0)
    assert "decimal point" in found.sentence


def test_a_carrier_outside_its_label_is_told_with_both_numbers() -> None:
    """Colorado State University, CEPEP fact sheet 204: 2 gal where the label says 3 to 5 gal/1000 ft2 can burn."""
    card = replace(FEED, carrier_least=Stated(3.0, "gal/1000 ft2"), carrier_most=Stated(5.0, "gal/1000 ft2"))
    part = (card, (4.0, "fl oz/1000 ft2"))
    low = keys_of(plan_of(part, target=Stated(2.0, "gal/1000 ft2")))["carrier_below_label"]
    assert low.numbers["limit_l_per_m2"] == pytest.approx(convert(3.0, "gal/1000 ft2", into="L/m2"))
    assert "2 gal/1000 ft² is less than the least of its label, 3 gal/1000 ft²" in low.sentence
    high = keys_of(plan_of(part, target=Stated(6.0, "gal/1000 ft2")))["carrier_above_label"]
    assert "5 gal/1000 ft²" in high.sentence
    assert keys_of(plan_of(part, target=Stated(20.0, "gal/1000 ft2")))["carrier_unusual"].severity == "ask"


def test_the_season_counts_what_lay_on_each_zone_this_year() -> None:
    past = [applied("2027-03-01"), applied("2027-04-01", (5.0, "fl oz/1000 ft2"), zones=("back",))]
    past.append(applied("2026-08-01", (6.0, "fl oz/1000 ft2")))
    front = replace(GOOD, treatment=replace(GOOD.treatment, zones=("front",)))
    assert "season_most" not in keys_of(front, past)
    found = keys_of(GOOD, past)["season_most"]
    assert "on back: 13 fl oz/1000 ft² in 2027 with this one" in found.sentence
    assert "1 fl oz/1000 ft² too much" in found.sentence
    assert found.numbers["total_l_per_m2"] == pytest.approx(convert(13.0, "fl oz/1000 ft2", into="L/m2"))


def test_an_unknown_amount_of_the_season_is_asked_about() -> None:
    assert keys_of(GOOD, [applied("2027-03-01", None)])["season_not_known"].numbers["not_known"] == 1.0


def test_a_fourth_time_of_three_is_asked_about() -> None:
    past = [applied(f"2027-0{month}-01", (0.5, "fl oz/1000 ft2")) for month in (1, 2, 3)]
    assert keys_of(GOOD, past)["season_times"].numbers == {"times": 4.0, "most_times": 3.0}


def test_works_of_one_day_are_one_application_of_the_season() -> None:
    past = [applied("2027-01-01", (0.5, "fl oz/1000 ft2")), applied("2027-02-01", (0.5, "fl oz/1000 ft2"))]
    assert "season_times" not in keys_of(GOOD, [*past, past[0]])


def test_a_season_that_begins_in_another_month_is_counted_from_there() -> None:
    past = [applied("2026-08-01", (6.0, "fl oz/1000 ft2")), applied("2027-02-01", (4.0, "fl oz/1000 ft2"))]
    assert "season_most" not in keys_of(GOOD, past)
    found = keys_of(replace(GOOD, year_begins=7.0), past)["season_most"]
    assert "14 fl oz/1000 ft² in the season from 2026-07-01 with this one" in found.sentence


def test_an_interval_too_short_is_told_in_days_both_ways() -> None:
    assert keys_of(GOOD, [applied("2027-05-17")])["interval_short"].numbers["days"] == 14.0
    assert "before 2027-06-05" in keys_of(GOOD, [applied("2027-06-05")])["interval_short"].sentence
    assert "interval_short" not in keys_of(GOOD, [applied("2027-05-10")])


def test_the_same_constituent_twice_is_added_up_by_mass() -> None:
    found = keys_of(GOOD, [applied("2027-05-21", (2.0, "oz/1000 ft2"), GREEN, 9)])["same_constituent"]
    feed = 4.0 / 128 * 10.0 * 0.05
    green = 2.0 / 16 * 0.10
    assert found.numbers["total_kg_per_m2"] == pytest.approx(convert(feed + green, "lb/1000 ft2", into="kg/m2"))
    assert "10 days apart: 0.0156 lb/1000 ft² and 0.0125 lb/1000 ft², 0.0281 lb/1000 ft² together" in found.sentence
    assert "same_constituent" not in keys_of(GOOD, [applied("2027-03-01", (2.0, "oz/1000 ft2"), GREEN, 9)])
    both = plan_of((FEED, (4.0, "fl oz/1000 ft2")), (GREEN, (2.0, "oz/1000 ft2")))
    assert "in the same mix" in keys_of(both)["same_constituent"].sentence


def test_a_constituents_season_counts_all_products() -> None:
    limited = replace(FEED, constituents=(Constituent("Iron", 5.0, Stated(0.02, "lb/1000 ft2")),))
    plan = plan_of((limited, (4.0, "fl oz/1000 ft2")))
    assert "constituent_season_most" not in keys_of(plan)
    found = keys_of(plan, [applied("2027-02-01", (2.0, "oz/1000 ft2"), GREEN, 9)])["constituent_season_most"]
    assert found.numbers["total_kg_per_m2"] > found.numbers["most_kg_per_m2"]


def test_of_two_wind_limits_the_stricter_counts_and_keeps_its_words() -> None:
    plan = plan_of((FEED, (4.0, "fl oz/1000 ft2")), (GREEN, (2.0, "oz/1000 ft2")), wind_limit=Stated(12.0, "mph"))
    found = keys_of(plan)["wind_limits_disagree"]
    assert found.sentence.startswith("Wind: Feed 10 mph, averaged over 120 s, at 6 ft; your own limit 12 mph.")
    assert found.numbers["less_mps"] == pytest.approx(2 * 0.44704)
    limit = rank_limits(plan.treatment, plan.products)[0]
    assert (limit.subject, limit.averaging_s, limit.height) == ("Feed", 120.0, Stated(6.0, "ft"))


def test_products_that_want_opposite_things_are_asked_about() -> None:
    soil = replace(GREEN, action="soil", watering="must", water_within_h=4.0)
    leaf = replace(FEED, action="foliar", watering="must_not")
    parts = (leaf, (4.0, "fl oz/1000 ft2")), (soil, (2.0, "oz/1000 ft2"))
    assert {"foliar_with_soil", "watering_disagrees"} <= keys_of(plan_of(*parts)).keys()
    drying = (replace(leaf, watering="either", dry_h=6.0), parts[0][1])
    assert keys_of(plan_of(drying, parts[1]))["watering_disagrees"].numbers["dry_s"] == 21_600.0


def test_a_licence_is_told() -> None:
    assert (
        keys_of(plan_of((replace(FEED, is_licence_needed=True), (4.0, "fl oz/1000 ft2"))))["licence"].severity == "tell"
    )


@pytest.mark.parametrize(("day", "days"), [("2037-05-31", 3653.0), ("2017-05-31", -3652.0)])
def test_a_day_beyond_sense_is_asked_about(day, days) -> None:
    found = keys_of(replace(GOOD, day=day))["day_far"]
    assert (found.severity, found.numbers["days"]) == ("ask", days)


def test_no_ground_and_unknown_zones_are_refused() -> None:
    assert keys_of(replace(GOOD, site=SiteCard("Bare")))["no_area"].severity == "refuse"
    found = keys_of(replace(GOOD, treatment=replace(GOOD.treatment, zones=("frnt",))))["zone_unknown"]
    assert "there is front, back" in found.sentence


def test_a_tank_nobody_carries_is_asked_about() -> None:
    heavy = replace(SPRAYER, tank=Stated(150.0, "L"))
    assert keys_of(replace(GOOD, sprayer=heavy))["tank_unusual"].severity == "ask"
    assert "tank_unusual" not in keys_of(replace(GOOD, sprayer=replace(heavy, kind="walk_behind")))


def test_a_label_the_wrong_way_round_is_refused() -> None:
    card = replace(FEED, rate_least=Stated(8.0, "fl oz/1000 ft2"))
    assert keys_of(plan_of((card, (6.0, "fl oz/1000 ft2"))))["label_contradicts_itself"].severity == "refuse"


@given(st.floats(0.01, 100.0), st.sampled_from(["fl oz/1000 ft2", "mL/100 m2", "L/ha", "pt/acre"]))
def test_whatever_is_above_the_label_never_reaches_the_tank(value, unit) -> None:
    """The sheet refuses exactly what the objections call above the label."""
    plan = plan_of((FEED, (value, unit)))
    is_above = "rate_above_label" in keys_of(plan)
    try:
        fill_sheet(plan)
        is_refused = False
    except EntryError as error:
        is_refused = "label allows" in str(error)
    assert is_above == is_refused


def test_the_sheet_of_zones_counts_passes_and_pace() -> None:
    plan = plan_of((FEED, (4.0, "fl oz/1000 ft2")), target=Stated(4.0, "L/100 m2"), zones=("front",))
    sheet = fill_sheet(plan, flow_l_per_min=2.4)
    width, height = 0.0004 * 78846.835, 0.0002 * 111131.777
    assert sheet.area_m2 == pytest.approx(width * height, rel=1e-4)
    assert sheet.mix.total.mix_l == pytest.approx(width * height * 0.04, rel=1e-4)
    assert sheet.passes == 23
    assert sheet.walk.pace.pace_mps == pytest.approx(1.0)
    assert sheet.passes_a_tank == pytest.approx(23 * 15.0 / sheet.mix.total.mix_l)
    halves = replace(plan, treatment=replace(plan.treatment, directions=2))
    assert fill_sheet(halves, flow_l_per_min=2.4).walk.pace.pace_mps == pytest.approx(2.0)
    assert fill_sheet(halves, flow_l_per_min=2.4).mix.total.mix_l == pytest.approx(sheet.mix.total.mix_l)


def test_the_nozzles_flow_follows_the_pressure() -> None:
    """Flow grows with the root of the pressure (handbook B01): four times of it, twice the flow."""
    card = replace(
        SPRAYER, rated_flow=Stated(1.2, "L/min"), rated_pressure=Stated(1.0, "bar"), pressure=Stated(4.0, "bar")
    )
    walk = fill_sheet(replace(GOOD, sprayer=card)).walk
    assert (walk.flow_origin, walk.flow_l_per_min) == ("nozzle", pytest.approx(2.4))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"fill_l": 20.0}, "more than the sprayer's tank of 15 L"),
        ({"area_m2": 0.0}, "0 m² is outside"),
        ({"flow_l_per_min": 2400.0}, "2,400 L/min is outside"),
        ({"zones": ("bakc",)}, "no zone of Home"),
    ],
)
def test_a_sheet_that_cannot_be_meant_is_refused(more, words) -> None:
    with pytest.raises(EntryError, match=words):
        fill_sheet(GOOD, **more)


def test_a_sheet_needs_a_sprayer_and_ground() -> None:
    with pytest.raises(EntryError, match="choose a sprayer"):
        fill_sheet(replace(GOOD, sprayer=None))
    with pytest.raises(EntryError, match="no zone of 1 m²"):
        fill_sheet(replace(GOOD, site=SiteCard("Bare")))


def test_a_share_of_the_mix_becomes_a_rate_per_litre_of_mix() -> None:
    """Handbook A12; University of Georgia: 2 % of a 2 gal tank is 5.12 fl oz."""
    card = ProductCard("W", Stated(0.02 * 128, "fl oz/gal"))
    product = make_product(Ingredient(1, card, Stated(2.56, "fl oz/gal")), target_l_per_m2=0.0234)
    assert (product.per, product.rate) == ("mix", pytest.approx(0.02))


def test_even_tanks_are_all_alike_and_leave_nothing() -> None:
    plan = plan_of((FEED, (4.0, "fl oz/1000 ft2")))
    mix = fill_sheet(plan, area_m2=380.0, is_even=True).mix
    need = 380.0 * plan.target_l_per_m2
    assert (mix.full_count, mix.last) == (2, None)
    assert mix.full.mix_l == pytest.approx(need / 2)


RATES_OF = st.tuples(
    st.floats(1e-3, 1e3), st.sampled_from(["fl oz/1000 ft2", "mL/100 m2", "oz/1000 ft2", "mL/L", "g/L", "lb/acre"])
)


@st.composite
def cards(draw):
    """Any card that the service would take, however odd."""

    def some(strategy):
        return draw(st.none() | strategy)

    carrier = st.builds(Stated, st.floats(0.5, 10.0), st.just("gal/1000 ft2"))
    try:
        return ProductCard(
            draw(st.sampled_from(["A", "B"])),
            Stated(*draw(RATES_OF)),
            form=draw(st.sampled_from(["dry", "solution", "emulsion"])),
            rate_least=some(RATES_OF.map(lambda pair: Stated(*pair))),
            density=some(st.just(Stated(1.2, "kg/L"))),
            carrier_least=some(carrier),
            carrier_most=some(carrier),
            constituents=draw(st.sampled_from([(), (Constituent("Iron", 5.0),), FEED.constituents])),
            season_most=some(RATES_OF.map(lambda pair: Stated(*pair))),
            season_times=some(st.just(2.0)),
            interval_days=some(st.just(21.0)),
            watering=draw(st.sampled_from(["must", "must_not", "either"])),
            wind_limit=some(st.just(Stated(10.0, "mph"))),
        )
    except EntryError:
        return FEED


@settings(max_examples=60)
@given(cards(), cards(), RATES_OF, RATES_OF, st.booleans())
def test_whatever_was_entered_gets_sentences_with_numbers_and_never_an_accident(one, other, a, b, is_past) -> None:
    try:
        plan = plan_of((one, a), (other, b))
    except EntryError:
        return
    try:
        past = [Application("2027-05-20", (), 1, one, Stated(*b) if is_past else None, 0.05)]
    except EntryError:
        past = []
    found = check_plan(plan, past=past, today=TODAY)
    severities = [("refuse", "ask", "tell").index(each.severity) for each in found]
    assert severities == sorted(severities)
    for each in found:
        assert each.sentence[-1] in ".?!", each
        assert "nan" not in each.sentence.split(), each
        assert all(value == value for value in each.numbers.values()), each
    is_refused = any(each.severity == "refuse" for each in found)
    refusal = ""
    try:
        fill_sheet(plan)
    except EntryError as error:
        refusal = str(error)
    assert refusal == "" or is_refused or "would go in" in refusal or "would be product" in refusal
