"""When a walker set out to turn and when the turn was done, where the velocity is too noisy for its turn rate.

Seconds, metres per second, headings in radians clockwise from true north.
"""

import numpy as np

from server.core.log import Floats
from server.core.results import Bools

SETTLED_S, WINDOW_S = 1.0, 8.0
"""The headings before and after are those of so many seconds, the nearest to the guessed turn left out."""
LONGEST_S = 8.0
"""A longer way from one pass to the next is more than one turn."""
BINS = 36
FASTEST_RAD_PER_S = np.radians(200.0)
"""A walker turns no faster."""
LIKE_RAD = np.radians(25.0)
"""A turn begins and is done with a heading no further from the run's than this."""
DONE_S = 3.0
"""How long a walker goes on turning, on the average, once the heading is near the next run's."""
JOIN_S, SAME_RAD = 2.0, np.radians(45.0)
"""Passes less far apart, in time and in heading, are one."""
LEAST_SD_MPS = 0.05
TEMPER = 0.15
"""A gait and a weave keep velocities off the run's for seconds: each of them says less than it seems to."""
_MIDDLES = 2.0 * np.pi * np.arange(BINS) / BINS


def sharpen_turns(
    spans: list[tuple[float, float]], t: Floats, east_mps: Floats, north_mps: Floats
) -> list[tuple[float, float]]:
    """The passes of one spraying with the turns between them found anew, and what is no turn joined.

    Parameters
    ----------
    spans
        Begin and end of each pass by the turn rate [s].
    t
        Times of the epochs [n] [s].
    east_mps
        East velocity [n] [m/s].
    north_mps
        North velocity [n] [m/s].

    Returns
    -------
    list[tuple[float, float]]
        Begin and end of each pass [s], in order; passes less than 2 s apart that head the same way are one.

    References
    ----------
    Derivation: see `find_turn`.

    Examples
    --------
    >>> t = np.arange(0.0, 40.0, 0.2)
    >>> sharpen_turns([(0.0, 19.0), (20.0, 39.0)], t, 0.0 * t, 0.0 * t + 1.2)
    [(0.0, 39.0)]
    """
    found: list[tuple[float, float]] = []
    for begin, end in spans:
        if found:
            start, stop = found[-1]
            if _is_wobble(t, east_mps, north_mps, (start, stop), (begin, end)):
                found[-1] = start, end
                continue
            stop, begin = find_turn(t, east_mps, north_mps, before=(start, stop), after=(begin, end))
            found[-1] = start, stop
        found.append((begin, end))
    return found


def _choose_end(t: Floats, span: tuple[float, float], *, margin_s: float) -> Bools:
    """The epochs of a run's last seconds, but for the very last."""
    return (t >= max(span[0], span[1] - WINDOW_S)) & (t <= span[1] - margin_s)


def _choose_begin(t: Floats, span: tuple[float, float], *, margin_s: float) -> Bools:
    """The epochs of a run's first seconds, but for the very first."""
    return (t >= span[0] + margin_s) & (t <= min(span[1], span[0] + WINDOW_S))


def _is_wobble(t: Floats, east: Floats, north: Floats, before: tuple[float, float], after: tuple[float, float]) -> bool:
    """Whether two passes with a short break between are one that was seen to bend by noise."""
    if after[0] - before[1] >= JOIN_S:
        return False
    # About the break, and from end to end: a way that bends slowly is no wobble.
    near = _choose_end(t, before, margin_s=0.0), _choose_begin(t, after, margin_s=0.0)
    far = _choose_begin(t, before, margin_s=0.0), _choose_end(t, after, margin_s=0.0)
    for parts in (near, far):
        first, last = (float(np.arctan2(east[part].sum(), north[part].sum())) for part in parts)
        if abs((last - first + np.pi) % (2.0 * np.pi) - np.pi) >= SAME_RAD:
            return False
    return True


