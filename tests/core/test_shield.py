"""A body that takes wind from the cup: noticed where it can be, never claimed where there is none, on simulated jobs.

Shares over hundreds of jobs are printed by `python tests/benchmarks/cup.py --only shield`.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.legs import undo_lag
from server.core.scatter import relate_means
from server.core.shield import SIDES, Shielding, find_shield, follow_velocity
from server.core.wake import SCALES_S, Readings, Wake, fit_wake
from server.core.windfold import Second

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))

from cupworld import SET, simulate_job

STRONG = {"wind_mps": 4.5, "intensity": 0.25}


def look(seeds: range, **changes) -> list[Shielding]:
    """What is said of some jobs."""
    return [find_shield(simulate_job(seed, **changes), anemometer=SET) for seed in seeds]


def test_without_a_shield_none_is_claimed() -> None:
    """Twelve jobs with the cup's scale off by 3 % either way."""
    said = look(range(300, 306), slope=0.97, wind_mps=4.0) + look(range(306, 312), slope=1.03, wind_mps=4.0)
    assert [each.sentence for each in said] == [None] * 12
    assert sum(not each.reason for each in said) >= 10


@pytest.mark.parametrize("side", [0.0, 90.0])
def test_a_strong_shield_is_found_on_its_side_in_many_jobs(side: float) -> None:
    said = look(range(320, 330), side_deg=side, loss=0.4, **STRONG)
    found = [each for each in said if each.side_deg is not None]
    assert len(found) >= 3
    assert sum(abs((each.side_deg - side + 180.0) % 360.0 - 180.0) <= 45.0 for each in found) >= len(found) - 1
    losses = [float(each.losses[round(each.side_deg / 45.0)]) for each in found]
    assert 0.15 < np.median(losses) < 0.5


def test_the_sentence_names_side_and_loss_and_the_cure() -> None:
    losses = np.array([0.0, 0.0, 0.0, 0.0, 0.26, 0.0, 0.0, 0.0])
    said = Shielding(losses, np.full(8, 0.04), np.zeros(8), 180.0)
    assert said.sentence == "shielded from behind by about 25 % or more: put the cup above the head"
    assert len(SIDES) == 8


@pytest.mark.parametrize(("wind_mps", "turn_s"), [(2.5, 1.0), (3.5, 2.0), (4.5, 1.0)])
def test_velocities_are_seen_as_late_as_the_cup_whose_lag_was_undone(wind_mps: float, turn_s: float) -> None:
    """A rig that turns about in winds from all sides: the undone cup is nearer to the air past the led velocity.

    The cup's equation is integrated here in steps of a hundredth of a second.
    """
    fine, distance = 100, 2.5
    t = np.arange(60 * fine) / fine
    turned = np.pi * np.clip((t % 40.0 - 20.3) / turn_s, 0.0, 1.0) * (t % 40.0 > 20.0)
    velocity = 1.2 * np.stack((np.sin(turned), np.cos(turned)), axis=1)
    plain = velocity.reshape(-1, fine, 2).mean(axis=1)
    squares = []
    for angle in np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False):
        wind = wind_mps * np.array([np.sin(angle), np.cos(angle)])
        air = np.hypot(*(wind - velocity).T)
        cup, shown = air[0], []
        for each in air.tolist():
            cup += each / distance * (each - cup) / fine
            shown.append(cup)
        seconds = np.array(shown).reshape(-1, fine).mean(axis=1)
        told = undo_lag(seconds, distance_constant_m=distance)
        led = follow_velocity(plain, seconds, distance_constant_m=distance)
        squares.append([np.square(told - np.hypot(*(wind - each).T))[3:-3].mean() for each in (led, plain)])
    led_rms, plain_rms = np.sqrt(np.mean(squares, axis=0))
    assert led_rms < 0.75 * plain_rms


def test_light_wind_and_short_jobs_are_not_judged() -> None:
    light = find_shield(simulate_job(331, wind_mps=1.0, loss=0.4), anemometer=SET)
    assert "too light" in light.reason
    assert light.sentence is None
    assert np.isnan(light.gains).all()
    short = find_shield(simulate_job(332, seconds=120, loss=0.4, **STRONG), anemometer=SET)
    assert short.reason == "too few readings while walking"


