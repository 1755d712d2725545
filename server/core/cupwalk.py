"""The cup's line from a walk in steady air, without any reference: out and back at known velocities.

The cup feels a = |w - v|. Different headings and paces v under one wind w tell slope and offset of a = offset + slope
× frequency together with w. Metres per second, hertz.
"""

from dataclasses import dataclass, replace
from math import hypot, inf

import numpy as np

from server.core.chance import chance_of_ratio
from server.core.cupfit import TOP_MPS, UNLIKELY, CupFit, judge_line
from server.core.legs import Blocks, cut_blocks
from server.core.log import Floats
from server.core.scatter import Scatter, fit_scatter, reduce_inverse, spread_means
from server.core.setup import Anemometer
from server.core.walkadvice import advise_walk
from server.core.windfold import Second

FEWEST_LEGS = 6
GUSTIEST = 0.3
"""Turbulence over apparent speed above which its bias is no longer told by its second order."""
FURTHEST = 0.2
"""No cup's line is so far, as a share of the speed judged, from a right setting: something shields it."""
ALIKE_MPS = 0.5
"""Legs whose velocities differ by less repeat each other."""
WIDE_SD = (10.0, 10.0, 1.0, 3.0)
"""A prior so wide that it tells nothing, for walks that leave a number open: wind, response (a ratio), shift."""
ONE_LINE = 0.1
"""All velocities lie on one line where their variance across is a smaller share of that along it."""
_ROUNDS = 4
_STEPS = 30


@dataclass(frozen=True, slots=True)
class _Fit:
    """What was found: wind east, north, response, shift, and what is left over [n].

    The cup shows response × air + shift in metres per second of the settings' slope. Derivatives [n, 4], directions
    [n, 2] and speeds [n] of the apparent wind.
    """

    numbers: Floats
    left: Floats
    slopes: Floats
    along: Floats
    air: Floats
    scatter: Scatter
    covariance: Floats


def fit_walk(
    seconds: list[Second], *, anemometer: Anemometer, at_mps: float = TOP_MPS, offset_sd_mps: float = inf
) -> CupFit:
    """Slope and offset of a cup from a walk in several headings and paces.

    Parameters
    ----------
    seconds
        Cup and velocity second by second, as `wind.gather_seconds` makes them with the line in the settings [m/s].
    anemometer
        That line, the threshold [m/s] and the distance constant [m].
    at_mps
        The speed at which the uncertainty is judged [m/s].
    offset_sd_mps
        Where finite, the offset in the settings counts as a reading with this standard uncertainty [m/s].

    Returns
    -------
    CupFit
        With the mean wind and its turbulence. Refused where the air changed, where headings do not agree, where it was
        too gusty or where the walk leaves the speed at `at_mps` no surer than 3 %; then it says what walk is missing.

    Notes
    -----
    Gauss-Newton over means of about 5 s; their covariance is that of the turbulence, whose sizes are found from what
    is left over; as that is known from few legs, the variances are those of Student's t. Turbulence across the apparent
    wind lengthens it by variance / (2 × speed), which is taken off.
    In light air the wind comes from ahead in every leg: a body or tank in front of the cup then looks like a slow cup,
    and no fit can tell (25 % taken from ahead came out as a slope a third too large). Carry it above the head.

    Valid for walks along two lines at two paces. On one line the fit falls into a wind without a part across, feels
    sure and was wrong by a fifth in simulation, so that is refused; with one pace slope and offset stay mixed.
    Simulated walks of 20-s legs at 1.0 and 1.9 m/s were mostly surer than 3 % at 4.5 m/s after: 5 minutes in air up to
    0.3 m/s with turbulence of 0.05 m/s; 10 minutes up to 0.7 m/s with 0.1; 20 minutes up to 0.7 m/s with 0.15. At 1.5
    m/s with 0.15 it took 40 minutes, with 0.3 it was hopeless (`tests/benchmarks/cup.py`).

    References
    ----------
    Derivation: generalised least squares, JCGM 100:2008 5.1.2 for the propagation; `fit_scatter`.

    Examples
    --------
    >>> paces = [(v * e, v * n) for v in (0.8, 1.8) for e, n in ((0, 1), (0, -1), (1, 0), (-1, 0))]
    >>> walked = [Second(float(t), 0.9 * float(np.hypot(0.3 - paces[t // 30][0], 0.2 - paces[t // 30][1])) + 0.1, False,
    ...     *paces[t // 30], 0.05, False) for t in range(240)]
    >>> found = fit_walk(walked, anemometer=Anemometer(0.34, 0.2))
    >>> round(found.mps_per_hz * 0.9 / 0.34, 2), round(found.wind_east_mps, 2), found.refusal
    (1.0, 0.3, '')
    """
    if anemometer.mps_per_hz is None:
        return CupFit(at_mps=at_mps, refusal="without a slope in the settings there is nothing to start from")
    blocks = cut_blocks(seconds, anemometer=anemometer)
    if len(np.unique(blocks.leg)) < FEWEST_LEGS:
        return _refuse_short(blocks, at_mps)
    fit = _solve(blocks, anemometer, offset_sd_mps)
    clear = fit.air > anemometer.threshold_mps + 2.0 * fit.scatter.turbulence_mps
    if not clear.all():
        blocks = blocks.choose(clear)
        if len(np.unique(blocks.leg)) < FEWEST_LEGS:
            return _refuse_short(blocks, at_mps)
        fit = _solve(blocks, anemometer, offset_sd_mps)
    found = judge_line(_tell(fit, anemometer.mps_per_hz), anemometer=anemometer, at_mps=at_mps)
    trouble = _find_trouble(blocks, fit) or _doubt_line(found, anemometer)
    if trouble:
        return replace(found, refusal=trouble)
    if found.refusal:
        wanted = advise_walk(blocks, fit.numbers, fit.covariance, fit.scatter, anemometer=anemometer, at_mps=at_mps)
        return replace(found, refusal=f"{found.refusal}. {wanted}")
    return found


