"""What is in the tank: what was filled in, less what the flow meter has counted since.

Litres. A fill either tells what the tank holds now, or what was added to what was in it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

from server.core.errors import EntryError
from server.core.flow import VolumeCurve, litres_at
from server.core.mix import TankLevel, level_after
from server.core.uncertainty import Estimate

FILL_SHARE_SD = 0.02
LEAST_FILL_SD_L = 0.05
"""Standard uncertainty of a fill read from the marks of a tank (common practice, no source)."""
MOST_L = 1e5
"""More than that is in no tank."""
OVERFULL_SHARE = 0.05
"""A fill may come out so much above the tank's size before it is doubted: marks and meters err."""


@dataclass(frozen=True, slots=True)
class TankState:
    """What the tank held when so much had been sprayed; `is_assumed` where nobody entered a fill."""

    held: Estimate
    from_l: float = 0.0
    is_assumed: bool = False


def assume_full(tank_l: float) -> TankState:
    """A tank of which nobody said anything: full at the beginning.

    Parameters
    ----------
    tank_l
        What it holds [L].

    Returns
    -------
    TankState
        Full, and marked as assumed.

    References
    ----------
    Definition of this project. Derivation: none.

    Examples
    --------
    >>> assume_full(15.0).is_assumed
    True
    """
    return TankState(_measured(tank_l), 0.0, True)


def level_of(state: TankState, *, sprayed_l: float, meter_share: float) -> TankLevel:
    """What is in the tank now.

    Parameters
    ----------
    state
        As of the last fill.
    sprayed_l
        Sprayed since the beginning of the job [L].
    meter_share
        Standard uncertainty of the flow meter's pulses per litre as a share [-].

    Returns
    -------
    TankLevel
        Never below 0 [L], with its uncertainty; a contradiction where more was sprayed than was in it.

    References
    ----------
    As `server.core.mix.level_after`. Derivation: none.

    Examples
    --------
    >>> level = level_of(TankState(Estimate(15.0, 0.3)), sprayed_l=10.0, meter_share=0.02)
    >>> level.left_l.value, round(level.left_l.sd, 2)
    (5.0, 0.36)
    """
    gone_l = max(0.0, sprayed_l - state.from_l)
    return level_after(state.held, sprayed=Estimate(gone_l, meter_share * gone_l))


def read_fill(detail: Mapping[str, Any], *, tank_l: float) -> tuple[str, float]:
    """What the button "refill" says: that the tank is full, holds so much, or got so much.

    Parameters
    ----------
    detail
        What was told with it: `holds_l` or `added_l` [L], or neither: full.
    tank_l
        What the tank holds [L].

    Returns
    -------
    tuple
        "holds", "added" or "full", and how much [L]. What is no volume counts as nothing told.

    References
    ----------
    Definition of this project. Derivation: none.

    Examples
    --------
    >>> read_fill({}, tank_l=15.0), read_fill({"added_l": 7.5}, tank_l=15.0)
    (('full', 15.0), ('added', 7.5))
    """
    for way in ("holds", "added"):
        value = detail.get(f"{way}_l")
        if isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value <= MOST_L:
            return way, float(value)
    return "full", tank_l


def number_of(detail: Mapping[str, Any]) -> int | None:
    """The number of a fill, by which one that is told twice is known.

    Parameters
    ----------
    detail
        What was told with the button.

    Returns
    -------
    int or None
        None where nothing that is a number was told.

    References
    ----------
    Definition of this project. Derivation: none.

    Examples
    --------
    >>> number_of({"fill": 3}), number_of({"fill": [3]})
    (3, None)
    """
    number = detail.get("fill")
    return number if isinstance(number, int) else None