def test_a_side_that_the_wind_never_came_from_stays_unknown() -> None:
    """Walking into the wind only, away from it never: nothing is known of what comes from behind."""
    rng = np.random.default_rng(1)
    rows = []
    for t in range(900):
        angle = np.radians(30.0 * np.sin(t / 25.0))
        east, north = 1.3 * np.sin(angle), 1.3 * np.cos(angle)
        air = float(np.hypot(0.0 - east, -3.0 - north)) + 0.15 * rng.standard_normal()
        rows.append(Second(float(t), air, False, east, north, 0.05, True))
    said = find_shield(rows, anemometer=SET)
    assert said.loss_sds[4] > 0.25
    assert said.sentence is None


def turn(walk: list[Second], degrees: float) -> list[Second]:
    """The same job in a world turned round."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return [
        replace(
            row,
            velocity_east_mps=c * row.velocity_east_mps + s * row.velocity_north_mps,
            velocity_north_mps=-s * row.velocity_east_mps + c * row.velocity_north_mps,
        )
        for row in walk
    ]


@settings(max_examples=4, deadline=None)
@given(degrees=st.floats(0.0, 360.0))
def test_turning_the_world_changes_nothing(degrees: float) -> None:
    job = simulate_job(320, side_deg=90.0, loss=0.4, **STRONG)
    first, again = find_shield(job, anemometer=SET), find_shield(turn(job, degrees), anemometer=SET)
    assert again.side_deg == first.side_deg
    assert np.allclose(again.gains, first.gains, atol=0.2)


def test_left_and_right_are_told_apart_by_the_mirror() -> None:
    """The same job seen in a mirror is shielded on the other side, as much."""
    job = simulate_job(324, side_deg=90.0, loss=0.4, **STRONG)
    mirrored = [replace(row, velocity_east_mps=-row.velocity_east_mps) for row in job]
    first, again = find_shield(job, anemometer=SET), find_shield(mirrored, anemometer=SET)
    assert np.allclose(again.gains, first.gains[[0, 7, 6, 5, 4, 3, 2, 1]], atol=0.2)


def test_a_loss_as_the_model_thinks_it_comes_back_with_its_uncertainty() -> None:
    """Readings drawn from the model itself, the cup's scale from its prior: within 1.645 sd in about 90 % of 100."""
    t = 5.0 * np.arange(120.0)
    angles = np.array([0.0, np.pi, 0.5 * np.pi, 1.5 * np.pi])[np.arange(120) % 4]
    way = 1.3 * np.stack((np.sin(angles), np.cos(angles)), axis=1)
    relative = np.array([2.0, 2.5]) - way
    turned = np.arctan2(-relative[:, 0], -relative[:, 1]) - angles - np.pi
    lobe = np.where(np.cos(turned) > 0.0, np.cos(turned) ** 2, 0.0)
    clean = np.hypot(*relative.T) * (1.0 - 0.3 * lobe)
    related = relate_means(t, np.full(120, 5.0), scales_s=SCALES_S)
    start = Wake(np.tile([1.8, 2.6], (120, 1)), 0.0, 0.0, 0.0, np.array([0.02, 1e-5, 1e-5]), clean)
    rng, scores = np.random.default_rng(5), []
    root = np.linalg.cholesky(0.02 * related[0] + 1e-9 * np.eye(120))
    for _ in range(100):
        noise = root @ rng.standard_normal(120) + (0.05 + 0.02 * clean) / np.sqrt(5.0) * rng.standard_normal(120)
        air = (1.0 + 0.03 * rng.standard_normal()) * clean + noise
        readings = Readings(t, np.full(120, 5.0), air, way, np.zeros(120))
        found = fit_wake(readings, related, start, side=np.pi)
        scores.append((found.loss - 0.3) / found.loss_sd)
    assert 0.80 <= np.mean(np.abs(scores) < 1.645) <= 0.99
    assert abs(np.mean(scores)) < 0.5


def test_a_longer_job_is_taken_in_pieces_and_tells_more() -> None:
    """Half an hour: the shield is found, and no side is less sure than from the first half alone."""
    job = simulate_job(340, seconds=1800, side_deg=90.0, loss=0.4, **STRONG)
    whole = find_shield(job, anemometer=SET)
    assert whole.side_deg in (45.0, 90.0, 135.0)
    first = find_shield(job[:900], anemometer=SET)
    assert np.all(whole.loss_sds < first.loss_sds + 0.02)
