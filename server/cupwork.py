"""A cup's calibration from the stored raw messages of its interval: beside a reference, or from a walk without one."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from math import hypot, isfinite, sqrt
from typing import Any

import numpy as np

from server.core.cup import apparent_by_second
from server.core.cupfit import TOP_MPS, CupFit, References, fit_references
from server.core.cupmean import CupMean, average_cup
from server.core.cupwalk import fit_walk
from server.core.legs import cut_blocks
from server.core.log import JobLog
from server.core.setup import Anemometer, Setup, Span
from server.core.tables import mapping_from_setup, setup_from_mapping
from server.core.timebase import align_boots
from server.core.wind import gather_seconds
from server.core.windbank import SCALE_SD
from server.errors import LogError
from server.snapshot import known
from server.store.joblog import load_job_log

DIGITS = 6
WALK_SPREAD = 1.4
"""A walk's line is so many times less sure than its own scatter says: of 72 simulated walks in light, wandering air 62
errors (86 %) lay within the 90 % intervals without it, 68 (94 %) with it."""
SD_OF_BOUND = 1.0 / sqrt(3.0)
"""A stated accuracy of ± a, as a standard uncertainty: JCGM 100:2008, 4.3.7."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a reference instrument said over an interval [m/s]; `resolution_mps` is a step of its last digit."""

    span: Span
    speeds_mps: tuple[float, ...]
    resolution_mps: float

    @property
    def mean_mps(self) -> float:
        """The mean of what was read."""
        return float(np.mean(self.speeds_mps))

    @property
    def sd_mps(self) -> float:
        """How unsure that mean is by the display's step and by the scatter of the values read."""
        count = len(self.speeds_mps)
        scatter = float(np.std(self.speeds_mps, ddof=1)) / sqrt(count) if count > 1 else 0.0
        return max(hypot(0.5 * self.resolution_mps * SD_OF_BOUND, scatter), 0.01)


def measure_walk(connection: Any, span: Span, setup: Setup) -> dict[str, Any]:
    """The cup's line from a walk, as plain values; refused with its reason where the walk does not tell it."""
    # Here, so that the service answers sooner after its start.
    from server.review import follow_job

    try:
        job_log = load_job_log(connection, span)
    except LogError as error:
        return _tell(CupFit(refusal=str(error)), setup, seconds=0, legs=0)
    work = follow_job(job_log, setup, rng=np.random.default_rng(1), draws=0)
    air = apparent_by_second(job_log.wind, work.timebase, anemometer=setup.anemometer)
    seconds = gather_seconds(air, work.track, work.intervals)
    found = _widen(fit_walk(seconds, anemometer=setup.anemometer, at_mps=_judged_at(setup)))
    legs = 0
    if setup.anemometer.mps_per_hz is not None:
        legs = len(np.unique(cut_blocks(seconds, anemometer=setup.anemometer).leg))
    return _tell(found, setup, seconds=len(seconds), legs=legs)


def measure_references(
    connection: Any, readings: Sequence[Reading], setup: Setup, *, accuracy_percent: float
) -> dict[str, Any]:
    """The cup's line from readings beside a reference that is accurate to ± so many per cent, as plain values."""
    means = [_average(connection, reading, setup.anemometer) for reading in readings]
    found = fit_references(
        References(
            np.array([each.mean_mps for each in readings]),
            np.array([each.sd_mps for each in readings]),
            *(np.array([getattr(mean, name) for mean in means]) for name in ("hz", "hz_sd", "turbulence_mps")),
        ),
        anemometer=setup.anemometer,
        at_mps=_judged_at(setup),
    )
    rows = [
        {"mps": known(each.mean_mps, DIGITS), "mps_sd": known(each.sd_mps, DIGITS), **_plain_mean(mean)}
        for each, mean in zip(readings, means, strict=True)
    ]
    seconds = sum(mean.seconds for mean in means)
    return {**_tell(_add_common(found, accuracy_percent), setup, seconds=seconds, legs=None), "readings": rows}


