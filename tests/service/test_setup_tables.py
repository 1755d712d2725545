"""Settings: every key is checked, a wrong one is told with its name, its value and what is allowed."""

import json
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.errors import SetupError
from server.core.setup import (
    CHOICES,
    RANGES,
    Anemometer,
    FlowMeter,
    Grid,
    Peg,
    Receiver,
    Setup,
    Span,
    Sprayer,
    Treatment,
    Zone,
)
from server.core.tables import digest_setup, mapping_from_setup, setup_from_mapping
from server.errors import SettingsError
from server.settings import read_lawn, read_setup, write_setup, zones_from_geojson

LEAST = {
    "sprayer": {"swath_m": 1.0},
    "flow_meter": {"pulses_per_l": 450.0},
    "treatment": {"target_l_per_m2": 0.04},
}
RING = [[-30.0, 45.0], [-29.999, 45.0], [-29.999, 45.001], [-30.0, 45.0]]


def tables_with(key, value):
    """The least settings with one key set."""
    table, name = key.split(".")
    if table == "peg":
        return {**LEAST, "peg": [{"name": "a", name: value}]}
    return {**LEAST, table: {**LEAST.get(table, {}), name: value}}


def refuse(tables):
    """The error that reading the tables gives."""
    with pytest.raises(SetupError) as caught:
        setup_from_mapping(tables)
    return str(caught.value)


@pytest.mark.parametrize("key", RANGES)
@pytest.mark.parametrize("end", [0, 1])
def test_a_number_just_out_of_range_is_refused_with_key_value_and_range(key, end):
    step = (RANGES[key][1] - RANGES[key][0]) * 1e-3
    value = RANGES[key][end] + (step if end else -step)
    if key == "flow_meter.flow_l_per_min":
        tables = {**LEAST, "flow_meter": {"pulses_per_l": [450.0], "flow_l_per_min": [value]}}
    else:
        tables = tables_with(key, value)
    low, high = RANGES[key]
    assert refuse(tables) == f"{key}: {value!r} is out of range: {low:g} to {high:g} is allowed"


@pytest.mark.parametrize("key", [key for key in RANGES if key != "flow_meter.flow_l_per_min"])
@pytest.mark.parametrize("value", [float("nan"), float("inf"), True, "1", {}, "", []])
def test_what_is_no_finite_number_is_refused_with_its_key(key, value):
    assert refuse(tables_with(key, value)).startswith(f"{key}: ")


@pytest.mark.parametrize("key", CHOICES)
@pytest.mark.parametrize("value", ["Flat", "", 3, None.__class__, ["flat"]])
def test_what_is_none_of_the_choices_is_refused_with_all_of_them(key, value):
    assert refuse(tables_with(key, value)) == f"{key}: {value!r} is none of {', '.join(CHOICES[key])}"


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ({"sprayer": {"swath": 1.0}}, "sprayer.swath: is not a setting; did you mean swath_m?"),
        ({"spryer": {}}, "spryer: is not a table; did you mean sprayer?"),
        ({"receiver": {"klass": "auto"}}, "receiver.klass: is not a setting; did you mean class?"),
        ({"job": {"begin": []}}, "job.begin: is not a setting"),
        ({"site": {"boundry": "x"}}, "site.boundry: is not a setting; did you mean boundary?"),
        ({"peg": [{"name": "a", "latitude": 1.0}]}, "peg.latitude: is not a setting; known are name, lat, lon, sd_m"),
        ({"grid": {"xyzzy": 1}}, "grid.xyzzy: is not a setting; known are cell_m"),
    ],
)
def test_an_unknown_key_is_refused_with_the_nearest(tables, told):
    assert refuse({**LEAST, **tables}).startswith(told)


