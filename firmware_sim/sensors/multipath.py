"""Receiver errors of another kind than wander: echoes that belong to a place, jumps, a walk between walls, and a gait.

Echoes from house and trees make a field over the ground that turns slowly as satellites move; when one of them drops
out the position jumps and stays; the ionosphere's share walks at random between two walls. A walker's antenna sways
from foot to foot: that is true motion, felt in place and velocity, of which the nozzle knows nothing. Sizes are ours;
that such errors exist is common practice, no source.
"""

import math
from dataclasses import dataclass

import numpy as np

from firmware_sim.curve import Floats
from firmware_sim.noise import wander

WAVES = 6
WAVELENGTHS_M = (3.0, 20.0)
TURN_S = (1200.0, 3600.0)
"""In so long the echoes' pattern has turned once."""
JUMP_EVERY_S = 150.0
CROSSING_S = 1200.0
"""So long the walk takes from wall to wall, roughly."""
STEP_HZ = 1.8
SWAY_M, PUSH_M = 0.03, 0.012
"""How far an antenna sways to the side, once for two steps, and nods ahead, once a step."""
WALKING_MPS = 0.3


@dataclass(frozen=True, slots=True)
class Echoes:
    """A field of errors over the ground: each wave's direction and length [rad/m], phase, turning [rad/s], size [m]."""

    east: Floats
    north: Floats
    phase: Floats
    turning: Floats
    size_m: float

    def error_at(self, t: Floats, east_m: Floats, north_m: Floats) -> Floats:
        """The error at places and times, metres."""
        angle = (
            np.outer(east_m, self.east)
            + np.outer(north_m, self.north)
            + np.outer(t, self.turning)
            + self.phase[None, :]
        )
        return np.asarray(self.size_m * math.sqrt(2.0 / WAVES) * np.sin(angle).sum(axis=1))


def make_echoes(rng: np.random.Generator, sd_m: float) -> Echoes:
    """Draw a field with the given standard deviation over the ground."""
    number = 2.0 * math.pi / np.exp(rng.uniform(math.log(WAVELENGTHS_M[0]), math.log(WAVELENGTHS_M[1]), WAVES))
    way = rng.uniform(0.0, 2.0 * math.pi, WAVES)
    turning = 2.0 * math.pi / rng.uniform(*TURN_S, WAVES) * rng.choice((-1.0, 1.0), WAVES)
    return Echoes(number * np.sin(way), number * np.cos(way), rng.uniform(0.0, 2.0 * math.pi, WAVES), turning, sd_m)


def draw_jumps(rng: np.random.Generator, t: Floats, sd_m: float) -> Floats:
    """An offset that stays until the next satellite drops out, metres."""
    step = float(t[1] - t[0])
    jumps = rng.random(len(t)) < step / JUMP_EVERY_S
    levels = sd_m * rng.standard_normal(int(jumps.sum()) + 1)
    return np.asarray(levels[np.cumsum(jumps)])


def walk_between(rng: np.random.Generator, t: Floats, wall_m: float) -> Floats:
    """A random walk that is thrown back at plus and minus the wall, metres."""
    step = float(t[1] - t[0])
    free = rng.uniform(-wall_m, wall_m) + np.cumsum(wall_m * math.sqrt(step / CROSSING_S) * rng.standard_normal(len(t)))
    folded = np.mod(free + wall_m, 4.0 * wall_m)
    return np.asarray(np.where(folded > 2.0 * wall_m, 4.0 * wall_m - folded, folded) - wall_m)


def sway(rng: np.random.Generator, t: Floats, velocity: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """The antenna's own motion about the walker: place [2, n] in metres and its velocity [2, n]."""
    step = float(t[1] - t[0])
    hertz = STEP_HZ * (1.0 + wander(rng, len(t), step_s=step, time_scale_s=5.0, sd=0.04))
    phase = 2.0 * math.pi * np.cumsum(hertz) * step
    speed = np.hypot(*velocity)
    walks = np.clip(speed / WALKING_MPS - 1.0, 0.0, 1.0)
    ahead = np.stack([velocity[0], velocity[1]]) / np.maximum(speed, 1e-6)
    aside = np.stack([ahead[1], -ahead[0]])
    turning = 2.0 * math.pi * hertz
    place = walks * (aside * SWAY_M * np.sin(phase / 2.0) + ahead * PUSH_M * np.sin(phase))
    moving = aside * SWAY_M * turning / 2.0 * np.cos(phase / 2.0) + ahead * PUSH_M * turning * np.cos(phase)
    return place, walks * moving
