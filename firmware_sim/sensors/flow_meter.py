"""A turbine flow meter: the times of its pulse edges from the exact metered volume.

Below `linear_from_l_per_min` the rotor lags (bearing friction), K falls: K(Q) = K (1 − drop (1 − Q/Q_lin)²); the loss
at low Reynolds numbers is described by Pope, Wright et al., Flow Measurement and Instrumentation (2012); the form is
our own.
"""

from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats, RateCurve, integrate_rate


@dataclass(frozen=True, slots=True)
class FlowMeter:
    """Pulses per litre, its loss at low flow, and how its contact bounces."""

    pulses_per_l: float = 450.0
    linear_from_l_per_min: float = 0.3
    drop: float = 0.3
    bounce_share: float = 0.02


def pulse_curve(meter: FlowMeter, volume: RateCurve) -> RateCurve:
    """The pulse count as a curve of time, before rounding to whole edges."""
    knee = meter.linear_from_l_per_min / 60.0
    short = np.clip(1.0 - volume.rate / knee, 0.0, 1.0) if knee > 0.0 else np.zeros(len(volume.rate))
    return integrate_rate(volume.t, volume.rate * meter.pulses_per_l * (1.0 - meter.drop * short**2))


def pulse_edges(pulses: RateCurve) -> Floats:
    """The times of the true edges: whenever another whole pulse has passed."""
    return pulses.time_of(np.arange(1.0, np.floor(pulses.total[-1] + 1e-9) + 1.0))


def add_bounce(edges: Floats, share: float, rng: np.random.Generator) -> Floats:
    """Put one to three false edges within 2 ms behind a share of the edges, as a bouncing contact does."""
    bouncing = edges[rng.random(len(edges)) < share]
    extra = [bouncing]
    extra = [bouncing + rng.uniform(2e-4, 2e-3, len(bouncing)) for _ in range(3)]
    kept = [e[rng.random(len(e)) < p] for e, p in zip(extra, (1.0, 0.5, 0.25), strict=True)]
    return np.sort(np.concatenate((edges, *kept)))