def _refuse_short(blocks: Blocks, at_mps: float) -> CupFit:
    """Too few legs."""
    legs = len(np.unique(blocks.leg))
    return CupFit(
        at_mps=at_mps,
        refusal=f"{legs} steady legs in which the cup turned all the time; at least {FEWEST_LEGS} are needed",
    )


def _solve(blocks: Blocks, anemometer: Anemometer, offset_sd_mps: float) -> _Fit:
    """Wind, response and shift, and the sizes of the turbulence, in turns."""
    slope = anemometer.mps_per_hz or 1.0
    start = np.array([0.0, 0.0, 1.0, -anemometer.offset_mps])
    sds = np.array([*WIDE_SD[:3], min(offset_sd_mps, WIDE_SD[3])])
    shown = slope * blocks.hz
    numbers = _seek_wind(blocks, shown, start)
    count = len(shown)
    scatter = Scatter(np.zeros(0), np.eye(count), np.eye(count))
    sizes = None
    for _ in range(_ROUNDS):
        numbers = _descend(blocks, shown, numbers, scatter, (start, sds))
        left, slopes, along, _ = _compare(blocks, shown, numbers, scatter)
        scatter = fit_scatter(left, slopes, spread_means(blocks, along), sizes)
        sizes = scatter.variances
    numbers = _descend(blocks, shown, numbers, scatter, (start, sds))
    left, slopes, along, air = _compare(blocks, shown, numbers, scatter)
    free = max(len(np.unique(blocks.leg)) - 4.0, 3.0)
    covariance = free / (free - 2.0) * np.linalg.inv(slopes.T @ scatter.inverse @ slopes + np.diag(sds**-2.0))
    return _Fit(numbers, left, slopes, along, air, scatter, covariance)


def _seek_wind(blocks: Blocks, shown: Floats, start: Floats) -> Floats:
    """The wind on a polar grid that leaves least over with the line in the settings."""
    angles = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    tried = [(r * np.cos(a), r * np.sin(a)) for r in (0.2, 0.5, 1.0, 1.5, 2.5, 4.0, 6.0) for a in angles]
    plain = Scatter(np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)))
    costs = []
    for east, north in tried:
        left = _compare(blocks, shown, np.array([east, north, *start[2:]]), plain)[0]
        costs.append(float(np.square(left).sum()))
    return np.array([*tried[int(np.argmin(costs))], *start[2:]])


def _compare(blocks: Blocks, shown: Floats, numbers: Floats, scatter: Scatter) -> tuple[Floats, Floats, Floats, Floats]:
    """What the cup shows less what it should, that one's derivatives, the apparent wind's directions and speeds.

    The line is taken as frequency over speed: turned round, the scatter of the frequency would flatten it.
    """
    apart = numbers[:2] - np.stack((blocks.east, blocks.north), axis=1)
    air = np.maximum(np.hypot(*apart.T), 0.05)
    along = apart / air[:, None]
    felt = air + 0.5 * float(scatter.variances.sum()) / numbers[2] ** 2 / np.maximum(air, 0.5)
    left = shown - numbers[3] - numbers[2] * felt
    return left, np.column_stack((numbers[2] * along, felt, np.ones(len(air)))), along, air


