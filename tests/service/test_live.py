"""The live picture: volume, tank, alarm and rig stay right whatever comes again, late, or from before."""

from dataclasses import replace
from itertools import cycle, pairwise

import pytest

from rig import wire
from server.core.setup import Anemometer, FlowMeter, Setup, Span, Sprayer, Treatment
from server.intake import Fresh
from server.live import Live
from server.notify import Notifier
from server.snapshot import MessagesPart
from server.store.jobs import Job

BOOT, OTHER = "a1b2c3d4e5f6a7b8", "0011223344556677"
PULSES_PER_L = 450.0
SETUP = Setup(Sprayer(1.0, tank_l=10.0), FlowMeter(PULSES_PER_L), Treatment(0.04, wind_limit_mps=4.5), Anemometer(0.34))


class Rig:
    """A device, the service's clock and the live picture, in step unless told otherwise."""

    def __init__(self, setup=SETUP, name="cart", boot=BOOT, live=None):
        self.now = 1000.0 if live is None else live._now()
        self.name, self.boot, self.start, self.pulses, self.wind_pulses = name, boot, self.now, 0, 0.0
        self.seqs = {}
        self.tell_utc = lambda mono: None
        self.live = Live(setup, now=lambda: self.now) if live is None else live

    @property
    def mono(self):
        """The device's clock."""
        return self.now - self.start

    def send(self, message, *, arrived=None):
        """Hand one message to the live picture."""
        at = self.now if arrived is None else arrived
        return self.live.take(Fresh(self.name, message, at, at))

    def number(self, stream):
        """The next number of a stream."""
        self.seqs[stream] = self.seqs.get(stream, -1) + 1
        return self.seqs[stream]

    def flow(self, pulses=0, **more):
        """The flow meter, after so many more pulses."""
        self.pulses += pulses
        edge = self.mono - 0.01 if self.pulses else None
        return self.send(wire.Flow(self.boot, self.number("flow"), self.mono, self.pulses, edge, 0), **more)

    def air(self, mps, **more):
        """A fifth of a second of wind on a rig that stands."""
        self.wind_pulses += mps / 0.34 / 5
        count, mono = int(self.wind_pulses), self.mono
        edge = mono - (self.wind_pulses - count) * 0.34 / mps if mps else None
        place = (
            self.boot,
            self.number("position"),
            mono,
            "fixed",
            self.tell_utc(mono),
            45.0,
            -30.0,
            None,
            0.0,
            0.0,
            9,
            0.8,
            None,
            None,
        )
        self.send(wire.Position(*place), **more)
        return self.send(wire.Wind(self.boot, self.number("wind"), mono, count, edge, 0), **more)

    def button(self, name, **more):
        """A button on the rig."""
        return self.send(wire.Event(self.boot, self.number("event"), self.mono, "button", {"name": name}), **more)

    def go_on(self, seconds, work):
        """Time passes, five samples a second."""
        for _ in range(round(5 * seconds)):
            self.now += 0.2
            work()

    def snapshot(self):
        """The figures."""
        return self.live.snapshot(MessagesPart())


def job_from(start, setup=SETUP):
    """A running job that began there."""
    return Job(1, "Front lawn", "running", 1e9, replace(setup, job=Span("cart", start, None)))


def begin(rig):
    """Begin a job now."""
    job = job_from((rig.boot, rig.mono))
    rig.live.begin(job, job.setup)


def litres(rig):
    """The volume as pulses."""
    return rig.snapshot().volume_l * PULSES_PER_L


def test_a_job_begun_in_midst_counts_from_there():
    rig = Rig()
    rig.go_on(10, lambda: rig.flow(20))
    assert litres(rig) == pytest.approx(50 * 20, abs=0.1)
    begin(rig)
    rig.go_on(10, lambda: rig.flow(20))
    # The first count of the job is where it counts from, as in the review.
    assert litres(rig) == pytest.approx(49 * 20, abs=0.1)


