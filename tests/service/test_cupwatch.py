"""What ails an anemometer is told in a sentence, through the live picture, with the simulator's own faults."""

from dataclasses import replace
from math import isnan, nan

import pytest

from firmware_sim.bench import record
from firmware_sim.build import build_world
from firmware_sim.scenarios import Scenario, plan_strips, strip_lawn
from firmware_sim.sensors.anemometer import Cup, SpeedMeter
from firmware_sim.world.wind import WindPlan
from rig import wire
from server.core.setup import Anemometer, FlowMeter, Setup, Sprayer, Treatment
from server.cupwatch import CupWatch
from server.intake import Fresh
from server.live import Live
from server.livecup import Air
from server.snapshot import MessagesPart

BOOT = "0123456789abcdef"
PLAIN = Scenario("wind", "", strip_lawn(4, 40.0), plan_strips(4), wind=WindPlan(4.0, 110.0))
SETUP = Setup(Sprayer(1.0), FlowMeter(450.0), Treatment(0.04, wind_limit_mps=9.0), Anemometer(0.34))


def tell(setup: Setup = SETUP, until_s: float = 140.0, **more) -> list[tuple[float, tuple[str, ...]]]:
    """What the picture complains of, each time that it changes, while a job is walked."""
    now, found = [0.0], []
    live = Live(setup, now=lambda: now[0])
    for at_s, message in record(build_world(replace(PLAIN, **more), 5).feed, BOOT):
        now[0] = 1000.0 + at_s
        if at_s > until_s:
            break
        live.take(Fresh("cart", message, now[0], now[0]))
        if isinstance(message, wire.Wind):
            faults = live.snapshot(MessagesPart()).faults
            if not found or found[-1][1] != faults:
                found.append((at_s, faults))
    return found


def first_time(told: list[tuple[float, tuple[str, ...]]], words: str) -> float:
    """When a sentence is first told; NaN: never."""
    return next((at for at, faults in told if any(words in fault for fault in faults)), nan)


def test_a_sound_cup_is_not_complained_of() -> None:
    told = tell()
    assert isnan(first_time(told, "cup"))
    assert isnan(first_time(told, "anemometer has"))


def test_a_cup_that_sticks_is_told_within_three_seconds_and_trusted_again_when_it_turns() -> None:
    told = tell(cup=Cup(stuck=((60.0, 90.0),)))
    assert 60.0 < first_time(told, "is it stuck?") < 63.0
    assert not any("stuck" in fault for fault in told[-1][1])


def test_an_instrument_that_freezes_is_told_after_a_minute() -> None:
    setup = replace(SETUP, anemometer=Anemometer(threshold_mps=0.1, distance_constant_m=0.1))
    told = tell(setup, speed_meter=SpeedMeter(frozen=((50.0, 200.0),)))
    assert first_time(told, "very same") == pytest.approx(110.0, abs=1.5)


def test_an_iced_cup_reads_low_and_only_the_air_can_tell() -> None:
    """It reads 30 % less than the air in the simulator; at 15 degrees nothing is said, at -1 and damp a caution is."""
    iced = Cup(iced=((0.0, 1000.0),))
    assert isnan(first_time(tell(cup=iced), "iced"))
    cold = tell(cup=iced, temperature_c=-1.0, humidity_percent=95.0)
    assert first_time(cold, "an iced cup reads too little") < 15.0


def watch(seconds: int, *, turns_at: int) -> list[str]:
    """A rig parked for so long, whose cup turns in one second only."""
    watched = CupWatch()
    for t in range(0, seconds, 60):
        watched.take(Air(float(t), 0.6 if t == turns_at else 0.5, is_bound=t != turns_at))
    return watched.tell(is_stuck=False, is_frozen=False)


def test_a_cup_that_never_turns_in_twelve_hours_may_be_dead() -> None:
    hour = 3600
    assert watch(11 * hour, turns_at=0) == []
    assert "not turned for 12 hours" in watch(12 * hour + 120, turns_at=0)[0]
    assert watch(20 * hour, turns_at=10 * hour) == []


def test_silence_is_not_standing() -> None:
    """No message for hours is told elsewhere; here it counts for nothing."""
    watched = CupWatch()
    watched.take(Air(0.0, 3.0, is_bound=False))
    for t in range(60, 90000, 60):
        watched.take(Air(float(t), nan, is_bound=False))
    assert watched.tell(is_stuck=False, is_frozen=False) == []
