"""What to believe of a satellite receiver: how it errs by class, and what it can show.

Metres, seconds, metres per second; errors are standard deviations of one axis.
"""

from dataclasses import dataclass, replace
from math import isfinite, log

import numpy as np

from server.core.log import DIFFERENTIAL, ESTIMATED, FIXED, FLOAT, NONE, SINGLE, Fixes, Floats, Integers
from server.core.results import Bools, Pair
from server.core.setup import Receiver

CLASS_NAMES = {SINGLE: "single", DIFFERENTIAL: "differential", FLOAT: "float", FIXED: "fixed"}
CLASS_CODES = {name: code for code, name in CLASS_NAMES.items()}
COVERING = 0.9
"""A job's class holds for this fraction of the spraying time."""
CAN_TELL, PARTLY_TELLS = 0.20, 0.30
"""Spacing uncertainty over swath up to which missed strips can, or partly can, be told."""
TELLS_ALONE = 0.10
"""Up to this share of the swath the receiver tells a strip by itself, however its operator scatters."""
SLOWEST_HZ = 1.5
CORRECTED = (FLOAT, FIXED)
"""Receivers that place each fix well enough to do without the velocity between."""


@dataclass(frozen=True, slots=True)
class ErrorModel:
    """How a receiver errs: white noise of a fix, its slow wander, noise and bias of its velocity."""

    white_sd_m: float
    wander_sd_m: float
    wander_s: float
    velocity_sd_mps: float
    velocity_s: float
    bias_sd_mps: float

    @property
    def drift_m2_per_s(self) -> float:
        """How fast an integrated velocity loses its place."""
        return 2.0 * self.velocity_sd_mps**2 * self.velocity_s


POOR = ErrorModel(0.50, 3.4, 250.0, 0.25, 0.6, 0.05)
ORDINARY = ErrorModel(0.30, 1.7, 250.0, 0.08, 0.6, 0.02)
CLEAN = ErrorModel(0.20, 1.4, 250.0, 0.025, 0.6, 0.004)
MODELS = {
    SINGLE: ORDINARY,
    DIFFERENTIAL: ErrorModel(0.12, 0.50, 250.0, 0.035, 0.6, 0.006),
    FLOAT: ErrorModel(0.04, 0.17, 250.0, 0.02, 0.6, 0.003),
    FIXED: ErrorModel(0.008, 0.009, 120.0, 0.015, 0.6, 0.001),
}
FIT_LOW, FIT_HIGH = 0.6, 1.7
"""A job's fitted velocity noise replaces its class's within these factors."""


def usable_quality(fixes: Fixes, receiver: Receiver) -> Integers:
    """The class to believe of each fix.

    The receiver's own word, and never better than the settings say. Where a receiver that tells no classes apart calls
    everything `single`, the settings' class holds. Estimated fixes, and fixes without coordinates, count as none.

    Parameters
    ----------
    fixes
        Position messages [n].
    receiver
        Class, "auto" or one of "single", "differential", "float", "fixed".

    Returns
    -------
    Integers
        Codes of `server.core.log` [n], NONE where there is no usable position.

    References
    ----------
    Derivation: quality belongs to each fix; definitions of this project.

    Examples
    --------
    >>> fixes = Fixes(*[np.zeros(3)] * 3, np.array([1, 4, 5]), *[np.zeros(3)] * 10)
    >>> usable_quality(fixes, Receiver("differential")).tolist()
    [1, 2, 0]
    """
    quality = np.asarray(fixes.quality, dtype=np.int64)
    has_place = np.isfinite(fixes.lat_deg) & np.isfinite(fixes.lon_deg)
    usable = np.where(has_place & (quality != ESTIMATED), quality, NONE)
    if receiver.klass == "auto":
        return usable
    wanted = CLASS_CODES[receiver.klass]
    told = usable[usable != NONE]
    if len(told) and told.max() == SINGLE:
        return np.where(usable == NONE, NONE, wanted)
    return np.minimum(usable, wanted)


