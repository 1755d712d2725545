"""Mix sheets against worked examples, and what must hold of each."""

from dataclasses import replace
from math import isnan

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.core.errors import EntryError
from server.core.measure import choose_tool
from server.core.mix import level_after, plan_mix, plan_rest
from server.core.quantity import convert
from server.core.tankload import FORMS, Product, mix_load, product_for_active
from server.core.uncertainty import Estimate

WEEDY = Product("W", 0.0005, form="emulsion")
LAWN = {"target_l_per_m2": 0.04, "products": [WEEDY], "tank_l": 15.0}


def si(number: float, unit: str) -> float:
    """A number of a unit in L, kg, m², or L or kg per m²."""
    bases = {"gal": "L", "acre": "m2", "ft2": "m2", "L": "L", "gal/acre": "L/m2", "gal/1000 ft2": "L/m2"}
    bases |= {"pt/acre": "L/m2", "lb/acre": "kg/m2", "L/acre": "L/m2"}
    return convert(number, unit, into=bases[unit])


def test_a10_thirty_acres_fit_one_tank() -> None:
    """Handbook A10; Alberta Agriculture, Agdex 606-1: 30 acres at 40 L/acre are 1200 L of a tank of 2000."""
    sheet = plan_mix(si(30, "acre"), target_l_per_m2=si(40, "L/acre"), products=[], tank_l=2000.0)
    assert sheet.full_count == 0
    assert sheet.last.mix_l == pytest.approx(1200.0)


def test_a11_a_tank_treats_a_sixth_of_an_acre() -> None:
    """Handbook A11; Mesa County, Colorado, hand gun: 25 gal at 150 GPA treat 7260 ft2; product a sixth of an acre's."""
    product = Product("P", si(3.0, "pt/acre"))
    sheet = plan_mix(si(1, "acre"), target_l_per_m2=si(150, "gal/acre"), products=[product], tank_l=si(25, "gal"))
    assert (sheet.full_count, sheet.last) == (6, None)
    assert convert(sheet.full.area_m2, "m2", into="ft2") == pytest.approx(7260.0)
    assert convert(sheet.full.amounts[0].litres, "L", into="pt") == pytest.approx(3.0 / 6)


def test_a12_the_backpack_gets_five_ounces() -> None:
    """Handbook A12; University of Georgia: 4.0 pt/acre at 25 GPA is 2 %, 5.1 fl oz in 2 gal (within 0.05)."""
    load = mix_load(si(2, "gal"), target_l_per_m2=si(25, "gal/acre"), products=[Product("P", si(4.0, "pt/acre"))])
    assert load.amounts[0].litres / load.mix_l == pytest.approx(0.02)
    assert convert(load.amounts[0].litres, "L", into="fl oz") == pytest.approx(5.1, abs=0.05)
    assert convert(load.amounts[0].litres, "L", into="fl oz") == pytest.approx(5.12, abs=0.005)
    assert load.amounts[0].tool.name == "cup"


def test_a14_a_season_needs_its_gallons() -> None:
    """Handbook A14; Oklahoma State University OKC, 2013: 3.6 pt/acre on 25 acres are 11.25 gal."""
    product = Product("P", si(3.6, "pt/acre"))
    sheet = plan_mix(si(25, "acre"), target_l_per_m2=si(40, "gal/acre"), products=[product], tank_l=si(100, "gal"))
    assert convert(sheet.total.amounts[0].litres, "L", into="gal") == pytest.approx(11.25, rel=1e-12)


def test_a16_the_field_takes_45_gallons() -> None:
    """Handbook A16; US Army subcourse MD0173: 300 x 150 ft at 1 gal/1000 ft2 are 45 gal."""
    sheet = plan_mix(si(300 * 150, "ft2"), target_l_per_m2=si(1, "gal/1000 ft2"), products=[], tank_l=si(50, "gal"))
    assert convert(sheet.total.mix_l, "L", into="gal") == pytest.approx(45.0, rel=1e-12)