def test_a_sample_taken_before_the_job_began_is_not_of_the_job():
    rig = Rig()
    rig.go_on(1, lambda: rig.flow(20))
    begin(rig)
    late = wire.Flow(BOOT, 5, rig.mono - 0.1, rig.pulses + 10, None, 0)
    rig.send(late)
    rig.seqs["flow"] = 5
    rig.pulses += 10
    rig.go_on(1, lambda: rig.flow(20))
    assert litres(rig) == pytest.approx(4 * 20, abs=0.1)


def test_a_device_that_starts_anew_goes_on_with_the_volume_and_says_so():
    rig = Rig()
    rig.go_on(10, lambda: rig.flow(20))
    again = Rig(boot=OTHER, live=rig.live)
    again.flow()
    rig.go_on(10, lambda: (setattr(again, "now", rig.now), again.flow(20)))
    assert litres(rig) == pytest.approx(100 * 20, abs=0.1)
    assert rig.live.missing == 0
    assert any("started anew" in fault for fault in rig.snapshot().faults)


def test_what_an_earlier_start_still_had_takes_nothing_back():
    rig = Rig()
    rig.go_on(5, lambda: rig.flow(20))
    again = Rig(boot=OTHER, live=rig.live)
    again.now = rig.now
    again.flow(30)
    rig.flow(7)
    again.now = rig.now = rig.now + 0.2
    again.flow(30)
    assert litres(rig) == pytest.approx(25 * 20 + 60, abs=0.1)
    assert rig.snapshot().rig.boot == OTHER


@pytest.mark.parametrize("press", ["rig", "page", "late"])
def test_a_refill_fills_the_tank_and_leaves_the_volume(press):
    rig = Rig()
    rig.go_on(60, lambda: rig.flow(3))
    used = rig.snapshot()
    assert used.tank_left_l == pytest.approx(10.0 - used.volume_l, abs=1e-3)
    if press == "page":
        rig.live.refill()
    elif press == "rig":
        rig.button("refill")
    else:
        rig.seqs["event"] = 0
        rig.button("peg")
        rig.seqs["event"] = -1
        rig.button("refill")
    found = rig.snapshot()
    assert found.tank_left_l == 10.0
    assert found.volume_l == used.volume_l
    rig.go_on(1, lambda: rig.flow(3))
    assert rig.snapshot().tank_left_l == pytest.approx(10.0 - 15 / PULSES_PER_L, abs=1e-3)


def test_a_refill_that_is_sent_again_fills_no_tank():
    rig = Rig()
    rig.button("refill")
    rig.go_on(60, lambda: rig.flow(3))
    rig.seqs["event"] = -1
    rig.button("refill")
    assert rig.snapshot().tank_left_l < 9.0


def test_wind_above_the_limit_is_told_while_it_blows():
    rig = Rig()
    rig.go_on(90, lambda: rig.air(7.0))
    assert rig.live.alarm is not None
    assert rig.live.alarm.level == "stop"


def test_what_was_kept_through_a_break_raises_no_alarm_while_it_is_sent():
    rig, told = Rig(), []
    notifier = Notifier(Told(told))
    rig.go_on(60, lambda: rig.air(2.0))
    calm = rig.live.alarm
    arrived = rig.now + 700.0
    for mps in [8.0] * 1500 + [2.0] * 1500:
        rig.now += 0.2
        rig.air(mps, arrived=arrived)
        notifier.tell(rig.live)
        assert rig.live.alarm is calm
    assert calm is not None
    assert calm.level == "none"
    rig.now = arrived
    rig.start += 100.0
    rig.go_on(5, lambda: rig.air(2.0))
    notifier.tell(rig.live)
    assert {alarm.level for alarm in told} == {"none"}


def test_what_a_start_kept_before_it_was_first_heard_raises_no_alarm():
    rig = Rig()
    arrived = rig.now + 720.0
    for number, mps in enumerate([8.0] * 1800 + [2.0] * 1800):
        rig.now += 0.2
        rig.air(mps, arrived=arrived + number / 1000)
        assert rig.live.alarm is None
    rig.now = arrived + 3.6
    rig.go_on(3, lambda: rig.air(2.0))
    assert rig.live.alarm is not None
    assert rig.live.alarm.level == "none"


