"""Tables of wind readings as people have them: read as told, repaired with a count, or refused in a sentence."""

import gzip
from dataclasses import replace
from datetime import UTC, datetime
from itertools import product
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from readings import PLAIN

from server.core.blocks import tell_direction
from server.errors import HistoryError, RequestError
from server.history.importer import import_file, import_lines
from server.history.mapping import read_mapping
from server.history.proposal import propose_mapping
from server.history.readings import settle_twice
from server.history.stamp import Stamps


def minutes(count, *, begin=0, speed="2.0"):
    """Rows a minute apart on 1 March 2025."""
    return [f"2025-03-01 {(begin + i) // 60:02}:{(begin + i) % 60:02},{speed}" for i in range(count)]


def kinds(found):
    """Kind to number of rows."""
    return {note.kind: note.rows for note in found.notes}


def utc(*parts):
    """Seconds since 1970."""
    return datetime(*parts, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("order", "texts", "wanted"),
    [
        ("ymd", ["2025-03-04 05:06"], (2025, 3, 4, 5, 6)),
        ("ymd", ["2025-03-04T05:06:07"], (2025, 3, 4, 5, 6, 7)),
        ("ymd", ["20250304 0506"], (2025, 3, 4, 5, 6)),
        ("ymd", ["202503040506"], (2025, 3, 4, 5, 6)),
        ("ymd", ["2025/3/4", "5:06"], (2025, 3, 4, 5, 6)),
        ("dmy", ["4.3.2025 05:06"], (2025, 3, 4, 5, 6)),
        ("dmy", ["04.03.25", "05.06"], (2025, 3, 4, 5, 6)),
        ("dmy", ["4 Mar 2025 05:06"], (2025, 3, 4, 5, 6)),
        ("mdy", ["3/4/2025 5:06 PM"], (2025, 3, 4, 17, 6)),
        ("mdy", ["3/4/2025 12:06 am"], (2025, 3, 4, 0, 6)),
        ("ymd", ["2025-03-03 24:00"], (2025, 3, 4)),
        ("ymd", ["2025-03-04T05:06:00+02:00"], (2025, 3, 4, 3, 6)),
        ("ymd", ["2025-03-04T05:06:00Z"], (2025, 3, 4, 5, 6)),
        ("day_of_year", ["2025", "63", "506"], (2025, 3, 4, 5, 6)),
        ("epoch_s", ["1741064760"], (2025, 3, 4, 5, 6)),
        ("epoch_ms", ["1741064760000"], (2025, 3, 4, 5, 6)),
    ],
)
def test_times_are_read_in_the_forms_people_write(order, texts, wanted) -> None:
    assert Stamps(order).read(texts)[0] == utc(*wanted)


@pytest.mark.parametrize(
    ("order", "text"),
    [
        ("ymd", "2025-02-29 05:06"), ("ymd", "2025-13-01 05:06"), ("dmy", "2025-03-04"), ("ymd", "2025-03-04 25:00"),
        ("ymd", "2025-03-04 05:60"), ("ymd", "noon"), ("mdy", "13/12/2025 05:06"), ("mdy", "3/4/2025 13:06 PM"),
        ("epoch_s", "nan"), ("epoch_s", "1e30"), ("ymd", "2025-03-04 05:06 and later"),
    ],
)  # fmt: skip
def test_what_is_no_time_in_the_order_told_is_none(order, text) -> None:
    assert Stamps(order).read([text]) is None


@given(st.datetimes(datetime(1971, 1, 1), datetime(2099, 1, 1)), st.sampled_from(["ymd", "dmy", "mdy"]))
def test_a_time_written_in_an_order_is_read_back(moment, order) -> None:
    form = {"ymd": "%Y-%m-%d", "dmy": "%d.%m.%Y", "mdy": "%m/%d/%Y"}[order]
    found = Stamps(order).read([moment.strftime(f"{form} %H:%M:%S")])
    assert found == (moment.replace(microsecond=0, tzinfo=UTC).timestamp(), False)


