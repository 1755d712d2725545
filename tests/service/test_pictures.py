"""map.png and traces.png: what they show is what the result says, and nothing of the service needs them."""

import io
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imread

from firmware_sim.bench import write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from server.__main__ import main
from server.core.flow import VolumeCurve
from server.exports.colours import colour_shares
from server.exports.map import HATCHES, MOST_CELLS, average_blocks, draw_map
from server.exports.plots import draw_plots
from server.exports.traces import draw_traces, find_silences, open_gaps
from server.exports.unitsets import UNIT_SETS
from server.rawlog import gather_log, read_raw_log
from server.review import meter_job, review_job
from server.settings import read_setup

ROOT = Path(__file__).resolve().parents[2]
FIRST = UNIT_SETS["l_per_100m2"]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """A demo job reviewed: its result, settings, volume and spraying."""
    folder = tmp_path_factory.mktemp("pictures")
    world = build_world(SCENARIOS["demo"], 7)
    write_log(world.feed, folder / "log.ndjson", rig="sim", boot="0" * 16)
    save_setup(world.scenario, world.receiver.latency_s, folder)
    setup = read_setup(folder / "setup.toml")
    log = gather_log(read_raw_log(folder / "log.ndjson"), setup.job)
    _, curve, intervals = meter_job(log, setup)
    return review_job(log, setup), setup, curve, intervals, folder


def drawn(draw, *things):
    """A figure drawn and its pixels [height, width, 3] from 0 to 1."""
    sheet = Figure(figsize=(8.0, 8.0), dpi=100, layout="constrained")
    draw(sheet, *things)
    canvas = FigureCanvasAgg(sheet)
    canvas.draw()
    return sheet, np.asarray(canvas.buffer_rgba())[:, :, :3] / 255.0


def pixel_at(sheet, pixels, east, north):
    """The colour at a place on the map."""
    x, y = sheet.axes[0].transData.transform((east, north))
    return pixels[pixels.shape[0] - 1 - int(y), int(x)]