def judge_velocity_noise(t: Floats, east_mps: Floats, north_mps: Floats) -> float:
    """The noise of a receiver's velocity, from how it jitters while the walk goes on.

    Second differences v(k+1) - 2 v(k) + v(k-1) remove pace and slow turns; their median size gives the noise of a
    first-order process of 0.6 s, whose second difference has the variance s² (6 - 8 f + 2 f²), f = exp(-step / 0.6 s).

    Parameters
    ----------
    t
        Times of the epochs [n] [s].
    east_mps
        East velocity [n] [m/s]; NaN is passed over.
    north_mps
        North velocity [n] [m/s].

    Returns
    -------
    float
        Standard deviation of one axis [m/s], NaN with fewer than 20 epochs in a row.

    Notes
    -----
    What shakes the antenna counts as noise too: a bobbing receiver is judged worse than it is. Below 2 Hz the walk
    itself dominates.

    References
    ----------
    Derivation: variance of the second difference of a first-order process; median of |x| of a normal = 0.6745 s.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> t = np.arange(5000) / 5
    >>> 0.15 < judge_velocity_noise(t, *(0.1 * rng.standard_normal((2, 5000)))) < 0.25
    True
    """
    step = np.diff(t)
    usual = float(np.median(step)) if len(step) else float("nan")
    regular = (np.abs(step[1:] - usual) < 0.2 * usual) & (np.abs(step[:-1] - usual) < 0.2 * usual)
    bends = np.concatenate([np.diff(v, 2)[regular] for v in (east_mps, north_mps)]) if len(step) > 1 else np.zeros(0)
    bends = bends[np.isfinite(bends) & (bends != 0.0)]
    if len(bends) < 40:
        return float("nan")
    keep = np.exp(-usual / 0.6)
    return float(np.median(np.abs(bends)) / 0.6745 / np.sqrt(6.0 - 8.0 * keep + 2.0 * keep**2))


def list_models(velocity_noise_mps: float, *, usual: int, has_doppler: bool) -> list[dict[int, ErrorModel]]:
    """The error models that one job may have, each a model for every class, the likeliest by its velocity first.

    A `single` receiver with a velocity of its own may be poor, ordinary or clean: the job's own likelihood tells that
    better than its velocity's noise, for a walker's gait shakes the antenna, and that is no fault of the receiver. The
    usual class is refined by the noise, within limits.

    Parameters
    ----------
    velocity_noise_mps
        Fitted noise of the velocity [m/s], NaN where it could not be judged.
    usual
        Code of the class that most fixes have.
    has_doppler
        Whether the receiver gives its own velocity; without, velocity comes from the fixes and is trusted less.

    Returns
    -------
    list[dict[int, ErrorModel]]
        One or three alternatives, each a model for each code from SINGLE to FIXED.

    Notes
    -----
    A prior, not truth: a receiver that errs otherwise is noticed by its misfit.

    References
    ----------
    Derivation: sizes chosen for this project within what receivers of each class are commonly said to do (common
    practice, no source), near those of the project's simulator.

    Examples
    --------
    >>> [models[SINGLE].wander_sd_m for models in list_models(0.03, usual=SINGLE, has_doppler=True)]
    [1.4, 1.7, 3.4]
    >>> len(list_models(0.03, usual=FIXED, has_doppler=True))
    1
    """
    is_judged = isfinite(velocity_noise_mps) and velocity_noise_mps > 0.0
    kinds = [ORDINARY, POOR, CLEAN]
    if is_judged:
        kinds.sort(key=lambda kind: abs(log(velocity_noise_mps / kind.velocity_sd_mps)))
    alternatives = [{**MODELS, SINGLE: kind} for kind in kinds]
    if not has_doppler:
        return [
            {
                code: replace(model, velocity_sd_mps=max(0.25, 4 * model.velocity_sd_mps), bias_sd_mps=0.05)
                for code, model in alternatives[0].items()
            }
        ]
    if is_judged:
        for models in alternatives:
            said = models[usual].velocity_sd_mps
            fitted = min(max(velocity_noise_mps, FIT_LOW * said), FIT_HIGH * said)
            models[usual] = replace(models[usual], velocity_sd_mps=fitted)
    return alternatives if usual == SINGLE else alternatives[:1]


