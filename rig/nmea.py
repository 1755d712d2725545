"""NMEA 0183 bytes in, fixes out: one fix an epoch, whatever the order or doubling of its sentences.

An epoch is one time of day. GGA gives position and quality, GNS stands in for it, RMC gives date, speed and course
and a position where there is nothing else, VTG speed and course where RMC has none, GST the standard deviations.
"""

from collections import Counter, deque
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from math import isfinite
from typing import Any

from pynmeagps import NMEAReader
from pynmeagps.exceptions import NMEAMessageError, NMEAParseError, NMEAStreamError, NMEATypeError

from rig.lines import LineReader

KNOT_MPS = 1852.0 / 3600.0
KINDS = ("GGA", "GNS", "RMC", "VTG", "GST")
EPOCHS_REMEMBERED = 12
HALF_DAY_S = 43200.0
DAY_S = 86400.0
RELEASED = date(2024, 1, 1)
ROLLOVER = timedelta(weeks=1024)
"""A receiver's week number repeats after 1,024 weeks: a date that far ahead of this program is not one."""
APART = 0.4
"""A gap longer than this part of the period between epochs divides two epochs."""
_GGA_FIXES = {0: "none", 1: "single", 2: "differential", 3: "single", 4: "fixed", 5: "float", 6: "estimated"}
_MODE_FIXES = {"A": "single", "D": "differential", "P": "single", "R": "fixed", "F": "float", "E": "estimated"}
_MODE_RANK = "NEAPDFR"


@dataclass(frozen=True, slots=True)
class Fix:
    """One epoch as the receiver gave it; the fields of the wire's `position` less boot and sequence number."""

    mono: float
    fix: str
    utc: float | None
    lat: float | None
    lon: float | None
    alt: float | None
    speed: float | None
    course: float | None
    sats: int | None
    hdop: float | None
    sd_east: float | None
    sd_north: float | None


@dataclass
class Epoch:
    """The sentences of one time of day, as far as they have come."""

    mono: float
    time_s: float | None = None
    parts: dict[str, Any] = field(default_factory=dict)