@pytest.mark.parametrize(("unit", "mps"), [("m/s", 10.0), ("km/h", 10 / 3.6), ("mph", 4.4704), ("kn", 5.144444)])
def test_speeds_are_turned_into_metres_per_second(unit, mps) -> None:
    """A mile per hour is 0.44704 m/s, a knot 1852/3600 m/s (NIST Special Publication 811, 2008, appendix B.8)."""
    found = import_lines(minutes(3, speed="10"), replace(PLAIN, unit=unit))
    assert found.bins.mean == pytest.approx([mps] * 3, rel=1e-6)


def test_every_kind_of_bad_row_is_left_out_and_counted_by_line() -> None:
    rows = minutes(60)
    for i, text in enumerate(["-999", "99.9", "NAN", "", "--", "-1.0", "80", "calm"]):
        rows[i + 5] = rows[i + 5].rsplit(",", 1)[0] + f",{text}"
    rows[20], rows[21], rows[22] = "nonsense,2.0", "2025-03-01 00:21", "\x00\ufffd"
    found = import_lines(rows, PLAIN)
    assert kinds(found) == {
        "code": 2, "missing": 3, "implausible": 2, "no_number": 1, "no_time": 1, "short": 2,
    }  # fmt: skip
    assert next(note for note in found.notes if note.kind == "code").lines == (6, 7)
    assert (found.rows, found.used_rows, len(found.bins.minute)) == (60, 49, 49)
    assert (len(found.bins.gaps), found.bins.missing_steps) == (2, 11)


def test_bad_flags_are_left_out() -> None:
    rows = [f"{row},{'bad' if i % 4 == 0 else 'ok'}" for i, row in enumerate(minutes(20))]
    found = import_lines(rows, replace(PLAIN, flag=3, good_flags=("ok",)))
    assert kinds(found) == {"flagged": 5}
    with pytest.raises(RequestError, match="which flags mark good rows"):
        import_lines(rows, replace(PLAIN, flag=3))


def test_repeats_contradictions_and_disorder_are_counted_and_sorted() -> None:
    rows = minutes(30)
    rows = [*rows[:10], rows[5], rows[6].replace("2.0", "7.0"), *rows[10:20], *rows[25:], *rows[20:25]]
    found = import_lines(rows, PLAIN)
    assert kinds(found) == {"repeated": 1, "contradicting": 1, "out_of_order": 2}
    assert found.bins.mean.tolist() == [2.0] * 30
    assert found.bins.minute.tolist() == list(range(int(utc(2025, 3, 1) / 60), int(utc(2025, 3, 1) / 60) + 30))


def test_a_table_with_the_newest_row_first_is_not_out_of_order() -> None:
    found = import_lines(minutes(30)[::-1], PLAIN)
    assert found.notes == ()
    assert (found.bins.minute[0], len(found.bins.minute)) == (int(utc(2025, 3, 1) / 60), 30)


def test_gusts_and_directions_that_cannot_be_are_left_out_and_the_speed_stays() -> None:
    rows = [f"{row},{gust},{aim}" for row, (gust, aim) in zip(
        minutes(6), [("3", "90"), ("1.0", "90"), ("-999", "90"), ("x", "400"), ("3", ""), ("3", "360")], strict=True
    )]  # fmt: skip
    found = import_lines(rows, replace(PLAIN, gust=3, direction=4))
    assert kinds(found) == {"no_gust": 2, "gust_below_mean": 1, "no_direction": 2}
    assert found.used_rows == 6
    assert tell_direction(found.bins.east[5], found.bins.north[5])[0] % 360.0 == pytest.approx(0.0, abs=1e-6)


def test_speeds_with_their_unit_are_read_and_those_with_another_are_not() -> None:
    rows = [row.replace("2.0", f"{value}") for row, value in zip(
        minutes(5), ["3.6 km/h", "3.6km/h", "3.6", "3.6 mph", "3.6 km"], strict=True
    )]  # fmt: skip
    found = import_lines(rows, replace(PLAIN, unit="km/h"))
    assert found.bins.mean == pytest.approx([1.0] * 3)
    assert kinds(found) == {"no_number": 2}


def test_points_of_the_compass_are_directions_and_ambiguous_ones_are_not() -> None:
    rows = [f"{row},{aim}" for row, aim in zip(minutes(4), ["NNW", "e", "O", "calm"], strict=True)]
    found = import_lines(rows, replace(PLAIN, direction=3))
    aims = [tell_direction(*pair)[0] for pair in zip(found.bins.east[:2], found.bins.north[:2], strict=True)]
    assert aims == pytest.approx([337.5, 90.0])
    assert kinds(found) == {"no_direction": 2}


