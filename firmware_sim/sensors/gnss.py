"""A satellite receiver: where it says it is, how fast, how sure, and when the bytes come out.

Position error per axis = long Gauss–Markov wander (600–1800 s) + short (60 s) + white; velocity error = Gauss–Markov
(150 s) bias + short correlated noise. Sizes are chosen by us for six classes, after the spread that physics.md
section 3.2 lists: they are not the measurements of any make.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firmware_sim.curve import Floats
from firmware_sim.noise import wander
from firmware_sim.sensors.multipath import draw_jumps, make_echoes, sway, walk_between
from firmware_sim.sensors.sentences import QUALITY_CODE, write_burst
from firmware_sim.world.geodesy import LocalPlane


@dataclass(frozen=True, slots=True)
class Grade:
    """Error sizes per axis, metres and m/s, and what the receiver says of itself."""

    fix: str
    long_sd_m: float
    short_sd_m: float
    white_sd_m: float
    bias_sd_mps: float
    doppler_sd_mps: float
    said_sd_m: float
    sats: int
    hdop: float
    places: int = 5
    long_s: float = 1200.0
    short_s: float = 60.0
    doppler_s: float = 0.6


CLASSES: dict[str, Grade] = {
    "poor": Grade("single", 2.6, 1.5, 0.50, 0.050, 0.25, 3.0, 7, 1.9, 4, 900.0),
    "ordinary": Grade("single", 1.5, 0.8, 0.25, 0.020, 0.08, 1.8, 10, 1.1),
    "clean": Grade("single", 1.3, 0.6, 0.15, 0.004, 0.025, 1.5, 14, 0.8),
    "differential": Grade("differential", 0.45, 0.25, 0.10, 0.006, 0.035, 0.6, 13, 0.8),
    "float": Grade("float", 0.15, 0.08, 0.03, 0.003, 0.020, 0.15, 20, 0.7, 7),
    "fixed": Grade("fixed", 0.006, 0.006, 0.006, 0.001, 0.015, 0.014, 24, 0.6, 7),
}
FALLS_TO = {"fixed": "float", "float": "differential", "differential": "ordinary"}
"""What a class becomes for a while when its corrections are lost."""


@dataclass(frozen=True, slots=True)
class Receiver:
    """Which class, how often it speaks, how late, and when it loses its corrections or the sky (spans of seconds).

    `errors` is "wander", Gauss–Markov as most models have it, or "multipath", of another kind altogether.
    """

    klass: str = "fixed"
    rate_hz: float = 5.0
    latency_s: float = 0.08
    jitter_s: float = 0.01
    kinds: tuple[str, ...] = ("GGA", "RMC", "VTG", "GST")
    downgrades: tuple[tuple[float, float], ...] = ()
    dropouts: tuple[tuple[float, float], ...] = ()
    errors: str = "wander"


@dataclass(frozen=True, slots=True)
class Fixes:
    """What the receiver says, a row an epoch: error and said values in metres and m/s; `code` is the GGA quality."""

    t: Floats
    emit_s: Floats
    east_m: Floats
    north_m: Floats
    velocity_east_mps: Floats
    velocity_north_mps: Floats
    code: NDArray[np.int64]
    said_sd_m: Floats


def take_fixes(
    receiver: Receiver,
    t: Floats,
    place: tuple[Floats, Floats],
    velocity: tuple[Floats, Floats],
    rng: np.random.Generator,
) -> Fixes:
    """Add the class's errors to the true place and velocity at epochs t (evenly spaced)."""
    grade = CLASSES[receiver.klass]
    step = float(t[1] - t[0])
    if receiver.errors == "multipath":
        place_error, velocity_error = _draw_multipath(grade, t, place, velocity, rng)
    else:
        place_error, velocity_error = _draw_errors(grade, len(t), step, rng)
    code = np.full(len(t), QUALITY_CODE[grade.fix])
    said = np.full(len(t), grade.said_sd_m)
    if receiver.downgrades and receiver.klass in FALLS_TO:
        worse = CLASSES[FALLS_TO[receiver.klass]]
        worse_place, worse_velocity = _draw_errors(worse, len(t), step, rng)
        for a, b in receiver.downgrades:
            inside = (t >= a) & (t < b)
            place_error[:, inside], velocity_error[:, inside] = worse_place[:, inside], worse_velocity[:, inside]
            code[inside], said[inside] = QUALITY_CODE[worse.fix], worse.said_sd_m
    for a, b in receiver.dropouts:
        code[(t >= a) & (t < b)] = 0
    late = receiver.latency_s + np.abs(receiver.jitter_s * rng.standard_normal(len(t)))
    return Fixes(
        t,
        np.maximum.accumulate(t + late),
        place[0] + place_error[0],
        place[1] + place_error[1],
        velocity[0] + velocity_error[0],
        velocity[1] + velocity_error[1],
        code,
        said * (1.0 + 0.1 * wander(rng, len(t), step_s=step, time_scale_s=30.0, sd=1.0)).clip(0.5, 2.0),
    )