def test_a17_the_partial_tank_is_in_proportion() -> None:
    """Handbook A17; Agrochemical and Pesticide Safety handbook: 3.5 acres at 15 GPA, 3 lb/acre: 52.5 gal, 10.5 lb."""
    product = Product("P", si(3, "lb/acre"), is_mass=True, form="dry")
    sheet = plan_mix(si(3.5, "acre"), target_l_per_m2=si(15, "gal/acre"), products=[product], tank_l=si(100, "gal"))
    assert convert(sheet.last.mix_l, "L", into="gal") == pytest.approx(52.5, rel=1e-12)
    assert convert(sheet.last.amounts[0].kilograms, "kg", into="lb") == pytest.approx(10.5, rel=1e-12)
    assert sheet.full_count == 0


def test_a18_the_deposit_asks_for_25_grams_a_litre() -> None:
    """Handbook A18; UNHCR, Vector and pest control, 1997: 1 g/m2 at 40 mL/m2 is 25 g/L."""
    load = mix_load(10.0, target_l_per_m2=0.040, products=[Product("P", 0.001, is_mass=True, form="dry")])
    assert load.amounts[0].kilograms / load.mix_l == pytest.approx(0.025, rel=1e-12)


def test_a29_an_emulsion_of_six_per_cent_gives_its_dose() -> None:
    """Handbook A29; US Army subcourse MD0173: 0.3 lb/acre of 6 % at 8.34 lb/gal are 0.5995 gal/acre (within 0.001)."""
    pounds = product_for_active(0.3, content=0.06)
    density = convert(8.34, "lb/gal", into="kg/L")
    assert convert(pounds, "lb/acre", into="gal/acre", density_kg_per_l=density) == pytest.approx(0.5995, abs=0.001)


def test_a30_a_powder_of_eighty_per_cent_gives_its_dose() -> None:
    """Handbook A30; Agrochemical and Pesticide Safety handbook: 2 lb/acre of 80 % are 2.5 lb/acre."""
    assert product_for_active(2.0, content=0.8) == 2.5


def test_product_in_a_gallon_is_the_acre_s_over_the_carrier_rate() -> None:
    """Teton County, Idaho: product per gallon = label rate per acre / GPA."""
    load = mix_load(si(1, "gal"), target_l_per_m2=si(40, "gal/acre"), products=[Product("P", si(4, "pt/acre"))])
    assert convert(load.amounts[0].litres, "L", into="pt") == pytest.approx(4 / 40)


RATES = st.floats(1e-6, 2e-4)
PRODUCTS = st.lists(
    st.builds(
        Product,
        name=st.sampled_from("ABC"),
        rate=RATES,
        is_mass=st.booleans(),
        per=st.just("area"),
        form=st.sampled_from(FORMS),
        density_kg_per_l=st.floats(0.7, 1.6),
    ),
    max_size=4,
)
AREAS, TARGETS, TANKS = st.floats(1.0, 20_000.0), st.floats(0.005, 0.2), st.floats(1.0, 200.0)


@given(area=AREAS, target=TARGETS, tank=TANKS, products=PRODUCTS, spare=st.floats(0.0, 1.0))
def test_loads_add_up_to_the_need(area, target, tank, products, spare) -> None:
    sheet = plan_mix(area, target_l_per_m2=target, products=products, tank_l=tank, spare_l=spare)
    loads = [sheet.full] * sheet.full_count + ([sheet.last] if sheet.last else [])
    assert sum(load.mix_l for load in loads) == pytest.approx(area * target + spare, rel=1e-8)
    assert sum(load.area_m2 for load in loads) == pytest.approx(area + spare / target, rel=1e-8)
    assert sum(load.carrier_l for load in loads) == pytest.approx(sheet.total.carrier_l, rel=1e-8)
    for k, amount in enumerate(sheet.total.amounts):
        rate = next(p for p in sorted(products, key=lambda p: FORMS.index(p.form))[k : k + 1]).rate
        whole = amount.kilograms if sheet_mass(products, k) else amount.litres
        assert whole == pytest.approx(rate * (area + spare / target), rel=1e-9)
        assert sum(load.amounts[k].litres for load in loads) == pytest.approx(amount.litres, rel=1e-8)
    assert all(load.mix_l <= tank * (1 + 1e-9) for load in loads)
    assert sheet.last is None or sheet.last.mix_l < tank