def test_decimal_commas_are_read_and_points_among_them_are_not_guessed_at() -> None:
    rows = [row.replace(",", ";").replace("2.0", "2,5") for row in minutes(10)]
    rows[3] = rows[3].replace("2,5", "2.5")
    found = import_lines(rows, replace(PLAIN, separator=";", decimal=","))
    assert kinds(found) == {"no_number": 1}
    assert found.bins.mean.tolist() == [2.5] * 9


def test_local_times_that_clocks_skip_are_refused_and_the_rest_is_right() -> None:
    """Europe/Berlin, 30 March 2025: 02:00 to 03:00 does not exist (IANA time zone data)."""
    rows = [f"2025-03-30 {i // 60:02}:{i % 60:02},2.0" for i in range(240)]
    found = import_lines(rows, replace(PLAIN, zone="Europe/Berlin"))
    assert kinds(found) == {"skipped_hour": 60}
    assert "fixed offset" in found.notes[0].sentence
    first, last = 60.0 * found.bins.minute[[0, -1]]
    assert (first, last) == (utc(2025, 3, 29, 23), utc(2025, 3, 30, 1, 59))


@pytest.mark.parametrize(("step", "is_reversed"), list(product((1, 10, 30, 60), (False, True))))
def test_local_times_that_come_twice_are_told_apart_by_their_order(step, is_reversed) -> None:
    """America/New_York, 2 November 2025: 01:00 to 02:00 comes twice; the instants are Python's own, from UTC."""
    zone = ZoneInfo("America/New_York")
    instants = [utc(2025, 11, 2, 3) + 60 * step * i for i in range(8 * 60 // step)]
    rows = [f"{datetime.fromtimestamp(t, zone):%Y-%m-%d %H:%M},2.0" for t in instants]
    found = import_lines(rows[::-1] if is_reversed else rows, replace(PLAIN, zone="America/New_York"))
    assert kinds(found) == {"twice_settled": 120 // step}
    assert (60.0 * found.bins.minute).tolist() == instants


ZONES = [
    "Europe/Berlin",
    "America/New_York",
    "Australia/Lord_Howe",
    "America/Santiago",
    "Asia/Kathmandu",
    "Africa/Cairo",
]
AROUND = st.integers(int(utc(2015, 1, 1)) // 3600, int(utc(2025, 12, 31)) // 3600)


@given(st.sampled_from(ZONES), AROUND, st.sampled_from([1, 5, 10, 15, 30, 60]), st.booleans(), st.data())
@settings(max_examples=200)
def test_no_instant_is_ever_wrong_whatever_the_zone_does(zone, hour, step, is_reversed, data) -> None:
    """Instants go to local text by Python's own zones and come back; near changes of clocks more often than not."""
    clock = ZoneInfo(zone)
    if data.draw(st.booleans()):
        changes = [h for h in range(hour, hour + 8800) if _offset(clock, 3600 * h) != _offset(clock, 3600 * h + 3600)]
        hour = (changes or [hour])[0] - data.draw(st.integers(0, 6))
    instants = [3600.0 * hour + 60 * step * i for i in range(max(12 * 60 // step, 4))]
    rows = [f"{datetime.fromtimestamp(t, clock):%Y-%m-%d %H:%M},2.0" for t in instants]
    found = import_lines(rows[::-1] if is_reversed else rows, replace(PLAIN, zone=zone))
    back = (60.0 * found.bins.minute).tolist()
    assert set(back) <= set(instants)
    assert len(back) + kinds(found).get("twice_unclear", 0) == len(instants)


def _offset(clock, instant):
    return datetime.fromtimestamp(instant, clock).utcoffset()


def test_a_lone_time_in_the_hour_that_comes_twice_is_refused() -> None:
    rows = ["2025-11-01 23:00,2.0", "2025-11-02 01:30,2.0", "2025-11-02 04:00,2.0", *minutes(0)]
    rows += [f"2025-11-02 05:{i:02},2.0" for i in range(30)]
    found = import_lines(rows, replace(PLAIN, zone="America/New_York"))
    assert kinds(found) == {"twice_unclear": 1}
    assert settle_twice((0.0, 3600.0), last=float("nan"), cadence=60.0) is None


def test_the_end_of_an_interval_lies_one_step_before_its_stamp() -> None:
    begin = import_lines(minutes(5), PLAIN).bins.minute
    assert (import_lines(minutes(5), replace(PLAIN, stamp="end")).bins.minute == begin - 1).all()


def test_seconds_become_minutes_with_the_gust_of_the_definition() -> None:
    speeds = [2.0] * 120
    speeds[70:73] = [8.0, 9.0, 10.0]
    rows = [f"2025-03-01 00:{i // 60:02}:{i % 60:02},{v}" for i, v in enumerate(speeds)]
    bins = import_lines(rows, PLAIN).bins
    assert bins.mean == pytest.approx([2.0, 2.0 + 21 / 60])
    assert bins.gust == pytest.approx([2.0, 9.0])
    assert bins.known_s.tolist() == [60, 60]


@pytest.mark.parametrize("days", [range(1, 13), range(1, 29)])
def test_swapped_days_and_months_are_refused_unless_a_day_above_12_tells_the_order(days, tmp_path) -> None:
    rows = [f"{day:02}/03/2025 {hour:02}:00,2.0" for day in days for hour in range(24)]
    file = tmp_path / "swapped.csv"
    file.write_text("\n".join(rows))
    mapping = replace(PLAIN, date_order=None)
    if len(days) == 12:
        with pytest.raises(RequestError, match="no day above 12"):
            import_file(file, mapping)
    else:
        assert import_file(file, mapping).mapping.date_order == "dmy"
    with pytest.raises(RequestError, match="date_order: not told"):
        import_lines(rows, mapping)


@pytest.mark.parametrize("key", ["time", "speed", "unit", "zone", "stamp", "height_m"])
def test_nothing_is_imported_that_was_not_told(key) -> None:
    with pytest.raises(RequestError, match="not told") as caught:
        import_lines(minutes(10), replace(PLAIN, **{key: () if key == "time" else None}))
    assert caught.value.key == key


def test_a_table_that_is_not_as_described_is_refused_whole() -> None:
    with pytest.raises(HistoryError, match=r"30 of 30 rows cannot be read.*line 1") as caught:
        import_lines(minutes(30), replace(PLAIN, date_order="mdy"))
    assert "nothing is imported" in str(caught.value)
    with pytest.raises(RequestError, match="column 7"):
        import_lines(minutes(30), replace(PLAIN, speed=7))
    with pytest.raises(HistoryError, match="nothing is imported"):
        import_lines(minutes(30, speed="-999"), PLAIN)
    with pytest.raises(HistoryError, match=r"24\.0 h apart"):
        import_lines([f"2025-03-{day:02},2.0" for day in range(1, 29)], PLAIN)


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ({"speed": 0}, "speed"), ({"speed": "2"}, "speed"), ({"time": [1, 2, 3, 4]}, "time"), ({"time": 1}, "time"),
        ({"unit": "furlong"}, "unit"), ({"zone": "Mars/Olympus"}, "zone"), ({"zone": "../../etc/passwd"}, "zone"),
        ({"zone": 1}, "zone"), ({"decimal": ","}, "decimal"), ({"height_m": 1e9}, "height_m"),
        ({"height_m": True}, "height_m"),
        ({"height_m": 10**400}, "height_m"), ({"missing": [10**400]}, "missing"), ({"speed": 10**400}, "speed"),
        ({"missing": ["x"]}, "missing"), ({"good_flags": [1]}, "good_flags"), ({"first_line": 1.5}, "first_line"),
        ({"stamp": "middle"}, "stamp"), ({"colour": "red"}, "colour"), ({"separator": []}, "separator"),
    ],
)  # fmt: skip
def test_a_mapping_that_makes_no_sense_is_refused_by_key(table, key) -> None:
    with pytest.raises(RequestError) as caught:
        read_mapping(table)
    assert caught.value.key == key


def test_a_mapping_comes_back_from_its_object() -> None:
    assert read_mapping(PLAIN.as_object()) == PLAIN


HEADS = [
    (
        "Datum;Uhrzeit;Windgeschwindigkeit [km/h];Windböe [km/h];Windrichtung [Grad];Temperatur\n"
        "28.02.2025;23:50;4,5;7,2;270;3,5\n01.03.2025;00:00;5,0;8,1;265;3,4\n",
        {"time": (1, 2), "speed": 3, "gust": 4, "direction": 5, "unit": "km/h", "separator": ";", "decimal": ",",
         "date_order": "dmy"},
        {"zone", "stamp", "height_m"},
    ),
    (
        "time,wind_speed_mph,wind_gust_mph,wind_dir,qc_flag\n2025-03-01T00:00:00Z,4.5,9.0,270,0\n"
        "2025-03-01T00:01:00Z,4.1,8.0,271,0\n",
        {"time": (1,), "speed": 2, "gust": 3, "direction": 4, "flag": 5, "unit": "mph", "zone": "UTC",
         "date_order": "ymd"},
        {"stamp", "height_m", "good_flags"},
    ),
    (
        "Yard station, export\n\nTime\tSpeed (kts)\tTemp\n1/2/2025 1:00 AM\t4.5\t3\n1/2/2025 1:10 AM\t5.5\t3\n",
        {"time": (1,), "speed": 2, "unit": "kn", "separator": "\t", "date_order": None, "first_line": 4},
        {"date_order", "zone", "stamp", "height_m"},
    ),
    (
        '"A","b","c"\n"TIMESTAMP","RECORD","WS_ms_Avg","WindDir","WS_ms_Max"\n"TS","RN","meters/second","Deg","meters/second"\n'
        '"","","Avg","Smp","Max"\n"2025-01-01 00:10:00",1,2.3,180,4.5\n"2025-01-01 00:20:00",2,2.1,181,4.5\n',
        {"time": (1,), "speed": 3, "gust": 5, "direction": 4, "unit": "m/s", "first_line": 5},
        {"zone", "stamp", "height_m"},
    ),
    (
        '"Date/Time","Wind Speed, mph","Wind Gust, mph","Wind Dir"\n"1/13/2025 1:00 PM","4.5","7","NNW"\n'
        '"1/13/2025 1:05 PM","4.0","6","N"\n',
        {"time": (1,), "speed": 2, "gust": 3, "direction": 4, "unit": "mph", "date_order": "mdy", "separator": ","},
        {"zone", "stamp", "height_m"},
    ),
    (
        "#YY MM DD\ndate time wspd gst\n2025-01-13 10:00 3.5 4.5\n2025-01-13 10:10 3.4 4.9\n",
        {"time": (1, 2), "speed": 3, "separator": " ", "first_line": 3},
        {"zone", "unit", "stamp", "height_m"},
    ),
    (
        "Time;Wind\n2025-01-13 10:00;3,5 km/h\n2025-01-13 10:10;NaN\n2025-01-13 10:20;3,4 km/h\n",
        {"time": (1,), "speed": 2, "unit": "km/h", "decimal": ",", "first_line": 2},
        {"zone", "stamp", "height_m"},
    ),
    (
        "1741064760,3.2\n1741064820,3.1\n1741064880,99.9\n",
        {"time": (1,), "date_order": "epoch_s", "speed": None, "first_line": 1},
        {"speed", "unit", "stamp", "height_m"},
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "wanted", "doubts"), HEADS)
def test_a_look_at_the_head_proposes_what_stands_there_and_names_what_does_not(text, wanted, doubts) -> None:
    found = propose_mapping(text.encode())
    assert {key: getattr(found.mapping, key) for key in wanted} == wanted
    assert {doubt.key for doubt in found.doubts} == doubts


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be"])
def test_a_file_reads_the_same_in_every_encoding_and_line_ending(encoding, tmp_path) -> None:
    for i, (end, pack) in enumerate(product(("\n", "\r\n", "\r"), (bytes, gzip.compress))):
        text = end.join(["\N{DEGREE SIGN}, m/s", *minutes(1000)])
        mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
        file = tmp_path / f"table{i}"
        file.write_bytes(pack(mark + text.encode(encoding)))
        found = import_file(file, replace(PLAIN, first_line=2))
        assert (found.used_rows, found.notes) == (1000, ())
