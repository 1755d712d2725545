"""The second kind of receiver error is what it says: of a place, between walls, true motion of the antenna."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_sim.noise import make_generator
from firmware_sim.sensors.gnss import CLASSES, Receiver, take_fixes
from firmware_sim.sensors.multipath import STEP_HZ, SWAY_M, draw_jumps, make_echoes, sway, walk_between

T = np.arange(0.2, 1200.2, 0.2)


def test_echoes_belong_to_place_and_time():
    echoes = make_echoes(np.random.default_rng(1), 0.5)
    east, north = np.array([3.0, 3.0, 8.0]), np.array([4.0, 4.0, -2.0])
    now, later = echoes.error_at(np.full(3, 10.0), east, north), echoes.error_at(np.full(3, 900.0), east, north)
    assert now[0] == now[1] != now[2]
    assert np.abs(now - later).max() > 0.05
    # Within half a minute hardly anything turns.
    np.testing.assert_allclose(echoes.error_at(np.full(3, 11.0), east, north), now, atol=0.02)


def test_echoes_have_the_stated_size_over_the_ground():
    rng = np.random.default_rng(2)
    places = rng.uniform(0.0, 200.0, (2, 4000))
    sizes = [make_echoes(rng, 0.5).error_at(np.zeros(4000), *places).std() for _ in range(30)]
    assert np.sqrt(np.mean(np.square(sizes))) == pytest.approx(0.5, rel=0.05)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.01, 5.0))
def test_the_walk_never_leaves_its_walls(seed, wall):
    walked = walk_between(np.random.default_rng(seed), T, wall)
    assert np.abs(walked).max() <= wall * (1 + 1e-12)
    assert np.abs(np.diff(walked)).max() < 0.12 * wall


def test_the_walk_is_spread_evenly_between_its_walls():
    ends = np.concatenate([walk_between(np.random.default_rng(seed), T, 1.0)[::500] for seed in range(200)])
    # A uniform variable between -1 and 1 has the sd 1 / sqrt 3.
    assert ends.std() == pytest.approx(1.0 / np.sqrt(3.0), rel=0.05)


def test_jumps_stay_until_the_next():
    jumps = draw_jumps(np.random.default_rng(3), T, 0.4)
    assert 2 <= np.count_nonzero(np.diff(jumps)) <= 20


def test_the_gait_sways_once_for_two_steps_and_only_while_walking():
    t = np.arange(0.0, 400.0, 0.02)
    velocity = np.zeros(len(t)), np.where(t < 200.0, 1.2, 0.0)
    place, _ = sway(np.random.default_rng(4), t, velocity)
    assert np.abs(place[:, t >= 200.0]).max() == 0.0
    aside, ahead = (axis[t < 200.0] for axis in place)
    assert np.abs(aside).max() == pytest.approx(SWAY_M, rel=0.01)
    hertz = np.fft.rfftfreq(len(aside), 0.02)
    for series, wanted in ((aside, STEP_HZ / 2.0), (ahead, STEP_HZ)):
        power = np.abs(np.fft.rfft(series)) ** 2
        assert float((power * hertz).sum() / power.sum()) == pytest.approx(wanted, rel=0.1)


def test_the_swaying_velocity_is_that_of_the_swaying_place():
    t = np.arange(0.0, 60.0, 0.005)
    place, moving = sway(np.random.default_rng(5), t, (np.full(len(t), 0.7), np.full(len(t), 0.9)))
    np.testing.assert_allclose(np.gradient(place, t, axis=1)[:, 2:-2], moving[:, 2:-2], atol=0.004)


@pytest.mark.parametrize("klass", CLASSES)
def test_both_kinds_of_error_are_of_one_size_but_for_the_gait(klass):
    """Standing receivers at many places do not sway; walking ones do, by a sine of the stated size to the side."""
    place = (5.0 * np.sin(T / 30.0), 1.2 * (T % 60.0))
    still, north = np.zeros(len(T)), np.full(len(T), 1.2)

    def spread(errors, velocity):
        receiver = Receiver(klass=klass, errors=errors)
        found = [take_fixes(receiver, T, place, velocity, make_generator(s, "receiver")) for s in range(40)]
        return np.sqrt(np.mean([(fixes.east_m - place[0]) ** 2 for fixes in found]))

    usual, standing = (spread(errors, (still, still)) for errors in ("wander", "multipath"))
    walking = spread("multipath", (still, north))
    assert standing == pytest.approx(usual, rel=0.3)
    assert walking == pytest.approx(np.sqrt(standing**2 + SWAY_M**2 / 2.0), rel=0.05)
