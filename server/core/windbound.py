"""What the cup proves about the wind whatever the wind's direction, and when the headings walked have settled it.

Metres per second.
"""

from dataclasses import dataclass
from math import atan2, cos, exp, hypot, isfinite, nan, sin

SLACK = (0.15, 0.06)
"""Allowance for the cup's error: so many m/s, and this share of the reading."""
DETERMINED_MPS = 0.4
"""The rig's velocity must have varied by this standard deviation for the wind's speed to be settled."""
MEMORY_S = 300.0
"""How fast headings walked are forgotten."""
STANDING_MPS = 0.25
STANDING_S = 5
AIMED_S = 10
"""With a vane the wind is settled after so many seconds."""
STUCK_MARGIN_MPS = 0.3
STUCK_MEMORY_S = 120.0


@dataclass(frozen=True, slots=True)
class Headings:
    """The velocities walked, older ones forgotten: weight, means and second moments.

    And how many seconds in a row the rig stood still, and a vane told where the air came from.
    """

    weight: float = 0.0
    east: float = 0.0
    north: float = 0.0
    east2: float = 0.0
    north2: float = 0.0
    cross: float = 0.0
    stood_s: int = 0
    aimed_s: int = 0

    @property
    def is_settled(self) -> bool:
        """Whether the wind's speed can be told: the velocity varied enough, the rig stands still, or has a vane."""
        if self.stood_s >= STANDING_S or self.aimed_s >= AIMED_S:
            return True
        if self.weight <= 1.0:
            return False
        middle, reach, _, _ = self._spread()
        return middle + reach > DETERMINED_MPS**2

    @property
    def axis(self) -> tuple[float, float] | None:
        """The line along which the velocities lie, east and north of length 1; None before the speed is settled."""
        if self.weight <= 1.0:
            return None
        middle, reach, a, b = self._spread()
        if middle + reach <= DETERMINED_MPS**2:
            return None
        angle = 0.5 * atan2(b, a)
        return cos(angle), sin(angle)

    def _spread(self) -> tuple[float, float, float, float]:
        """Half the sum and half the difference of the velocities' principal variances; parts of twice the angle."""
        mean_e, mean_n = self.east / self.weight, self.north / self.weight
        a = self.east2 / self.weight - mean_e**2
        d = self.north2 / self.weight - mean_n**2
        b = self.cross / self.weight - mean_e * mean_n
        return 0.5 * (a + d), hypot(0.5 * (a - d), b), 0.5 * (a - d), b


@dataclass(frozen=True, slots=True)
class Stillness:
    """The velocities walked since the cup last turned: their range, and since when (NaN: it turns)."""

    since_t: float = nan
    low_east: float = 0.0
    high_east: float = 0.0
    low_north: float = 0.0
    high_north: float = 0.0


def note_heading(headings: Headings, east: float, north: float, *, is_aimed: bool = False) -> Headings:
    """Remember a second's velocity.

    Parameters
    ----------
    headings
        What was walked before.
    east, north
        The rig's velocity [m/s].
    is_aimed
        Whether a vane told where the air came from.

    Returns
    -------
    Headings
        With this second.

    References
    ----------
    Derivation: exponentially weighted moments.

    Examples
    --------
    >>> headings = Headings()
    >>> for second in range(60):
    ...     headings = note_heading(headings, 1.2, 0.0)
    >>> headings.is_settled, note_heading(note_heading(headings, -1.2, 0.0), -1.2, 0.0).is_settled
    (False, True)
    """
    keep = exp(-1.0 / MEMORY_S)
    return Headings(
        weight=keep * headings.weight + 1.0,
        east=keep * headings.east + east,
        north=keep * headings.north + north,
        east2=keep * headings.east2 + east * east,
        north2=keep * headings.north2 + north * north,
        cross=keep * headings.cross + east * north,
        stood_s=headings.stood_s + 1 if hypot(east, north) < STANDING_MPS else 0,
        aimed_s=headings.aimed_s + 1 if is_aimed else 0,
    )


def bound_wind(apparent: float, *, walk: float, is_bound: bool) -> tuple[float, float]:
    """The least and the most that the wind can be for one reading.

    Parameters
    ----------
    apparent
        The air past the rig [m/s].
    walk
        The rig's own speed [m/s].
    is_bound
        Whether the air is only known to be slower than `apparent`.

    Returns
    -------
    tuple
        Lowest and highest true speed [m/s].

    References
    ----------
    Derivation: the triangle inequality of w = v + (w - v), with an allowance of 0.15 m/s + 6 % for the cup.

    Examples
    --------
    >>> low, high = bound_wind(5.0, walk=1.0, is_bound=False)
    >>> round(low, 2), round(high, 2)
    (3.55, 6.45)
    """
    slack = SLACK[0] + SLACK[1] * apparent
    low = max(0.0, walk - apparent - slack) if is_bound else max(0.0, abs(apparent - walk) - slack)
    return low, apparent + walk + slack


def note_stillness(stillness: Stillness, *, t: float, is_bound: bool, east: float, north: float) -> Stillness:
    """Remember the velocities walked while the cup stands.

    Parameters
    ----------
    stillness
        What was walked since it stood.
    t
        Now [s].
    is_bound
        Whether the cup stands this second.
    east, north
        The rig's velocity [m/s].

    Returns
    -------
    Stillness
        With this second; begun anew after 120 s, for the wind may have changed.

    References
    ----------
    Derivation: see `is_stuck`.

    Examples
    --------
    >>> note_stillness(Stillness(), t=1.0, is_bound=True, east=1.0, north=0.0).high_east
    1.0
    """
    if not is_bound:
        return Stillness()
    if not isfinite(stillness.since_t) or t - stillness.since_t > STUCK_MEMORY_S:
        return Stillness(t, east, east, north, north)
    return Stillness(
        stillness.since_t,
        min(stillness.low_east, east),
        max(stillness.high_east, east),
        min(stillness.low_north, north),
        max(stillness.high_north, north),
    )


def is_stuck(stillness: Stillness, *, below: float) -> bool:
    """Whether no wind at all explains that the cup stands: it is stuck, or its cable is off.

    If every |w - v| is below b, no two of the velocities v differ by more than 2 b.

    Parameters
    ----------
    stillness
        The velocities walked since the cup last turned [m/s].
    below
        The speed that a standing cup is known to be below [m/s].

    Returns
    -------
    bool
        Never true while the cup turns.

    References
    ----------
    Derivation: the triangle inequality, with 0.3 m/s to spare on each side.

    Examples
    --------
    >>> is_stuck(Stillness(0.0, -1.2, 1.2, 0.0, 0.0), below=0.5)
    True
    """
    if not isfinite(stillness.since_t):
        return False
    widest = max(stillness.high_east - stillness.low_east, stillness.high_north - stillness.low_north)
    return isfinite(below) and widest > 2.0 * (below + STUCK_MARGIN_MPS)
