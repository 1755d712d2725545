"""The sheet to fill by: a treatment on its ground with its sprayer, as loads, pace and passes.

Square metres, litres, metres per second.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from server.core.entered import in_si
from server.core.errors import EntryError
from server.core.mix import MixSheet, plan_mix
from server.core.nozzle import flow_at_pressure
from server.core.pace import Pace, pace_for, plan_passes
from server.core.plots import Ground, Plot, measure_ground
from server.core.recipe import Plan, choose_zones, label_carrier, make_product
from server.core.sprayercard import SprayerCard
from server.core.tankload import Product


@dataclass(frozen=True, slots=True)
class Walk:
    """How to walk at a flow (`flow_origin` "typed", "catch" or "nozzle"); in two directions half the dose in each."""

    flow_l_per_min: float
    flow_origin: str
    swath_m: float
    directions: int
    pace: Pace


@dataclass(frozen=True, slots=True)
class FillSheet:
    """Mix and walk for an area; `passes` None where the zones' shape is not known, `walk` None where no flow is."""

    area_m2: float
    area_sd_m2: float
    area_origin: str
    plots: tuple[Plot, ...]
    target_l_per_m2: float
    tank_l: float
    fill_l: float
    mix: MixSheet
    passes: int | None
    passes_a_tank: float | None
    way_m: float
    walk: Walk | None


def fill_sheet(
    plan: Plan,
    *,
    zones: Sequence[str] = (),
    area_m2: float | None = None,
    fill_l: float | None = None,
    spare_l: float = 0.0,
    is_even: bool = False,
    flow_l_per_min: float | None = None,
    flow_origin: str = "typed",
) -> FillSheet:
    """What to fill in and how to walk for a treatment.

    Parameters
    ----------
    plan
        The treatment with its cards; a sprayer is needed.
    zones
        Names of the zones at hand; none: the treatment's.
    area_m2
        The area, where it is typed and not taken from the zones [m²].
    fill_l
        How far the tank is filled [L]; None: full.
    spare_l
        Mix beyond the need [L].
    is_even
        Whether all tanks are filled alike instead of a last partial one.
    flow_l_per_min
        Flow while spraying [L/min]; None: the nozzle's, if the sprayer's card tells it.
    flow_origin
        Where that flow is from: "typed", or "catch" by a catch test.

    Returns
    -------
    FillSheet
        Loads, pace and passes.

    Raises
    ------
    EntryError
        If no sprayer is chosen, and as `plan_mix`.

    References
    ----------
    As `plan_mix`, `pace_for` and `plan_passes`. Derivation: passes of each zone lie along its long side.

    Examples
    --------
    >>> from server.core.entered import Stated
    >>> from server.core.sitecard import SiteCard
    >>> from server.core.treatmentcard import TreatmentCard
    >>> sprayer = SprayerCard("S", Stated(1, "m"), (450.0,), tank=Stated(15, "L"))
    >>> plan = Plan(TreatmentCard("T", 1, Stated(4, "L/100 m2")), (), SiteCard("Home"), sprayer, "2027-05-31")
    >>> sheet = fill_sheet(plan, area_m2=450.0, flow_l_per_min=2.4)
    >>> sheet.mix.full_count, round(sheet.mix.last.mix_l, 9), sheet.walk.pace.seconds_per_10_m
    (1, 3.0, 10.0)
    """
    if plan.sprayer is None:
        raise EntryError("sprayer", "choose a sprayer: the sheet needs its tank and swath")
    ground = _find_ground(plan, zones, area_m2)
    target = plan.target_l_per_m2
    tank_l, swath_m = in_si(plan.sprayer.tank, measures="tank"), in_si(plan.sprayer.swath, measures="swath")
    if is_even:
        fill_l = _even_fill(ground.area_m2 * target + spare_l, tank_l if fill_l is None else fill_l)
    mix = plan_mix(
        ground.area_m2,
        target_l_per_m2=target,
        products=make_products(plan),
        tank_l=tank_l,
        fill_l=fill_l,
        spare_l=spare_l,
        label_carrier=label_carrier(plan.ingredients),
    )
    directions = _check_directions(plan.treatment.directions)
    counted = [_lay_passes(plot, swath_m, directions) for plot in ground.plots if plot.area_m2 >= 1.0]
    passes = sum(found[0] for found in counted) or None
    way_m = sum(found[1] for found in counted) or directions * ground.area_m2 / swath_m
    filled_l = tank_l if fill_l is None else fill_l
    share = filled_l / target / ground.area_m2
    origin = "typed" if area_m2 is not None else "zones"
    walk = _plan_walk(plan.sprayer, flow_l_per_min, flow_origin, target, directions)
    passes_a_tank = None if passes is None else passes * share
    return FillSheet(
        ground.area_m2, ground.area_sd_m2, origin, ground.plots, target, tank_l, filled_l, mix, passes, passes_a_tank,
        way_m, walk,
    )  # fmt: skip


