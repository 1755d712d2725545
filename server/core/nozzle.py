"""What a nozzle lets through: with pressure, with the liquid's density, and when it is worn.

Flow in litres per minute, pressure in kilopascals, density in kilograms per litre.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt

from server.core.entries import check_entry
from server.core.uncertainty import Estimate, multiply_powers

WATCH_SHARE = 0.05
REPLACE_SHARE = 0.10
"""A nozzle is watched from 5 % off its new flow and replaced from 10 %."""


@dataclass(frozen=True, slots=True)
class Wear:
    """Flow at the rated pressure over the rated flow, less 1, with its margin (95 %), and what follows.

    `verdict` is "good", "watch", "replace" or "clogged"; `is_sure` where the margin reaches no other one.
    """

    excess: float
    margin: float
    verdict: str
    is_sure: bool


def flow_at_pressure(flow: float, *, from_kpa: float, to_kpa: float) -> float:
    """The flow of the same nozzle at another pressure: it grows with the root of the pressure.

    Parameters
    ----------
    flow
        Flow at the first pressure [any unit].
    from_kpa
        That pressure [kPa].
    to_kpa
        The other [kPa].

    Returns
    -------
    float
        Flow at the other pressure, in the unit of the first.

    Raises
    ------
    EntryError
        If a pressure is outside its limits.

    Notes
    -----
    Less pressure is less flow. An extension fact sheet (Ohio State University, FABE-531) prints it the other way round.

    References
    ----------
    Cornell Crop and Pest Management Guidelines 2024 (Grapes), 7.6: 0.30 gal/min at 40 psi is 0.26 at 30 psi.

    Examples
    --------
    >>> flow_at_pressure(1.0, from_kpa=200.0, to_kpa=50.0)
    0.5
    """
    return flow * sqrt(check_entry("pressure", to_kpa) / check_entry("pressure", from_kpa))


def pressure_for_flow(pressure_kpa: float, *, flow_ratio: float) -> float:
    """The pressure at which the same nozzle gives so many times the flow.

    Parameters
    ----------
    pressure_kpa
        Pressure now [kPa].
    flow_ratio
        Flow wanted over flow now, or pace wanted over pace now at the same dose [-]; above 0.

    Returns
    -------
    float
        The pressure [kPa].

    Raises
    ------
    EntryError
        If the pressure is outside its limits.
    ValueError
        If the ratio is not above 0.

    References
    ----------
    Iowa State University, Integrated Crop News: a quarter more speed asks for 56 % more pressure.

    Examples
    --------
    >>> pressure_for_flow(100.0, flow_ratio=2.0)
    400.0
    """
    if not flow_ratio > 0.0:
        raise ValueError(f"a ratio of flows above 0 is wanted, not {flow_ratio:g}")
    return check_entry("pressure", pressure_kpa) * flow_ratio**2


def density_factor(density_kg_per_l: float, *, water_kg_per_l: float = 1.0) -> float:
    """By how much more water than liquid the same nozzle lets through: the root of the density against water's.

    Parameters
    ----------
    density_kg_per_l
        The liquid's density [kg/L].
    water_kg_per_l
        Water's [kg/L]; extension tables take 8.34 lb/gal.

    Returns
    -------
    float
        Factor from the liquid's flow to water's, with which nozzles are rated [-].

    Raises
    ------
    EntryError
        If a density is outside its limits.

    Notes
    -----
    A density table of Oklahoma State University prints 1.68 and 1.30 for 12 lb/gal; that is the row of 14 lb/gal.

    References
    ----------
    University of Nebraska, CropWatch 2016, sprayer flow rate for non-water solutions.

    Examples
    --------
    >>> round(density_factor(1.28), 2)
    1.13
    """
    return sqrt(check_entry("density", density_kg_per_l) / check_entry("density", water_kg_per_l))


def judge_wear(
    flow: Estimate,
    *,
    rated_l_per_min: float,
    pressure_kpa: Estimate | None = None,
    rated_kpa: float | None = None,
) -> Wear:
    """Whether a nozzle is worn: its flow against that when new, at the same pressure.

    Parameters
    ----------
    flow
        Measured flow of water [L/min].
    rated_l_per_min
        Flow when new: the maker's, or measured then [L/min].
    pressure_kpa
        Pressure while it was measured [kPa]; None: the same pump setting as when new.
    rated_kpa
        Pressure of the rated flow [kPa]; given exactly where the other is.

    Returns
    -------
    Wear
        "replace" where more than 10 % above new, "clogged" where more than 10 % below, "watch" beyond 5 % either way.

    Raises
    ------
    EntryError
        If a flow or pressure is outside its limits.
    ValueError
        If only one of the two pressures is given.

    References
    ----------
    University of Nebraska (R. Klein) and Louisiana State University AgCenter: replace outside 10 %; Ohio State
    University (E. Ozkan): rates within 5 %.

    Examples
    --------
    >>> judge_wear(Estimate(1.12, 0.004), rated_l_per_min=1.0).verdict
    'replace'
    >>> worn = judge_wear(Estimate(1.0, 0.004), rated_l_per_min=1.0, pressure_kpa=Estimate(250.0, 2.0), rated_kpa=300.0)
    >>> round(worn.excess, 3), worn.verdict, worn.is_sure
    (0.095, 'watch', False)
    """
    if (pressure_kpa is None) != (rated_kpa is None):
        raise ValueError("give both pressures, or none where the pump setting is the same")
    check_entry("flow", flow.value)
    parts = [(flow, 1.0), (Estimate(check_entry("flow", rated_l_per_min)), -1.0)]
    if pressure_kpa is not None and rated_kpa is not None:
        check_entry("pressure", pressure_kpa.value)
        parts += [(Estimate(check_entry("pressure", rated_kpa)), 0.5), (pressure_kpa, -0.5)]
    ratio = multiply_powers(parts)
    excess = ratio.value - 1.0
    ends = {_name_wear(excess - ratio.margin), _name_wear(excess + ratio.margin)}
    verdict = _name_wear(excess)
    return Wear(excess, ratio.margin, verdict, ends == {verdict})


def find_uneven(flows_l_per_min: Sequence[float], *, share: float = 0.05) -> tuple[int, ...]:
    """Which nozzles of a boom differ too much from their average.

    Parameters
    ----------
    flows_l_per_min
        Flow of each nozzle at one pressure [L/min].
    share
        How far from the average is too far [-]: 0.05, in other rules 0.07 or 0.10.

    Returns
    -------
    tuple
        Their places in the list, from 0.

    Raises
    ------
    EntryError
        If a flow is outside its limits.
    ValueError
        If there are no flows.

    References
    ----------
    Alberta Agriculture, Agdex 606-1 (5 % of the average); SportsTurf, April 2014 (7 %).

    Examples
    --------
    >>> find_uneven([1.0, 1.0, 1.2], share=0.07)
    (2,)
    """
    if not flows_l_per_min:
        raise ValueError("the flow of one nozzle at least is wanted")
    average = fsum(check_entry("flow", flow) for flow in flows_l_per_min) / len(flows_l_per_min)
    return tuple(k for k, flow in enumerate(flows_l_per_min) if abs(flow - average) > share * average)


def _name_wear(excess: float) -> str:
    """What a flow beyond the new nozzle's means."""
    if excess < -REPLACE_SHARE:
        return "clogged"
    if excess > REPLACE_SHARE:
        return "replace"
    return "watch" if abs(excess) > WATCH_SHARE else "good"