@pytest.mark.parametrize("key", ["sprayer.swath_m", "flow_meter.pulses_per_l", "treatment.target_l_per_m2"])
def test_a_key_that_is_needed_is_asked_for(key):
    table, name = key.split(".")
    tables = {**LEAST, table: {k: v for k, v in LEAST[table].items() if k != name}}
    assert refuse(tables) == f"{key}: is needed"


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ({"flow_meter": {"pulses_per_l": [1.0, 2.0]}}, "flow_meter.flow_l_per_min: goes with"),
        ({"flow_meter": {"pulses_per_l": [9, 9], "flow_l_per_min": [1, 2, 3]}}, "flow_meter.flow_l_per_min: must be"),
        ({"flow_meter": {"pulses_per_l": [9, 9], "flow_l_per_min": [2, 2]}}, "flow_meter.flow_l_per_min: must rise"),
        (
            {"sprayer": {"swath_m": 1, "pattern_top_m": 2.5}},
            "sprayer.pattern_top_m: 2.5 is out of range: 0 to the swath, 1, is",
        ),
        (
            {"treatment": {"target_l_per_m2": 1, "wind_limit_mps": 3, "wind_notice_mps": 4}},
            "treatment.wind_notice_mps: 4 is out of range: at most the limit, 3, is",
        ),
        ({"job": {"start": ["a"]}}, "job.start: "),
        ({"job": {"end": ["a", "b"]}}, "job.end: "),
        ({"peg": {}}, "peg: must be written [[peg]]"),
    ],
)
def test_keys_that_do_not_go_together_are_refused(tables, told):
    assert refuse({**LEAST, **tables}).startswith(told)


def read_treatment(**keys):
    """The treatment of a file with these keys."""
    return setup_from_mapping({**LEAST, "treatment": {"target_l_per_m2": 0.04, **keys}}).treatment


@pytest.mark.parametrize(("stated", "mps"), [("10 mph", 4.4704), ("15 km/h", 25 / 6), ("8 knots", 8 * 1852 / 3600)])
def test_a_limit_in_the_label_s_words_is_kept_and_its_speed_reckoned(stated, mps):
    found = read_treatment(wind_limit_stated=stated)
    assert (found.wind_limit_stated, found.wind_limit_mps) == (stated, mps)
    assert read_treatment(wind_limit_stated=stated, wind_limit_mps=mps * (1 + 1e-8)) == found


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"wind_limit_stated": "10"}, "treatment.wind_limit_stated: '10' is no speed as a label states it"),
        ({"wind_limit_stated": "10 furlongs"}, "treatment.wind_limit_stated: '10 furlongs' is no speed"),
        ({"wind_limit_stated": 10}, "treatment.wind_limit_stated: 10 must be a text"),
        ({"wind_limit_stated": "200 mph"}, "treatment.wind_limit_stated: 89.408 is out of range"),
        ({"wind_limit_stated": "10 mph", "wind_limit_mps": 4.5}, "treatment.wind_limit_mps: 4.5 is not the 10 mph"),
        ({"wind_limit_stated": "10 mph", "wind_notice_mps": 4.48}, "treatment.wind_notice_mps: 4.48 is out of range"),
    ],
)
def test_a_limit_that_is_none_or_two_is_refused(keys, told):
    with pytest.raises(SetupError) as caught:
        read_treatment(**keys)
    assert str(caught.value).startswith(told)


@pytest.mark.parametrize("day", ["yesterday", "2027-02-30", "", 20270531])
def test_a_calibration_s_day_is_a_date(day):
    assert refuse({**LEAST, "anemometer": {"calibrated_on": day}}).startswith("anemometer.calibrated_on: ")


def within(key):
    """Numbers that are allowed for a key."""
    return st.floats(*RANGES[key])


def maybe(key):
    """Such a number or none."""
    return st.none() | within(key)


NAMES = (
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12).filter(str.isprintable).filter(str.strip)
)