def sheet_mass(products: list[Product], k: int) -> bool:
    """Whether the k-th product in the order of filling is given by mass."""
    return sorted(products, key=lambda product: FORMS.index(product.form))[k].is_mass


@given(
    mix=st.floats(0.5, 500.0), target=TARGETS, products=PRODUCTS, bases=st.lists(st.sampled_from(["mix", "carrier"]))
)
def test_water_and_liquids_are_the_mix(mix, target, products, bases) -> None:
    turned = [replace(p, per=b, rate=p.rate * 500) for p, b in zip(products, bases, strict=False)]
    turned += products[len(turned) :]
    assume(all(p.form != "dry" for p in turned))
    load = mix_load(mix, target_l_per_m2=target, products=turned)
    assert load.carrier_l + sum(amount.litres for amount in load.amounts) == pytest.approx(mix, rel=1e-9)
    assert load.first_carrier_l + load.rest_carrier_l == pytest.approx(load.carrier_l, rel=1e-15)
    for product, amount in zip(sorted(turned, key=lambda p: FORMS.index(p.form)), load.amounts, strict=True):
        base = {"area": load.area_m2, "mix": mix, "carrier": load.carrier_l}[product.per]
        found = amount.kilograms if product.is_mass else amount.litres
        assert found == pytest.approx(product.rate * base, rel=1e-9)


@given(area=st.floats(10.0, 5000.0), factor=st.floats(1.0, 20.0), target=TARGETS, products=PRODUCTS)
def test_more_area_takes_as_much_more(area, factor, target, products) -> None:
    one = plan_mix(area, target_l_per_m2=target, products=products, tank_l=15.0).total
    more = plan_mix(area * factor, target_l_per_m2=target, products=products, tank_l=15.0).total
    assert more.carrier_l == pytest.approx(factor * one.carrier_l, rel=1e-9)
    for a, b in zip(one.amounts, more.amounts, strict=True):
        assert b.litres == pytest.approx(factor * a.litres, rel=1e-9)


@given(area=st.floats(5.0, 5000.0), left=st.floats(0.0, 15.0), target=TARGETS)
def test_after_a_stop_what_is_left_and_what_is_mixed_is_the_need(area, left, target) -> None:
    rest = plan_rest(area, tank_left_l=left, target_l_per_m2=target, products=[WEEDY], tank_l=15.0)
    need = area * target
    if rest.sheet is None:
        assert rest.surplus_l == pytest.approx(max(0.0, left - need), abs=1e-9)
        assert need - left < target
        return
    assert left + rest.sheet.total.mix_l == pytest.approx(need, rel=1e-9)
    assert rest.treats_m2 + rest.sheet.total.area_m2 == pytest.approx(area, rel=1e-9)
    if rest.top_up is not None:
        assert left + rest.top_up.mix_l <= 15.0 + 1e-9
        after = rest.after.total.mix_l if rest.after else 0.0
        # Less than a square metre's worth is not mixed for itself.
        assert -1e-9 <= need - left - rest.top_up.mix_l - after < target


def test_after_a_stop_with_nothing_left_to_do_the_rest_is_surplus() -> None:
    rest = plan_rest(0.0, tank_left_l=3.0, **LAWN)
    assert (rest.treats_m2, rest.surplus_l, rest.sheet, rest.top_up) == (0.0, 3.0, None, None)


def test_a_tank_that_comes_out_even_has_no_last_one() -> None:
    for tanks in range(1, 40):
        sheet = plan_mix(tanks * 375.0, **LAWN)
        assert (sheet.full_count, sheet.last) == (tanks, None)


@given(tanks=st.integers(1, 40), tank=st.integers(5, 500), rate=st.integers(10, 500))
def test_rounding_makes_no_extra_tank(tanks, tank, rate) -> None:
    tank_l, target = tank / 10, rate / 10_000
    area = tanks * tank_l / target
    assume(1.0 <= area <= 1e6)
    sheet = plan_mix(area, target_l_per_m2=target, products=[], tank_l=tank_l)
    assert (sheet.full_count, sheet.last) == (tanks, None)


