"""The cup's line against reference readings: slope and offset with uncertainty, or why they cannot be told.

Metres per second and hertz: speed = offset + slope × frequency.
"""

from dataclasses import dataclass, replace
from math import hypot, inf, isfinite, nan, sqrt

import numpy as np

from server.core.chance import chance_of_ratio
from server.core.log import Floats
from server.core.setup import Anemometer
from server.core.straightline import fit_line
from server.core.windbank import SCALE_SD

FEWEST = 5
LEAST_SPAN_MPS = 1.5
UNLIKELY = 0.01
"""What happens less often than this by chance alone is not put down to chance."""
PRIOR_SLOPE_SD = 0.07
PRIOR_OFFSET_SD_MPS = 0.1
"""How far slope (a ratio) and offset as set are trusted before any calibration: common practice, no source."""
TOP_MPS = 4.5
"""The speed at which the line's uncertainty is judged, where nobody asks for another: a usual wind limit."""


@dataclass(frozen=True, slots=True)
class CupFit:
    """A cup's line as calibrated, with standard uncertainties; `refusal` says why it must not be used ("": it may).

    `scale_sd` is the uncertainty of the speed that the line tells at `at_mps`, as a share of it; `told` how much of the
    settings' own uncertainty there the calibration took away, 0 to 1. NaN where nothing could be reckoned.
    """

    mps_per_hz: float = nan
    offset_mps: float = nan
    mps_per_hz_sd: float = nan
    offset_sd_mps: float = nan
    covariance: float = nan
    at_mps: float = TOP_MPS
    scale_sd: float = nan
    told: float = nan
    chi2: float = nan
    freedom: int = 0
    wind_east_mps: float = nan
    wind_north_mps: float = nan
    turbulence_mps: float = nan
    refusal: str = ""

    @property
    def is_usable(self) -> bool:
        """Whether the line may be put into the settings."""
        return not self.refusal and isfinite(self.scale_sd)


@dataclass(frozen=True, slots=True)
class References:
    """Reference readings [n]: speeds with standard uncertainty [m/s], and what the cup did meanwhile [Hz].

    `turbulence_mps` [n] is how far, by the air's turbulence alone, the means at two places as far apart as the two
    instruments may differ; `hz_sd` [n] the uncertainty of the frequency itself.
    """

    mps: Floats
    mps_sd: Floats
    hz: Floats
    hz_sd: Floats
    turbulence_mps: Floats


def fit_references(readings: References, *, anemometer: Anemometer, at_mps: float = TOP_MPS) -> CupFit:
    """Slope and offset of a cup from readings beside a reference.

    Parameters
    ----------
    readings
        Pairs of speed [m/s] and frequency [Hz] with their uncertainties; pairs with NaN, and those where the cup
        stood, are left out.
    anemometer
        The line in the settings: starting point and comparison.
    at_mps
        The speed at which the uncertainty is judged [m/s].

    Returns
    -------
    CupFit
        Refused where fewer than 5 pairs are left, they span less than 1.5 m/s, they scatter more than their stated
        uncertainties and the turbulence allow (chi-square, 1 %), or the line is no surer than 3 % at `at_mps`.

    Notes
    -----
    Where the pairs scatter more than expected, but not impossibly so, the uncertainties grow with the root of
    chi-square over its degrees of freedom. A reference's error common to all its readings is not in the fit: add it.

    References
    ----------
    JCGM 100:2008, 5.1.2 (propagation) and H.3 (calibration curve); `fit_line`.

    Examples
    --------
    >>> mps, one = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), np.ones(6)
    >>> readings = References(mps, 0.05 * one, (mps - 0.2) / 0.34, 0.01 * one, 0.03 * one)
    >>> found = fit_references(readings, anemometer=Anemometer(0.3))
    >>> round(found.mps_per_hz, 4), round(found.offset_mps, 4), found.refusal
    (0.34, 0.2, '')
    """
    columns = (readings.mps, readings.mps_sd, readings.hz, readings.hz_sd, readings.turbulence_mps)
    known = np.isfinite(columns).all(axis=0) & (readings.hz > 0.0)
    mps, mps_sd, hz, hz_sd, turbulence = (column[known] for column in columns)
    if len(mps) < FEWEST:
        return CupFit(at_mps=at_mps, refusal=f"{len(mps)} usable readings; at least {FEWEST} are needed")
    span = float(np.ptp(mps))
    if span < LEAST_SPAN_MPS or float(np.ptp(hz)) <= 0.0:
        wanted = f"at least {LEAST_SPAN_MPS:.1f} are needed"
        return CupFit(at_mps=at_mps, refusal=f"the readings span only {span:.1f} m/s; {wanted}")
    line = fit_line(hz, mps, x_sd=hz_sd, y_sd=np.hypot(mps_sd, turbulence))
    grown = max(1.0, line.chi2 / line.freedom)
    found = judge_line(
        CupFit(
            line.slope,
            line.intercept,
            line.slope_sd * sqrt(grown),
            line.intercept_sd * sqrt(grown),
            line.covariance * grown,
            chi2=line.chi2,
            freedom=line.freedom,
        ),
        anemometer=anemometer,
        at_mps=at_mps,
    )
    if chance_of_ratio(line.chi2 / line.freedom, line.freedom, inf) < UNLIKELY:
        return replace(found, refusal="the readings scatter more than their uncertainties and the turbulence allow")
    return found


def judge_line(found: CupFit, *, anemometer: Anemometer, at_mps: float) -> CupFit:
    """How sure a calibrated line is at one speed, how much that adds to the settings, and whether it is sure enough.

    Parameters
    ----------
    found
        The line with its uncertainties.
    anemometer
        The line in the settings, taken to be sure by 7 % of its slope and 0.1 m/s.
    at_mps
        The speed at which it is judged [m/s].

    Returns
    -------
    CupFit
        With `scale_sd` and `told`, refused where the speed is no surer than by 3 % or the slope is not positive.

    References
    ----------
    Derivation: variance of offset + slope × frequency; precisions of independent findings add.

    Examples
    --------
    >>> sure = judge_line(CupFit(0.34, 0.2, 0.001, 0.01, 0.0), anemometer=Anemometer(0.34), at_mps=4.5)
    >>> round(sure.scale_sd, 4), sure.refusal, round(sure.told, 2)
    (0.0036, '', 0.95)
    """
    if not found.mps_per_hz > 0.0:
        return replace(found, at_mps=at_mps, refusal="the cup does not turn faster in faster air")
    hz = (at_mps - found.offset_mps) / found.mps_per_hz
    variance = found.offset_sd_mps**2 + 2.0 * hz * found.covariance + (hz * found.mps_per_hz_sd) ** 2
    own_sd = sqrt(max(variance, 0.0))
    set_slope = found.mps_per_hz if anemometer.mps_per_hz is None else anemometer.mps_per_hz
    set_sd = hypot(PRIOR_OFFSET_SD_MPS, hz * PRIOR_SLOPE_SD * set_slope)
    told = 1.0 - own_sd / hypot(own_sd, set_sd)
    scale_sd = own_sd / at_mps
    refusal = ""
    if scale_sd > SCALE_SD:
        share = f"{100.0 * scale_sd:.1f} %" if scale_sd < 1.0 else "more than itself"
        assumed = f"{100.0 * SCALE_SD:.0f} % is assumed anyway"
        refusal = f"the speed at {at_mps:.1f} m/s would be unsure by {share}; {assumed}"
    return replace(found, at_mps=at_mps, scale_sd=scale_sd, told=told, refusal=refusal)