def apply_line(setup: Setup, found: dict[str, Any], *, day: str) -> Setup:
    """The settings with a calibrated line in them; raises SetupError where it is none that settings may hold."""
    filled = replace(
        setup,
        anemometer=replace(
            setup.anemometer,
            mps_per_hz=found["mps_per_hz"],
            offset_mps=found["offset_mps"],
            scale_sd_percent=max(round(100.0 * found["scale_sd"], 2), 0.1),
            calibrated_on=day,
        ),
    )
    return setup_from_mapping(mapping_from_setup(filled))


def _judged_at(setup: Setup) -> float:
    """The speed that matters: the limit, where there is one."""
    return setup.treatment.wind_limit_mps or TOP_MPS


def _average(connection: Any, reading: Reading, anemometer: Anemometer) -> CupMean:
    """The cup over a reading's interval."""
    try:
        job_log: JobLog = load_job_log(connection, reading.span)
    except LogError as error:
        return CupMean(refusal=str(error))
    timebase = align_boots(job_log, latency_s=0.0)
    return average_cup(job_log.wind, timebase, speed_mps=reading.mean_mps, slope=anemometer.mps_per_hz)


def _add_common(found: CupFit, accuracy_percent: float) -> CupFit:
    """The line with the reference's own error, which all readings share."""
    common = accuracy_percent / 100.0 * SD_OF_BOUND
    slope_sd = hypot(found.mps_per_hz_sd, found.mps_per_hz * common)
    return _judge_anew(found, hypot(found.scale_sd, common), slope_sd, found.offset_sd_mps, "take a better reference")


def _widen(found: CupFit) -> CupFit:
    """The line of a walk with the uncertainty that slowly wandering air gives it."""
    slope_sd, offset_sd = WALK_SPREAD * found.mps_per_hz_sd, WALK_SPREAD * found.offset_sd_mps
    return _judge_anew(found, WALK_SPREAD * found.scale_sd, slope_sd, offset_sd, "walk on")


def _judge_anew(found: CupFit, scale_sd: float, slope_sd: float, offset_sd: float, advice: str) -> CupFit:
    """A line with larger uncertainties, refused where it is no longer worth taking."""
    if not isfinite(found.scale_sd):
        return found
    refusal = found.refusal
    if not refusal and scale_sd > SCALE_SD:
        refusal = f"the speed at {found.at_mps:.1f} m/s would be unsure by {100.0 * scale_sd:.1f} %, and "
        refusal += f"{100.0 * SCALE_SD:.0f} % is assumed anyway: {advice}"
    return replace(found, scale_sd=scale_sd, mps_per_hz_sd=slope_sd, offset_sd_mps=offset_sd, refusal=refusal)


def _plain_mean(mean: CupMean) -> dict[str, Any]:
    found = asdict(mean)
    return {name: known(value, DIGITS) if isinstance(value, float) else value for name, value in found.items()}


def _tell(found: CupFit, setup: Setup, *, seconds: int, legs: int | None) -> dict[str, Any]:
    """A fit as plain values, with what it changes at the speed that matters."""
    cup = setup.anemometer
    change = None
    if isfinite(found.mps_per_hz) and found.mps_per_hz > 0.0 and cup.mps_per_hz is not None:
        set_mps = cup.offset_mps + cup.mps_per_hz * (found.at_mps - found.offset_mps) / found.mps_per_hz
        change = known(100.0 * (found.at_mps / set_mps - 1.0), 2) if set_mps > 0.0 else None
    names = ("mps_per_hz", "offset_mps", "mps_per_hz_sd", "offset_sd_mps", "at_mps", "scale_sd", "turbulence_mps")
    return {
        "is_usable": found.is_usable,
        "refusal": found.refusal,
        **{name: known(getattr(found, name), DIGITS) for name in names},
        "wind_mps": known(hypot(found.wind_east_mps, found.wind_north_mps), 3),
        "change_percent": change,
        "before_mps_per_hz": cup.mps_per_hz,
        "before_offset_mps": cup.offset_mps,
        "seconds": seconds,
        "legs": legs,
    }