def find_turn(
    t: Floats, east_mps: Floats, north_mps: Floats, *, before: tuple[float, float], after: tuple[float, float]
) -> tuple[float, float]:
    """Both ends of a turn between two straight runs, by all velocities around it together.

    The heading is that of the run before, then any that a walker can turn to, then that of the run after; the ends are
    the expected ones. Noise that hides the turn rate of every single moment hardly moves them, and a turn may swing out
    first, or go straight on for a while.

    Parameters
    ----------
    t
        Times of the epochs [n] [s].
    east_mps
        East velocity [n] [m/s].
    north_mps
        North velocity [n] [m/s].
    before
        Begin and end of the run before by a first guess [s].
    after
        Begin and end of the run after by a first guess [s].

    Returns
    -------
    tuple[float, float]
        Begin and end of the turn [s]; the guesses where there is nothing to tell them by: a turn longer than 8 s, or
        less than 2 s of a run beside it.

    References
    ----------
    Forward recursion of a hidden Markov model: Rabiner, Proceedings of the IEEE 77 (1989) 257, equations 19-21 (from
    memory); the expected times are carried along with the probabilities.

    Examples
    --------
    >>> t = np.arange(0.0, 40.0, 0.2)
    >>> angle = np.radians(np.interp(t, [19.0, 21.0], [10.0, 190.0]))
    >>> noise = np.random.default_rng(1).normal(0.0, 0.25, (2, 200))
    >>> east, north = 1.2 * np.sin(angle) + noise[0], 1.2 * np.cos(angle) + noise[1]
    >>> begin, done = find_turn(t, east, north, before=(0.0, 18.0), after=(22.0, 40.0))
    >>> abs(begin - 19.0) < 0.4, abs(done - 21.0) < 0.4
    (True, True)
    """
    start_t, end_t = before[1], after[0]
    parts = [_choose_end(t, before, margin_s=SETTLED_S), _choose_begin(t, after, margin_s=SETTLED_S)]
    settled = min(float(np.ptp(t[part])) if part.any() else 0.0 for part in parts)
    if settled < SETTLED_S or not 0.0 < end_t - start_t <= LONGEST_S:
        return start_t, end_t
    velocity = np.stack([east_mps, north_mps], axis=1)
    runs = np.stack([velocity[part].mean(axis=0) for part in parts])
    pace = float(np.hypot(*runs.T).mean())
    apart = np.concatenate([velocity[part] - run for part, run in zip(parts, runs, strict=True)])
    sd = max(float(np.sqrt((apart**2).mean())), LEAST_SD_MPS)
    around = slice(*np.searchsorted(t, [start_t - WINDOW_S / 2.0, end_t + WINDOW_S / 2.0]))
    headings = np.concatenate([np.arctan2(runs[:, 0], runs[:, 1]), _MIDDLES])
    along = pace * np.stack([np.sin(headings), np.cos(headings)])
    fit = TEMPER * velocity[around] @ along / sd**2
    begin, done = _follow_turn(t[around], np.exp(fit - fit.max(axis=1, keepdims=True)), headings[:2])
    return (begin, done) if begin < done else (start_t, end_t)


def _follow_turn(t: Floats, like: Floats, runs: Floats) -> tuple[float, float]:
    """Expected begin and end of a turn.

    `like` [n, 2 + bins] is how likely each velocity is on the run before, on the run after, and at each heading.
    """
    near = np.abs(np.remainder(_MIDDLES - runs[:, None] + np.pi, 2.0 * np.pi) - np.pi) <= LIKE_RAD
    into = near[0] / near[0].sum()
    gap = np.abs(np.subtract.outer(np.arange(BINS), np.arange(BINS)))
    gap = np.minimum(gap, BINS - gap) * 2.0 * np.pi / BINS
    straight, turning, done = 1.0, np.zeros((2, BINS)), np.zeros(3)
    for k in range(1, len(t)):
        step, middle = float(t[k] - t[k - 1]), 0.5 * float(t[k] + t[k - 1])
        can = gap <= max(FASTEST_RAD_PER_S * step, 2.0 * np.pi / BINS)
        leave = near[1] * min(step / DONE_S, 1.0)
        out = turning @ leave
        done = (done + [out[0], out[1], out[0] * middle]) * like[k, 1]
        stays = (turning * (1.0 - leave)) @ (can / can.sum(axis=0))
        turning = (stays + np.outer([1.0, middle], straight * into)) * like[k, 2:]
        straight *= like[k, 0]
        total = straight + turning[0].sum() + done[0]
        straight, turning, done = straight / total, turning / total, done / total
    if done[0] < 0.5:
        return float("nan"), float("nan")
    return float(done[1] / done[0]), float(done[2] / done[0])
