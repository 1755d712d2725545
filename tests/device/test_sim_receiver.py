"""The simulated receiver: sentences that others can read, errors with the spread and correlation asked for."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pynmeagps import NMEAReader

from firmware_sim.build import build_world
from firmware_sim.noise import make_generator
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.sensors.gnss import CLASSES, Receiver, regrade, take_fixes
from firmware_sim.sensors.sentences import format_angle, frame_sentence, write_burst, xor_bytes
from firmware_sim.world.geodesy import LocalPlane

PUBLISHED = (
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
    "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
    "$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M*47",
    "$GPGST,182141.000,15.5,15.3,7.2,21.8,0.9,0.5,0.8*54",
    "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
    "$GPGGA,201716.684,,,,,0,00,,,M,0.0,M,,0000*5F",
)
ALL = ("GGA", "RMC", "VTG", "GST")
UTC = 1778743800.2
STILL = np.zeros(40_000)


def burst(code=4, place=(45.0, -30.0), motion=(1.2, 20.0), utc=UTC, places=7):
    """One epoch's sentences."""
    return write_burst(utc, code, place, motion, (0.014, 0.011), places=places, kinds=ALL, sats=20, hdop=0.6)


def read(data):
    """What an independent parser makes of it (pynmeagps, checksums validated)."""
    return {m.msgID: m for m in (NMEAReader.parse(line + b"\r\n") for line in data.split(b"\r\n") if line)}


def errors_of(klass, seed=1, rate_hz=5.0, **more):
    """What a receiver that stands at the origin says."""
    receiver = Receiver(klass, rate_hz, **more)
    t = np.arange(1, len(STILL) + 1) / rate_hz
    return take_fixes(receiver, t, (STILL, STILL), (STILL, STILL), make_generator(seed, "receiver"))


@pytest.mark.parametrize("sentence", PUBLISHED)
def test_checksums_of_published_sentences(sentence):
    """Sentences listed in section 3.1 of the physics handbook ("NMEA Revealed", and a parser library's test cases)."""
    body = sentence[1 : sentence.index("*")]
    assert frame_sentence(body) == sentence.encode() + b"\r\n"


@given(st.binary(max_size=128))
def test_the_folded_checksum_is_the_plain_one(text):
    """Against a loop over the bytes, as the standard words it."""
    plain = 0
    for byte in text:
        plain ^= byte
    assert xor_bytes(text) == plain


@given(st.floats(-90.0, 90.0), st.sampled_from([4, 5, 7]))
def test_degrees_and_minutes_say_the_angle_to_the_last_digit(angle, places):
    """Minutes stay below 60 and the text is within half a unit of the angle."""
    text = format_angle(angle, places=places, degree_digits=2)
    assert float(text[2:]) < 60.0
    assert int(text[:2]) * 60.0 + float(text[2:]) == pytest.approx(abs(angle) * 60.0, abs=0.51 * 10.0**-places)


def test_an_independent_parser_reads_the_epoch_back():
    """pynmeagps: place, quality, speed, course, accuracy, date and time of GGA, RMC, VTG, GST."""
    found = read(burst(place=(45.000123456, -30.000654321)))
    assert (found["GGA"].lat, found["GGA"].lon) == pytest.approx((45.000123456, -30.000654321), abs=2e-9)
    assert found["GGA"].quality == 4
    assert found["RMC"].spd * 1852.0 / 3600.0 == pytest.approx(1.2, abs=3e-4)
    assert found["RMC"].cog == pytest.approx(20.0)
    assert found["VTG"].sogk / 3.6 == pytest.approx(1.2, abs=2e-4)
    assert (found["GST"].stdLong, found["GST"].stdLat) == (0.014, 0.011)
    assert found["RMC"].date.isoformat() == "2026-05-14"
    assert found["GGA"].time.isoformat() == "07:30:00.200000"


def test_no_fix_is_empty_fields_and_never_the_null_island():
    """Invalid data is empty (NMEA Revealed); RMC says V, quality 0."""
    data = burst(code=0)
    found = read(data)
    assert found["GGA"].quality == 0
    assert found["GGA"].lat == ""
    assert found["RMC"].status == "V"
    assert b"0000.0000" not in data


def test_course_is_left_out_when_nearly_still():
    """As in the published GNRMC at 0.146 kn: no course."""
    assert read(burst(motion=(0.02, 123.0)))["RMC"].cog == ""


@given(st.floats(1.7e9, 1.9e9), st.floats(-89.0, 89.0), st.floats(-180.0, 180.0), st.floats(0.0, 30.0))
def test_no_sentence_is_longer_than_the_standard_allows(utc, lat, lon, speed):
    """82 bytes with $ and line end, at the digits of an ordinary receiver (high-precision ones exceed it in life)."""
    data = burst(1, (lat, lon), (speed, 359.999), utc, places=5)
    assert all(len(line) + 2 <= 82 for line in data.split(b"\r\n"))
    assert len(read(data)) == 4


