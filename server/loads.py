"""Sheets, rests, tanks and objections as the API gives them: SI, the unit in each key, None where not known."""

from collections.abc import Sequence
from dataclasses import asdict
from math import isfinite
from typing import Any

from server.core.entered import Stated
from server.core.mix import Caution, MixSheet, Rest
from server.core.objections import Objection
from server.core.recipe import Plan, write_stated
from server.core.sheet import FillSheet, Walk
from server.core.tankload import Amount, Load
from server.core.windlimit import WindLimit, rank_limits
from server.snapshot import known
from server.store.fills import FillRow
from server.tanks import Tank


def view_objections(found: Sequence[Objection], plan: Plan) -> dict[str, Any]:
    """Objections to a plan, and the wind limit that holds."""
    limits = rank_limits(plan.treatment, plan.products)
    return {
        "is_refused": any(each.severity == "refuse" for each in found),
        "objections": [{**asdict(each), "numbers": dict(each.numbers)} for each in found],
        "wind": _view_wind(limits[0]) if limits else None,
    }


def view_sheet(plan: Plan, sheet: FillSheet) -> dict[str, Any]:
    """The sheet to fill by."""
    assert plan.sprayer is not None
    return {
        "treatment": plan.treatment.name, "site": plan.site.name, "sprayer": plan.sprayer.name, "day": plan.day,
        "area_m2": known(sheet.area_m2, 2), "area_sd_m2": known(sheet.area_sd_m2, 2), "area_origin": sheet.area_origin,
        "zones": [{"name": plot.name, "area_m2": known(plot.area_m2, 2)} for plot in sheet.plots],
        "target_l_per_m2": sheet.target_l_per_m2, "target_stated": write_stated(plan.treatment.target),
        "tank_l": sheet.tank_l, "fill_l": sheet.fill_l,
        **view_mix(sheet.mix),
        "passes": sheet.passes, "passes_a_tank": known(sheet.passes_a_tank, 1), "way_m": known(sheet.way_m, 1),
        "walk": None if sheet.walk is None else _view_walk(sheet.walk),
        "products": [
            {"name": each.product.name, "form": each.product.form, "rate_stated": write_stated(each.rate),
             "registration": each.product.registration, "is_licence_needed": each.product.is_licence_needed,
             "watering": each.product.watering, "water_within_h": each.product.water_within_h,
             "water_depth_stated": _write_known(each.product.water_depth), "dry_h": each.product.dry_h,
             "re_entry_h": each.product.re_entry_h}
            for each in plan.ingredients
        ],
    }  # fmt: skip


def _write_known(stated: Stated | None) -> str | None:
    return None if stated is None else write_stated(stated)


def view_mix(mix: MixSheet) -> dict[str, Any]:
    """Loads, sums and cautions."""
    return {
        "full_count": mix.full_count,
        "full": None if mix.full is None else view_load(mix.full),
        "last": None if mix.last is None else view_load(mix.last),
        "total": view_load(mix.total),
        "left_over_l": mix.left_over_l,
        "cautions": [_view_caution(each) for each in mix.cautions],
    }


def view_rest(rest: Rest, *, area_left_m2: float, tank_left_l: float) -> dict[str, Any]:
    """After a stop: how far the tank's rest goes, and what to mix."""
    return {
        "area_left_m2": known(area_left_m2, 2), "tank_left_l": known(tank_left_l, 3),
        "treats_m2": known(rest.treats_m2, 2), "surplus_l": known(rest.surplus_l, 4),
        "sheet": None if rest.sheet is None else view_mix(rest.sheet),
        "top_up": None if rest.top_up is None else view_load(rest.top_up),
        "after": None if rest.after is None else view_mix(rest.after),
    }  # fmt: skip


def view_tank(tank: Tank, *, job: int | None, target_l_per_m2: float, area_left_m2: float | None) -> dict[str, Any]:
    """What is in the tank, and how far it goes."""
    left = tank.level.left_l
    return {
        "job": job, "tank_l": tank.tank_l, "is_assumed": tank.state.is_assumed,
        "left_l": known(left.value, 3), "left_sd_l": known(left.sd, 3), "sprayed_l": known(tank.sprayed_l, 3),
        "is_contradiction": tank.level.is_contradiction, "target_l_per_m2": target_l_per_m2,
        "treats_m2": known(left.value / target_l_per_m2, 1), "treats_sd_m2": known(left.sd / target_l_per_m2, 1),
        "area_left_m2": known(area_left_m2, 1), "fills": [view_fill(row) for row in tank.fills],
    }  # fmt: skip


def view_fill(row: FillRow) -> dict[str, Any]:
    """One fill."""
    return {"number": row.number, "made_utc": round(row.made_utc, 3), "job": row.job, **row.body}


def view_load(load: Load) -> dict[str, Any]:
    """Water and products of one filling."""
    return {
        "mix_l": known(load.mix_l, 5), "area_m2": known(load.area_m2, 2), "carrier_l": known(load.carrier_l, 5),
        "first_carrier_l": known(load.first_carrier_l, 5), "rest_carrier_l": known(load.rest_carrier_l, 5),
        "amounts": [_view_amount(amount) for amount in load.amounts],
    }  # fmt: skip


def _view_amount(amount: Amount) -> dict[str, Any]:
    tool = amount.tool
    return {
        "name": amount.name, "form": amount.form, "volume_l": known(amount.litres, 6),
        "mass_kg": known(amount.kilograms, 6), "is_weighed": amount.form == "dry", "tool": tool.name,
        "tool_step": tool.step, "is_too_coarse": tool.is_too_coarse,
    }  # fmt: skip


def _view_caution(caution: Caution) -> dict[str, Any]:
    found = asdict(caution)
    return {**found, "most": caution.most if isfinite(caution.most) else None}


def _view_walk(walk: Walk) -> dict[str, Any]:
    return {
        "flow_l_per_min": known(walk.flow_l_per_min, 4), "flow_origin": walk.flow_origin, "swath_m": walk.swath_m,
        "directions": walk.directions, "pace_mps": known(walk.pace.pace_mps, 4),
        "seconds_per_10_m": known(walk.pace.seconds_per_10_m, 2),
        "seconds_per_100_ft": known(walk.pace.seconds_per_100_ft, 2), "verdict": walk.pace.verdict,
    }  # fmt: skip


def _view_wind(wind: WindLimit) -> dict[str, Any]:
    return {
        "subject": wind.subject, "limit_mps": wind.mps, "limit_stated": write_stated(wind.stated),
        "averaging_s": wind.averaging_s, "height_m": wind.height_m,
    }  # fmt: skip