@st.composite
def setups(draw):
    """Any setup that is allowed."""
    swath = draw(within("sprayer.swath_m"))
    pattern = draw(st.sampled_from(CHOICES["sprayer.pattern"]))
    top = swath if pattern == "trapezoid" else None
    numbers = ("nozzle_forward_m", "nozzle_right_m", "delay_s", "tank_l")
    sprayer = Sprayer(swath, pattern, top, *(draw(within(f"sprayer.{name}")) for name in numbers))
    flows = draw(st.none() | st.lists(within("flow_meter.flow_l_per_min"), min_size=1, max_size=4, unique=True))
    k = within("flow_meter.pulses_per_l")
    factor = draw(k) if flows is None else tuple(draw(k) for _ in flows)
    meter = FlowMeter(factor, None if flows is None else tuple(sorted(flows)), draw(within("flow_meter.sd_percent")))
    limit = draw(maybe("treatment.wind_limit_mps"))
    treatment = Treatment(
        draw(within("treatment.target_l_per_m2")),
        draw(within("treatment.under_fraction")),
        draw(within("treatment.over_fraction")),
        limit,
        limit,
        draw(maybe("treatment.wind_reference_height_m")),
        wind_averaging_s=draw(maybe("treatment.wind_averaging_s")),
    )
    cup = Anemometer(
        draw(maybe("anemometer.mps_per_hz")),
        *(draw(within(f"anemometer.{n}")) for n in ("offset_mps", "threshold_mps", "distance_constant_m", "height_m")),
        draw(maybe("anemometer.scale_sd_percent")),
        draw(st.none() | st.dates().map(str)),
    )
    receiver = Receiver(draw(st.sampled_from(CHOICES["receiver.class"])), draw(within("receiver.latency_s")))
    there = st.builds(Peg, NAMES, within("peg.lat"), within("peg.lon"), maybe("peg.sd_m"))
    pegs = draw(st.lists(there | st.builds(Peg, NAMES), max_size=2))
    ring = tuple((lon, lat) for lon, lat in RING)
    kinds = st.sampled_from(("zone", "keep_out"))
    zones = draw(st.lists(st.builds(Zone, NAMES, kinds, st.just((ring,)) | st.just((ring, ring))), max_size=2))
    ends = st.none() | st.tuples(st.just("a1b2c3d4"), st.floats(0, 1e6))
    span = Span(draw(st.none() | st.just("cart")), draw(ends), draw(ends))
    grid = Grid(draw(within("grid.cell_m")))
    return Setup(sprayer, meter, treatment, cup, receiver, grid, span, tuple(pegs), tuple(zones))


@settings(max_examples=60, deadline=None)
@given(setups())
def test_any_setup_comes_back_from_its_files_and_from_its_tables(tmp_path_factory, setup):
    folder = tmp_path_factory.mktemp("setup")
    write_setup(setup, folder)
    assert read_setup(folder / "setup.toml") == setup
    back = setup_from_mapping(json.loads(json.dumps(mapping_from_setup(setup))))
    assert back == setup
    assert digest_setup(back) == digest_setup(setup)


def test_properties_that_are_no_object_are_as_good_as_none():
    polygon = {**feature({"type": "Polygon", "coordinates": [RING]}), "properties": [1]}
    assert [(zone.name, zone.kind) for zone in zones_from_geojson(polygon)] == [("zone 1", "zone")]


@pytest.mark.parametrize("name", ["", "a\x1fb", "x" * 121])
def test_a_zone_that_cannot_be_named_on_a_screen_is_refused(name):
    found = refuse({**LEAST, "zone": [{"name": name, "kind": "zone", "rings": [RING]}]})
    assert found == f"zone.name: {name!r} must be a text of 1 to 120 printable characters"


def test_the_digest_tells_settings_apart_but_not_spans():
    first = setup_from_mapping(LEAST)
    assert digest_setup(setup_from_mapping({**LEAST, "job": {"rig": "cart"}})) == digest_setup(first)
    assert digest_setup(setup_from_mapping(tables_with("grid.cell_m", 0.2))) != digest_setup(first)