@dataclass
class NmeaParser:
    """Merges a receiver's sentences into fixes; dates before `earliest` are taken for week rollovers."""

    earliest: date = date(2024, 1, 1)
    lines: LineReader = field(default_factory=LineReader)
    refused: Counter[str] = field(default_factory=Counter)
    flags: Counter[str] = field(default_factory=Counter)
    qualities: Counter[str] = field(default_factory=Counter)
    _epoch: Epoch | None = None
    _recent: deque[frozenset[str]] = field(default_factory=lambda: deque(maxlen=EPOCHS_REMEMBERED))
    _date: date | None = None
    _last_time_s: float | None = None
    _last_utc: float | None = None
    _last_mono: float | None = None
    _period_s: float | None = None

    @property
    def sentences(self) -> int:
        """Sentences with a right checksum, of any kind."""
        return self.lines.sentences

    @property
    def refusals(self) -> Counter[str]:
        """What was refused, by reason."""
        return self.lines.refused + self.refused

    def feed(self, data: bytes, mono: float) -> list[Fix]:
        """Take the next bytes, the first of which came at `mono`; give back the fixes that they complete."""
        found: list[Fix] = []
        for sentence, at in self.lines.feed(data, mono):
            if sentence[3:6].decode("ascii", "replace") in KINDS and sentence[1:2] != b"P":
                found += self._take(sentence, at)
        return found

    def flush(self) -> list[Fix]:
        """Give back the epoch under way, after a quiet time or at the end."""
        return self._finish()

    def _take(self, sentence: bytes, mono: float) -> list[Fix]:
        """Put one sentence into its epoch."""
        try:
            parsed: Any = NMEAReader.parse(sentence + b"\r\n")
        except (NMEAParseError, NMEAMessageError, NMEATypeError, NMEAStreamError, ValueError, AttributeError):
            self.refused["unreadable"] += 1
            return []
        kind = str(parsed.msgID)
        time_s = _seconds_of(getattr(parsed, "time", None))
        if kind != "VTG" and time_s is None:
            time_s = self._epoch.time_s if self._epoch is not None and kind not in self._epoch.parts else None
        is_apart = self._is_apart(mono)
        self._note_period(time_s)
        if self._epoch is not None and self._epoch.time_s is None and time_s is not None and is_apart:
            self._epoch = None
        found: list[Fix] = []
        if self._epoch is not None and self._begins_epoch(kind, time_s, is_apart=is_apart):
            found = self._finish()
        if self._epoch is None:
            if kind == "VTG" and not is_apart and self._recent and "VTG" not in self._recent[-1]:
                self.flags["late"] += 1
                return found
            if time_s is not None and time_s == self._last_time_s:
                self.flags["duplicate"] += 1
                return found
            self._epoch = Epoch(mono)
        return found + self._add(kind, time_s, parsed)

    def _is_apart(self, mono: float) -> bool:
        """Whether the line was quiet before this sentence: what has no time of its own goes with its neighbours."""
        before, self._last_mono = self._last_mono, mono
        return before is not None and self._period_s is not None and mono - before > APART * self._period_s

    def _note_period(self, time_s: float | None) -> None:
        """Keep the span from one epoch to the next."""
        before = self._epoch.time_s if self._epoch is not None else None
        before = self._last_time_s if before is None else before
        if time_s is not None and before is not None and 0.0 < time_s - before < HALF_DAY_S:
            self._period_s = time_s - before

    def _begins_epoch(self, kind: str, time_s: float | None, *, is_apart: bool) -> bool:
        """Whether a sentence belongs to another epoch than the one under way."""
        assert self._epoch is not None
        if time_s is None:
            return kind in self._epoch.parts or (is_apart and self._epoch.time_s is not None)
        return self._epoch.time_s is not None and time_s != self._epoch.time_s

    def _add(self, kind: str, time_s: float | None, parsed: Any) -> list[Fix]:
        """Keep a sentence; finish the epoch once everything has come that this receiver is used to send."""
        assert self._epoch is not None
        if kind in self._epoch.parts:
            self.flags["duplicate"] += 1
            return []
        self._epoch.parts[kind] = parsed
        if time_s is not None:
            self._epoch.time_s = time_s
        expected = frozenset().union(*self._recent)
        is_settled = len(self._recent) == EPOCHS_REMEMBERED
        return self._finish() if is_settled and expected <= self._epoch.parts.keys() else []

    def _finish(self) -> list[Fix]:
        """Turn the epoch under way into a fix."""
        epoch, self._epoch = self._epoch, None
        if epoch is None:
            return []
        self._recent.append(frozenset(epoch.parts))
        if not epoch.parts.keys() & {"GGA", "GNS", "RMC"}:
            return []
        fix = self._merge(epoch)
        self._last_time_s = epoch.time_s
        self.qualities[fix.fix] += 1
        return [fix]

    def _merge(self, epoch: Epoch) -> Fix:
        """Join the sentences of one epoch."""
        parts = epoch.parts
        gga, gns, rmc, gst = (parts.get(kind) for kind in ("GGA", "GNS", "RMC", "GST"))
        is_rmc_valid = rmc is not None and _is_valid(rmc)
        timed = rmc if rmc is not None and _is_active(rmc) else None
        utc = self._date_epoch(epoch, timed)
        fix = self._quality(gga, gns, rmc, is_rmc_valid=is_rmc_valid)
        source: Any = gga or gns or rmc
        lat, lon = _number(source.lat), _number(source.lon)
        if fix != "none" and (lat is None or lon is None or not (abs(lat) <= 90 and abs(lon) <= 180)):
            self.flags["no_coordinates"] += 1
            fix = "none"
        if fix == "none":
            lat = lon = None
        speed, course = _motion(timed, parts.get("VTG"))
        counts = gga or gns
        return Fix(
            mono=epoch.mono,
            fix=fix,
            utc=utc,
            lat=lat,
            lon=lon,
            alt=_number(counts.alt, -1e5, 1e5) if counts is not None and fix != "none" else None,
            speed=speed if fix != "none" else None,
            course=course if fix != "none" else None,
            sats=_whole(counts.numSV) if counts is not None else None,
            hdop=_number(counts.HDOP, 0.0, 1000.0) if counts is not None else None,
            sd_east=_number(gst.stdLong, 0.0, 1e7) if gst is not None and fix != "none" else None,
            sd_north=_number(gst.stdLat, 0.0, 1e7) if gst is not None and fix != "none" else None,
        )

    def _quality(self, gga: Any, gns: Any, rmc: Any, *, is_rmc_valid: bool) -> str:
        """Name the fix: GGA's word first, then GNS's best mode, then RMC's."""
        if gga is not None:
            if gga.quality in {7, 8}:
                self.flags["not_field_data"] += 1
            return _GGA_FIXES.get(gga.quality, "none")
        if gns is not None:
            modes = [m for m in str(gns.posMode) if m in _MODE_RANK]
            best = max(modes, key=_MODE_RANK.index, default="N")
            return _MODE_FIXES.get(best, "none")
        mode = getattr(rmc, "posMode", "A")
        if mode == "S":
            self.flags["not_field_data"] += 1
        return _MODE_FIXES.get(str(mode), "none") if is_rmc_valid else "none"

    def _date_epoch(self, epoch: Epoch, rmc: Any) -> float | None:
        """Join the date to the time of day; None without a believable date."""
        if epoch.time_s is None:
            return None
        if rmc is not None and isinstance(rmc.date, date):
            self._date = rmc.date
            if not self._is_believable(self._date):
                self.flags["week_rollover"] += 1
        elif self._date is not None and self._last_time_s is not None:
            step = epoch.time_s - self._last_time_s
            if step < -HALF_DAY_S:
                self._date += timedelta(days=1)
        if self._date is None:
            self._check_time(epoch.time_s)
            return None
        midnight = datetime.combine(self._date, time(), UTC).timestamp()
        utc = round(midnight + epoch.time_s, 6)
        if self._last_utc is not None and utc < self._last_utc:
            self.flags["backward_time"] += 1
        self._last_utc = utc
        return utc if self._is_believable(self._date) else None

    def _is_believable(self, found: date) -> bool:
        """Whether a date can be today's."""
        return self.earliest <= found < max(self.earliest, RELEASED) + ROLLOVER

    def _check_time(self, time_s: float) -> None:
        """Flag a time of day that went back, while there is no date."""
        if self._last_time_s is not None and 0.0 < self._last_time_s - time_s < HALF_DAY_S:
            self.flags["backward_time"] += 1


