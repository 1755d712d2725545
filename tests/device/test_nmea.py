"""Sentences become fixes, whatever comes down the line."""

import itertools
from datetime import UTC, date, datetime
from functools import reduce
from operator import xor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.nmea import Fix, NmeaParser

EARLY = date(1990, 1, 1)


def sentence(body: str) -> bytes:
    """A sentence with its checksum: 8-bit XOR of all between $ and *."""
    return f"${body}*{reduce(xor, body.encode(), 0):02X}\r\n".encode()


def read(data: bytes, earliest: date = EARLY) -> tuple[list[Fix], NmeaParser]:
    """All fixes of a piece of bytes, and the parser."""
    parser = NmeaParser(earliest=earliest)
    return parser.feed(data, 1.0) + parser.flush(), parser


def epoch(second: int, quality: int = 4) -> list[bytes]:
    """One epoch of a receiver that sends four kinds."""
    clock = f"1200{second:02d}.00"
    return [
        sentence(f"GNGGA,{clock},4500.{1000 + second:04d}00,N,03000.200000,W,{quality},20,0.7,10.0,M,0.0,M,,"),
        sentence(f"GNRMC,{clock},A,4500.{1000 + second:04d}00,N,03000.200000,W,2.40,20.5,140526,,,R"),
        sentence("GNVTG,20.5,T,,M,2.40,N,4.44,K,R"),
        sentence(f"GNGST,{clock},1.0,0.02,0.02,0.0,0.012,0.014,0.03"),
    ]


# "NMEA Revealed" (Raymond, v2.24, 2021) gives these sentences with their checksums.
PUBLISHED = [
    (b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", "single", 48.1173, 11.516667),
    (b"$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M*47", "single", 44.069006, -121.3143268),
    (b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68", "single", 49.274166667, -123.185333333),
]


@pytest.mark.parametrize(("line", "fix", "lat", "lon"), PUBLISHED)
def test_published_sentences_are_read(line: bytes, fix: str, lat: float, lon: float) -> None:
    (found,), parser = read(line + b"\r\n")
    assert found.fix == fix
    assert found.lat == pytest.approx(lat, abs=1e-6)
    assert found.lon == pytest.approx(lon, abs=1e-6)
    assert parser.sentences == 1
    assert not parser.refusals


def test_published_time_and_speed() -> None:
    (found,), _ = read(PUBLISHED[2][0] + b"\r\n")
    assert found.utc == datetime(1994, 11, 19, 22, 54, 46, tzinfo=UTC).timestamp()
    vtg = b"$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34\r\n"  # NMEA Revealed: 2.550 kn = 1.31183 m/s
    (moving,), _ = read(PUBLISHED[1][0] + b"\r\n" + vtg)
    assert moving.speed == pytest.approx(1.31183, abs=1e-5)
    assert moving.course == 220.86


def test_no_fix_is_null_and_not_an_island() -> None:
    # pynmea2's trap in the handbook: this sentence read as latitude 0.
    (found,), _ = read(b"$GPGGA,201716.684,,,,,0,00,,,M,0.0,M,,0000*5F\r\n")
    assert (found.fix, found.lat, found.lon, found.alt) == ("none", None, None, None)


@pytest.mark.parametrize(
    ("quality", "fix"),
    [(0, "none"), (1, "single"), (2, "differential"), (3, "single"), (4, "fixed"), (5, "float"), (6, "estimated"),
     (7, "none"), (8, "none")],
)  # fmt: skip
def test_quality_belongs_to_the_fix(quality: int, fix: str) -> None:
    # GGA field 6, NMEA Revealed (Raymond, v2.24, 2021).
    found, parser = read(b"".join(epoch(1, quality)))
    assert [f.fix for f in found] == [fix]
    assert parser.flags["not_field_data"] == (1 if quality in (7, 8) else 0)


# The validity of RMC: status A, and mode and navigation status, where present, neither N, V nor empty (handbook 3.1).
@pytest.mark.parametrize(
    ("tail", "is_valid"),
    [("A,4916.45,N,12311.12,W,0.5,54.7,140526,,", True), ("V,4916.45,N,12311.12,W,0.5,54.7,140526,,", False),
     ("A,4916.45,N,12311.12,W,0.5,54.7,140526,,,A", True), ("A,4916.45,N,12311.12,W,0.5,54.7,140526,,,N", False),
     ("A,4916.45,N,12311.12,W,0.5,54.7,140526,,,", False), ("A,4916.45,N,12311.12,W,0.5,54.7,140526,,,A,S", True),
     ("A,4916.45,N,12311.12,W,0.5,54.7,140526,,,A,V", False)],
)  # fmt: skip
def test_rmc_alone_counts_only_when_valid(tail: str, is_valid: bool) -> None:
    (found,), _ = read(sentence(f"GPRMC,225446,{tail}"))
    assert (found.fix != "none") == is_valid


def test_bad_rmc_does_not_discard_its_good_gga() -> None:
    gga, _, vtg, gst = epoch(1)
    void = sentence("GNRMC,120001.00,V,,,,,,,140526,,,N")
    (found,), _ = read(gga + void + vtg + gst)
    assert (found.fix, found.sats, found.utc) == ("fixed", 20, None)
    assert found.lat == pytest.approx(45.0 + 0.1001 / 60, abs=1e-7)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_order_and_doubling_inside_an_epoch_change_nothing(data: st.DataObject) -> None:
    plain, _ = read(b"".join(line for second in range(1, 16) for line in epoch(second)))
    shuffled = []
    for second in range(1, 16):
        lines = epoch(second)
        timed = [line for line in lines if b"VTG" not in line]
        order = data.draw(st.permutations([*timed, *data.draw(st.lists(st.sampled_from(timed), max_size=2))]))
        shuffled += [order[0], lines[2], *order[1:]]
    found, parser = read(b"".join(shuffled))
    assert [(f.utc, f.lat, f.lon, f.speed, f.course, f.sd_east) for f in found] == [
        (f.utc, f.lat, f.lon, f.speed, f.course, f.sd_east) for f in plain
    ]
    assert parser.qualities["fixed"] == 15


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 4000), max_size=40))
def test_torn_at_any_byte_gives_the_same_fixes(cuts: list[int]) -> None:
    data = b"# head\r\n" + b"".join(line for second in range(1, 14) for line in epoch(second)) + b"\x00\xff\n$GPGGA,1\n"
    whole, _ = read(data)
    parser = NmeaParser(earliest=EARLY)
    places = sorted({0, *(cut % len(data) for cut in cuts), len(data)})
    found = [f for a, b in itertools.pairwise(places) for f in parser.feed(data[a:b], 1.0)] + parser.flush()
    assert found == whole
    assert len(found) == 13


