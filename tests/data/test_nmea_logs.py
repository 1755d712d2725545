"""Receivers' own logs through a pseudo-terminal into the device's port and parser, against pynmeagps and the notes.

Sources, licences and what is known of each log: README.md of the recordings.
"""

import asyncio
import gzip
import os
from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from pynmeagps import NMEAReader
from pynmeagps.exceptions import NMEAMessageError, NMEAParseError, NMEAStreamError, NMEATypeError

from rig.hardware.serial import SerialPort
from rig.nmea import Fix, NmeaParser
from rig.ports import MonotonicClock

EARLY = date(1990, 1, 1)
LOGS = [
    "gpsd_nmea/ait250.log", "gpsd_nmea/bundg_zeus_9.log", "gpsd_nmea/cat-ms352.log", "gpsd_nmea/gpsdf.log",
    "gpsd_nmea/haicom-305N.log", "gpsd_nmea/motorola-t805.log", "gpsd_nmea/neo-m8n.log", "gpsd_nmea/sirfstarv-nmea.log",
    "gpsd_nmea/skytraq-dgps.log", "gpsd_nmea/tcp-torture.log", "gpsd_nmea/telit-he910.log", "gpsd_nmea/ublox-8.log",
    "gpsd_nmea/ublox-f9p-hpnmea.log", "gpsd_nmea/ublox-neo-m9n-nmea.log", "f9k_drive/f9k_first600s.nmea.gz",
    "android_pixel6/pixel6.nmea", "aircraft_fixloss/nmea1.log.gz", "plaka_boat_wind/plaka_0956_1224.nmea.gz",
]  # fmt: skip
LARGEST_BYTES = 400_000


def read_log(path: Path) -> bytes:
    """A log's bytes, long ones cut after a whole line."""
    data = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
    return data if len(data) <= 2 * LARGEST_BYTES else data[: data.index(b"\n", LARGEST_BYTES) + 1]


def through_a_port(data: bytes) -> tuple[list[Fix], NmeaParser]:
    """The device's own way: pseudo-terminal, serial port, parser."""

    async def play() -> tuple[list[Fix], NmeaParser]:
        master, slave = os.openpty()
        port = SerialPort(os.ttyname(slave), 38400, MonotonicClock())
        port.open()
        parser, found, taken = NmeaParser(earliest=EARLY), [], 0
        os.set_blocking(master, False)
        rest = data
        while taken < len(data):
            if rest:
                try:
                    rest = rest[os.write(master, rest[:2048]) :]
                except BlockingIOError:
                    pass
            piece, mono = await asyncio.wait_for(port.read(), 20.0)
            taken += len(piece)
            found += parser.feed(piece, mono)
        port.close()
        os.close(master)
        os.close(slave)
        return found + parser.flush(), parser

    return asyncio.run(play())


def count_independently(data: bytes) -> tuple[int, int, Counter[int]]:
    """Whole sentences that pynmeagps accepts, bad checksums, and GGA qualities by its word, line by line."""
    good = bad = 0
    qualities: Counter[int] = Counter()
    last = None
    for line in data.replace(b"\r", b"\n").split(b"\n"):
        start = line.rfind(b"$")
        if start != 0 and not (start > 0 and line[:1] == b"$"):
            continue  # sentences that begin with ! are not pynmeagps's
        try:
            parsed = NMEAReader.parse(line[start:] + b"\r\n", msgmode=0)
            good += 1
        except (NMEAParseError, NMEAMessageError, NMEATypeError, NMEAStreamError, ValueError, AttributeError) as error:
            bad += "checksum" in str(error)
            continue
        if getattr(parsed, "msgID", "") == "GGA" and parsed.time != last:
            qualities[int(parsed.quality)] += 1
            last = parsed.time
    return good, bad, qualities


@pytest.mark.parametrize("name", LOGS)
def test_log_comes_through_the_port_as_it_is(recordings: Path, name: str) -> None:
    data = read_log(recordings / name)
    fixes, parser = through_a_port(data)
    plain = NmeaParser(earliest=EARLY)
    assert fixes_without_times(plain.feed(data, 0.0) + plain.flush()) == fixes_without_times(fixes)
    good, bad, qualities = count_independently(data)
    # pynmeagps refuses talkers and kinds that it does not know; the device counts every whole sentence.
    assert parser.sentences >= good
    assert parser.refusals["checksum"] == pytest.approx(bad, abs=max(2, 0.05 * bad))
    if qualities and "tcp-torture" not in name:
        fixed = parser.qualities["fixed"], parser.qualities["float"], parser.qualities["differential"]
        assert fixed == (qualities[4], qualities[5], qualities[2])
    assert all(fix.lat is None or abs(fix.lat) > 1e-3 for fix in fixes)


def fixes_without_times(fixes: list[Fix]) -> list[tuple[object, ...]]:
    return [(f.fix, f.utc, f.lat, f.lon, f.speed, f.course, f.sats) for f in fixes]


def parse(recordings: Path, name: str) -> NmeaParser:
    parser = NmeaParser(earliest=EARLY)
    path = recordings / name
    data = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
    parser.feed(data, 0.0)
    parser.flush()
    return parser


def test_counts_that_the_notes_state(recordings: Path) -> None:
    assert parse(recordings, "gpsd_nmea/gpsdf.log").refusals["checksum"] == 46
    drive = parse(recordings, "f9k_drive/f9k_first600s.nmea.gz")
    assert drive.refusals.total() == 4
    assert drive.qualities["fixed"] + drive.qualities["float"] == 600
    loss = parse(recordings, "aircraft_fixloss/nmea1.log.gz")
    assert (loss.qualities["none"], loss.qualities.total()) == (314, 1307)
    phone = parse(recordings, "android_pixel6/pixel6.nmea")
    assert phone.sentences == 0
    assert phone.refusals["wrapped"] == phone.refusals.total() > 50
    assert parse(recordings, "gpsd_nmea/telit-he910.log").flags["backward_time"] == 1
    twice = parse(recordings, "gpsd_nmea/sirfstarv-nmea.log")
    assert twice.flags["duplicate"] == twice.qualities.total() == 59
    assert parse(recordings, "gpsd_nmea/ait250.log").refusals["not_nmea"] > 0