def fill_tank(
    state: TankState, detail: Mapping[str, Any], *, sprayed_l: float, meter_share: float, tank_l: float
) -> TankState:
    """The tank after a fill.

    What is added to a tank of which nobody said anything goes into an empty one: people fill when it is empty. A press
    without an amount says nothing either: it is taken as full, and stays an assumption.

    Parameters
    ----------
    state
        Before.
    detail
        What was told, as in `read_fill` [L].
    sprayed_l
        Sprayed since the beginning of the job [L].
    meter_share
        Standard uncertainty of the flow meter as a share [-].
    tank_l
        What the tank holds [L].

    Returns
    -------
    TankState
        After.

    References
    ----------
    JCGM 100:2008 (GUM), equation 10.

    Examples
    --------
    >>> first = fill_tank(assume_full(15.0), {"added_l": 10.0}, sprayed_l=0.0, meter_share=0.02, tank_l=15.0)
    >>> then = fill_tank(first, {"added_l": 6.0}, sprayed_l=8.0, meter_share=0.02, tank_l=15.0)
    >>> first.held.value, then.held.value, then.from_l
    (10.0, 8.0, 8.0)
    """
    way, litres = read_fill(detail, tank_l=tank_l)
    if way == "full":
        return TankState(_measured(litres), sprayed_l, True)
    if way == "holds" or state.is_assumed:
        return TankState(_measured(litres), sprayed_l)
    left = level_of(state, sprayed_l=sprayed_l, meter_share=meter_share).left_l
    added = _measured(litres)
    return TankState(Estimate(left.value + added.value, sqrt(left.sd**2 + added.sd**2)), sprayed_l)


def check_fill(state: TankState, *, sprayed_l: float, tank_l: float) -> None:
    """Refuse a fill after which the tank would hold more than goes in.

    Parameters
    ----------
    state
        After the fill.
    sprayed_l
        Sprayed since the beginning of the job [L].
    tank_l
        What the tank holds [L].

    Raises
    ------
    EntryError
        In one line, if more is in it than its size, a twentieth and twice the doubt granted.

    References
    ----------
    Derivation: what was in it and what came to it.

    Examples
    --------
    >>> check_fill(TankState(Estimate(22.0, 0.4)), sprayed_l=0.0, tank_l=15.0)
    Traceback (most recent call last):
    server.core.errors.EntryError: litres: 22 L would be in a tank of 15 L: check number and unit, or tell what it holds
    """
    held = state.held.value - (sprayed_l - state.from_l)
    if held > tank_l * (1.0 + OVERFULL_SHARE) + 2.0 * state.held.sd:
        words = f"{held:.3g} L would be in a tank of {tank_l:g} L"
        raise EntryError("litres", f"{words}: check number and unit, or tell what it holds")


def _measured(litres: float) -> Estimate:
    """A volume read from the marks of a tank."""
    return Estimate(litres, max(FILL_SHARE_SD * litres, LEAST_FILL_SD_L) if litres > 0.0 else 0.0)


def follow_tank(
    curve: VolumeCurve, fills: Sequence[tuple[float, Mapping[str, Any]]], *, meter_share: float, tank_l: float
) -> tuple[TankState, float]:
    """The tank over the whole of a job.

    Parameters
    ----------
    curve
        What the flow meter counted.
    fills
        Job seconds [s] and what was told of each fill, in any order; one of the same number `fill` counts once.
    meter_share
        Standard uncertainty of the flow meter as a share [-].
    tank_l
        What the tank holds [L].

    Returns
    -------
    tuple
        The tank as of the last fill, and what was sprayed in the job [L].

    References
    ----------
    As `litres_at` and `fill_tank`. Derivation: none.

    Examples
    --------
    >>> import numpy as np
    >>> curve = VolumeCurve(np.array([0.0, 100.0]), np.array([0.0, 12.0]), np.array([0.0, 5400.0]))
    >>> state, sprayed_l = follow_tank(curve, [(0.0, {"added_l": 10.0}), (50.0, {})], meter_share=0.02, tank_l=15.0)
    >>> state.held.value, state.from_l, sprayed_l
    (15.0, 6.0, 12.0)
    """
    state = assume_full(tank_l)
    seen: set[int] = set()
    for t, detail in sorted(fills, key=lambda fill: fill[0]):
        number = number_of(detail)
        if number in seen:
            continue
        seen |= set() if number is None else {number}
        sprayed_l = float(litres_at(curve, t))
        state = fill_tank(state, detail, sprayed_l=sprayed_l, meter_share=meter_share, tank_l=tank_l)
    return state, float(curve.litres[-1]) if len(curve.litres) else 0.0