def judge_receiver(quality: Integers, is_spraying: Bools) -> str:
    """The receiver class of a job: the lowest that covers nine tenths of the spraying time.

    Parameters
    ----------
    quality
        Code of each epoch, evenly spaced in time [n].
    is_spraying
        Whether liquid flowed at each epoch [n]; if never, all epochs count.

    Returns
    -------
    str
        "single", "differential", "float", "fixed", or "none" where a tenth or more of the time had no fix.

    References
    ----------
    Definition of this project: the best class that at least nine tenths of the spraying time reaches.

    Examples
    --------
    >>> judge_receiver(np.array([4] * 19 + [1]), np.ones(20, dtype=bool))
    'fixed'
    >>> judge_receiver(np.array([4] * 15 + [3] * 5), np.ones(20, dtype=bool))
    'float'
    """
    chosen = quality[is_spraying] if is_spraying.any() else quality
    usable = np.where(chosen == ESTIMATED, NONE, chosen)
    for code in (FIXED, FLOAT, DIFFERENTIAL, SINGLE):
        if len(usable) and np.count_nonzero(usable >= code) >= COVERING * len(usable):
            return CLASS_NAMES[code]
    return "none"


def is_too_slow(t: Floats, quality: Integers) -> bool:
    """Whether fixes come too seldom for verdicts on strips.

    A velocity taken once a second misses what happens between, and the errors it leaves are larger than they seem; a
    receiver whose fixes are good to centimetres does not need it.

    Parameters
    ----------
    t
        Times of the epochs [n] [s].
    quality
        The class of each fix [n].

    Returns
    -------
    bool
        True below 1.5 fixes a second, but for a job in which nine in ten are float or fixed; True for none.

    References
    ----------
    Simulated jobs at 1 Hz: 90 % intervals of spacings held in 72 to 84 % without a base station's corrections, in 89
    and 95 % with them.

    Examples
    --------
    >>> is_too_slow(np.arange(9.0), np.full(9, SINGLE)), is_too_slow(np.arange(9.0), np.full(9, FIXED))
    (True, False)
    """
    step = np.diff(t)
    if not (step > 0.0).any():
        return True
    is_slow = bool(np.median(step[step > 0.0]) > 1.0 / SLOWEST_HZ)
    return is_slow and float(np.mean(np.isin(quality, CORRECTED))) < COVERING


def describe_receiver(receiver_class: str, pairs: tuple[Pair, ...], *, swath_m: float, rate_hz: float) -> str:
    """One sentence on what this receiver could show in this job.

    Parameters
    ----------
    receiver_class
        Class of the job.
    pairs
        The judged stretches of neighbouring passes.
    swath_m
        Effective width [m].
    rate_hz
        Fixes a second [Hz].

    Returns
    -------
    str
        A sentence for the operator.

    References
    ----------
    Derivation: median spacing uncertainty over swath, limits 0.20 and 0.30 measured on simulated jobs.

    Examples
    --------
    >>> pair = Pair(1, 2, 1.0, 0.1, 0.0, 20.0, "even", 0.99)
    >>> describe_receiver("fixed", (pair,), swath_m=1.0, rate_hz=5.0)
    'The receiver (fixed) places neighbouring passes to 0.10 m: it can show a missed strip at a swath of 1.0 m.'
    """
    if receiver_class == "none":
        return "For more than a tenth of the spraying time there was no fix: missed strips cannot be told."
    if rate_hz < SLOWEST_HZ and CLASS_CODES.get(receiver_class) not in CORRECTED:
        return "At one fix a second missed strips cannot be told: set the receiver to 5 a second."
    spreads = [pair.spacing_sd_m for pair in pairs if np.isfinite(pair.spacing_sd_m)]
    if not spreads:
        return f"The receiver ({receiver_class}) saw no two passes side by side: nothing to tell about missed strips."
    spread = float(np.median(spreads))
    head = f"The receiver ({receiver_class}) places neighbouring passes to {max(spread, 0.01):.2f} m: it"
    if spread <= CAN_TELL * swath_m:
        return f"{head} can show a missed strip at a swath of {swath_m:.1f} m."
    if spread <= PARTLY_TELLS * swath_m:
        return f"{head} can show only some of the missed strips at a swath of {swath_m:.1f} m."
    return f"{head} cannot show a missed strip at a swath of {swath_m:.1f} m; a corrected one can."