def test_after_a_stop_the_tank_is_filled_up_to_the_usual_mark() -> None:
    rest = plan_rest(600.0, tank_left_l=4.0, fill_l=10.0, **LAWN)
    assert (rest.top_up.mix_l, rest.after.total.mix_l, rest.sheet.total.mix_l) == pytest.approx((6.0, 14.0, 20.0))
    # What would not make a square metre goes into the same filling, above the mark.
    rest = plan_rest(250.5, tank_left_l=4.0, fill_l=10.0, **LAWN)
    assert (rest.top_up.mix_l, rest.after) == (pytest.approx(6.02), None)


def test_after_a_stop_less_than_a_square_metre_is_not_mixed() -> None:
    rest = plan_rest(100.5, tank_left_l=4.0, **LAWN)
    assert (rest.treats_m2, rest.surplus_l, rest.sheet) == (100.0, 0.0, None)


def test_a_fill_below_the_brim_makes_more_tanks() -> None:
    sheet = plan_mix(1000.0, fill_l=10.0, **LAWN)
    assert (sheet.full_count, sheet.full.mix_l, sheet.last) == (4, 10.0, None)


def test_products_go_in_by_their_form() -> None:
    """Manitoba Guide to Crop Protection, second hand: dry, flowable, solution, emulsion, adjuvant."""
    mixed = [Product(form, 1e-5, form=form, density_kg_per_l=1.0) for form in reversed(FORMS)]
    load = mix_load(10.0, target_l_per_m2=0.04, products=mixed)
    assert tuple(amount.name for amount in load.amounts) == FORMS
    assert load.first_carrier_l == load.carrier_l / 2


def test_a_liquid_sold_by_weight_is_measured_by_volume() -> None:
    load = mix_load(10.0, target_l_per_m2=0.05, products=[Product("N", 0.0013, is_mass=True, density_kg_per_l=1.3)])
    assert load.amounts[0].litres == pytest.approx(0.2)
    assert load.amounts[0].kilograms == pytest.approx(0.26)
    assert load.carrier_l == pytest.approx(9.8)
    assert isnan(mix_load(10.0, target_l_per_m2=0.05, products=[WEEDY]).amounts[0].kilograms)