def test_the_delivered_settings_file_is_read_and_its_comments_state_the_defaults(root, tmp_path):
    path = root / "deploy" / "setup.toml"
    given_setup = read_setup(path)
    stated = re.sub(r"^# (\w+ = [^\s#]+)", r"\1", path.read_text(), flags=re.MULTILINE)
    stated = stated.replace('boundary = "lawn.geojson"', "")
    (tmp_path / "setup.toml").write_text(re.sub(r"^\w+ =\s*#.*$", "", stated, flags=re.MULTILINE))
    assert read_setup(tmp_path / "setup.toml") == given_setup


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[sprayer", "not TOML"),
        ("[sprayer]\nswath_m = 99\n", "sprayer.swath_m: 99 is out of range: 0.1 to 20 is allowed"),
        (
            "site = 3\n[sprayer]\nswath_m = 1\n[flow_meter]\npulses_per_l = 9\n[treatment]\ntarget_l_per_m2 = 1\n",
            "site",
        ),
        ('[site]\nboundary = "none.geojson"\n', "none.geojson: no such file"),
    ],
)
def test_a_bad_settings_file_is_told_in_one_line_with_its_path(tmp_path, text, told):
    path = tmp_path / "setup.toml"
    path.write_text(text)
    with pytest.raises(SettingsError) as caught:
        read_setup(path)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value).partition("not TOML")[0]


def test_a_settings_file_that_is_not_there_or_not_text_is_told(tmp_path):
    with pytest.raises(SettingsError, match="no such settings file"):
        read_setup(tmp_path / "none.toml")
    (tmp_path / "setup.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(SettingsError, match="cannot be read"):
        read_setup(tmp_path / "setup.toml")


def feature(geometry, **properties):
    """A GeoJSON feature."""
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def test_polygons_multipolygons_and_altitudes_are_read():
    high = [[*point, 12.0] for point in RING]
    found = zones_from_geojson(
        {
            "type": "FeatureCollection",
            "features": [
                feature({"type": "Polygon", "coordinates": [high]}, name="front"),
                feature({"type": "MultiPolygon", "coordinates": [[RING], [RING, RING]]}, kind="keep_out"),
            ],
        }
    )
    assert [(z.name, z.kind, len(z.rings)) for z in found] == [
        ("front", "zone", 1),
        ("zone 2", "keep_out", 1),
        ("zone 2", "keep_out", 2),
    ]
    assert found[0].rings[0] == tuple((lon, lat) for lon, lat in RING)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        ([], "not a GeoJSON"),
        ({"features": 3}, "not a GeoJSON"),
        ({"features": [3]}, "feature 1 is not a Polygon"),
        (feature({"type": "Point", "coordinates": [0, 0]}), "feature 1 is not a Polygon"),
        (feature({"type": "Polygon", "coordinates": 5}), "feature 1 has no coordinates"),
        (feature({"type": "MultiPolygon", "coordinates": 5}), "feature 1 has no coordinates"),
        (feature({"type": "MultiPolygon"}), "feature 1 has no coordinates"),
        (feature({"type": "Polygon", "coordinates": [5]}), "feature 1 has coordinates that are not rings"),
        (feature({"type": "Polygon", "coordinates": [RING[:3]]}), "must end where it began"),
        (feature({"type": "Polygon", "coordinates": []}), "has no ring"),
        (feature({"type": "Polygon", "coordinates": [[[200.0, 45.0]] + RING[1:3] + [[200.0, 45.0]]]}), "degrees"),
        (feature({"type": "Polygon", "coordinates": [RING]}, kind="lawn"), "zone.kind: 'lawn' is none of"),
    ],
)
def test_what_is_no_lawn_is_refused_with_the_feature(tmp_path, found, told):
    path = tmp_path / "lawn.geojson"
    path.write_text(json.dumps(found))
    with pytest.raises(SettingsError) as caught:
        read_lawn(path)
    assert str(caught.value).startswith(f"site.boundary: {path}: ")
    assert told in str(caught.value)


@pytest.mark.parametrize("content", [b"\xff\xfe", b"{", b"[" * 100_000])
def test_what_is_no_geojson_at_all_is_told_in_one_line(tmp_path, content):
    path = tmp_path / "lawn.geojson"
    path.write_bytes(content)
    with pytest.raises(SettingsError, match=r"site\.boundary: .*lawn\.geojson"):
        read_lawn(path)
