"""A job's settings from its cards: the site's zones, the sprayer's measures, the stricter of several wind limits."""

import pytest

from server.core.assembly import Sheets, assemble_setup, zones_from_card
from server.core.entered import Stated
from server.core.errors import EntryError
from server.core.productcard import ProductCard
from server.core.setup import Anemometer, FlowMeter, Setup, Sprayer, Treatment
from server.core.sitecard import SiteCard, ZoneCard
from server.core.sprayercard import SprayerCard
from server.core.treatmentcard import TreatmentCard
from server.core.windlimit import rank_limits

RING = ((8.0, 50.0), (8.001, 50.0), (8.001, 50.001), (8.0, 50.0))
HOME = SiteCard(
    "Home",
    zones=(
        ZoneCard("Front", "zone", (RING,)),
        ZoneCard("Back", "zone", (RING,)),
        ZoneCard("Pond", "keep_out", (RING,)),
    ),
)
BASE = Setup(
    Sprayer(1.0), FlowMeter(450.0), Treatment(0.04, wind_limit_mps=3.0, wind_notice_mps=2.5), Anemometer(0.3, 0.2)
)
RATE = Stated(3.0, "fl oz/1000 ft2")
PLAN = TreatmentCard("Feed", 1, Stated(1.0, "gal/1000 ft2"))


def names(zones) -> list[str]:
    return [zone.name for zone in zones]


def test_keep_outs_are_always_there_and_zones_are_those_named_planned_or_all() -> None:
    planned = TreatmentCard("Feed", 1, Stated(1.0, "gal/1000 ft2"), zones=("Back",))
    assert names(zones_from_card(HOME, ())) == ["Front", "Back", "Pond"]
    assert names(zones_from_card(HOME, (), planned)) == ["Back", "Pond"]
    assert names(zones_from_card(HOME, ("Front",), PLAN)) == ["Front", "Pond"]
    assert zones_from_card(SiteCard("New"), ()) == ()


@pytest.mark.parametrize(
    ("site", "named", "plan", "words"),
    [
        (HOME, ("Side",), None, "'Side' is no zone of Home: there is Front, Back"),
        (HOME, ("Pond",), None, "'Pond' is no zone of Home"),
        (HOME, (), TreatmentCard("Feed", 1, PLAN.target, zones=("Gone",)), "'Gone' is no zone of Home"),
        (HOME, ("Front",), TreatmentCard("Feed", 1, PLAN.target, zones=("Back",)), "planned for Back, not for Front"),
        (SiteCard("Wet", zones=HOME.zones[2:]), (), None, "no zone is left to treat at Wet"),
    ],
)
def test_zones_that_cannot_be_meant_are_refused_in_a_line(site, named, plan, words) -> None:
    with pytest.raises(EntryError, match=words):
        zones_from_card(site, named, plan)


def test_two_directions_halve_what_a_pass_is_to_lay_and_not_what_the_ground_is_to_get() -> None:
    whole = assemble_setup(BASE, Sheets(treatment=PLAN)).treatment
    plan = TreatmentCard("Feed", 1, Stated(1.0, "gal/1000 ft2"), directions=2)
    crosswise = assemble_setup(BASE, Sheets(treatment=plan)).treatment
    assert crosswise.target_l_per_m2 == whole.target_l_per_m2 == whole.pass_l_per_m2
    assert crosswise.pass_l_per_m2 == whole.target_l_per_m2 / 2.0
    back = assemble_setup(Setup(BASE.sprayer, BASE.flow_meter, crosswise), Sheets(treatment=PLAN)).treatment
    assert back.pass_l_per_m2 == whole.pass_l_per_m2


