"""The whole check of a sprayer: the dose it really lays, from a small plot or from an area sprayed and refilled.

Metres, square metres, litres, seconds, litres per square metre.
"""

from dataclasses import dataclass
from typing import Final

from server.core.entries import check_entry
from server.core.errors import EntryError
from server.core.uncertainty import Estimate, multiply_powers
from server.core.units import ACRE_M2, FOOT_M

SMALL_PLOT_M2: Final = ACRE_M2 / 128
"""On this plot fluid ounces are gallons an acre, as a gallon has 128 of them."""
EIGHTH_ACRE_M2: Final = ACRE_M2 / 8
"""On this plot pints are gallons an acre."""
THOUSAND_FT2_M2: Final = 1000 * FOOT_M**2
MOST_OFF = 0.05
"""A dose within this share of the one wanted is right."""
WETTED_SHARE = 0.8
"""Of a single nozzle's wetted width, whose edges taper, so much is the effective one."""


@dataclass(frozen=True, slots=True)
class RateCheck:
    """A dose [L/m²], as a share of the one wanted, that share's margin (95 %), and what it means.

    `verdict` is "right" within 5 %, "over" or "under" beyond; `is_sure` where the margin reaches no other one.
    `pace_factor`: by how much faster to walk for the dose wanted.
    """

    dose_l_per_m2: Estimate
    share: float
    margin: float
    verdict: str
    is_sure: bool

    @property
    def pace_factor(self) -> float:
        """How much faster (above 1) or slower to walk."""
        return self.share


def course_length(area_m2: float, *, width_m: float) -> float:
    """How long a course of some width is, so that it has an area.

    Parameters
    ----------
    area_m2
        The area: `SMALL_PLOT_M2`, `EIGHTH_ACRE_M2`, `THOUSAND_FT2_M2` or another [m²].
    width_m
        Swath, or spacing of a boom's nozzles if one nozzle is caught [m].

    Returns
    -------
    float
        Length [m].

    Raises
    ------
    EntryError
        If area or width is outside its limits.

    References
    ----------
    Ohio State University Extension, FABE-520, table 1 (1/128 acre); University of Kentucky, ENTFACT-805 (1/8 acre).

    Examples
    --------
    >>> round(course_length(SMALL_PLOT_M2, width_m=20 * 0.0254) / 0.3048, 1)
    204.2
    """
    return check_entry("area", area_m2) / check_entry("swath", width_m)


def effective_width(wetted_m: float) -> float:
    """The width that counts of a single nozzle's wetted one, where no pattern was measured.

    Parameters
    ----------
    wetted_m
        Width of the wet strip [m].

    Returns
    -------
    float
        80 % of it [m].

    Raises
    ------
    EntryError
        If the width is outside its limits.

    Notes
    -----
    A measured pattern (`server.core.pattern`) is better: a triangle's effective width is half of its base.

    References
    ----------
    University of Kentucky, ENTFACT-805.

    Examples
    --------
    >>> effective_width(2.0)
    1.6
    """
    return WETTED_SHARE * check_entry("swath", wetted_m)


def dose_on_plot(flow: Estimate, *, seconds: Estimate, area: Estimate) -> Estimate:
    """The dose on a plot: the flow over the time that spraying it took.

    The plot is sprayed as in the work and timed; then the flow is caught.

    Parameters
    ----------
    flow
        Caught flow [L/min].
    seconds
        Time that spraying the plot took [s].
    area
        The plot [m²].

    Returns
    -------
    Estimate
        Dose [L/m²].

    Raises
    ------
    EntryError
        If a number is outside its limits.

    References
    ----------
    Kansas State University (R. Wolf), hand sprayer calibration worksheet (1/128 acre); Pesticide Environmental
    Stewardship, spray gun (1000 ft2); JCGM 100:2008 (GUM), equation 12.

    Examples
    --------
    >>> dose = dose_on_plot(Estimate(2.4, 0.024), seconds=Estimate(40.0, 0.3), area=Estimate(40.0, 0.2))
    >>> round(dose.value, 9), round(dose.share, 4)
    (0.04, 0.0135)
    """
    check_entry("flow", flow.value)
    check_entry("time", seconds.value)
    check_entry("area", area.value)
    found = multiply_powers([(flow, 1.0), (seconds, 1.0), (area, -1.0)])
    return Estimate(found.value / 60.0, found.sd / 60.0, found.freedom)


def dose_on_area(used: Estimate, *, area: Estimate) -> Estimate:
    """The dose on an area that was sprayed: what refilling the tank to its mark took.

    Parameters
    ----------
    used
        Refilled [L].
    area
        Sprayed [m²].

    Returns
    -------
    Estimate
        Dose [L/m²].

    Raises
    ------
    EntryError
        If a number is outside its limits.

    References
    ----------
    NSW Department of Primary Industries, INT09/35816 (10 m x 1 m, refilled); JCGM 100:2008 (GUM), equation 12.

    Examples
    --------
    >>> dose = dose_on_area(Estimate(0.4, 0.006), area=Estimate(10.0, 0.08))
    >>> round(dose.value, 9), round(dose.share, 4)
    (0.04, 0.017)
    """
    check_entry("catch", used.value)
    check_entry("area", area.value)
    return multiply_powers([(used, 1.0), (area, -1.0)])


def judge_dose(dose: Estimate, *, target_l_per_m2: float, most_off: float = MOST_OFF) -> RateCheck:
    """Whether a measured dose is the one wanted.

    Parameters
    ----------
    dose
        As measured [L/m²].
    target_l_per_m2
        As wanted [L/m²].
    most_off
        How far off it may be, as a share [-].

    Returns
    -------
    RateCheck
        Verdict by the measured value; `is_sure` where 95 % of its uncertainty lie on the same side of the bounds.

    Raises
    ------
    EntryError
        If the dose wanted is outside its limits, or the measured one ten times it or a tenth: check the units.

    References
    ----------
    Pesticide Environmental Stewardship, spray gun (within 5 % of the label's rate); Ohio State University (E. Ozkan).

    Examples
    --------
    >>> check = judge_dose(Estimate(0.044, 0.0004), target_l_per_m2=0.04)
    >>> check.verdict, check.is_sure, round(check.pace_factor, 2)
    ('over', True, 1.1)
    """
    check_entry("carrier rate", target_l_per_m2)
    share = dose.value / target_l_per_m2
    if not 0.1 < share < 10.0:
        raise EntryError("dose", f"{share:.3g} times the one wanted: check the units")
    margin = dose.margin / target_l_per_m2
    ends = {_name(share - margin, most_off), _name(share + margin, most_off)}
    verdict = _name(share, most_off)
    return RateCheck(dose, share, margin, verdict, ends == {verdict})


def _name(share: float, most_off: float) -> str:
    """What a share of the dose wanted means."""
    off = share - 1.0
    if abs(off) <= most_off * (1.0 + 1e-9):
        return "right"
    return "over" if off > 0.0 else "under"
