"""How long a job takes: the walk over the lawn, its turns and the fills of the tank.

Areas in square metres, lengths in metres, speeds in metres per second, spans in minutes.
"""

from dataclasses import dataclass
from math import ceil, isfinite, nan, sqrt

TURN_S = 5.0
"""A turn from one pass to the next (common practice, no source)."""
FILL_MIN = 6.0
"""Walking to the tap, mixing, filling and walking back (common practice, no source)."""
LEAST_PACE_MPS = 0.2
"""Slower than this nobody walks a lawn."""


@dataclass(frozen=True, slots=True)
class JobTime:
    """What a job takes: walking with the spray on, so many passes with turns, and fills [min]; NaN: not known."""

    walk_min: float
    turns_min: float
    fills_min: float
    passes: int
    fills: int

    @property
    def total_min(self) -> float:
        """All of it."""
        return self.walk_min + self.turns_min + self.fills_min


def estimate_duration(
    area_m2: float, *, swath_m: float, pace_mps: float, target_l_per_m2: float, tank_l: float, tank_left_l: float
) -> JobTime:
    """How many minutes an area takes.

    Walking is area / (swath x pace). Turns and fills are an allowance: 5 s a turn, as many as a square lawn of that
    area has passes, and 6 min a fill, as often as what is in the tank does not suffice.

    Parameters
    ----------
    area_m2
        What is to be sprayed [m²]; NaN: not known.
    swath_m
        Spacing of the passes [m].
    pace_mps
        Walking speed while spraying [m/s].
    target_l_per_m2
        Rate wanted [L/m²].
    tank_l
        What the tank holds [L].
    tank_left_l
        What is in it now [L].

    Returns
    -------
    JobTime
        NaN where area or pace are not known or the pace is below 0.2 m/s; all 0 for no area.

    Raises
    ------
    ValueError
        If swath, rate or tank are not above 0.

    Notes
    -----
    Long narrow lawns have fewer turns, lawns of many corners more; nothing is allowed for breaks and moving hoses.

    References
    ----------
    Derivation: area over speed of work; sizes of the allowance are common practice, no source.

    Examples
    --------
    >>> found = estimate_duration(900.0, swath_m=1.0, pace_mps=1.0, target_l_per_m2=0.04, tank_l=15.0, tank_left_l=15.0)
    >>> found.walk_min, found.turns_min, found.passes, found.fills, found.total_min
    (15.0, 2.5, 30, 2, 29.5)
    """
    if not min(swath_m, target_l_per_m2, tank_l) > 0.0:
        raise ValueError(f"swath {swath_m:g} m, rate {target_l_per_m2:g} L/m², tank {tank_l:g} L: all must be above 0")
    if not (isfinite(area_m2) and isfinite(pace_mps) and pace_mps >= LEAST_PACE_MPS):
        return JobTime(nan, nan, nan, 0, 0)
    area = max(area_m2, 0.0)
    passes = ceil(sqrt(area) / swath_m)
    missing_l = area * target_l_per_m2 - max(tank_left_l, 0.0)
    fills = max(0, ceil(missing_l / tank_l - 1e-9))
    return JobTime(area / (swath_m * pace_mps) / 60.0, passes * TURN_S / 60.0, fills * FILL_MIN, passes, fills)
