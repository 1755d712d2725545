"""The sprayer: pressure, flow and tank. Flow goes with the square root of pressure (orifice law).

Derivation: Q = Q_ref √(p / p_ref). A hand-pumped vessel loses pressure with the volume it pushes out, dp/dt = −c Q;
with Q = k √p that makes √p, and so the flow, fall linearly in spraying time: from `top_bar` to `low_bar` it falls by
√(low / top), after which the operator pumps it up again. A battery pump holds the pressure, sagging as the battery
does.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firmware_sim.curve import Floats, RateCurve, integrate_rate
from firmware_sim.noise import wander

_RAMP_S = 0.04
_STEP_S = 0.05


@dataclass(frozen=True, slots=True)
class Sprayer:
    """Pump, nozzle and tank; `nozzle_*` from the antenna, `delay_s` from flow meter to ground."""

    swath_m: float = 1.0
    flow_l_per_min: float = 1.2
    pressure_bar: float = 2.8
    pump: str = "battery"
    sag: float = 0.04
    ripple: float = 0.01
    top_bar: float = 3.79
    low_bar: float = 1.72
    stroke_s: float = 40.0
    tank_l: float = 15.0
    pattern: str = "flat"
    pattern_top_m: float | None = None
    nozzle_forward_m: float = 0.0
    nozzle_right_m: float = 0.0
    delay_s: float = 0.0


def orifice_flow(pressure: Floats, *, flow_ref: float, pressure_ref: float) -> Floats:
    """Flow through a nozzle at pressures, from one known pair (orifice law; units of the pair)."""
    return np.asarray(flow_ref * np.sqrt(pressure / pressure_ref))


def pump_volume(
    sprayer: Sprayer,
    triggers: tuple[tuple[float, float], ...],
    refills: tuple[float, ...],
    duration_s: float,
    rng: np.random.Generator,
) -> RateCurve:
    """The exact metered volume in litres over the scenario, from trigger spans and refill times."""
    knots = _knots(triggers, duration_s)
    openness = np.zeros(len(knots))
    on_time = np.zeros(len(knots))
    for a, b in triggers:
        openness += np.clip((knots - a) / _RAMP_S, 0.0, 1.0) - np.clip((knots - b) / _RAMP_S, 0.0, 1.0)
        on_time += np.clip(knots - a, 0.0, b - a)
    openness[openness < 1e-9] = 0.0  # rounding must not leave a closed valve open until the next knot
    full = _pressures(sprayer, on_time, rng)
    flow = orifice_flow(full, flow_ref=sprayer.flow_l_per_min / 60.0, pressure_ref=sprayer.pressure_bar)
    return _empty_tank(sprayer, integrate_rate(knots, flow * openness), refills)


def _knots(triggers: tuple[tuple[float, float], ...], duration_s: float) -> Floats:
    """A regular grid and, exactly, the instants at which the valve starts and stops moving."""
    edges = np.array([t for a, b in triggers for t in (a, a + _RAMP_S, b, b + _RAMP_S)])
    if np.any(np.diff(edges) < 0.0):
        raise ValueError("trigger spans must be apart and in order")
    grid = np.arange(0.0, duration_s + _STEP_S, _STEP_S)
    return np.unique(np.concatenate((grid, edges)))


def _pressures(sprayer: Sprayer, on_time: Floats, rng: np.random.Generator) -> Floats:
    """Pressure by spraying time."""
    if sprayer.pump == "hand":
        phase = (on_time / sprayer.stroke_s) % 1.0
        root = math.sqrt(sprayer.top_bar) + phase * (math.sqrt(sprayer.low_bar) - math.sqrt(sprayer.top_bar))
        return np.asarray(root**2)
    count = int(on_time[-1] / 0.5) + 2
    ripple = wander(rng, count, step_s=0.5, time_scale_s=3.0, sd=sprayer.ripple)
    slow = 1.0 - sprayer.sag * on_time / 600.0
    return np.asarray(sprayer.pressure_bar * slow * (1.0 + np.interp(on_time, 0.5 * np.arange(count), ripple)))


def _empty_tank(sprayer: Sprayer, volume: RateCurve, refills: tuple[float, ...]) -> RateCurve:
    """Stop the flow where a tank runs dry before the next refill."""
    rate = volume.rate.copy()
    bounds = [0.0, *refills, float(volume.t[-1]) + 1.0]
    for start, end in pairwise(bounds):
        since = volume.total - float(volume.total_at(np.array([start]))[0])
        dry = (volume.t >= start) & (volume.t < end) & (since > sprayer.tank_l)
        rate[dry] = 0.0
    return volume if np.array_equal(rate, volume.rate) else integrate_rate(volume.t, rate)