def _descend(blocks: Blocks, shown: Floats, numbers: Floats, scatter: Scatter, prior: tuple[Floats, Floats]) -> Floats:
    """Gauss-Newton with halved steps."""
    middle, sds = prior

    def weigh(tried: Floats) -> float:
        left = _compare(blocks, shown, tried, scatter)[0]
        return float(left @ scatter.inverse @ left + np.square((tried - middle) / sds).sum())

    cost = weigh(numbers)
    for _ in range(_STEPS):
        left, slopes, _, _ = _compare(blocks, shown, numbers, scatter)
        pull = slopes.T @ scatter.inverse
        step = np.linalg.solve(pull @ slopes + np.diag(sds**-2.0), pull @ left - (numbers - middle) / sds**2)
        for shorter in (1.0, 0.5, 0.25, 0.1, 0.02):
            tried = numbers + shorter * step
            if (after := weigh(tried)) <= cost:
                break
        else:
            break
        gained, cost, numbers = cost - after, after, tried
        if gained < 1e-10 * (1.0 + cost):
            break
    return numbers


def _tell(fit: _Fit, slope: float) -> CupFit:
    """The fit turned round: slope and offset of speed over frequency."""
    response, shift = float(fit.numbers[2]), float(fit.numbers[3])
    turn = np.array([[-slope / response**2, 0.0], [shift / response**2, -1.0 / response]])
    spread = turn @ fit.covariance[2:, 2:] @ turn.T
    return CupFit(
        mps_per_hz=slope / response,
        offset_mps=-shift / response,
        mps_per_hz_sd=float(np.sqrt(spread[0, 0])),
        offset_sd_mps=float(np.sqrt(spread[1, 1])),
        covariance=float(spread[0, 1]),
        chi2=float(fit.left @ fit.scatter.inverse @ fit.left),
        freedom=len(fit.left) - 4,
        wind_east_mps=float(fit.numbers[0]),
        wind_north_mps=float(fit.numbers[1]),
        turbulence_mps=fit.scatter.turbulence_mps / response,
    )


def _find_trouble(blocks: Blocks, fit: _Fit) -> str:
    """Why the walk cannot be used at all; "" where it can."""
    spreads = np.linalg.eigvalsh(np.cov(np.stack((blocks.east, blocks.north))))
    if spreads[0] < ONE_LINE * spreads[1]:
        return "all legs lie on one line, so the wind across it stays open. Missing: the same walk across that line"
    if fit.scatter.turbulence_mps > GUSTIEST * float(np.median(fit.air)):
        return f"the air is too gusty: {fit.scatter.turbulence_mps:.1f} m/s beside {np.median(fit.air):.1f} m/s felt"
    late = (blocks.t - blocks.t.mean()) / np.ptp(blocks.t)
    drift = np.column_stack([fit.along * late[:, None] ** power for power in (1, 2)])
    if _chance_beside(blocks, fit, drift) < UNLIKELY:
        return "the wind changed during the walk: legs in one heading differ more between early and late than gusts do"
    if _chance_beside(blocks, fit, _group_legs(blocks)) < UNLIKELY:
        return "no one wind and one line fit all headings: the air was not steady, or something shields the cup"
    return ""


def _doubt_line(found: CupFit, anemometer: Anemometer) -> str:
    """Whether the line is too far from the settings to be that of the same cup, standing free."""
    slope = anemometer.mps_per_hz or 1.0
    told = anemometer.offset_mps + slope * (found.at_mps - found.offset_mps) / found.mps_per_hz
    away = found.at_mps / told - 1.0
    if abs(away) - 2.0 * found.scale_sd > FURTHEST:
        return f"{100.0 * away:+.0f} % against the settings is no ageing: is the cup shielded, or is it another cup?"
    return ""


def _chance_beside(blocks: Blocks, fit: _Fit, extra: Floats) -> float:
    """How likely it is by chance alone that further terms explain so much of what is left over."""
    rest = reduce_inverse(fit.scatter.inverse, fit.slopes)
    seen, expected = extra.T @ rest @ fit.left, extra.T @ rest @ extra
    rank = int(np.linalg.matrix_rank(expected, tol=1e-6 * float(np.trace(expected)), hermitian=True))
    if not rank:
        return 1.0
    gained = float(seen @ np.linalg.pinv(expected, rcond=1e-6, hermitian=True) @ seen)
    return chance_of_ratio(gained / rank, rank, max(len(np.unique(blocks.leg)) - 4 - rank, 3))


def _group_legs(blocks: Blocks) -> Floats:
    """A column of ones and noughts for each velocity that was walked [n, groups]."""
    centres: list[tuple[float, float]] = []
    groups = []
    for number in np.unique(blocks.leg):
        own = blocks.leg == number
        east, north = float(blocks.east[own].mean()), float(blocks.north[own].mean())
        near = [k for k, centre in enumerate(centres) if hypot(east - centre[0], north - centre[1]) < ALIKE_MPS]
        if not near:
            near = [len(centres)]
            centres.append((east, north))
        groups.append((own, near[0]))
    found = np.zeros((len(blocks.t), len(centres)))
    for own, place in groups:
        found[own, place] = 1.0
    return found
