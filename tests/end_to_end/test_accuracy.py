"""A smoke of the accuracy table: a corrected receiver tells strips apart, an ordinary one claims nothing it cannot.

The whole table is `python tests/benchmarks/accuracy.py --jobs 120`.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import accuracy

JOBS = 10


@pytest.fixture(scope="module")
def tallies() -> dict[str, accuracy.Tally]:
    """Ten jobs of a corrected receiver and of an ordinary one."""
    return accuracy.run([accuracy.Trial("fixed"), accuracy.Trial("ordinary")], range(901, 901 + JOBS))


def test_a_corrected_receiver_tells_every_strip(tallies: dict[str, accuracy.Tally]) -> None:
    counts = tallies["fixed"].counts
    assert counts["jobs"] == JOBS
    assert counts["planned gap"] >= 2 * JOBS
    assert counts["planned gap: gap"] >= 0.95 * counts["planned gap"]
    assert counts["planned double: doubled"] >= 0.9 * counts["planned double"]
    assert counts["ordinary: even"] >= 0.95 * counts["ordinary"]
    assert counts["false gaps"] == 0
    assert counts["passes right"] == counts["passes true"] == counts["passes found"]


def test_an_ordinary_receiver_never_calls_a_missed_strip_even(tallies: dict[str, accuracy.Tally]) -> None:
    counts = tallies["ordinary"].counts
    assert counts["planned gap: even"] == 0
    assert counts["planned gap: gap"] >= 0.5 * counts["planned gap"]
    assert counts["said even rightly"] >= 0.97 * counts["said even"]
    assert counts["false gaps"] <= 1
    assert counts["passes right"] >= 0.97 * counts["passes true"]


@pytest.mark.parametrize("klass", ["fixed", "ordinary"])
def test_the_dose_of_a_pass_needs_no_position(tallies: dict[str, accuracy.Tally], klass: str) -> None:
    errors = sorted(tallies[klass].figures["dose error"])
    assert len(errors) > 50
    assert errors[int(0.95 * len(errors))] < 0.06


def test_errors_of_another_kind_and_a_gait_deceive_nobody() -> None:
    """Echoes of a place, jumps, walls and a swaying antenna, of which the smoother knows nothing."""
    tally = accuracy.run([accuracy.Trial("clean", errors="multipath")], range(951, 957))["clean"]
    assert tally.counts["planned gap: even"] == 0
    assert tally.counts["planned gap: gap"] >= 0.7 * tally.counts["planned gap"]
    assert tally.counts["false gaps"] == 0
    misses = tally.figures["spacings z"]
    assert 0.5 < (sum(z * z for z in misses) / len(misses)) ** 0.5 < 1.6


def test_a_poor_receivers_passes_are_found_with_the_spray_on_in_turns() -> None:
    tally = accuracy.run([accuracy.Trial("poor", is_on_in_turns=True)], range(911, 917))["poor"]
    counts = tally.counts
    assert counts["passes right"] >= 0.9 * counts["passes true"]
    assert counts["passes right"] >= 0.9 * counts["passes found"]
