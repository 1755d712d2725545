"""The live flow agrees with the reviewed one, message by message."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.flow import find_spraying, gather_volume
from server.core.log import Counts
from server.core.meter import FlowMeterState, step_flow
from server.core.setup import FlowMeter
from server.core.timebase import Timebase

METER = FlowMeter(450.0)
ONE = Timebase(np.zeros(1), 0.0)


def _follow(counts, meter=METER):
    state, states = FlowMeterState(pulses=0), []
    edges = [None if np.isnan(e) else float(e) for e in counts.edge_mono]
    for pulses, edge, mono in zip(counts.pulses.tolist(), edges, counts.mono.tolist(), strict=True):
        state = step_flow(state, pulses, edge, mono, meter)
        states.append(state)
    return states


def test_live_litres_end_where_the_review_does(bench):
    counts = bench.make_counts(bench.ramp_edges([(5.0, 25.0, 9.0), (31.0, 50.0, 14.0)], phase=0.3), until=60.0)
    states = _follow(counts)
    assert states[-1].litres == pytest.approx(gather_volume(counts, ONE, meter=METER, delay_s=0.0).litres[-1])


@pytest.mark.parametrize("hertz", [4.0, 9.0, 30.0])
def test_live_flow_is_that_of_the_pulses(bench, hertz):
    # physics.md section 4: Q [L/min] = 60 f / K.
    counts = bench.make_counts(bench.ramp_edges([(5.0, 25.0, hertz)]), until=30.0)
    steady = [s.flow_l_per_min for s, t in zip(_follow(counts), counts.mono, strict=True) if 8.0 < t < 24.0]
    assert np.abs(np.array(steady) / (60 * hertz / 450) - 1).max() < 0.02


def test_spraying_is_seen_within_a_second(bench):
    spans = [(5.0, 25.0, 9.0), (31.0, 50.0, 9.0)]
    counts = bench.make_counts(bench.ramp_edges(spans), until=60.0)
    on = np.array([s.is_spraying for s in _follow(counts)])
    truth = sum((counts.mono > a) & (counts.mono < b) for a, b, _ in spans) > 0
    wrong = counts.mono[on != truth]
    for t in wrong:
        assert min(abs(t - edge) for a, b, _ in spans for edge in (a, b)) <= 1.0
    review = find_spraying(gather_volume(counts, ONE, meter=METER, delay_s=0.0))
    assert len(review) == np.count_nonzero(np.diff(on.astype(int)) == 1) == 2


def test_flow_falls_to_nothing_after_the_last_pulse(bench):
    states = _follow(bench.make_counts(bench.ramp_edges([(5.0, 25.0, 9.0)]), until=40.0))
    assert states[-1].flow_l_per_min == 0.0
    assert not states[-1].is_spraying


def test_the_flow_of_a_run_does_not_sink_while_the_trigger_closes(bench):
    counts = bench.make_counts(bench.ramp_edges([(5.0, 25.0, 9.0)]), until=30.0)
    last_s = np.nanmax(counts.edge_mono)
    closing = [s for s, t in zip(_follow(counts), counts.mono, strict=True) if last_s + 0.2 < t and s.is_spraying]
    assert closing
    for state in closing:
        assert state.run_l_per_min == pytest.approx(60.0 * 9.0 / 450.0, rel=0.02)
        assert state.flow_l_per_min < 0.7 * state.run_l_per_min


def test_drops_are_no_spraying(bench):
    states = _follow(bench.make_counts(np.array([5.0, 9.0, 13.5, 18.0]), until=25.0))
    assert not any(state.is_spraying for state in states)
    assert states[-1].litres == pytest.approx(4 / 450)


def test_a_boot_joined_late_counts_from_there():
    state = step_flow(FlowMeterState(), 1000, 9.9, 10.0, METER)
    state = step_flow(state, 1009, 10.95, 11.0, METER)
    assert state.litres == pytest.approx(9 / 450)


@settings(max_examples=50)
@given(keep=st.lists(st.booleans(), min_size=151, max_size=151), repeat=st.integers(0, 150))
def test_loss_and_repeats_change_no_total(keep, repeat):
    edges = 5 + np.arange(1, 181) / 9
    mono = np.arange(151) / 5
    pulses = np.searchsorted(edges, mono, "right")
    edge = np.where(pulses > 0, edges[np.maximum(pulses, 1) - 1], np.nan)
    rows = np.sort([k for k in range(150) if keep[k]] + [repeat, 150])
    counts = Counts(rows * 0, rows, mono[rows], pulses[rows], edge[rows], rows * 0)
    assert _follow(counts)[-1].litres == pytest.approx(180 / 450, rel=1e-9)


def test_a_table_of_factors_is_used_at_the_rate(bench):
    table = FlowMeter((400.0, 450.0), (0.4, 1.2))
    counts = bench.make_counts(bench.ramp_edges([(5.0, 65.0, 9.0)]), until=70.0)
    assert _follow(counts, table)[-1].litres == pytest.approx(1.2, rel=0.03)
    assert _follow(counts, table)[250].flow_l_per_min == pytest.approx(1.2, rel=0.02)
