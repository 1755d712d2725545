"""Whether a body beside the cup takes wind from it on one side, told from a job's own readings.

The shield turns with the rig: a wind that seems to change with each heading in a way that no wind does. Metres per
second; sides in degrees clockwise from the way walked: 0 the cup is shielded from ahead, 180 from behind.
"""

from dataclasses import dataclass
from math import hypot, isfinite

import numpy as np

from server.core.legs import undo_lag
from server.core.log import Floats
from server.core.results import CupShield
from server.core.scatter import relate_means
from server.core.setup import Anemometer
from server.core.wake import SCALES_S, Readings, Wake, fit_wake
from server.core.windfold import Second

SIDES = ("ahead", "ahead on the right", "the right", "behind on the right", "behind", "behind on the left", "the left",
    "ahead on the left")  # fmt: skip
LONGEST_BLOCK_S = 8
STEADY_MPS = 0.35
WALKING_MPS = 0.4
"""Below this the rig has no heading."""
PIECE_S = 900.0
FEWEST_BLOCKS = 60
LEAST_FOLLOWED_MPS = 0.5
LIGHTEST_MPS = 2.2
"""In lighter wind gusts bend the readings more than a shield does."""
LEAST_GAIN = 8.0
LEAST_LOSS = 0.08
LEAST_SURENESS = 2.0


@dataclass(frozen=True, slots=True)
class Shielding:
    """What is known of a shield: for each of eight sides [8] the loss there if only there, its sd, and the gain.

    The gain is how much likelier (natural logarithm) the readings are with that shield than with none; NaN where
    nothing could be told, then `reason` says why. `side_deg` is None where no side is significant.
    """

    losses: Floats
    loss_sds: Floats
    gains: Floats
    side_deg: float | None = None
    reason: str = ""

    @property
    def sentence(self) -> str | None:
        """What to tell the operator; None where nothing is significant."""
        found = self.found
        if found is None:
            return None
        share = 5.0 * round(20.0 * found.loss)
        return f"shielded from {found.side} by about {share:.0f} % or more: put the cup above the head"

    @property
    def found(self) -> CupShield | None:
        """The side that is significant; None where none is."""
        if self.side_deg is None:
            return None
        place = round(self.side_deg / 45.0)
        return CupShield(SIDES[place], self.side_deg, float(self.losses[place]), float(self.loss_sds[place]))


def find_shield(seconds: list[Second], *, anemometer: Anemometer) -> Shielding:
    """Look for a side from which the cup gets less wind.

    Each of eight sides in turn is thought shielded, the loss falling off as cos² to either side; wind, loss, the cup's
    scale (known to 3 %) and distance constant (to 1.5 m) are fitted together and compared with the fit without. Jobs
    longer than 15 min are taken in pieces.

    Parameters
    ----------
    seconds
        Cup and velocity second by second, as `wind.gather_seconds` makes them [m/s].
    anemometer
        The cup's distance constant [m].

    Returns
    -------
    Shielding
        A side only where the logarithm of the likelihood gains 8 or more, the loss is at least 8 % and twice its
        standard deviation.

    Notes
    -----
    Two headings alone tell nothing: any two readings fit some wind. What tells are the turns and the wind's own
    changes. A side that the wind never came from relative to the rig stays unknown: from behind only where the wind is
    faster than the walk. Below 2.2 m/s nothing is said. Of simulated jobs of 15 min with wind enough a loss of 40 % was
    found in 37 to 64 %, of 20 % in 7 to 41 %, most often from ahead; 1 of 960 bare cups was accused
    (`tests/benchmarks/cup.py`). The loss is told too small, of 20 % by a sixth, of 40 % by a third or more, for part of
    it is taken for wind; `loss_sds` does not hold that.

    References
    ----------
    Derivation: marginal likelihoods by `wake.fit_wake`; the threshold was set on simulated jobs without a shield.

    Examples
    --------
    >>> find_shield([], anemometer=Anemometer(0.34)).reason
    'too few readings while walking'
    """
    readings = _gather(seconds, anemometer)
    pieces = [piece for piece in _cut_pieces(readings) if len(piece.t) >= FEWEST_BLOCKS]
    none = np.full(len(SIDES), np.nan)
    if not pieces:
        return Shielding(none, none, none, reason="too few readings while walking")
    fits = [fit for piece in pieces if (fit := _compare_sides(piece)) is not None]
    if not fits:
        return Shielding(none, none, none, reason=f"the wind was below {LIGHTEST_MPS:.1f} m/s: too light to tell")
    losses, sds, gains = (np.array([fit[k] for fit in fits]) for k in range(3))
    weights = sds**-2.0
    loss, sd, gain = (
        (losses * weights).sum(axis=0) / weights.sum(axis=0),
        weights.sum(axis=0) ** -0.5,
        gains.sum(axis=0),
    )
    is_clear = (gain >= LEAST_GAIN) & (loss >= LEAST_LOSS) & (loss >= LEAST_SURENESS * sd)
    side = 45.0 * float(np.argmax(np.where(is_clear, gain, -np.inf))) if is_clear.any() else None
    return Shielding(loss, sd, gain, side)


