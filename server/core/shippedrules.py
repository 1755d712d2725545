"""The rules that come with the program: data to begin with, each with its reason and its source, all to be changed.

The numbers P1 to P8 are rules of thumb from practice alone. Where trials disagree with practice both are told.
"""

from dataclasses import replace
from types import MappingProxyType
from typing import Final

from server.core.entered import Stated
from server.core.rulecard import PRACTICE, RuleCard

_NC_STATE = "NC State AG-763W, Carolina Lawns"
_OHIO_STATE = "Ohio State, Crabgrass prevention in your lawn, 7 April 2023"
_K_STATE = "Kansas State turf blog"
_PURDUE = "Purdue turf, Aerification following preemergence herbicide"
_WATER_IN = (
    "1/4 inch waters in the common crabgrass preventers. Left dry, 44 % was lost in 3 days on bare soil and 10 % "
    "within 7 days in turf. The hours are only usual."
)

_RULES: Final = {
    "coring-first": RuleCard(
        name="Coring goes before a pre-emergent", kind="before", first="coring", second="pre_emergent", days_most=60.0,
        reason="A barrier that is laid after coring stays whole.", source=f"P4: {PRACTICE}",
        against="Core anyway if the turf needs it.", against_source=_PURDUE,
    ),
    "pre-emergent-first": RuleCard(
        name="A pre-emergent goes before liquid conditioners", kind="before", first="pre_emergent",
        second="conditioner", days_most=30.0, reason="The barrier's time is set by the soil, a conditioner's is not.",
        source=f"P4: {PRACTICE}",
    ),
    "coring-undoes": RuleCard(
        name="Coring after a pre-emergent is thought to break its barrier", kind="undoes", first="coring",
        second="pre_emergent", days_most=90.0, reason="The tines are thought to break the barrier in the soil.",
        source=f"P4: {PRACTICE}", against="Trials consistently show no loss of control; core first if you can.",
        against_source=_PURDUE,
    ),
    "holes-help": RuleCard(
        name="Open core holes help a conditioner", kind="helps", first="coring", second="conditioner", days_most=28.0,
        reason="Holes are thought to stay open for three to four weeks.", source=f"P6: {PRACTICE}",
    ),
    "conditioner-again": RuleCard(
        name="Conditioners again every 21 to 28 days", kind="repeat", first="conditioner", days_least=21.0,
        days_most=28.0, first_month=4.0, last_month=10.0, reason="A programme of the growing season.",
        source=f"P5: {PRACTICE}", against="No university source was found for the interval.",
    ),
    "water-in": RuleCard(
        name="Soil-applied liquids are watered in", kind="watering_in", first="soil_applied", within_h=24.0,
        water=Stated(0.25, "in"), reason=_WATER_IN,
        source=f"{_K_STATE} (depth); Purdue turf (losses); P3: {PRACTICE} (hours)",
    ),
    "foliar-dry": RuleCard(
        name="Foliar products stay dry", kind="keep_dry", first="foliar", within_h=24.0,
        reason="Rain or irrigation within 24 hours weakens foliar broadleaf products.", source=_K_STATE,
    ),
    "stay-off": RuleCard(
        name="Keep off what was sprayed", kind="re_entry", first="treatment",
        reason="Children and pets stay off until the spray has dried, longer where the label says so.",
        source="National Pesticide Information Center (Oregon State, EPA), yard spraying",
    ),
    "label-interval": RuleCard(
        name="The label's least interval and season's maximum", kind="interval", first="treatment",
        reason="The label is the law.", source="the label, as entered with the product",
    ),
    "soil-55": RuleCard(
        name="Crabgrass: soil at 4 inches reaches 55 °F", kind="soil_temperature", first="pre_emergent",
        temperature=Stated(55.0, "°F"), depth=Stated(4.0, "in"),
        reason="A 24-hour mean of 55 °F at 4 inches is the time to have a pre-emergent down.", source=_NC_STATE,
    ),
    "soil-54": RuleCard(
        name="Crabgrass: the upper inch is at 54 °F for 7 days", kind="soil_temperature", first="pre_emergent",
        temperature=Stated(54.0, "°F"), depth=Stated(1.0, "in"), days_in_row=7.0,
        reason="Seven days of 54 °F in the upper inch is the time to have a pre-emergent down.", source=_OHIO_STATE,
    ),
    "second-half": RuleCard(
        name="Half of a pre-emergent, the other half 6 to 8 weeks later", kind="split", first="pre_emergent",
        days_least=42.0, days_most=56.0, reason="A split application holds for longer.", source=_NC_STATE,
    ),
}  # fmt: skip
SHIPPED: Final = MappingProxyType({key: replace(rule, shipped=key) for key, rule in _RULES.items()})
"""Each rule by the key that it keeps whatever is changed in it."""