@pytest.mark.parametrize("klass", list(CLASSES))
def test_position_and_velocity_errors_have_their_spread(klass):
    """Over 12 seeds of 8000 s against the class's own sizes; few independent samples of the long wander: 25 %."""
    grade = CLASSES[klass]
    wanted = math.sqrt(grade.long_sd_m**2 + grade.short_sd_m**2 + grade.white_sd_m**2)
    wanted_speed = math.hypot(grade.bias_sd_mps, grade.doppler_sd_mps)
    runs = [errors_of(klass, seed) for seed in range(12)]
    assert math.sqrt(np.mean([np.mean(run.east_m**2) for run in runs])) == pytest.approx(wanted, rel=0.25)
    assert math.sqrt(np.mean([np.mean(run.velocity_north_mps**2) for run in runs])) == pytest.approx(
        wanted_speed, rel=0.1
    )


def test_errors_two_minutes_apart_are_alike_and_a_day_apart_are_not():
    """Pass-to-pass error is much smaller than absolute error (handbook 3.2, after measured autocorrelations G5)."""
    grade = CLASSES["ordinary"]
    runs = [errors_of("ordinary", seed).east_m for seed in range(12)]
    short = math.sqrt(np.mean([np.mean((run[600:] - run[:-600]) ** 2) for run in runs]))
    a, b = grade.long_sd_m**2 * (1 - math.exp(-120 / 1200)), grade.short_sd_m**2 * (1 - math.exp(-2))
    assert short == pytest.approx(math.sqrt(2.0 * (a + b + grade.white_sd_m**2)), rel=0.12)
    absolute = math.sqrt(np.mean([np.mean(run**2) for run in runs]))
    assert short < math.sqrt(2.0) * absolute


def test_classes_are_in_order():
    """Each class is at least as good as the one before, in place and in speed."""
    sizes = [(g.long_sd_m + g.short_sd_m, g.doppler_sd_mps) for g in CLASSES.values()]
    places, speeds = zip(*sizes, strict=True)
    assert list(places) == sorted(places, reverse=True)
    assert speeds[0] > speeds[1] > speeds[2]


def test_losing_corrections_shows_in_quality_and_error():
    """Float instead of fixed while the corrections are away, fixed again afterwards."""
    found = errors_of("fixed", downgrades=((1000.0, 3000.0),))
    inside = (found.t >= 1000.0) & (found.t < 3000.0)
    assert set(found.code[inside].tolist()) == {5}
    assert set(found.code[~inside].tolist()) == {4}
    assert np.std(found.east_m[inside]) > 5.0 * np.std(found.east_m[~inside])
    assert np.min(found.said_sd_m[inside]) > np.max(found.said_sd_m[~inside])


def test_a_dropout_is_no_fix_for_its_span():
    """Quality 0 exactly from its start to its end."""
    found = errors_of("ordinary", dropouts=((50.0, 60.0),))
    assert np.array_equal(found.code == 0, (found.t >= 50.0) & (found.t < 60.0))


def test_bytes_come_after_the_instant_they_describe_and_in_order():
    """Latency at least as set, never earlier than the burst before."""
    found = errors_of("clean", latency_s=0.15, jitter_s=0.02)
    late = found.emit_s - found.t
    assert np.min(late) >= 0.15
    assert np.mean(late) == pytest.approx(0.15 + 0.02 * math.sqrt(2.0 / math.pi), abs=0.002)
    assert np.all(np.diff(found.emit_s) >= 0.0)


@pytest.mark.parametrize("rate_hz", [1.0, 2.0, 10.0])
def test_the_receiver_speaks_as_often_as_asked(rate_hz):
    """Epochs on whole fractions of a second, as many as the walk has time for."""
    world = build_world(SCENARIOS["straight"], 1, rate_hz=rate_hz)
    assert len(world.feed.bursts) == int(world.walk.duration_s * rate_hz)
    assert np.diff(world.fixes.t) == pytest.approx(np.full(len(world.fixes.t) - 1, 1.0 / rate_hz))


def test_an_unknown_class_is_refused_with_the_known_ones():
    """A caller's mistake says what there is."""
    with pytest.raises(ValueError, match="differential"):
        regrade(Receiver(), klass="perfect")


def test_the_sentences_put_the_rig_where_the_fix_is():
    """Degrees in the sentences against the plane, a high-precision and an ordinary receiver, to their last digit."""
    scenario = SCENARIOS["straight"]
    for klass, limit_m in (("fixed", 2e-4), ("ordinary", 0.02)):
        world = build_world(replace(scenario, receiver=Receiver(klass)), 2)
        plane = LocalPlane()
        for i in range(0, len(world.feed.bursts), 97):
            gga = read(world.feed.bursts[i][1])["GGA"]
            east, north = plane.metres(np.array(gga.lat), np.array(gga.lon))
            assert float(east) == pytest.approx(world.fixes.east_m[i], abs=limit_m)
            assert float(north) == pytest.approx(world.fixes.north_m[i], abs=limit_m)