def words_of(sheet):
    """Every text of a figure."""
    sheet.canvas.draw()
    found = [text.get_text() for axes in sheet.axes for text in axes.texts]
    for axes in sheet.axes:
        found += [axes.get_xlabel(), axes.get_ylabel(), axes.get_title(loc="left")]
        found += [label.get_text() for label in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    return " ".join(found)


def bare(job, **more):
    """The job without passes, pairs and findings, with another dose map's columns."""
    result = job[0]
    return replace(result, passes=(), pairs=(), findings=(), dose=replace(result.dose, **more))


def test_the_same_job_gives_the_same_bytes_without_a_date(job):
    first, second = (draw_plots(*job[:4]) for _ in range(2))
    assert first == second
    assert set(first) == {"map.png", "traces.png"}
    for content in first.values():
        assert content.startswith(b"\x89PNG\r\n\x1a\n")
        assert b"Software" not in content
        height, width, _ = imread(io.BytesIO(content)).shape
        assert min(height, width) > 500


def test_a_dose_has_the_colour_that_the_scale_gives_it(job):
    result, setup = job[:2]
    dose, target = result.dose, setup.treatment.target_l_per_m2
    ny, nx = dose.dose_l_per_m2.shape
    shares = np.repeat([0.5, 1.0, 1.5, 2.5], -(-nx // 4))[:nx]
    flat = bare(job, dose_l_per_m2=np.tile(shares * target, (ny, 1)), sd_l_per_m2=np.zeros((ny, nx)))
    sheet, pixels = drawn(draw_map, flat, replace(setup, zones=()), FIRST)
    north = dose.y0_m + 0.5 * ny * dose.cell_m
    for place, share in zip((0.125, 0.375, 0.625, 0.875), (0.5, 1.0, 1.5, 2.5), strict=True):
        seen = pixel_at(sheet, pixels, dose.x0_m + place * nx * dose.cell_m, north)
        assert seen == pytest.approx(colour_shares(np.array(share)), abs=1.5 / 255.0)


def test_an_unsure_dose_looks_other_than_a_sure_one(job):
    result, setup = job[:2]
    ny, nx = result.dose.dose_l_per_m2.shape
    even = np.full((ny, nx), setup.treatment.target_l_per_m2)
    sure, unsure = (
        drawn(draw_map, bare(job, dose_l_per_m2=even, sd_l_per_m2=share * even), replace(setup, zones=()), FIRST)[1]
        for share in (0.2, 0.4)
    )
    changed = (np.abs(sure - unsure).max(axis=2) > 0.3).mean()
    assert 0.005 < changed < 0.5, "dotted, not painted over"


def test_the_map_shows_numbers_lawn_and_strips(job):
    result, setup = job[:2]
    sheet, _ = drawn(draw_map, result, setup, FIRST)
    texts = [text.get_text() for text in sheet.axes[0].texts]
    above = {f"{one.number}!" for one in result.passes if one.wind_verdict == "above"}
    assert above
    assert above <= set(texts)
    assert {str(one.number) for one in result.passes if one.wind_verdict == "within"} <= set(texts)
    bold = [line for line in sheet.axes[0].lines if line.get_color() == "#0b4a63"]
    assert len(bold) == sum(pair.verdict in ("gap", "doubled", "unsure") for pair in result.pairs)
    assert {patch.get_hatch() for patch in sheet.axes[0].patches} >= {HATCHES["missed"], HATCHES["doubled"]}


def test_labels_speak_the_units_that_were_asked_for(job):
    us = UNIT_SETS["gal_per_1000ft2"]
    chart = words_of(drawn(draw_map, *job[:2], us)[0])
    traces = words_of(drawn(draw_traces, *job[:4], us)[0])
    assert all(sign in chart for sign in ("gal/1000 ft²", "ft²", " ft", "gal ·"))
    assert all(sign in traces for sign in ("gal/min", "mph", "gal/1000 ft²"))
    # 1 gal/1000 ft2 is 4.0746 L/100 m2 (NIST SP 811, appendix B.8).
    assert us.rate.say(0.0407458, 3) == "1.000 gal/1000 ft²"


def test_what_is_not_known_is_left_open():
    t = np.array([0.0, 1.0, 2.0, 9.0, 10.0, 11.0])
    gone, values = open_gaps(t, np.array([1.0, 2.0, 3.0, 4.0, np.nan, 5.0]))
    assert np.isnan(gone).tolist() == [False, False, False, True, False, False, False]
    assert np.isnan(values).tolist() == [False, False, False, True, False, True, False]


def test_flow_that_was_not_heard_is_not_drawn(job):
    result, setup, curve, intervals, _ = job
    middle = 0.5 * (intervals[0].start_t + intervals[0].end_t)
    lost = (curve.t > middle - 3.0) & (curve.t < middle + 3.0)
    torn = VolumeCurve(curve.t[~lost], curve.litres[~lost], curve.pulses[~lost])
    assert find_silences(curve, intervals) == []
    ((begin, end),) = find_silences(torn, intervals)
    assert (begin, end) == pytest.approx((middle - 3.0, middle + 3.0), abs=0.5)
    sheet, _ = drawn(draw_traces, result, setup, torn, intervals, FIRST)
    line = sheet.axes[0].lines[0]
    seconds = 60.0 * line.get_xdata() + result.track.t[0]
    inside = (seconds > begin + 0.1) & (seconds < end - 0.1)
    assert inside.sum() > 20
    assert np.isnan(line.get_ydata()[inside]).all()


def test_a_users_own_settings_of_the_library_change_nothing(job):
    with rc_context({"axes.grid": True, "font.size": 20.0, "image.cmap": "gray", "lines.linewidth": 9.0}):
        told = draw_plots(*job[:4])
    assert told == draw_plots(*job[:4])


def test_a_pass_of_unknown_dose_is_told_as_unknown(job):
    result, *rest = job[:4]
    passes = (replace(result.passes[0], dose_l_per_m2=np.nan, dose_sd_l_per_m2=np.nan), *result.passes[1:])
    words = words_of(drawn(draw_traces, replace(result, passes=passes), *rest, FIRST)[0])
    assert "1: ?" in words


def test_blocks_keep_the_mean_and_fit_the_picture():
    values = np.random.default_rng(1).uniform(0.0, 2.0, (12, 9))
    assert average_blocks(values, 3).mean() == pytest.approx(values.mean(), rel=1e-12)
    padded = average_blocks(np.pad(values, ((0, 1), (0, 0)), constant_values=np.nan), 3)
    assert np.isfinite(padded).all(axis=1).tolist() == [True] * 4 + [False]
    assert np.isnan(average_blocks(np.full((2, 2), np.nan), 2)).all()


def test_a_bare_job_and_a_huge_lawn_are_drawn_too(job):
    result, setup = job[:2]
    silent = replace(
        result.wind, **{name: getattr(result.wind, name)[:0] for name in result.wind.__slots__ if "draws" not in name}
    )
    nothing = replace(bare(job), wind=silent)
    lone = VolumeCurve(*[np.zeros(0)] * 3)
    assert draw_plots(nothing, replace(setup, zones=()), lone, ())
    ny, nx = 3 * MOST_CELLS, MOST_CELLS
    huge = bare(job, dose_l_per_m2=np.full((ny, nx), 0.02, np.float32), sd_l_per_m2=np.zeros((ny, nx), np.float32))
    sheet, _ = drawn(draw_map, huge, setup, FIRST)
    assert sheet.axes[0].images[0].get_array().shape[:2] == (MOST_CELLS, MOST_CELLS // 3)


def test_without_the_library_the_results_come_with_one_line(job, tmp_path, monkeypatch):
    folder = job[4]
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    words = ["replay", str(folder / "log.ndjson"), "--setup", str(folder / "setup.toml"), "--out", str(tmp_path)]
    (tmp_path / "map.png").write_bytes(b"of another job")
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    assert "pip install 'calmpass[plots]'" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert (tmp_path / "passes.csv").exists()
    assert not (tmp_path / "map.png").exists()


def test_an_unknown_unit_set_is_refused_by_name(job, tmp_path):
    folder = job[4]
    words = ["replay", str(folder / "log.ndjson"), "--setup", str(folder / "setup.toml"), "--out", str(tmp_path)]
    done = CliRunner().invoke(main, [*words, "--units", "furlongs"])
    assert done.exit_code == 2
    assert "gal_per_acre" in done.output


def test_the_service_does_without_the_library():
    code = "import sys, server.serving, server.reviews, server.review, server.exports.view; "
    code += "print([name for name in sys.modules if name.startswith('matplotlib')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == []


def test_paper_and_page_have_the_same_colours():
    script = """
    import { srgbFromOklab, oklabOfShare } from "./server/dashboard/core/scale.js";
    console.log(JSON.stringify([0, 0.3, 0.7, 1, 1.2, 1.9, 2, 3].map((s) => srgbFromOklab(oklabOfShare(s, "light")))));
    """
    done = subprocess.run(
        ["node", "--input-type=module", "-e", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    page = np.array(json.loads(done.stdout))
    paper = 255.0 * colour_shares(np.array([0, 0.3, 0.7, 1, 1.2, 1.9, 2, 3]))
    assert np.abs(page - paper).max() <= 0.51


def test_paper_and_page_have_the_same_units():
    script = 'import { UNIT_SETS } from "./server/dashboard/core/units.js"; console.log(JSON.stringify(UNIT_SETS));'
    words = ["node", "--input-type=module", "-e", script]
    page = json.loads(subprocess.run(words, capture_output=True, text=True, check=True, cwd=ROOT).stdout)
    assert list(page) == list(UNIT_SETS)
    for name, units in UNIT_SETS.items():
        for quantity in ("rate", "length", "area", "volume", "speed"):
            unit = getattr(units, quantity)
            assert page[name][quantity]["unit"] == unit.sign
            assert page[name][quantity]["per_si"] == pytest.approx(unit.per_si, rel=1e-9)
        # The page's flows are litres a minute, the picture's litres a second.
        assert page[name]["flow"]["per_si"] == pytest.approx(units.flow.per_si / 60.0, rel=1e-9)
