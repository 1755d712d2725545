"""Somebody who practises: what is squeezed over the bucket, and strips that keep their places."""

from itertools import pairwise

import numpy as np
import pytest

from firmware_sim.build import build_world
from firmware_sim.noise import make_generator
from firmware_sim.scenarios import PRACTICE
from firmware_sim.world.practice import PracticePlan, walk_practice

PLAN = PracticePlan(minutes=20.0)


def test_a_squeeze_and_a_strip_come_again_within_a_minute() -> None:
    walk = walk_practice(PLAN, make_generator(1, "walk"))
    way = [float(np.diff(walk.distance.total_at(np.array(span)))[0]) for span in walk.triggers]
    squeezes = [span for span, metres in zip(walk.triggers, way, strict=True) if metres < 0.01]
    strips = [span for span, metres in zip(walk.triggers, way, strict=True) if metres > 1.0]
    assert len(squeezes) + len(strips) == len(walk.triggers)
    for spans in (squeezes, strips):
        assert max(later[0] - earlier[0] for earlier, later in pairwise(spans)) < 60.0
    assert {round(end - start, 6) for start, end in squeezes} == {PLAN.squeeze_s}
    # The trigger is pressed 0.3 m late and let go 0.1 m early, to a step of the clock.
    assert min(metres for metres in way if metres > 1.0) == pytest.approx(PLAN.strip_m - 0.4, abs=0.06)


def test_strips_keep_their_places_to_the_end() -> None:
    walk = walk_practice(PLAN, make_generator(2, "walk"))
    t = np.array([0.5 * (start + end) for start, end in walk.triggers])
    east, north, heading = walk.poses_at(t)
    moved = walk.distance.rate_at(t) > 0.5
    h = np.radians(PLAN.heading_deg)
    across = (east - PLAN.start[0]) * np.cos(h) - (north - PLAN.start[1]) * np.sin(h)
    assert across[moved] == pytest.approx(PLAN.spacing_m * np.arange(moved.sum()), abs=1e-6)
    assert np.cos(heading[moved] - h) == pytest.approx(np.where(np.arange(moved.sum()) % 2, -1.0, 1.0))


def test_the_tank_lasts_as_long_as_the_practice() -> None:
    world = build_world(PRACTICE, 1, practice=PLAN)
    assert world.volume.total[-1] < PRACTICE.sprayer.tank_l
    assert world.volume.rate_at(np.array([world.walk.triggers[-1][0] + 1.0]))[0] > 0.0
    assert world.feed.presses == (), "the buttons are the person's own"
