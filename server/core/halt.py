"""Whether a cup's readings can be those of the air: one that halts at once is stuck, whatever the wind does.

Metres per second, job seconds.
"""

from dataclasses import dataclass
from math import atan, isfinite, nan, tan

from server.core.setup import Anemometer

HIGHEST_MPS = 40.0
"""Nobody walks in more wind than this: a loose contact counts (common practice, no source)."""
LIGHT_SHARE = 0.5
"""The cup may be so much lighter than its settings say."""
LEAST_FRICTION_MPS = 0.3
MARGIN_MPS = 0.25
SPIN_UP = 4.0
"""After a halt a cup is believed once it has turned so many distance constants: it is then at most 2 % short."""


@dataclass(frozen=True, slots=True)
class Turning:
    """The latest reading of a turning cup [m/s], and when; whether it has halted, and its way in metres since then."""

    mps: float = nan
    t: float = nan
    is_halted: bool = False
    way_m: float = 0.0


def note_turning(turning: Turning, *, t: float, mps: float, is_bound: bool, anemometer: Anemometer) -> Turning:
    """Take one second's reading; the cup has halted if it stands sooner than still air could have slowed it.

    Parameters
    ----------
    turning
        What the cup did before.
    t
        Now [s].
    mps
        The air past the rig as the cup says it [m/s]; NaN: no message came.
    is_bound
        Whether the cup stands, so that the air is only known to be slower than `mps`.
    anemometer
        Distance constant [m] and threshold [m/s].

    Returns
    -------
    Turning
        With this second. Halted it stays until it has turned again for four distance constants of air.

    Notes
    -----
    A cup that stuck while it hardly turned is not found here, only by the headings walked (`windbound.is_stuck`).

    References
    ----------
    Derivation: see `slowest_cup`, with half the distance constant and 0.25 m/s to spare.

    Examples
    --------
    >>> turning = note_turning(Turning(), t=1.0, mps=4.0, is_bound=False, anemometer=Anemometer())
    >>> note_turning(turning, t=2.0, mps=0.5, is_bound=True, anemometer=Anemometer()).is_halted
    True
    >>> turning = note_turning(Turning(), t=1.0, mps=1.2, is_bound=False, anemometer=Anemometer())
    >>> note_turning(turning, t=2.0, mps=0.5, is_bound=True, anemometer=Anemometer()).is_halted
    False
    """
    if not isfinite(mps):
        return turning
    if not is_bound:
        way = turning.way_m + mps
        spins_up = turning.is_halted and way < SPIN_UP * anemometer.distance_constant_m
        return Turning(mps, t, spins_up, way if spins_up else 0.0)
    # The last edge is up to a second older than the second in which the cup last turned.
    slowest = slowest_cup(turning.mps, t - turning.t + 1.0, anemometer=anemometer)
    return Turning(turning.mps, turning.t, turning.is_halted or mps < slowest - MARGIN_MPS)


def slowest_cup(mps: float, seconds: float, *, anemometer: Anemometer) -> float:
    """How slow a cup can have become after a time, in any air.

    The cup follows dc/dt = (A / L)(A - c) in air of speed A, which slows it most at A = c / 2, and its bearings take
    what just holds it in air of its threshold u: dc/dt ≥ -(c² + 4 u²) / (4 L). So the slowest is
    c = 2 u tan(atan(c₀ / 2 u) - u t / 2 L).

    Parameters
    ----------
    mps
        The cup's speed before [m/s].
    seconds
        How long ago that was [s].
    anemometer
        Distance constant, of which half is taken [m], and threshold [m/s].

    Returns
    -------
    float
        Speed [m/s], 0 where it may stand; NaN for a NaN speed.

    References
    ----------
    Derivation from the first-order filter in distance of Kristensen, J. Atmos. Oceanic Technol. 17 (2000) 1139;
    the friction term is this project's own.

    Examples
    --------
    >>> cup = Anemometer(distance_constant_m=2.5, threshold_mps=0.5)
    >>> [round(slowest_cup(4.0, seconds, anemometer=cup), 2) for seconds in (0.0, 2.0, 10.0)]
    [4.0, 1.33, 0.0]
    """
    friction = max(anemometer.threshold_mps, LEAST_FRICTION_MPS)
    length = LIGHT_SHARE * anemometer.distance_constant_m
    angle = atan(mps / (2.0 * friction)) - friction * seconds / (2.0 * length)
    return 2.0 * friction * tan(angle) if not angle <= 0.0 else 0.0
