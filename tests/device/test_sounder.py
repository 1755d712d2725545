"""The sounder: alarms are heard, and so is it when nobody watches."""

import itertools
import logging
from pathlib import Path

from rig import wire
from rig.publisher import Publisher
from rig.sampler import Sampler
from rig.sounder import Sounder
from rig.spool import Spool

BOOT = "0123456789abcdef"


class FakeClock:
    """A clock that moves when told."""

    def __init__(self) -> None:
        self.at = 1000.0

    def now(self) -> float:
        return self.at

    async def sleep(self, seconds: float) -> None:
        self.at += seconds


class FakeHorn:
    """Counts its signals."""

    def __init__(self) -> None:
        self.count = 0

    def sound(self) -> None:
        self.count += 1


class DeafLink:
    """A link that stands and takes everything."""

    is_up = True

    def open(self, events) -> None:
        """Nothing to open."""

    def publish(self, stream: str, payload: bytes, *, is_retained: bool = False) -> None:
        """Nobody answers."""

    def close(self) -> None:
        """Nothing to close."""


def flow(seq: int) -> wire.Flow:
    return wire.Flow(BOOT, seq, float(seq), seq, None, 0)


def open_publisher(clock: FakeClock) -> Publisher:
    """A publisher whose service is there."""
    spool = Spool(Path(":memory:"), keep_days=14.0, keep_mib=100.0, utc=lambda: 1_778_743_800.0)
    publisher = Publisher(DeafLink(), spool, clock, boot=BOOT, make_event=Sampler(BOOT).report)
    publisher.note_service(True)
    return publisher


def test_sounder_says_within_five_seconds_that_nobody_watches(caplog) -> None:
    caplog.set_level(logging.WARNING)
    clock, horn = FakeClock(), FakeHorn()
    sounder = Sounder(horn, clock)
    sounder.note_connection(True)
    sounder.note_service(True)
    sounder.tick()
    assert "NO ALARM WATCHES" not in caplog.text
    sounder.note_service(False)
    for _ in range(50):
        clock.at += 0.1
        sounder.tick()
    assert "NO ALARM WATCHES THE WIND: the service is offline" in caplog.text
    assert horn.count == 1
    sounder.note_connection(False)
    clock.at += 40.0
    sounder.tick()
    assert "no link to the broker" in caplog.text
    sounder.note_connection(True)
    sounder.note_service(True)
    assert "watches the wind again" in caplog.text


def test_sounder_says_within_five_seconds_that_a_hanging_service_gives_no_word(caplog) -> None:
    caplog.set_level(logging.WARNING)
    clock = FakeClock()
    publisher = open_publisher(clock)
    sounder = Sounder(FakeHorn(), clock)
    sounder.note_connection(True)
    sounder.note_service(True)

    seqs = itertools.count()

    def live(seconds: float, *, is_answered: bool) -> None:
        for _ in range(round(seconds * 5)):
            clock.at += 0.2
            seq = next(seqs)
            publisher.offer(flow(seq))
            if is_answered and seq % 5 == 0:
                publisher.note_ack(wire.Ack(BOOT, {"flow": seq}))
            sounder.note_silence(publisher.unanswered_s())
            sounder.tick()

    live(20.0, is_answered=True)
    assert "NO ALARM WATCHES" not in caplog.text
    live(4.9, is_answered=False)
    assert "NO ALARM WATCHES THE WIND: there is no word from the service" in caplog.text
    live(2.0, is_answered=True)
    assert "watches the wind again" in caplog.text


def test_a_rig_with_nothing_to_say_hears_no_silence() -> None:
    clock = FakeClock()
    publisher = open_publisher(clock)
    publisher.offer(flow(0))
    publisher.note_ack(wire.Ack(BOOT, {"flow": 0}))
    clock.at += 60.0
    assert publisher.unanswered_s() == 0.0


def test_sounder_repeats_stop_until_it_is_over(caplog) -> None:
    caplog.set_level(logging.WARNING)
    clock, horn = FakeClock(), FakeHorn()
    sounder = Sounder(horn, clock)
    sounder.note_connection(True)
    sounder.note_service(True)
    sounder.note_alarm(wire.Alarm("stop", "60-s mean wind 5.0 m/s", 1.0, 1))
    for _ in range(100):
        clock.at += 0.1
        sounder.tick()
    assert "STOP: 60-s mean wind 5.0 m/s" in caplog.text
    assert horn.count == 6  # at once, then every 2 s of the 10
    sounder.note_alarm(wire.Alarm("none", "", None, 1))
    clock.at += 10.0
    sounder.tick()
    assert horn.count == 6  # at once, then every 2 s of the 10
    assert "alarm over" in caplog.text
