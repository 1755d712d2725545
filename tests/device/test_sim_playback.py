"""Playback: recordings become feeds, heads and comments never become sentences, and the commands speak plainly."""

import gzip
import json

import numpy as np
import pytest
from click.testing import CliRunner

from firmware_sim.__main__ import main
from firmware_sim.bench import record, write_log
from firmware_sim.build import build_world
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


def test_a_log_is_written_with_its_setup_and_truth(tmp_path):
    """All five files, the count of messages told, the class as asked."""
    found = run("log", "straight", "--seed", "3", "--receiver", "differential", "--out", str(tmp_path / "out"))
    assert found.exit_code == 0
    names = {file.name for file in (tmp_path / "out").iterdir()}
    assert names == {"log.ndjson.gz", "setup.toml", "lawn.geojson", "truth.json", "truth.npz"}
    truth = json.loads((tmp_path / "out" / "truth.json").read_text())
    assert (truth["seed"], truth["receiver_class"]) == (3, "differential")
    assert str(len(gzip.decompress((tmp_path / "out" / "log.ndjson.gz").read_bytes()).splitlines())) in found.output


def test_remarks_in_a_log_are_no_sentences(tmp_path):
    """Lines that begin with # are left out."""
    (tmp_path / "log.nmea").write_bytes(b"# kept by a friend\r\n" + sentence(10) + b"# end\r\n")
    assert b"".join(burst for _, burst in read_nmea(tmp_path / "log.nmea").bursts) == sentence(10)


@pytest.mark.parametrize("name", ["way", "nmea", "log"])
def test_a_bad_file_or_folder_is_one_plain_line(tmp_path, name):
    """A CSV without the columns, a gzip file that is none, a folder below a file: what and where, no traceback."""
    bad = tmp_path / "bad.gz"
    bad.write_bytes(b"x")
    plain = tmp_path / "plain.csv"
    plain.write_text("a,b\n1,2\n")
    arguments = {
        "way": ("way", str(plain), "--wind", str(plain), "--out", str(tmp_path / "out")),
        "nmea": ("nmea", str(bad)),
        "log": ("log", "straight", "--out", str(plain / "out")),
    }[name]
    found = run(*arguments)
    assert found.exit_code != 0
    assert found.output.startswith("Error: ")
    assert len(found.output.strip().splitlines()) == 1
    assert str(tmp_path) in found.output


def test_a_gzip_log_is_the_same_bytes_for_the_same_seed(tmp_path):
    """No time stamp and no file name inside, and the file closed when the writer returns."""
    feed = build_world(SCENARIOS["straight"], 5).feed
    for name in ("a", "b"):
        write_log(feed, tmp_path / f"{name}.ndjson.gz", rig="sim", boot="00000000000000cc")
    assert (tmp_path / "a.ndjson.gz").read_bytes() == (tmp_path / "b.ndjson.gz").read_bytes()
