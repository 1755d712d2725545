"""The live picture of a whole simulated job, held to the simulator's truth."""

import json
from dataclasses import replace
from typing import cast

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rig import wire
from server.intake import Fresh
from server.live import Live
from server.settings import read_setup
from server.snapshot import MessagesPart


@pytest.fixture(scope="module")
def walk(straight, messages):
    """The simulated job's setup, its messages as they arrive, and what truly happened."""
    taken = []
    for received in messages:
        rig, stream = wire.split_topic(received.topic)
        message = cast("wire.Data", wire.decode(stream, received.payload))
        taken.append(Fresh(rig, message, message.mono + 5000.0, received.received_utc))
    return read_setup(straight / "setup.toml"), taken, json.loads((straight / "truth.json").read_text())


def follow(setup, taken):
    """Fold messages; the picture and its figures."""
    clock = [0.0]
    live = Live(setup, now=lambda: clock[0])
    for fresh in taken:
        clock[0] = max(clock[0], fresh.arrived_mono)
        live.take(fresh)
    return live, replace(live.snapshot(MessagesPart()), sequence=0)


@pytest.fixture(scope="module")
def clean(walk):
    """The picture of the job as it came, and its figures."""
    return follow(walk[0], walk[1])


def test_the_picture_is_what_truly_happened(walk, clean):
    truth, (live, found) = walk[2], clean
    assert found.volume_l == pytest.approx(truth["volume_l"], abs=1.5 / truth["pulses_per_l"])
    assert found.passes_done == len(truth["passes"])
    laid = float(live.way.grid.dose.sum()) * live.way.grid.frame.cell_area_m2
    assert laid + live.way.grid.unplaced_l + live.way.grid.off_grid_l == pytest.approx(found.volume_l, rel=0.01)
    # Derivation: 30 m by 1 m, and a cell counts from a tenth on, which moves each edge out by 0.4 of a cell of 0.1 m.
    assert found.covered_area_m2 == pytest.approx(30.0 + 62.0 * 0.04, abs=0.6)
    assert found.messages.missing == 0
    assert live.missing == 0


def test_in_two_directions_a_pass_is_held_against_half_the_rate_and_once_over_is_half_done(walk, clean):
    setup, taken, _ = walk
    crosswise = replace(setup, treatment=replace(setup.treatment, directions=2.0))
    live, found = follow(crosswise, taken)
    _, once = follow(setup, taken)
    assert (found.target_l_per_m2, found.pass_l_per_m2) == (once.target_l_per_m2, once.target_l_per_m2 / 2.0)
    halved = replace(setup, treatment=replace(setup.treatment, target_l_per_m2=2.0 * setup.treatment.target_l_per_m2))
    halved = replace(halved, treatment=replace(halved.treatment, directions=2.0))
    half, whole = (follow(each, taken)[0].way.areas() for each in (halved, setup))
    assert half.left_m2 is not None
    assert half.zone_m2 - half.left_m2 == pytest.approx((whole.zone_m2 - whole.left_m2) / 2.0, rel=0.03)
    assert live.setup.treatment.directions == 2.0


@settings(max_examples=6, deadline=None, phases=[Phase.generate], suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.floats(0.0, 0.9), st.floats(0.0, 1.0), st.integers(1, 80)), min_size=1, max_size=5))
def test_repeats_change_nothing_in_the_picture(walk, clean, repeats):
    _, taken, _ = walk
    live, figures = clean
    blocks: dict[int, list[Fresh]] = {}
    for first, later, count in repeats:
        start = int(first * len(taken))
        block = taken[start : start + count]
        end = start + len(block) - 1
        place = end + int(later * (len(taken) - 1 - end))
        blocks.setdefault(place, []).extend(replace(old, arrived_mono=taken[place].arrived_mono) for old in block)
    again = [each for place, fresh in enumerate(taken) for each in (fresh, *blocks.get(place, []))]
    repeated_live, repeated = follow(walk[0], again)
    assert (repeated_live.way.grid.dose == live.way.grid.dose).all()
    assert replace(repeated, rig=figures.rig) == figures