class Told:
    """Takes what is told to rigs."""

    def __init__(self, told):
        self.told = told

    def publish(self, rig, message, *, is_retained=False):
        """Note an alarm; it must be retained."""
        assert is_retained
        wire.encode(message)
        self.told.append(message)

    def greet(self, rig):
        """Nothing to do."""


def test_an_alarm_is_told_once_for_each_change():
    rig, told = Rig(), []
    notifier = Notifier(Told(told))
    notifier.tell(rig.live)
    assert told == []

    def blow():
        rig.air(2.0 if rig.mono < 60 else 7.0)
        notifier.tell(rig.live)

    rig.go_on(75, blow)
    levels = [alarm.level for alarm in told]
    assert levels[0] == "none"
    assert levels[-1] == "stop"
    assert all(a != b for a, b in pairwise(told))


def test_a_clock_that_is_fitted_anew_moves_no_alarms_beginning():
    rig, told, begun = Rig(), [], set()
    notifier = Notifier(Told(told))
    wobble = cycle([0.0, 0.013, -0.21, 0.4])
    rig.tell_utc = lambda mono: 1.8e9 + mono + next(wobble)

    def blow():
        rig.air(2.0 if rig.mono < 60 else 7.0)
        notifier.tell(rig.live)
        alarm = rig.snapshot().alarm
        if alarm is not None and alarm.level == "stop":
            begun.add(alarm.since_utc)

    rig.go_on(90, blow)
    assert len(begun) == 1
    stops = {(alarm.since, alarm.reason) for alarm in told if alarm.level == "stop"}
    assert len({since for since, _ in stops}) == 1
    assert len(stops) == sum(alarm.level == "stop" for alarm in told), "the same word is not told again"


def test_beginning_a_job_silences_no_alarm():
    rig = Rig()
    rig.go_on(90, lambda: rig.air(7.0))
    begin(rig)
    rig.go_on(1, lambda: rig.air(7.0))
    assert rig.snapshot().alarm is not None
    assert rig.snapshot().alarm.level == "stop"


def test_another_rig_on_the_broker_disturbs_nothing_until_this_one_is_silent():
    rig = Rig()
    other = Rig(name="barrow", boot=OTHER, live=rig.live)

    def both():
        other.now = rig.now
        rig.flow(20)
        other.flow(5)

    rig.go_on(10, both)
    assert litres(rig) == pytest.approx(50 * 20, abs=0.1)
    assert rig.snapshot().rig.name == "cart"
    rig.go_on(10, lambda: (setattr(other, "now", rig.now), other.flow(5)))
    assert rig.snapshot().rig.name == "barrow"
    begin(rig)
    rig.go_on(10, both)
    assert rig.snapshot().rig.name == "cart"


def test_what_is_wrong_is_said_in_plain_sentences():
    rig = Rig()
    assert rig.snapshot().faults == ("No rig has been heard yet. Switch it on, within reach of the service.",)
    rig.go_on(10, lambda: (rig.flow(), rig.air(3.0)))
    assert rig.snapshot().faults == ()
    rig.go_on(5, rig.flow)
    first, second = rig.snapshot().faults
    assert "No fix" in first
    assert "anemometer is silent" in second
    rig.go_on(5, lambda: rig.air(3.0))
    assert rig.snapshot().faults == (
        "The flow meter is silent: nothing is counted. Look at its plug before you spray.",
    )
    detail = {"stream": "flow", "from_seq": 1, "to_seq": 9}
    rig.send(wire.Event(BOOT, 0, rig.mono, "overflow", detail))
    assert any("spool was full" in fault for fault in rig.snapshot().faults)
    rig.now += 10.0
    assert rig.snapshot().faults == ("The rig is silent: what is shown is old. Look at its power and its link.",)
    assert not rig.snapshot().is_spraying


def test_a_rig_that_catches_up_says_how_old_its_samples_are():
    rig = Rig()
    rig.go_on(1, rig.flow)
    arrived = rig.now + 60.0
    rig.now += 0.2
    mono = rig.mono
    rig.now = arrived
    rig.send(wire.Flow(BOOT, rig.number("flow"), mono, 0, None, 0))
    assert rig.snapshot().faults == ("The rig still sends what it kept: what is shown is 60 s old.",)