def test_a_sprayer_s_values_win_and_the_cup_stays() -> None:
    card = SprayerCard(
        "Boom", Stated(4, "ft"), (300.0, 310.0), flow_l_per_min=(1.0, 2.0), tank=Stated(4, "gal"),
        pattern="trapezoid", pattern_top=Stated(50, "cm"), nozzle_forward=Stated(-12, "in"), meter_sd_percent=0.8,
    )  # fmt: skip
    made = assemble_setup(BASE, Sheets(sprayer=card))
    assert made.sprayer == Sprayer(1.2192, "trapezoid", 0.5, -0.3048, 0.0, 0.0, pytest.approx(15.1416, abs=1e-4))
    assert made.flow_meter == FlowMeter((300.0, 310.0), (1.0, 2.0), 0.8)
    assert (made.anemometer, made.treatment) == (BASE.anemometer, BASE.treatment)


def test_the_strictest_limit_keeps_its_words_its_averaging_and_its_height() -> None:
    label = ProductCard("Label", RATE, wind_limit=Stated(10, "mph"), wind_averaging_s=60.0, wind_height=Stated(2, "m"))
    other = ProductCard("Other", RATE, wind_limit=Stated(5, "m/s"), wind_averaging_s=600.0)
    treatment = assemble_setup(BASE, Sheets(treatment=PLAN, products=(other, label))).treatment
    assert treatment.wind_limit_mps == 4.4704
    assert treatment.wind_limit_stated == "10 mph"
    assert (treatment.wind_averaging_s, treatment.wind_reference_height_m) == (60.0, 2.0)
    assert treatment.target_l_per_m2 == pytest.approx(0.0407458, rel=1e-6)
    assert treatment.wind_notice_mps == 2.5


def test_a_limit_of_one_s_own_wins_only_where_it_is_lower() -> None:
    label = ProductCard("Label", RATE, wind_limit=Stated(10, "mph"))
    lower = TreatmentCard("Feed", 1, PLAN.target, wind_limit=Stated(7.5, "km/h"))
    higher = TreatmentCard("Feed", 1, PLAN.target, wind_limit=Stated(20, "km/h"))
    assert rank_limits(lower, [label])[0].words == "7.5 km/h"
    assert rank_limits(higher, [label])[0].subject == "Label"
    made = assemble_setup(BASE, Sheets(treatment=lower, products=(label,))).treatment
    assert made.wind_notice_mps is None, "the saved notice would be above the limit"


def test_without_any_limit_on_cards_the_saved_one_stays_and_the_alarm_with_it() -> None:
    made = assemble_setup(BASE, Sheets(treatment=PLAN, products=(ProductCard("Quiet", RATE),)))
    assert made.treatment.wind_limit_mps == 3.0


def test_a_tank_is_not_filled_beyond_the_sprayer_s() -> None:
    card = SprayerCard("Small", Stated(1, "m"), (450.0,), tank=Stated(2, "gal"))
    assert assemble_setup(BASE, Sheets(sprayer=card, fill=Stated(2, "gal"))).sprayer.tank_l == pytest.approx(
        2 * 231 * 0.016387064
    )
    with pytest.raises(EntryError, match=r"fill: 8 L does not go into a tank of 7.571 L"):
        assemble_setup(BASE, Sheets(sprayer=card, fill=Stated(8, "L")))


@pytest.mark.parametrize(
    ("entries", "words"),
    [
        ({"pulses_per_l": (300.0, 310.0)}, "one flow for each figure"),
        ({"pulses_per_l": (300.0, 310.0), "flow_l_per_min": (2.0, 1.0)}, "must rise"),
        ({"pulses_per_l": ()}, "at least one figure"),
        ({"pulses_per_l": (300.0,), "pattern_top": Stated(1.5, "m")}, "wider than the pass"),
        ({"pulses_per_l": (300.0,), "rated_pressure": Stated(2, "bar")}, "is needed where its pressure"),
    ],
)
def test_a_sprayer_whose_entries_do_not_go_together_is_refused(entries, words) -> None:
    with pytest.raises(EntryError, match=words):
        SprayerCard("Boom", Stated(1, "m"), **entries)
