"""The live reading is the review's: of a cup, of an instrument that tells a speed, and of a vane."""

from dataclasses import replace

import numpy as np
import pytest

from firmware_sim.bench import record
from firmware_sim.build import build_world
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.sensors.anemometer import SpeedMeter, Vane
from rig import wire
from server.core.cup import Apparent, apparent_by_second
from server.core.log import WindSamples
from server.core.setup import Anemometer
from server.core.timebase import Timebase
from server.livecup import Air, LiveCup

BOOT = "0123456789abcdef"
CUP = Anemometer(mps_per_hz=0.34, offset_mps=0.2, threshold_mps=0.5, distance_constant_m=2.5)
METER = Anemometer(threshold_mps=0.1, distance_constant_m=0.1)
PLAIN = Scenario("wind", "", strip_lawn(2, 40.0), plan_strips(2))


def record_wind(**more) -> list[wire.Wind]:
    """The wind messages of a short job."""
    feed = build_world(replace(PLAIN, **more), 5).feed
    return [message for _, message in record(feed, BOOT) if isinstance(message, wire.Wind)]


def gather(messages: list[wire.Wind]) -> WindSamples:
    """The same messages as the review reads them."""
    columns = np.array(
        [
            [
                np.nan if value is None else float(value)
                for value in (m.pulses, m.edge, m.edges_rejected, m.speed, m.from_)
            ]
            for m in messages
        ]
    ).T
    index = np.arange(len(messages))
    return WindSamples(np.zeros_like(index), index, np.array([m.mono for m in messages]), *columns)


def compare(messages: list[wire.Wind], anemometer: Anemometer) -> tuple[Apparent, list[Air]]:
    """What both say of the seconds that both tell."""
    air = apparent_by_second(gather(messages), Timebase(np.zeros(1), 0.0), anemometer=anemometer)
    cup = LiveCup(anemometer)
    live = {found.t: found for m in messages for found in cup.take(m.mono, 0.0, m)}
    assert set(air.t.tolist()) <= set(live)
    return air, [live[t] for t in air.t.tolist()]


@pytest.mark.parametrize(
    ("fitted", "anemometer"),
    [
        ({}, CUP),
        ({"vane": Vane()}, CUP),
        ({"speed_meter": SpeedMeter()}, METER),
        ({"speed_meter": SpeedMeter(frozen=((20.0, 200.0),)), "vane": Vane(stuck=((30.0, 200.0),))}, METER),
    ],
)
def test_live_and_review_read_the_same(fitted: dict, anemometer: Anemometer) -> None:
    air, live = compare(record_wind(**fitted), anemometer)
    assert len(air.t) > 60
    assert air.mps == pytest.approx(np.array([found.mps for found in live]), abs=1e-6, nan_ok=True)
    assert air.is_bound.tolist() == [found.is_bound for found in live]
    if "vane" in fitted:
        bow = np.array([found.from_bow_deg for found in live])
        assert (np.isnan(air.from_bow_deg) == np.isnan(bow)).all()
        off = (air.from_bow_deg - bow + 180.0) % 360.0 - 180.0
        assert np.nanmax(np.abs(off)) < 1e-6


def tell(speeds: list[float | None]) -> list[wire.Wind]:
    """An instrument's messages, five a second."""
    return [wire.Wind(BOOT, k, 10.0 + 0.2 * k, None, None, None, speed) for k, speed in enumerate(speeds)]


def test_a_cups_line_does_not_concern_an_instrument_that_tells_speeds() -> None:
    """2.5 m/s is 2.5 m/s, whatever slope and offset a cup had before; a mean of a second, unknown ones left out."""
    speeds = [2.5, 3.5, None, 3.0, 3.0] * 20
    for anemometer in (CUP, METER, Anemometer(mps_per_hz=2.0, offset_mps=1.0, threshold_mps=0.1)):
        air, live = compare(tell(speeds), anemometer)
        assert air.mps == pytest.approx(3.0)
        assert [found.mps for found in live] == pytest.approx([3.0] * len(live))


def test_below_its_own_threshold_an_instrument_says_below_and_never_zero() -> None:
    """Calm is flagged, not averaged as 0 (EPA-454/R-99-005, 6.2)."""
    air, live = compare(tell([0.0, 0.1] * 100), replace(METER, threshold_mps=0.2))
    assert air.is_bound.all()
    assert (air.mps == 0.2).all()
    assert all(found.is_bound and found.mps == 0.2 for found in live)


def test_calm_may_stay_the_same_for_ever_and_wind_for_a_minute() -> None:
    air, _ = compare(tell([0.0] * 600), METER)
    assert np.isfinite(air.mps).all()
    air, live = compare(tell([2.0] * 600), METER)
    known = air.t - air.t[0]
    assert np.isfinite(air.mps[known < 57.0]).all()
    assert np.isnan(air.mps[known > 61.0]).all()
    assert np.isnan([found.mps for found in live][-1])


def test_an_instrument_that_knows_nothing_is_not_calm() -> None:
    air, live = compare(tell([2.0, 2.2] * 30 + [None] * 60), METER)
    assert np.isnan(air.mps[-5:]).all()
    assert all(np.isnan(found.mps) for found in live[-5:])