def follow_velocity(velocity: Floats, speed: Floats, *, distance_constant_m: float) -> Floats:
    """The rig's velocity as the cup has followed it, second by second, its lag undone as it is for the cup's speed.

    What is left of the lag after `legs.undo_lag` reaches a second to either side. In a quick turn that looks like a
    shield, unless velocities are led through the same.

    Parameters
    ----------
    velocity
        The rig's mean velocity in each second [n, 2] [m/s]; NaN where not known.
    speed
        The cup's speed, one value a second [n] [m/s]; NaN where not known.
    distance_constant_m
        The cup's distance constant L [m].

    Returns
    -------
    Floats
        [n, 2] [m/s]; NaN where velocity or cup, or a neighbour's, is not known.

    References
    ----------
    Kristensen, J. Atmos. Oceanic Technol. 17 (2000) 1139 (first-order filter in distance), to first order in the
    velocity.

    Examples
    --------
    >>> turned = np.array([[1.0, 0.0]] * 4 + [[-1.0, 0.0]] * 4)
    >>> follow_velocity(turned, np.full(8, 3.0), distance_constant_m=2.5)[:, 0].round(2).tolist()
    [1.0, 1.0, 1.0, 0.65, -0.52, -1.09, -1.03, -1.03]
    """
    rate = np.maximum(speed, LEAST_FOLLOWED_MPS) / distance_constant_m
    left = np.exp(-rate)
    means = np.full_like(velocity, np.nan)
    state = np.full(2, np.nan)
    for row, (now, kept, quick) in enumerate(zip(velocity, left.tolist(), rate.tolist(), strict=True)):
        slack = np.where(np.isfinite(state), state - now, 0.0)
        means[row] = now + slack * (1.0 - kept) / quick
        state = now + slack * kept
    seen: Floats = means + np.gradient(means, axis=0) / rate[:, None]
    return seen


def _gather(seconds: list[Second], anemometer: Anemometer) -> Readings:
    """Means over at most 8 s in which the velocity stays, only while walking."""
    speed = np.array([np.nan if row.is_bound else row.apparent_mps for row in seconds])
    if len(speed) < 2:
        return Readings(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros((0, 2)), np.zeros(0))
    air = undo_lag(speed, distance_constant_m=anemometer.distance_constant_m)
    lag = np.gradient(speed) / np.maximum(2.0 * air - speed, 0.5)
    walked = np.array([(row.velocity_east_mps, row.velocity_north_mps) for row in seconds])
    seen = follow_velocity(walked, speed, distance_constant_m=anemometer.distance_constant_m)
    blocks: list[list[tuple[float, float, float, float, float]]] = [[]]
    for row, felt, late, (east, north) in zip(seconds, air.tolist(), lag.tolist(), seen.tolist(), strict=True):
        if not (isfinite(felt) and hypot(east, north) >= WALKING_MPS):
            blocks.append([])
            continue
        block = blocks[-1]
        if block:
            count = len(block)
            away = hypot(east - sum(b[2] for b in block) / count, north - sum(b[3] for b in block) / count)
            if row.t - block[-1][0] > 1.5 or away > STEADY_MPS or count >= LONGEST_BLOCK_S:
                blocks.append(block := [])
        block.append((row.t, felt, east, north, late))
    table = np.array([(*np.mean(block, axis=0), len(block)) for block in blocks if block]).reshape(-1, 6)
    return Readings(table[:, 0] - 0.5, table[:, 5], table[:, 1], table[:, 2:4], table[:, 4])


def _cut_pieces(readings: Readings) -> list[Readings]:
    """The job in equal pieces of about 15 min or less."""
    if not len(readings.t):
        return []
    span = readings.t[-1] - readings.t[0]
    pieces = np.array_split(np.arange(len(readings.t)), max(1, round(span / PIECE_S)))
    return [
        Readings(readings.t[p], readings.seconds[p], readings.air[p], readings.velocity[p], readings.lag[p])
        for p in pieces
    ]


def _compare_sides(readings: Readings) -> tuple[list[float], list[float], list[float]] | None:
    """Losses, their sds and gains, a side each; None where the wind was too light."""
    related = relate_means(readings.t, readings.seconds, scales_s=SCALES_S)
    free = []
    for start in _guess_winds(readings):
        once = fit_wake(readings, related, start, side=None)
        free.append(fit_wake(readings, related, once, side=None))
    best = max(free, key=lambda fit: fit.log_like)
    if not LIGHTEST_MPS <= hypot(*best.wind.mean(axis=0)) <= 2.0 * float(readings.air.max()):
        return None
    losses, sds, gains = [], [], []
    for place in range(len(SIDES)):
        tried = [fit_wake(readings, related, fit, side=np.radians(45.0 * place)) for fit in free]
        found = max(tried, key=lambda fit: fit.log_like)
        losses.append(found.loss)
        sds.append(found.loss_sd)
        gains.append(found.log_like - best.log_like)
    return losses, sds, gains


def _guess_winds(readings: Readings) -> list[Wake]:
    """Two winds to start from, alike but for the side of the line walked that they blow from.

    By a² - |v|² = |w|² - 2 w·v, linear in |w|² and w.
    """
    velocity, count = readings.velocity, len(readings.t)
    rows = np.column_stack((np.ones(count), -2.0 * velocity))
    found = np.linalg.lstsq(rows, readings.air**2 - np.square(velocity).sum(axis=1), rcond=None)[0]
    speed = float(np.sqrt(max(found[0], 0.1)))
    line = np.linalg.eigh(np.cov(velocity.T))[1][:, 1]
    along = float(np.clip(found[1:] @ line, -0.95 * speed, 0.95 * speed))
    across = np.sqrt(speed**2 - along**2) * np.array([-line[1], line[0]])
    sizes = np.array([0.3, 0.4, 0.3]) * (0.25 * max(speed, 0.6)) ** 2
    winds = [np.tile(along * line + sign * across, (count, 1)) for sign in (1.0, -1.0)]
    return [Wake(wind, 0.0, 0.0, 0.0, sizes, readings.air) for wind in winds]
