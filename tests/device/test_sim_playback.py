"""Playback: recordings become feeds, heads and comments never become sentences, and the commands speak plainly."""

import gzip

import numpy as np
import pytest
from click.testing import CliRunner

from firmware_sim.__main__ import main
from firmware_sim.bench import record
from firmware_sim.playback import carry_along, read_nmea, read_way, read_wind
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.sensors.gnss import Receiver
from rig import wire

GGA = "$GPGGA,1235{:02d},4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"


def sentence(second):
    """A GGA of one second with its checksum, by a plain loop."""
    body = GGA.format(second)[1:]
    check = 0
    for byte in body.encode():
        check ^= byte
    return f"${body}*{check:02X}\r\n".encode()


def run(*arguments):
    """A command as a user would start it."""
    return CliRunner().invoke(main, list(arguments))


@pytest.mark.parametrize("is_gzip", [False, True])
def test_a_receiver_s_log_plays_at_its_own_times(tmp_path, is_gzip):
    """A burst a second of the sentences' clock, plain or gzip."""
    data = b"".join(sentence(second) for second in (10, 11, 13))
    file = tmp_path / ("log.nmea.gz" if is_gzip else "log.nmea")
    file.write_bytes(gzip.compress(data) if is_gzip else data)
    feed = read_nmea(file)
    assert [at for at, _ in feed.bursts] == [0.0, 1.0, 3.0]
    assert b"".join(burst for _, burst in feed.bursts) == data


def test_a_log_that_steps_back_in_time_goes_on_where_it_was(tmp_path):
    """A receiver's clock that steps back cannot make the world step back."""
    (tmp_path / "log.nmea").write_bytes(b"".join(sentence(s) for s in (10, 12, 11, 12)))
    times = [at for at, _ in read_nmea(tmp_path / "log.nmea").bursts]
    assert times == sorted(times)
    assert times[-1] <= 4.0


def test_an_empty_log_is_an_empty_feed(tmp_path):
    """Nothing in, nothing out."""
    (tmp_path / "log.nmea").write_bytes(b"")
    assert read_nmea(tmp_path / "log.nmea").bursts == []


def test_the_recorded_wind_is_the_one_its_notes_describe(recordings):
    """15 min at 20 Hz, highest 3-s mean of speed 5.04 m/s, mean 1.77 (the recordings' README)."""
    (file,) = (recordings / "csat3_20hz").glob("*.dat.gz")
    t, east, north = read_wind(file)
    speed = np.hypot(east, north)
    assert len(t) / 20.0 == pytest.approx(900.0, abs=1.0)
    assert np.mean(speed) == pytest.approx(1.77, abs=0.01)
    assert np.max(np.convolve(speed, np.ones(60) / 60.0, "valid")) == pytest.approx(5.04, abs=0.01)


def test_the_recorded_mower_becomes_fixes_along_its_way(recordings):
    """A real path in a synthetic encoding: RTK fixes within 5 cm of it, median pace as its notes say, cup felt."""
    way = read_way(recordings / "plaza_lawnmower" / "plaza1_first1160s.csv", 300.0)
    (file,) = (recordings / "csat3_20hz").glob("*.dat.gz")
    feed = carry_along(way, read_wind(file), receiver=Receiver("fixed"), seed=1)
    messages = [message for _, message in record(feed, "00000000000000bb")]
    fixes = [m for m in messages if isinstance(m, wire.Position)]
    assert len(fixes) == len(feed.bursts)
    t = np.array([m.utc for m in fixes]) - feed.utc_start
    east = (np.array([m.lon for m in fixes]) + 30.0) * 78846.835
    north = (np.array([m.lat for m in fixes]) - 45.0) * 111131.777
    off = np.hypot(east - np.interp(t, way[0], way[1]), north - np.interp(t, way[0], way[2]))
    assert np.percentile(off, 95) < 0.05
    flow = [m for m in messages if isinstance(m, wire.Flow)]
    on_s = feed.duration_s - 10.0
    assert flow[-1].pulses == pytest.approx(1.2 / 60.0 * 450.0 * on_s, abs=2)
    wind = [m for m in messages if isinstance(m, wire.Wind)]
    assert wind[-1].pulses > 300


def test_the_scenarios_are_listed_by_name():
    """Each with a sentence about it."""
    found = run("list")
    assert found.exit_code == 0
    assert [line.split()[0] for line in found.output.splitlines()] == list(SCENARIOS)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("log", "moonwalk", "--out", "x"), "moonwalk"),
        (("log", "demo", "--receiver", "perfect", "--out", "x"), "perfect"),
        (("log", "demo"), "--out"),
        (("rig", "demo", "--broker", "nowhere"), "HOST:PORT"),
        (("rig", "demo", "--pace", "0"), "pace"),
        (("nmea", "no-such-file.nmea"), "no-such-file.nmea"),
    ],
)
def test_a_bad_wish_is_answered_plainly(tmp_path, monkeypatch, arguments, word):
    """The word that is wrong, a non-zero exit, no traceback."""
    monkeypatch.chdir(tmp_path)
    found = run(*arguments)
    assert found.exit_code != 0
    assert word in found.output
    assert "Traceback" not in found.output
