"""What to mix for mending, and whether a thin pass may get a second, lighter one.

Litres of mix, litres per square metre; shares of the label's product rate as fractions.
"""

from dataclasses import dataclass

from server.core.results import ThinPass

FASTEST_MPS = 2.0
"""A walk with a sprayer is no faster (common practice, no source)."""
TIGHT = 1e-9


@dataclass(frozen=True, slots=True)
class Topup:
    """What mending takes [L]: in all, from the tank's rest, to be mixed, and what is left of the rest."""

    need_l: float
    from_tank_l: float
    mix_l: float
    left_l: float


def share_need(need_l: float, *, tank_left_l: float = 0.0) -> Topup:
    """Take what mending needs from the tank's rest first, and mix only what that lacks.

    Parameters
    ----------
    need_l
        Mix for the strips with their allowance [L].
    tank_left_l
        Mix of the same strength still in the tank [L].

    Returns
    -------
    Topup
        The shares [L].

    Raises
    ------
    ValueError
        If what is left in the tank is no volume.

    References
    ----------
    Derivation: subtraction.

    Examples
    --------
    >>> share_need(1.5, tank_left_l=0.5)
    Topup(need_l=1.5, from_tank_l=0.5, mix_l=1.0, left_l=0.0)
    """
    if not tank_left_l >= 0.0:
        raise ValueError(f"what is left in the tank cannot be {tank_left_l:g} L")
    taken = min(need_l, tank_left_l)
    return Topup(need_l, taken, need_l - taken, tank_left_l - taken)


def judge_thin(thin: ThinPass, *, target_l_per_m2: float, label_carrier: tuple[float, float] | None) -> str:
    """Whether a pass that got too little may be walked again, lighter.

    The rest of the same mix laid thinner is a carrier rate of its own: below the label's least it is a strong mix in
    little water, and it asks for a pace that nobody walks. A mix made weaker, in the usual carrier at the usual pace,
    gives the same product.

    Parameters
    ----------
    thin
        The pass.
    target_l_per_m2
        The mix wanted on an area [L/m²].
    label_carrier
        The label's least and most carrier rate [L/m²]; None: not entered.

    Returns
    -------
    str
        "same": the same mix, laid thinner; "weaker": a weaker mix at the target's rate; "no": neither lies within the
        label's carrier range; "label": the range is not known, so the label is to be read first.

    References
    ----------
    Colorado State University, CEPEP fact sheet 204: 2 gal where the label says 3 to 5 gal/1000 ft² leaves the mix too
    concentrated and can burn turf; slow down and repeat.

    Examples
    --------
    >>> thin = ThinPass(3, 20.0, 0.03, 0.02, 1.2, 0.99)
    >>> [judge_thin(thin, target_l_per_m2=0.05, label_carrier=c) for c in (None, (0.04, 0.2), (0.01, 0.2), (0.1, 0.2))]
    ['label', 'weaker', 'same', 'no']
    """
    if label_carrier is None:
        return "label"
    least, most = label_carrier
    pace = thin.speed_mps * thin.dose_l_per_m2 / max(thin.lacking_l_per_m2, TIGHT)
    if least <= thin.lacking_l_per_m2 * (1.0 + TIGHT) and pace <= FASTEST_MPS:
        return "same"
    is_within = least <= target_l_per_m2 * (1.0 + TIGHT) and target_l_per_m2 <= most * (1.0 + TIGHT)
    return "weaker" if is_within else "no"
