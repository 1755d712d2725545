"""A small walk with a sprayer, independent of the program's simulator: truth, and what sensors would say."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from server.core.log import (
    Boot,
    ClimateSamples,
    Counts,
    Fixes,
    Floats,
    Happening,
    JobLog,
    Receipt,
    WindSamples,
)
from server.core.setup import Receiver
from server.core.timebase import Timebase

LAT0, LON0 = 45.0, -30.0
NORTH_M_PER_DEG, EAST_M_PER_DEG = 111131.777, 78846.835
"""Metres per degree at 45 N as published (physics.md G26, after WGS 84)."""


def make_log(
    *,
    fixes: Fixes | None = None,
    flow: Counts | None = None,
    boots: int = 1,
    happenings: tuple[Happening, ...] = (),
    arrival_offsets_s: tuple[float, ...] | None = None,
) -> JobLog:
    """A job's log with what is given and nothing else."""
    none, numbers = np.zeros(0), np.zeros(0, dtype=np.int64)
    offsets = arrival_offsets_s or (0.0,) * boots
    return JobLog(
        rig="test",
        boots=tuple(Boot(f"{k:08x}", offsets[k], offsets[k]) for k in range(boots)),
        fixes=fixes or Fixes(numbers, numbers, none, numbers, *[none] * 10),
        flow=flow or Counts(numbers, numbers, none, numbers, none, numbers),
        wind=WindSamples(numbers, numbers, *[none] * 6),
        climate=ClimateSamples(numbers, numbers, *[none] * 3),
        happenings=happenings,
        receipt=Receipt(0, 0, 0),
        digest="",
    )


def make_fixes(
    t: Floats,
    east_m: Floats,
    north_m: Floats,
    velocity: tuple[Floats, Floats] | None,
    *,
    quality: int | np.ndarray = 4,
    utc_offset_s: float = 1e9,
) -> Fixes:
    """Position messages of a receiver with no delay; no velocity given means a receiver that tells none."""
    n = len(t)
    none = np.full(n, np.nan)
    speed, course = none, none
    if velocity is not None:
        speed = np.hypot(*velocity)
        course = np.degrees(np.arctan2(*velocity)) % 360.0
    codes = np.broadcast_to(np.asarray(quality, dtype=np.int64), (n,)).copy()
    known = np.where(codes > 0, 1.0, np.nan)
    return Fixes(
        boot=np.zeros(n, dtype=np.int64),
        seq=np.arange(n),
        mono=t,
        quality=codes,
        utc=t + utc_offset_s,
        lat_deg=(LAT0 + north_m / NORTH_M_PER_DEG) * known,
        lon_deg=(LON0 + east_m / EAST_M_PER_DEG) * known,
        alt_m=none,
        speed_mps=speed,
        course_deg=course,
        sats=none,
        hdop=none,
        sd_east_m=none,
        sd_north_m=none,
    )


def make_counts(edges: Floats, *, until: float, step_s: float = 0.2, start: float = 0.0) -> Counts:
    """Flow messages of a meter whose edges come at given times."""
    mono = np.arange(start, until + 1e-9, step_s)
    pulses = np.searchsorted(edges, mono, "right")
    edge = np.where(pulses > 0, edges[np.maximum(pulses, 1) - 1] if len(edges) else np.nan, np.nan)
    n = len(mono)
    return Counts(np.zeros(n, dtype=np.int64), np.arange(n), mono, pulses, edge, np.zeros(n, dtype=np.int64))


def ramp_edges(spans: list[tuple[float, float, float]], *, phase: float = 0.5) -> Floats:
    """Times of pulses of a meter at constant rates, spans of (start, end, pulses a second); the phase carries over."""
    edges: list[Floats] = []
    for start, end, hertz in spans:
        turned = phase + (end - start) * hertz
        edges.append(start + (np.arange(1, int(turned) + 1) - phase) / hertz)
        phase = turned % 1.0
    return np.concatenate(edges) if edges else np.zeros(0)


@dataclass(frozen=True)
class Walk:
    """Back and forth over a lawn at 1.2 m/s: truth at `t`, spraying spans and the passes' sides."""

    t: Floats
    east_m: Floats
    north_m: Floats
    velocity: tuple[Floats, Floats]
    spraying: list[tuple[float, float]] = field(default_factory=list)
    lines_m: list[float] = field(default_factory=list)