def _draw_errors(grade: Grade, count: int, step_s: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Place and velocity errors, arrays [2, count] each."""

    def series(time_scale_s: float, sd: float) -> Floats:
        return wander(rng, count, step_s=step_s, time_scale_s=time_scale_s, sd=sd)

    place = [
        series(grade.long_s, grade.long_sd_m)
        + series(grade.short_s, grade.short_sd_m)
        + grade.white_sd_m * rng.standard_normal(count)
        for _ in range(2)
    ]
    speed = [series(150.0, grade.bias_sd_mps) + series(grade.doppler_s, grade.doppler_sd_mps) for _ in range(2)]
    return np.array(place), np.array(speed)


def _draw_multipath(
    grade: Grade, t: Floats, place: tuple[Floats, Floats], velocity: tuple[Floats, Floats], rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Errors that belong to places, jump, walk between walls and sway, of the class's sizes; arrays [2, n] each."""
    step = float(t[1] - t[0])
    swayed, swaying = sway(rng, t, velocity)
    part = grade.short_sd_m / math.sqrt(2.0)
    found = [
        make_echoes(rng, part).error_at(t, *place)
        + draw_jumps(rng, t, part)
        + walk_between(rng, t, math.sqrt(3.0) * grade.long_sd_m)
        + grade.white_sd_m * rng.standard_normal(len(t))
        for _ in range(2)
    ]
    _, speed = _draw_errors(grade, len(t), step, rng)
    return np.array(found) + swayed, speed + swaying


def write_fixes(receiver: Receiver, fixes: Fixes, plane: LocalPlane, utc_start: float) -> list[bytes]:
    """Write every epoch's sentences."""
    lat, lon = plane.degrees(fixes.east_m, fixes.north_m)
    speed = np.hypot(fixes.velocity_east_mps, fixes.velocity_north_mps)
    course = np.degrees(np.arctan2(fixes.velocity_east_mps, fixes.velocity_north_mps)) % 360.0
    grade = CLASSES[receiver.klass]
    columns = (fixes.t, fixes.code, lat, lon, speed, course, fixes.said_sd_m)
    return [
        write_burst(
            utc_start + t,
            code,
            (y, x),
            (v, c),
            (sd, sd),
            places=grade.places,
            kinds=receiver.kinds,
            sats=grade.sats,
            hdop=grade.hdop,
        )
        for t, code, y, x, v, c, sd in zip(*(column.tolist() for column in columns), strict=True)
    ]


def regrade(receiver: Receiver, *, klass: str | None = None, rate_hz: float | None = None) -> Receiver:
    """The same receiver in another class or at another rate; raises ValueError for an unknown class."""
    if klass is not None and klass not in CLASSES:
        raise ValueError(f"receiver class {klass!r} is none of {', '.join(CLASSES)}")
    return replace(receiver, klass=klass or receiver.klass, rate_hz=rate_hz or receiver.rate_hz)
