"""Recordings as feeds: a receiver's own log, or a recorded way and a recorded wind in a synthetic encoding."""

import csv
import gzip
import io
import re
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from firmware_sim.curve import Floats, integrate_rate
from firmware_sim.feed import Feed
from firmware_sim.noise import make_generator
from firmware_sim.scenarios import UTC_START
from firmware_sim.sensors.anemometer import STEP_S, Cup, cup_pulses, relative_speed, spin_cup
from firmware_sim.sensors.flow_meter import FlowMeter, pulse_curve, pulse_edges
from firmware_sim.sensors.gnss import Receiver, take_fixes, write_fixes
from firmware_sim.world.geodesy import LocalPlane

ORIGIN = LocalPlane(45.0, -30.0)
"""Open ocean: the recorded way is in local metres of no stated place."""
VELOCITY_WINDOW_S = 1.0
SPRAY_MARGIN_S = 5.0
_TIMED = re.compile(rb"^\$..(?:GGA|RMC|GNS|ZDA|GLL),(?:[^,]*,){0}(\d{6}(?:\.\d+)?)")
DAY_S = 86400.0


class RecordingError(ValueError):
    """A recording that cannot be read; the message says what is wrong with it."""


def read_bytes(file: Path) -> bytes:
    """Read a plain or gzip file whole."""
    data = file.read_bytes()
    if file.suffix != ".gz":
        return data
    try:
        return gzip.decompress(data)
    except (OSError, EOFError, zlib.error) as error:
        raise RecordingError(f"{file}: not a whole gzip file") from error


def read_nmea(file: Path) -> Feed:
    """A receiver's log as a feed at its own pace, by the times of day in its sentences."""
    bursts: list[tuple[float, bytes]] = []
    for at_s, line in _time_lines(read_bytes(file)):
        if bursts and bursts[-1][0] == at_s:
            bursts[-1] = (at_s, bursts[-1][1] + line)
        else:
            bursts.append((at_s, line))
    none = np.array([])
    return Feed(bursts[-1][0] + 1.0 if bursts else 0.0, UTC_START, bursts, none, none, (), None)


def _time_lines(data: bytes) -> Iterator[tuple[float, bytes]]:
    """Every line with seconds since the first timed one; time never goes back, gaps over an hour are cut out."""
    start: float | None = None
    at_s = 0.0
    for line in data.splitlines(keepends=True):
        if line.startswith(b"#"):
            continue  # a remark of whoever kept the log, not a word of the receiver
        found = _TIMED.match(line)
        if found is not None:
            clock = found.group(1).decode()
            seconds = int(clock[:2]) * 3600 + int(clock[2:4]) * 60 + float(clock[4:])
            start = seconds if start is None else start
            ahead = (seconds - start) % DAY_S
            if ahead < at_s or ahead - at_s > 3600.0:
                start = (seconds - at_s) % DAY_S
                ahead = at_s
            at_s = ahead
        yield at_s, line


def read_way(file: Path, until_s: float) -> tuple[Floats, Floats, Floats]:
    """Times and local metres of a recorded way, columns t_s, x_m, y_m."""
    try:
        lines = io.StringIO(read_bytes(file).decode("utf-8"), newline="")
        rows = [(float(row["t_s"]), float(row["x_m"]), float(row["y_m"])) for row in csv.DictReader(lines)]
    except (KeyError, TypeError, ValueError, csv.Error) as error:
        raise RecordingError(f"{file}: columns t_s, x_m and y_m with numbers in every row are wanted") from error
    if len(rows) < 2:
        raise RecordingError(f"{file}: a way of at least two rows is wanted")
    t, east, north = np.array(rows).T
    keep = np.concatenate(([True], np.diff(t) > 0.0)) & (t <= until_s)
    return t[keep], east[keep], north[keep]


def read_wind(file: Path, rate_hz: float = 20.0) -> tuple[Floats, Floats, Floats]:
    """Times and horizontal components of a sonic record (TOA5: four head lines; columns 3 and 4 are the components)."""
    try:
        lines = io.StringIO(read_bytes(file).decode("utf-8"), newline="")
        rows = [row for number, row in enumerate(csv.reader(lines)) if number >= 4]
        values = np.array([[_number(row[2]), _number(row[3])] for row in rows]).reshape(-1, 2)
    except (IndexError, UnicodeDecodeError, csv.Error) as error:
        raise RecordingError(
            f"{file}: four head lines, then rows with the wind in columns 3 and 4 are wanted"
        ) from error
    t = np.arange(len(values)) / rate_hz
    good = np.isfinite(values).all(axis=1)
    if np.sum(good) < 2:
        raise RecordingError(f"{file}: no wind in columns 3 and 4")
    return t, np.interp(t, t[good], values[good, 0]), np.interp(t, t[good], values[good, 1])


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


def carry_along(
    way: tuple[Floats, Floats, Floats],
    wind: tuple[Floats, Floats, Floats],
    *,
    receiver: Receiver,
    seed: int,
    flow_l_per_min: float = 1.2,
    meter: FlowMeter | None = None,
    cup: Cup | None = None,
) -> Feed:
    """A recorded way as a receiver's sentences, a recorded wind felt by a cup carried along it, a steady flow."""
    cup, meter = cup or Cup(), meter or FlowMeter()
    duration = float(min(way[0][-1], wind[0][-1]))
    air_t = STEP_S * np.arange(int(duration / STEP_S) + 1)
    velocity = velocity_along(way, air_t)
    felt = relative_speed((np.interp(air_t, wind[0], wind[1]), np.interp(air_t, wind[0], wind[2])), velocity)
    cup_edges = pulse_edges(cup_pulses(cup, air_t, spin_cup(cup, air_t, felt)))
    step = 1.0 / receiver.rate_hz
    t = step * np.arange(1, int(duration / step) + 1)
    place = (np.interp(t, way[0], way[1]), np.interp(t, way[0], way[2]))
    fixes = take_fixes(receiver, t, place, velocity_along(way, t), make_generator(seed, "receiver"))
    bursts = write_fixes(receiver, fixes, ORIGIN, UTC_START)
    return Feed(
        duration,
        UTC_START,
        list(zip(fixes.emit_s.tolist(), bursts, strict=True)),
        steady_edges(meter, flow_l_per_min / 60.0, duration),
        cup_edges,
        (),
        None,
    )


def velocity_along(way: tuple[Floats, Floats, Floats], t: Floats) -> tuple[Floats, Floats]:
    """Ground velocity of a recorded way: central differences over one second."""
    half = 0.5 * VELOCITY_WINDOW_S
    ahead, behind = np.clip(t + half, way[0][0], way[0][-1]), np.clip(t - half, way[0][0], way[0][-1])
    span = np.maximum(ahead - behind, 1e-6)
    return (
        (np.interp(ahead, way[0], way[1]) - np.interp(behind, way[0], way[1])) / span,
        (np.interp(ahead, way[0], way[2]) - np.interp(behind, way[0], way[2])) / span,
    )


def steady_edges(meter: FlowMeter, flow_l_per_s: float, duration_s: float) -> Floats:
    """Pulse edges of a steady flow, on from shortly after the start to shortly before the end."""
    on, off = SPRAY_MARGIN_S, duration_s - SPRAY_MARGIN_S
    knots = np.array([0.0, on, on + 0.05, off, off + 0.05, duration_s])
    rate = np.array([0.0, 0.0, flow_l_per_s, flow_l_per_s, 0.0, 0.0])
    return pulse_edges(pulse_curve(meter, integrate_rate(knots, rate)))
