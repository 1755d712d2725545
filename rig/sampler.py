"""Raw counts and fixes become messages, numbered by stream: cumulative, never reset, on the monotonic clock."""

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rig import wire
from rig.nmea import Fix, NmeaParser
from rig.ports import EdgeCount, EdgeCounter

RECEIVER_EVENT_PERIOD_S = 60.0
CLIMATE_PERIOD_S = 10.0
MONO_DIGITS = 6
DEGREE_DIGITS = 9
"""0.1 mm on the ground."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One pulse counter, how often to read it and the fastest believable rate."""

    stream: str
    counter: EdgeCounter
    sample_rate_hz: float
    maximum_hz: float


@dataclass
class Sampler:
    """Reads the counters on their own beat and numbers every message of one boot."""

    boot: str
    channels: tuple[Channel, ...] = ()
    _next: Counter[str] = field(default_factory=Counter)
    _due: dict[str, float] = field(default_factory=dict)
    _last: dict[str, tuple[float, EdgeCount]] = field(default_factory=dict)
    _implausible_after: dict[str, float] = field(default_factory=dict)
    _statistics_due: float | None = None

    def begin(self, now: float) -> list[wire.Sample]:
        """Say that the device program has started."""
        self._statistics_due = now + RECEIVER_EVENT_PERIOD_S
        for channel in self.channels:
            beat = 1.0 / channel.sample_rate_hz
            self._due[channel.stream] = math.ceil(now / beat) * beat
        return [self.report(now, "started", {})]

    def report(self, now: float, kind: str, detail: Mapping[str, Any]) -> wire.Event:
        """Make an event."""
        return wire.Event(self.boot, self._number("event"), round(now, MONO_DIGITS), kind, dict(detail))

    def sample(self, now: float) -> list[wire.Sample]:
        """Read every counter that is due."""
        found: list[wire.Sample] = []
        for channel in self.channels:
            due = self._due.get(channel.stream, now)
            if now + 1e-9 < due:
                continue
            beat = 1.0 / channel.sample_rate_hz
            self._due[channel.stream] = (math.floor(now / beat + 1e-9) + 1) * beat
            found += self._read(channel, now)
        return found

    def next_due(self) -> float:
        """When the next counter is to be read."""
        return min(self._due.values(), default=math.inf)

    def take(self, fix: Fix) -> wire.Position:
        """Number one fix."""
        return wire.Position(
            boot=self.boot,
            seq=self._number("position"),
            mono=round(fix.mono, MONO_DIGITS),
            fix=fix.fix,
            utc=fix.utc,
            lat=_rounded(fix.lat, DEGREE_DIGITS),
            lon=_rounded(fix.lon, DEGREE_DIGITS),
            alt=_rounded(fix.alt, 3),
            speed=_rounded(fix.speed, 4),
            course=_rounded(fix.course, 3),
            sats=fix.sats,
            hdop=_rounded(fix.hdop, 2),
            sd_east=_rounded(fix.sd_east, 4),
            sd_north=_rounded(fix.sd_north, 4),
        )

    def take_climate(self, now: float, temperature_c: float | None, humidity_percent: float | None) -> wire.Climate:
        """Number one reading of the air."""
        return wire.Climate(
            self.boot, self._number("climate"), round(now, MONO_DIGITS), temperature_c, humidity_percent
        )

    def tell_statistics(self, now: float, parser: NmeaParser) -> list[wire.Sample]:
        """Tell once a minute what became of the receiver's sentences."""
        if self._statistics_due is None or now < self._statistics_due:
            return []
        self._statistics_due += RECEIVER_EVENT_PERIOD_S
        flags = {**parser.flags, **{f"refused_{name}": count for name, count in parser.refusals.items()}}
        detail = {"sentences": parser.sentences, "refused": parser.refusals.total(), "flags": flags}
        return [self.report(now, "receiver", detail)]

    def _read(self, channel: Channel, now: float) -> list[wire.Sample]:
        """Make one channel's message, and an event where its rate cannot be real."""
        count = channel.counter.read()
        mono, edge = round(now, MONO_DIGITS), _rounded(count.edge_mono, MONO_DIGITS)
        make = wire.Flow if channel.stream == "flow" else wire.Wind
        message = make(self.boot, self._number(channel.stream), mono, count.pulses, edge, count.edges_rejected)
        return [message, *self._doubt(channel, now, count)]

    def _doubt(self, channel: Channel, now: float, count: EdgeCount) -> list[wire.Sample]:
        """Tell, at most once a minute, of a rate that the sensor cannot reach."""
        before = self._last.get(channel.stream)
        self._last[channel.stream] = (now, count)
        if before is None or now <= before[0] or now < self._implausible_after.get(channel.stream, -math.inf):
            return []
        rate_hz = (count.pulses - before[1].pulses) / (now - before[0])
        if rate_hz <= channel.maximum_hz:
            return []
        self._implausible_after[channel.stream] = now + RECEIVER_EVENT_PERIOD_S
        return [self.report(now, "implausible", {"stream": channel.stream, "rate_hz": round(rate_hz, 3)})]

    def _number(self, stream: str) -> int:
        seq = self._next[stream]
        self._next[stream] += 1
        return seq


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