def test_what_is_no_sentence_is_counted_and_skipped() -> None:
    good = epoch(1)[0]
    data = (
        b"# a comment\n" + b"\x80\x81\x82\n" + b"NMEA," + good.strip() + b",1234\n" + good[:20] + b"\n"
        + good.replace(b"*", b"*0", 1) + good.replace(b"45", b"46") + b"$" + b"x" * 600 + b"\n" + good
    )  # fmt: skip
    found, parser = read(data)
    assert len(found) == 1
    assert parser.refusals["not_nmea"] == 1
    assert parser.refusals["binary"] == 1
    assert parser.refusals["wrapped"] == 1
    assert parser.refusals["checksum"] == 1
    assert parser.refusals["torn"] >= 2
    assert parser.sentences == 1


def test_time_that_goes_back_and_rolled_over_dates_are_flagged() -> None:
    _, parser = read(b"".join([*epoch(10), *epoch(11), *epoch(5)]))
    assert parser.flags["backward_time"] == 1
    old = [line.replace(b"140526", b"280906") for line in epoch(1)[:1]] + [
        sentence("GNRMC,120001.00,A,4500.100100,N,03000.200000,W,2.40,20.5,280906,,,R")
    ]
    (found,), rolled = read(b"".join(old), date(2024, 1, 1))
    assert rolled.flags["week_rollover"] == 1
    assert (found.utc, found.fix, found.speed) == (None, "fixed", pytest.approx(2.4 * 1852 / 3600))


def test_midnight_moves_the_date_on() -> None:
    before = sentence("GNGGA,235959.00,4500.1,N,03000.2,W,4,20,0.7,10.0,M,0.0,M,,") + sentence(
        "GNRMC,235959.00,A,4500.1,N,03000.2,W,2.40,20.5,140526,,,R"
    )
    after = sentence("GNGGA,000000.00,4500.1,N,03000.2,W,4,20,0.7,10.0,M,0.0,M,,")
    found, parser = read(before + after)
    assert found[1].utc == found[0].utc + 1.0
    assert parser.flags["backward_time"] == 0


def test_a_settled_receiver_gives_its_fix_without_waiting_for_the_next() -> None:
    parser = NmeaParser(earliest=EARLY)
    counts = [len(parser.feed(b"".join(epoch(second)), float(second))) for second in range(1, 31)]
    assert counts[20:] == [1] * 10


@pytest.mark.parametrize("order", [("GGA", "RMC", "VTG"), ("VTG", "GGA", "RMC"), ("RMC", "VTG", "GGA")])
@pytest.mark.parametrize("start", [0, 1, 2])
def test_sentences_without_a_time_stay_with_their_epoch_wherever_reading_began(
    order: tuple[str, ...], start: int
) -> None:
    # 10 Hz, as fast as it comes: there is no quiet time that would end an epoch.
    parser, found, line = NmeaParser(earliest=EARLY), [], 0
    for k in range(60):
        clock = f"1200{k // 10:02d}.{k % 10}0"
        bodies = {
            "GGA": f"GNGGA,{clock},4500.1,N,03000.2,W,4,20,0.7,10.0,M,0.0,M,,",
            "RMC": f"GNRMC,{clock},A,4500.1,N,03000.2,W,,,140526,,,R",
            "VTG": f"GNVTG,20.5,T,,M,{k},N,,K,R",
        }
        for place, kind in enumerate(order):
            if line >= start:
                found += parser.feed(sentence(bodies[kind]), 1000.0 + 0.1 * k + 0.005 * place)
            line += 1
    assert len(found) >= 57
    for fix in found[5:]:
        k = round((fix.utc - datetime(2026, 5, 14, 12, tzinfo=UTC).timestamp()) * 10)
        assert fix.mono == pytest.approx(1000.0 + 0.1 * k, abs=1e-6)
        assert fix.speed == pytest.approx(k * 1852 / 3600, abs=1e-5)


def test_a_date_far_ahead_is_a_rollover_too() -> None:
    line = "GNRMC,120001.00,A,4500.100100,N,03000.200000,W,2.40,20.5,010160,,,R"
    (found,), parser = read(sentence(line), date(2024, 1, 1))
    assert (found.utc, found.fix) == (None, "fixed")
    assert parser.flags["week_rollover"] == 1


def test_a_mark_inside_a_text_does_not_tear_it() -> None:
    _, parser = read(sentence("GNTXT,01,01,02,hello! world") + b"!AIVDM,1,1,,A,1,0*2A\r\n")
    assert parser.sentences + parser.refusals["checksum"] == 2
    assert parser.refusals["torn"] == 0