def make_products(plan: Plan) -> list[Product]:
    """The products of a treatment as mixes are reckoned with them.

    Parameters
    ----------
    plan
        The treatment with its cards.

    Returns
    -------
    list of Product
        In the treatment's order.

    References
    ----------
    As `make_product`. Derivation: none.

    Examples
    --------
    >>> from server.core.entered import Stated
    >>> from server.core.sitecard import SiteCard
    >>> from server.core.treatmentcard import TreatmentCard
    >>> make_products(Plan(TreatmentCard("T", 1, Stated(4, "L/100 m2")), (), SiteCard("Home"), None, "2027-05-31"))
    []
    """
    return [make_product(each, target_l_per_m2=plan.target_l_per_m2) for each in plan.ingredients]


def _find_ground(plan: Plan, zones: Sequence[str], area_m2: float | None) -> Ground:
    """The area typed, or that of the zones at hand."""
    if area_m2 is not None:
        return Ground(area_m2, 0.0, ())
    chosen, keep_outs = choose_zones(plan.site, zones or plan.treatment.zones)
    ground = measure_ground(chosen, keep_outs=keep_outs)
    if ground.area_m2 < 1.0:
        raise EntryError("area", f"{plan.site.name} has no zone of 1 m² or more: draw its zones, or type the area")
    return ground


def _even_fill(need_l: float, filled_l: float) -> float:
    """As many tanks as there must be, all alike."""
    return need_l / max(1, ceil(need_l / filled_l - 1e-9)) if filled_l > 0.0 else filled_l


def _check_directions(directions: float) -> int:
    if directions not in (1, 2):
        raise EntryError("directions", f"1 or 2 are wanted, not {directions:g}")
    return int(directions)


def _lay_passes(plot: Plot, swath_m: float, directions: int) -> tuple[int, float]:
    """How many passes lie on a zone along its long side, and the way on them."""
    found = plan_passes(
        plot.area_m2, length_m=plot.area_m2 / max(plot.short_m, 0.1), swath_m=swath_m, directions=directions
    )
    return found.passes, found.way_m


def _plan_walk(
    sprayer: SprayerCard, flow_l_per_min: float | None, origin: str, target: float, directions: int
) -> Walk | None:
    """Pace for the flow that was typed or caught, else for the nozzle's at the pressure of spraying."""
    if flow_l_per_min is None:
        if sprayer.rated_flow is None:
            return None
        origin, flow_l_per_min = "nozzle", in_si(sprayer.rated_flow, measures="flow")
        if sprayer.pressure is not None and sprayer.rated_pressure is not None:
            flow_l_per_min = flow_at_pressure(
                flow_l_per_min,
                from_kpa=in_si(sprayer.rated_pressure, measures="pressure"),
                to_kpa=in_si(sprayer.pressure, measures="pressure"),
            )
    swath_m = in_si(sprayer.swath, measures="swath")
    pace = pace_for(flow_l_per_min, swath_m=swath_m, target_l_per_m2=target / directions)
    return Walk(flow_l_per_min, origin, swath_m, directions, pace)
