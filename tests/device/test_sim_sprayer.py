"""The simulated sprayer against published rules of pressure and flow."""

import math

import numpy as np
import pytest

from firmware_sim.noise import make_generator
from firmware_sim.world.sprayer import Sprayer, orifice_flow, pump_volume

PSI_BAR = 0.0689475729


def volume_of(sprayer, triggers, refills=(), duration_s=200.0):
    """The metered volume of one sprayer."""
    return pump_volume(sprayer, triggers, refills, duration_s, make_generator(1, "pump"))


def test_double_flow_needs_four_times_the_pressure():
    """B01: Q2 = Q1 √(P2 / P1), "doubling flow needs 4x pressure" (core manual digest)."""
    flow = orifice_flow(np.array([20.0, 80.0]), flow_ref=1.0, pressure_ref=20.0)
    assert flow[1] / flow[0] == pytest.approx(2.0, abs=1e-15)


def test_a_quarter_more_speed_needs_56_percent_more_pressure():
    """B02: 12 → 15 mph at constant rate, 40 → 63 psi (exact 62.5), tolerance 1 psi (Iowa State extension)."""
    flow = orifice_flow(np.array([63.0]), flow_ref=12.0, pressure_ref=40.0)
    assert flow[0] == pytest.approx(15.0, rel=0.01)
    assert orifice_flow(np.array([62.5]), flow_ref=12.0, pressure_ref=40.0)[0] == pytest.approx(15.0, abs=1e-12)


def test_a_flat_fan_of_0_30_gpm_at_40_psi_gives_0_26_at_30():
    """B03: 0.2598 US gal/min, tolerance 0.005 (Cornell)."""
    assert orifice_flow(np.array([30.0]), flow_ref=0.30, pressure_ref=40.0)[0] == pytest.approx(0.2598, abs=5e-5)


def test_a_hand_pump_falls_by_a_third_between_strokes():
    """B07: 55 → 25 psi, flow ratio √(25/55) = 0.674, 1 % (after the WHO manual on residual spraying, from memory)."""
    sprayer = Sprayer(pump="hand", top_bar=55 * PSI_BAR, low_bar=25 * PSI_BAR, stroke_s=40.0)
    volume = volume_of(sprayer, ((10.0, 90.0),))
    start, end = volume.rate_at(np.array([10.1, 49.9]))
    assert end / start == pytest.approx(math.sqrt(25 / 55), rel=0.01)
    assert volume.rate_at(np.array([50.3]))[0] == pytest.approx(start, rel=0.01)


def test_hand_pump_flow_falls_in_a_straight_line():
    """Derivation: dp/dt = −cQ with Q ∝ √p makes the flow linear in spraying time."""
    volume = volume_of(Sprayer(pump="hand", stroke_s=40.0), ((0.0, 39.0),))
    flow = volume.rate_at(np.array([5.0, 15.0, 25.0, 35.0]))
    assert np.diff(flow, 2) == pytest.approx([0.0, 0.0], abs=1e-6 * flow[0])
    assert np.all(np.diff(flow) < 0.0)


def test_a_battery_pump_holds_but_sags():
    """Flow within a few percent of nominal, lower after ten minutes by about half the pressure's sag."""
    sprayer = Sprayer(ripple=0.0, sag=0.04, tank_l=100.0)
    volume = volume_of(sprayer, ((1.0, 699.0),), duration_s=700.0)
    early, late = volume.rate_at(np.array([2.0, 602.0])) * 60.0
    assert early == pytest.approx(1.2, rel=1e-3)
    assert late / early == pytest.approx(math.sqrt(0.96), rel=1e-3)


def test_the_tank_gives_no_more_than_it_holds_and_again_after_a_refill():
    """A dry tank stops the flow; refilled, it flows again."""
    sprayer = Sprayer(tank_l=0.5, ripple=0.0)
    volume = volume_of(sprayer, ((1.0, 60.0), (100.0, 130.0)), refills=(90.0,))
    assert volume.total_at(np.array([80.0]))[0] == pytest.approx(0.5, abs=0.002)
    assert volume.rate_at(np.array([50.0]))[0] == 0.0
    assert volume.total[-1] == pytest.approx(1.0, abs=0.003)


def test_nothing_flows_with_the_trigger_released():
    """Outside the trigger's span (and the valve's 0.04 s) the volume stands still."""
    volume = volume_of(Sprayer(), ((10.0, 20.0), (30.0, 31.0)))
    before, between, between_end, after = volume.total_at(np.array([10.0, 20.04, 30.0, 31.04]))
    assert before == 0.0
    assert between == between_end
    assert after == volume.total[-1]


def test_trigger_spans_that_overlap_are_refused():
    """A trigger cannot be pressed twice at once."""
    with pytest.raises(ValueError, match="apart"):
        volume_of(Sprayer(), ((10.0, 20.0), (15.0, 30.0)))