def _seconds_of(at: object) -> float | None:
    """Seconds since midnight of a sentence's time."""
    if not isinstance(at, time):
        return None
    return at.hour * 3600.0 + at.minute * 60.0 + at.second + at.microsecond * 1e-6


def _is_active(rmc: Any) -> bool:
    """Whether an RMC's date, speed and course count: many receivers always say navigation status V, "not stated"."""
    return bool(rmc.status == "A") and getattr(rmc, "posMode", "A") not in {"N", ""}


def _is_valid(rmc: Any) -> bool:
    """Whether an RMC's own position counts: active, and its navigation status, where present, neither V nor empty."""
    return _is_active(rmc) and getattr(rmc, "navStatus", "A") not in {"V", ""}


def _motion(rmc: Any, vtg: Any) -> tuple[float | None, float | None]:
    """Ground speed and course, from RMC where it gives them, else from VTG."""
    speed = _number(rmc.spd, 0.0, 1900.0) if rmc is not None else None
    course = _number(rmc.cog, 0.0, 360.0) if rmc is not None else None
    if vtg is not None and speed is None:
        speed = _number(getattr(vtg, "sogn", None), 0.0, 1900.0)
    if vtg is not None and course is None:
        course = _number(getattr(vtg, "cogt", None), 0.0, 360.0)
    return (round(speed * KNOT_MPS, 6) if speed is not None else None), course


def _number(value: object, low: float = -1e9, high: float = 1e9) -> float | None:
    """A field as a number, None where it is empty or absurd."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if isfinite(value) and low <= value <= high else None


def _whole(value: object) -> int | None:
    """A field as a whole number, None where it is empty or absurd."""
    found = _number(value, 0.0, 1000.0)
    return None if found is None else int(found)
