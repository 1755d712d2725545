"""A scenario with a seed made into a whole world: where everything is, and what every sensor puts out, at any time."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats, RateCurve
from firmware_sim.feed import Feed
from firmware_sim.noise import make_generator
from firmware_sim.scenarios import UTC_START, Scenario
from firmware_sim.sensors.anemometer import (
    STEP_S,
    cup_pulses,
    feel_air,
    feel_bearing,
    spin_cup,
    tell_bearing,
    tell_speed,
)
from firmware_sim.sensors.flow_meter import add_bounce, pulse_curve, pulse_edges
from firmware_sim.sensors.gnss import Fixes, Receiver, regrade, take_fixes, write_fixes
from firmware_sim.world.operator import Walk, lay_route, walk_route
from firmware_sim.world.practice import PracticePlan, walk_practice
from firmware_sim.world.sprayer import pump_volume
from firmware_sim.world.square import SquarePlan, walk_square
from firmware_sim.world.wind import Wind, blow_wind


@dataclass(frozen=True, slots=True)
class World:
    """One scenario played out: truth curves and sensor outputs over scenario time."""

    scenario: Scenario
    seed: int
    receiver: Receiver
    walk: Walk
    volume: RateCurve
    pulses: RateCurve
    wind: Wind
    air_t: Floats
    air_mps: Floats
    fixes: Fixes
    true_flow_edges: Floats
    true_cup_edges: Floats
    feed: Feed


def build_world(
    scenario: Scenario,
    seed: int = 1,
    *,
    receiver_class: str | None = None,
    rate_hz: float | None = None,
    utc_start: float = UTC_START,
    wind: Wind | None = None,
    square: SquarePlan | None = None,
    practice: PracticePlan | None = None,
) -> World:
    """Play a scenario out, in a wind of its own or a given one; raises ValueError for an unknown receiver class.

    With a `square` nothing is sprayed: the operator walks it to calibrate the cup. With a `practice` the operator
    squeezes the trigger over a bucket and walks short strips, over and over.
    """
    receiver = regrade(scenario.receiver, klass=receiver_class, rate_hz=rate_hz)
    rng = make_generator(seed, "walk")
    if practice is not None:
        walk = walk_practice(practice, rng)
    elif square is None:
        walk = walk_route(lay_route(scenario.plan, scenario.lawn, rng), scenario.plan.pace_mps, rng)
    else:
        walk = walk_square(square, rng)
    duration = walk.duration_s
    refills = tuple(press.at_s for press in walk.presses if press.name == "refill")
    volume = pump_volume(scenario.sprayer, walk.triggers, refills, duration, make_generator(seed, "pump"))
    pulses = pulse_curve(scenario.meter, volume)
    flow_edges = pulse_edges(pulses)
    wind = wind or blow_wind(scenario.wind, duration, make_generator(seed, "wind"))
    air_t = STEP_S * np.arange(int(duration / STEP_S) + 1)
    heading_deg = np.degrees(walk.poses_at(air_t)[2])
    air = feel_air(scenario.cup, wind.vector_at(air_t), walk.velocity_at(air_t), heading_deg)
    cup_edges = pulse_edges(cup_pulses(scenario.cup, air_t, spin_cup(scenario.cup, air_t, air)))
    fixes = _fix(scenario, receiver, walk, seed)
    told = _tell_air(scenario, walk, wind, (air_t, air), seed)
    bursts = write_fixes(receiver, fixes, scenario.lawn.plane, utc_start)
    feed = Feed(
        duration,
        utc_start,
        list(zip(fixes.emit_s.tolist(), bursts, strict=True)),
        add_bounce(flow_edges, scenario.meter.bounce_share, make_generator(seed, "flow bounce")),
        add_bounce(cup_edges, scenario.cup.bounce_share, make_generator(seed, "cup bounce")),
        walk.presses,
        lambda t: air_at(scenario, t),
        told,
    )
    return World(scenario, seed, receiver, walk, volume, pulses, wind, air_t, air, fixes, flow_edges, cup_edges, feed)


def _fix(scenario: Scenario, receiver: Receiver, walk: Walk, seed: int) -> Fixes:
    """Let the receiver see the antenna's way; epochs on whole fractions of a second."""
    step = 1.0 / receiver.rate_hz
    t = step * np.arange(1, int(walk.duration_s / step) + 1)
    east, north, _ = walk.poses_at(t)
    return take_fixes(receiver, t, (east, north), walk.velocity_at(t), make_generator(seed, "receiver"))


def _tell_air(
    scenario: Scenario, walk: Walk, wind: Wind, air: tuple[Floats, Floats], seed: int
) -> Callable[[float], tuple[float | None, float | None]] | None:
    """What an instrument and a vane say of the air at a time, the latest of their readings; None where neither is."""
    t, mps = air
    speeds = bearings = None
    if scenario.speed_meter is not None:
        speeds = tell_speed(scenario.speed_meter, t, mps, make_generator(seed, "speed meter"))
    if scenario.vane is not None:
        from_bow = feel_bearing(wind.vector_at(t), walk.velocity_at(t), np.degrees(walk.poses_at(t)[2]))
        bearings = tell_bearing(scenario.vane, t, from_bow, make_generator(seed, "vane"))
    if speeds is None and bearings is None:
        return None

    def tell(at_s: float) -> tuple[float | None, float | None]:
        row = min(max(int(at_s / STEP_S + 1e-6), 0), len(t) - 1)
        return (
            None if speeds is None else float(speeds[row]),
            None if bearings is None else float(bearings[row]),
        )

    return tell


def air_at(scenario: Scenario, t: float) -> tuple[float, float]:
    """Temperature and humidity at a scenario time: a slow rise of a morning."""
    warmer = 1.5 * (1.0 - math.cos(min(t, 7200.0) / 7200.0 * math.pi / 2.0))
    return round(scenario.temperature_c + warmer, 2), round(scenario.humidity_percent - 4.0 * warmer, 1)