@pytest.mark.parametrize(
    ("changed", "key", "words"),
    [
        ({"area_m2": 0.0}, "area", "0 m² is outside 1 to"),
        ({"area_m2": -3.0}, "area", "outside"),
        ({"area_m2": float("nan")}, "area", "a number from 1"),
        ({"fill_l": 20.0}, "fill", "20 L is more than the sprayer's tank of 15 L"),
        ({"tank_l": 0.0}, "tank", "outside 0.1 to 2,000 L"),
        ({"target_l_per_m2": 4.0}, "carrier rate", "outside 0.001 to 2"),
        ({"target_l_per_m2": 0.0}, "carrier rate", "outside"),
        ({"spare_l": -1.0}, "spare mix", "outside"),
        ({"products": [replace(WEEDY, rate=0.0)]}, "W", "above 0"),
        ({"products": [replace(WEEDY, rate=float("inf"))]}, "W", "above 0"),
        ({"products": [replace(WEEDY, rate=0.005, label_rates=(2e-4, 5e-4))]}, "W", "10 times the most that its label"),
        ({"products": [replace(WEEDY, is_mass=True)]}, "W", "if fluid ounces were meant, choose fl oz"),
        ({"products": [replace(WEEDY, form="dry")]}, "W", "better weigh it"),
        ({"products": [replace(WEEDY, form="gas")]}, "W", "form must be one of dry"),
        ({"products": [replace(WEEDY, per="tank")]}, "W", "area, mix, carrier"),
        ({"products": [replace(WEEDY, density_kg_per_l=1040.0)]}, "density", "outside 0.2 to 3"),
        ({"products": [replace(WEEDY, rate=0.05)]}, "products", "125% of the mix would be product"),
        ({"products": [Product("D", 0.06, is_mass=True, form="dry")]}, "products", "check rates and units"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_line(changed, key, words) -> None:
    with pytest.raises(EntryError, match=words) as caught:
        plan_mix(**{"area_m2": 500.0, **LAWN, **changed})
    assert caught.value.key == key
    assert "\n" not in str(caught.value)


def test_after_a_stop_more_than_the_tank_holds_is_refused() -> None:
    with pytest.raises(EntryError, match=r"20 L is more than the tank's 15 L"):
        plan_rest(100.0, tank_left_l=20.0, **LAWN)


def test_what_must_be_asked_about_is_told_with_numbers() -> None:
    weak = replace(WEEDY, rate=1e-4, label_rates=(2e-4, 5e-4))
    sheet = plan_mix(380.0, target_l_per_m2=0.04, products=[weak], tank_l=15.0, label_carrier=(0.1, 0.2))
    found = {caution.what: caution for caution in sheet.cautions}
    assert set(found) == {
        "outside the label's carrier range", "below the label's rate", "a small last load", "too small to measure",
    }  # fmt: skip
    carrier = found["outside the label's carrier range"]
    assert (carrier.value, carrier.least, carrier.most) == (0.04, 0.1, 0.2)
    assert found["below the label's rate"].subject == "W"
    assert found["a small last load"].value == pytest.approx(0.2)
    assert plan_mix(375.0, **LAWN).cautions == ()


def test_two_gallons_where_the_label_says_three_to_five_is_told() -> None:
    """Colorado State University, CEPEP fact sheet 204: 2 gal where the label says 3 to 5 gal/1000 ft2 can burn turf."""
    label = (si(3, "gal/1000 ft2"), si(5, "gal/1000 ft2"))
    sheet = plan_mix(500.0, target_l_per_m2=si(2, "gal/1000 ft2"), products=[WEEDY], tank_l=15.0, label_carrier=label)
    assert [caution.what for caution in sheet.cautions] == ["outside the label's carrier range"]


def test_unusual_carrier_rates_and_strong_mixes_are_told() -> None:
    """University of Florida, PI225: labels run from 0.1 to 5 gal/1000 ft2."""
    sheet = plan_mix(500.0, target_l_per_m2=0.4, products=[replace(WEEDY, rate=0.15)], tank_l=15.0)
    assert [caution.what for caution in sheet.cautions] == ["outside the usual carrier rate", "a strong mix"]


@pytest.mark.parametrize(
    ("litres", "tool"),
    [(1.0, "jug"), (0.99, "cup"), (0.1, "cup"), (0.099, "syringe"), (0.01, "syringe"), (0.0099, "fine syringe")],
)
def test_small_amounts_ask_for_a_cup_or_a_syringe(litres, tool) -> None:
    assert choose_tool(litres).name == tool
    assert choose_tool(litres).step / 2 <= 0.05 * litres * (1 + 1e-9)


def test_amounts_too_small_for_any_tool_are_told() -> None:
    assert choose_tool(0.0019).is_too_coarse
    assert not choose_tool(0.002).is_too_coarse
    assert choose_tool(0.5, is_mass=True).name == "scale"
    with pytest.raises(ValueError, match="above 0"):
        choose_tool(0.0)


def test_content_in_per_cent_is_refused() -> None:
    with pytest.raises(EntryError, match="outside"):
        product_for_active(2.0, content=80.0)


def test_what_is_in_the_tank_follows_the_meter() -> None:
    level = level_after(Estimate(15.0, 0.09), sprayed=Estimate(6.0, 0.12))
    assert (level.left_l.value, level.left_l.sd) == pytest.approx((9.0, 0.15))
    assert not level.is_contradiction


@pytest.mark.parametrize(("sprayed", "is_contradiction"), [(15.2, False), (15.29, False), (15.30, True), (18.0, True)])
def test_more_sprayed_than_filled_is_a_contradiction_beyond_doubt(sprayed, is_contradiction) -> None:
    """GUM: 1.97 standard uncertainties at 95 %."""
    level = level_after(Estimate(15.0, 0.09), sprayed=Estimate(sprayed, 0.12))
    assert (level.left_l.value, level.is_contradiction) == (0.0, is_contradiction)
