"""The sounder: alarms are heard, and so is it when nobody watches."""

import io
import itertools
import logging
from pathlib import Path

from rig import wire
from rig.__main__ import SOFTLY, Bell
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
        self.count = self.soft = 0

    def sound(self) -> None:
        self.count += 1

    def chirp(self) -> None:
        self.soft += 1


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


OPEN = "A lull has opened: 8 in 10 that it stays under 3 m/s for the 25 minutes."
SHUT = "The lull has closed: the wind is above 3 m/s now."


def watched_sounder() -> tuple[Sounder, FakeHorn, FakeClock]:
    """A sounder whose service is there."""
    clock, horn = FakeClock(), FakeHorn()
    sounder = Sounder(horn, clock)
    sounder.note_connection(True)
    sounder.note_service(True)
    return sounder, horn, clock


def test_a_lull_is_told_softly_once_and_its_end_too(caplog) -> None:
    caplog.set_level(logging.WARNING)
    sounder, horn, clock = watched_sounder()
    sounder.note_alarm(wire.Alarm("none", "", None, None))
    assert (horn.count, horn.soft) == (0, 0), "no word is no signal"
    for job in (None, None, 3):
        sounder.note_alarm(wire.Alarm("none", OPEN, 1000.0, job))
        clock.at += 60.0
        sounder.tick()
    assert (horn.count, horn.soft) == (0, 1), "a job that begins is no news"
    assert OPEN in caplog.text
    sounder.note_alarm(wire.Alarm("none", SHUT, 2000.0, 3))
    assert (horn.count, horn.soft) == (0, 2)
    sounder.note_alarm(wire.Alarm("none", "", None, 3))
    sounder.note_alarm(wire.Alarm("none", OPEN, 3000.0, 3))
    assert (horn.count, horn.soft) == (0, 3), "the same words of another time are news"


def test_a_retained_lull_that_comes_again_after_a_break_is_silent() -> None:
    sounder, horn, _ = watched_sounder()
    word = wire.Alarm("none", OPEN, 1000.0, None)
    sounder.note_alarm(word)
    for _ in range(3):
        sounder.note_connection(False)
        sounder.note_connection(True)
        sounder.note_service(True)
        sounder.note_alarm(word)
    assert (horn.count, horn.soft) == (0, 1)


def test_a_lull_is_never_told_over_an_alarm_and_not_again_behind_it() -> None:
    sounder, horn, clock = watched_sounder()
    sounder.note_alarm(wire.Alarm("none", OPEN, 1000.0, 1))
    sounder.note_alarm(wire.Alarm("stop", "60-s mean wind 5.0 m/s", 1.0, 1))
    sounder.note_alarm(wire.Alarm("stop", SHUT, 1100.0, 1))
    for _ in range(30):
        clock.at += 0.1
        sounder.tick()
    assert horn.soft == 1, "while an alarm holds nothing is told softly, whatever its sentence"
    sounder.note_alarm(wire.Alarm("none", OPEN, 1000.0, 1))
    assert horn.soft == 1, "known before the alarm"
    sounder.note_alarm(wire.Alarm("notice", "60-s mean wind 4.0 m/s", 2.0, 1))
    sounder.note_alarm(wire.Alarm("none", SHUT, 1200.0, 1))
    assert horn.soft == 2, "what closed meanwhile is told when the alarm is over"
    sounded = horn.count
    clock.at += 60.0
    sounder.tick()
    assert horn.count == sounded


def test_the_bell_rings_softly_only_where_a_terminal_can(monkeypatch) -> None:
    class Sink(io.StringIO):
        """A standard error that is or is no terminal."""

        is_terminal = True

        def isatty(self) -> bool:
            return self.is_terminal

    sink = Sink()
    monkeypatch.setattr("sys.stderr", sink)
    bell = Bell(is_on=True)
    bell.chirp()
    assert sink.getvalue() == SOFTLY
    assert SOFTLY.count("\a") == 1
    sink.is_terminal = False
    bell.chirp()
    bell.sound()
    assert sink.getvalue() == SOFTLY + "\a\a"
    Bell(is_on=False).chirp()
    assert sink.getvalue() == SOFTLY + "\a\a"
