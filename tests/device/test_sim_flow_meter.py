"""The simulated flow meter: K factor, loss at low flow, contact bounce and its rejection."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_sim.counter import DEBOUNCE_S, count_edges, reject_bounce
from firmware_sim.curve import integrate_rate
from firmware_sim.noise import make_generator
from firmware_sim.sensors.flow_meter import FlowMeter, add_bounce, pulse_curve, pulse_edges

STRAIGHT = FlowMeter(pulses_per_l=450.0, linear_from_l_per_min=0.0)


def steady(flow_l_per_min, seconds=60.0):
    """A constant flow."""
    return integrate_rate(np.array([0.0, seconds]), np.full(2, flow_l_per_min / 60.0))


@pytest.mark.parametrize(("flow_l_per_min", "hz"), [(0.66667, 5.0), (1.33333, 10.0), (2.66667, 20.0)])
def test_450_pulses_a_litre_give_the_handbook_frequency(flow_l_per_min, hz):
    """Q = 60 f / K: with K = 450, 5 / 10 / 20 Hz are 0.6667 / 1.3333 / 2.6667 L/min (physics handbook, section 4)."""
    edges = pulse_edges(pulse_curve(STRAIGHT, steady(flow_l_per_min)))
    assert 1.0 / np.diff(edges) == pytest.approx(np.full(len(edges) - 1, hz), rel=1e-4)


def test_one_pulse_is_2_2222_millilitres():
    """Handbook section 4: K = 450, 1 pulse = 2.2222 mL."""
    volume = steady(1.2)
    edges = pulse_edges(pulse_curve(STRAIGHT, volume))
    assert np.diff(volume.total_at(edges)) * 1000.0 == pytest.approx(np.full(len(edges) - 1, 2.2222), abs=1e-4)


def test_a_gate_of_a_second_is_never_more_than_one_count_off():
    """Handbook section 4: Q = 1.2 L/min, K = 450 counts 9 in 1 s, ± 1 count; halfway to 10 it counts 9 or 10."""
    edges = pulse_edges(pulse_curve(STRAIGHT, steady(1.2, 100.0)))
    starts = make_generator(1, "gate").uniform(1.0, 98.0, 2000)
    counts = np.searchsorted(edges, starts + 1.0) - np.searchsorted(edges, starts)
    assert np.mean(counts) == pytest.approx(9.0, abs=0.01)
    off = pulse_edges(pulse_curve(STRAIGHT, steady(1.2 * 9.5 / 9.0, 100.0)))
    counts = np.searchsorted(off, starts + 1.0) - np.searchsorted(off, starts)
    assert set(counts.tolist()) == {9, 10}


@given(st.lists(st.floats(0.0, 0.1), min_size=2, max_size=30), st.floats(50.0, 2000.0))
@settings(max_examples=60)
def test_pulses_over_k_are_the_volume_to_one_pulse(flows, k):
    """Mass: whole edges / K is never more than one pulse behind the exact volume."""
    volume = integrate_rate(np.arange(len(flows), dtype=float), np.array(flows))
    edges = pulse_edges(pulse_curve(FlowMeter(k, linear_from_l_per_min=0.0), volume))
    assert -1e-9 <= volume.total[-1] * k - len(edges) < 1.0 + 1e-9
    assert np.all(np.diff(edges) >= 0.0)


def test_a_dribble_is_under_counted_and_working_flow_is_not():
    """K falls below the linear range only (why: Pope, Wright et al. 2012; by how much: our own choice)."""
    meter = FlowMeter(450.0, linear_from_l_per_min=0.3, drop=0.3)
    assert pulse_curve(meter, steady(1.2)).total[-1] == pytest.approx(540.0, rel=1e-12)
    assert pulse_curve(meter, steady(0.15)).total[-1] == pytest.approx(67.5 * (1.0 - 0.3 * 0.25), rel=1e-12)


def test_bounce_is_rejected_edge_for_edge():
    """The debounce gives back the true edges and counts every false one."""
    edges = pulse_edges(pulse_curve(STRAIGHT, steady(2.0, 300.0)))
    noisy = add_bounce(edges, 0.3, make_generator(2, "bounce"))
    assert np.all(np.diff(noisy) >= 0.0)
    assert len(noisy) > 1.3 * len(edges)
    tally = reject_bounce(noisy)
    assert np.array_equal(tally.kept, edges)
    assert len(tally.rejected) == len(noisy) - len(edges)


@given(st.lists(st.floats(0.0, 10.0), max_size=60), st.floats(0.0, 10.0), st.floats(0.0, 10.0))
def test_every_edge_is_either_kept_or_rejected_and_kept_ones_are_apart(edges, start, at):
    """No edge is lost, and a count never goes back as the clock goes on."""
    tally = reject_bounce(np.sort(np.array(edges)))
    assert len(tally.kept) + len(tally.rejected) == len(edges)
    assert np.all(np.diff(tally.kept) >= DEBOUNCE_S)
    early, late = sorted((start, at))
    pulses, edge, rejected = count_edges(tally, early, late)
    assert pulses == np.sum((tally.kept > early) & (tally.kept <= late))
    assert rejected >= 0
    assert (edge is None) == (pulses == 0)