def walk_lawn(
    sides_m: list[float], *, length_m: float = 25.0, speed_mps: float = 1.2, rate_hz: float = 5.0, stand_s: float = 10.0
) -> Walk:
    """Walk lines at given sides, turning in half circles, spray on along the lines only."""
    corners: list[tuple[float, float]] = []
    passes: list[tuple[float, float]] = []
    gone = 0.0

    def go(points: np.ndarray) -> None:
        nonlocal gone
        for x, y in points:
            if corners:
                gone += float(np.hypot(x - corners[-1][0], y - corners[-1][1]))
            corners.append((float(x), float(y)))

    for k, side in enumerate(sides_m):
        ends = (0.0, length_m) if k % 2 == 0 else (length_m, 0.0)
        go(np.array([[side, ends[0]]]))
        begin = gone
        go(np.array([[side, y] for y in np.linspace(*ends, 200)[1:]]))
        passes.append((begin, gone))
        if k + 1 < len(sides_m):
            middle, radius = (side + sides_m[k + 1]) / 2, abs(sides_m[k + 1] - side) / 2
            angle = np.linspace(0.0, np.pi, 40)[1:-1]
            outward = 1.0 if k % 2 == 0 else -1.0
            sign = np.sign(side - middle) or 1.0
            reach = max(radius, 0.5)
            go(np.stack([middle + sign * radius * np.cos(angle), ends[1] + outward * reach * np.sin(angle)], axis=1))
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(np.array(corners), axis=0).T))])
    t = np.arange(0.0, stand_s + gone / speed_mps + stand_s, 1.0 / rate_hz)
    place = [np.interp((t - stand_s) * speed_mps, way, np.array(corners)[:, axis]) for axis in (0, 1)]
    fine = np.clip((np.stack([t - 0.01, t + 0.01]) - stand_s) * speed_mps, 0.0, way[-1])
    velocity = tuple(np.diff(np.interp(fine, way, np.array(corners)[:, axis]), axis=0)[0] / 0.02 for axis in (0, 1))
    spraying = [(stand_s + a / speed_mps, stand_s + b / speed_mps) for a, b in passes]
    return Walk(t, place[0], place[1], (velocity[0], velocity[1]), spraying, list(sides_m))


def first_order(rng: np.random.Generator, t: Floats, *, sd: float, time_s: float) -> Floats:
    """A first-order process of two axes at given times [2, n]."""
    keep = np.exp(-np.diff(t, prepend=t[0]) / time_s)
    noise = rng.standard_normal((2, len(t)))
    out = np.empty((2, len(t)))
    state = sd * noise[:, 0]
    for i in range(len(t)):
        state = keep[i] * state + sd * np.sqrt(1 - keep[i] ** 2) * noise[:, i] if i else state
        out[:, i] = state
    return out


def observe_walk(
    walk: Walk,
    rng: np.random.Generator,
    *,
    quality: int,
    wander_m: float,
    white_m: float,
    doppler_mps: float,
    wander_s: float = 300.0,
    **kwargs: float,
) -> Fixes:
    """What a receiver with these errors says on a walk."""
    n = len(walk.t)
    place = first_order(rng, walk.t, sd=wander_m, time_s=wander_s) + white_m * rng.standard_normal((2, n))
    speed = first_order(rng, walk.t, sd=doppler_mps, time_s=0.6)
    velocity = (walk.velocity[0] + speed[0], walk.velocity[1] + speed[1])
    return make_fixes(walk.t, walk.east_m + place[0], walk.north_m + place[1], velocity, quality=quality, **kwargs)


class Bench:
    """The makers of this module, for tests."""

    Walk = Walk
    make_log = staticmethod(make_log)
    make_fixes = staticmethod(make_fixes)
    make_counts = staticmethod(make_counts)
    ramp_edges = staticmethod(ramp_edges)
    walk_lawn = staticmethod(walk_lawn)
    observe_walk = staticmethod(observe_walk)
    first_order = staticmethod(first_order)
    timebase = Timebase(np.zeros(1), 1e9)
    receiver = Receiver()


@pytest.fixture(scope="session")
def bench() -> type[Bench]:
    """Makers of walks and of what sensors say."""
    return Bench
