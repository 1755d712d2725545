"""Turns of a walker with a receiver whose velocity is noisy, held against the way that was made up."""

import numpy as np
import pytest

from server.core.turns import find_turn, sharpen_turns

STEP_S, PACE_MPS, SD_MPS, MEMORY_S = 0.2, 1.2, 0.25, 0.6


def walk(knots_s, headings_deg, seed, *, sd_mps=SD_MPS):
    """Times and a noisy velocity along headings that go evenly from knot to knot; the noise remembers 0.6 s."""
    t = np.arange(0.0, 60.0, STEP_S)
    angle = np.radians(np.interp(t, knots_s, headings_deg))
    rng = np.random.default_rng(seed)
    noise, keep = np.zeros((2, len(t))), np.exp(-STEP_S / MEMORY_S)
    for k in range(1, len(t)):
        noise[:, k] = keep * noise[:, k - 1] + sd_mps * np.sqrt(1.0 - keep**2) * rng.standard_normal(2)
    return t, PACE_MPS * np.sin(angle) + noise[0], PACE_MPS * np.cos(angle) + noise[1]


TURNS = {
    "about": ([29.0, 31.0], [20.0, 200.0]),
    "about to the left": ([29.0, 31.0], [20.0, -160.0]),
    "swung out first": ([28.0, 28.8, 31.2, 32.0], [20.0, 65.0, 155.0, 200.0]),
    "to the line after next": ([28.0, 29.0, 31.0, 32.0], [0.0, 90.0, 90.0, 180.0]),
    "back on the same line": ([27.5, 28.3, 31.5, 32.5], [0.0, -60.0, 240.0, 180.0]),
    "a corner": ([29.2, 30.8], [0.0, 90.0]),
}


@pytest.mark.parametrize("name", list(TURNS))
def test_both_ends_of_a_turn_are_found_within_a_second(name):
    knots, headings = TURNS[name]
    miss = []
    for seed in range(30):
        guess = np.random.default_rng([seed, 5]).uniform(-1.0, 1.0, 2)
        begin, done = find_turn(
            *walk(knots, headings, seed),
            before=(0.0, knots[0] + guess[0] - 0.3),
            after=(knots[-1] + guess[1] + 0.3, 60.0),
        )
        miss.append((begin - knots[0], done - knots[-1]))
    within = (np.abs(miss) <= 1.0).all(axis=1).mean()
    print(f"{name}: within 1 s {within:.2f}, rms {np.sqrt(np.mean(np.square(miss))):.2f} s")
    assert within >= 0.9


def test_a_pass_that_noise_cut_in_two_is_one():
    t, east, north = walk([0.0, 60.0], [10.0, 14.0], 3)
    assert sharpen_turns([(2.0, 30.0), (31.0, 58.0)], t, east, north) == [(2.0, 58.0)]


def test_a_corner_and_a_long_break_are_no_noise():
    t, east, north = walk([29.8, 30.2], [10.0, 100.0], 3)
    assert len(sharpen_turns([(2.0, 29.5), (30.5, 58.0)], t, east, north)) == 2
    t, east, north = walk([0.0, 60.0], [10.0, 10.0], 3)
    assert sharpen_turns([(2.0, 28.0), (31.0, 58.0)], t, east, north)[0][0] == 2.0
    assert len(sharpen_turns([(2.0, 28.0), (31.0, 58.0)], t, east, north)) == 2


@pytest.mark.parametrize(("before", "after"), [((28.5, 29.0), (31.0, 60.0)), ((0.0, 25.0), (34.0, 60.0))])
def test_where_nothing_tells_a_turn_the_guess_stays(before, after):
    assert find_turn(*walk([29.0, 31.0], [0.0, 180.0], 1), before=before, after=after) == (before[1], after[0])


def test_a_pause_in_a_turn_and_missing_epochs_do_no_harm():
    t, east, north = walk([29.0, 31.0], [20.0, 200.0], 8)
    east[148:152], north[148:152] = 0.0, 0.0
    kept = np.r_[0:140, 144:300]
    begin, done = find_turn(t[kept], east[kept], north[kept], before=(0.0, 28.0), after=(32.0, 60.0))
    assert abs(begin - 29.0) < 1.5
    assert abs(done - 31.0) < 1.0
