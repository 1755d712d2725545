"""The straightened lawn of the record is the dashboard's: the same strips from the same answers, then as lines."""

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from fpdf import FPDF
from walked import PASSES, SWATH_M, TARGET, list_passes, review_parts

from server.exports.straight import place_along, straighten
from server.exports.straightpage import draw_strips, lay_rows, say_key
from server.exports.unitsets import UNIT_SETS

PURE = Path(__file__).resolve().parents[2] / "server" / "dashboard" / "core" / "straight.js"
SCRIPT = """
import { straighten } from "%s";
let text = "";
for await (const chunk of process.stdin) text += chunk;
const found = JSON.parse(text);
const { target_l_per_m2, swath_m } = found.dose;
console.log(JSON.stringify(straighten({ ...found, target_l_per_m2, swath_m })));
"""


def ask_dashboard(views: dict[str, Any]) -> dict[str, Any]:
    """What the dashboard's own module makes of the same answers."""
    script = SCRIPT % PURE.as_uri()
    answer = subprocess.run(
        ["node", "--input-type=module", "-e", script],
        input=json.dumps(views), capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(answer.stdout)
    return found


def spoil(views: dict[str, Any]) -> None:
    """A stop of the flow within pass 2, a stand within pass 1, and a hole in the way of pass 4."""
    views["flow"]["flow_l_per_min"][40:45] = [0.0] * 5
    for name in ("east_m", "north_m"):
        views["track"][name][6:9] = [views["track"][name][6]] * 3
        views["track"][name][100:102] = [None, None]


def test_the_records_strips_are_those_of_the_dashboard() -> None:
    views = review_parts()
    spoil(views)
    told, seen = straighten(views), ask_dashboard(views)
    assert told is not None
    assert told["long_m"] == pytest.approx(seen["long_m"])
    assert len(told["strips"]) == len(seen["strips"]) == PASSES
    for own, other in zip(told["strips"], seen["strips"], strict=True):
        assert (own["pass"], own["is_up"], own["start_m"]) == (
            other["pass"],
            other["isUp"],
            pytest.approx(other["start_m"]),
        )
        assert len(own["bins"]) == len(other["bins"])
        for mine, theirs in zip(own["bins"], other["bins"], strict=True):
            assert mine["share"] == pytest.approx(theirs["share"], abs=1e-9)
            assert mine["to_m"] == pytest.approx(theirs["to_m"])
            assert (mine["is_doubled"], mine["is_bare"]) == (theirs["isDoubled"], theirs["isBare"])
    assert any(each["is_bare"] for each in told["strips"][1]["bins"])
    assert [any(each["is_doubled"] for each in strip["bins"]) for strip in told["strips"]] == [False, True, True, False]


def test_no_litre_of_a_strip_is_lost() -> None:
    views = review_parts()
    spoil(views)
    told = straighten(views)
    assert told is not None
    strip = told["strips"][1]
    litres = sum((each["to_m"] - each["from_m"]) * each["share"] * SWATH_M * TARGET for each in strip["bins"])
    # Twenty seconds at 0.02 L/s less four, and half of one on either side of the stop.
    assert litres == pytest.approx(TARGET * (20 - 5), rel=1e-6)


def test_a_review_from_before_strips_were_drawn_has_no_sheet() -> None:
    views = review_parts()
    assert straighten({**views, "passes": []}) is None
    assert straighten({**views, "passes": [{**each, "start_s": None} for each in list_passes()]}) is None


@pytest.mark.parametrize("count", [1, 4, 40, 150])
def test_every_strip_finds_its_place_on_the_page(count) -> None:
    sheet = {"strips": [None] * count, "long_m": 60.0}
    layout = lay_rows(sheet, width=186.0, height=230.0)
    assert layout.per_row * layout.slot <= 186.0 + 1e-9
    assert -(-count // layout.per_row) * layout.row <= 230.0 + 1e-9
    assert layout.scale * 60.0 <= layout.row


def test_the_page_is_made_of_lines_and_tells_its_key_in_the_readers_units() -> None:
    sheet = straighten(review_parts())
    assert sheet is not None
    pdf = FPDF(format="letter")
    pdf.set_compression(False)
    pdf.add_page()
    draw_strips(pdf, sheet, UNIT_SETS["gal_per_acre"], "helvetica", left=12.0, top=30.0, height=220.0)
    content = bytes(pdf.output())
    assert b"/Subtype /Image" not in content
    assert len(re.findall(rb" l\b", content)) > 100
    assert b"ft along a strip" in content
    assert "3.28 ft wide" in say_key(sheet, UNIT_SETS["gal_per_acre"])
    assert "the limit, 3.0 m/s" in say_key(sheet, UNIT_SETS["l_per_100m2"])
    strip = sheet["strips"][0]
    assert place_along(strip, 0.0) != place_along(strip, strip["length_m"])


def test_a_pass_of_unknown_length_leaves_the_others_on_the_sheet() -> None:
    views = review_parts()
    views["passes"][1]["length_m"] = None
    told = straighten(views)
    assert told is not None
    assert told["strips"][1]["length_m"] == 0.0
    assert len(told["strips"]) == len(views["passes"])
    pdf = FPDF(format="letter")
    pdf.add_page()
    draw_strips(pdf, told, UNIT_SETS["l_per_100m2"], "helvetica", left=12.0, top=30.0, height=220.0)
    assert pdf.pages_count == 1
