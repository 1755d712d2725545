"""The straightened lawn on paper: strips in walking order as vector lines in black, as wide as their dose."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from server.exports.straight import place_along
from server.exports.unitsets import UnitSet

if TYPE_CHECKING:
    from fpdf import FPDF

TITLE = "Strip by strip, as it was walked"
# Where things stand in a slot, as shares of its width, as on the dashboard: bracket, middle of the strip, thread.
GAP = (0.02, 0.17)
MIDDLE, TARGET_HALF = 0.43, 0.13
THREAD = (0.7, 0.97)
MARKS = {"above": "!", "unsure": "?"}
SLOT_MM = (9.0, 18.0)
ENDS_MM = 9.0
SIZE_PT = 7.0
LOW_WIND_MPS = 0.5
BAR_LENGTHS = (1, 2, 5, 10, 20, 50, 100, 200, 500)
BAR_MM = 50.0
Line = Callable[[float, float, float, float], None]


@dataclass(frozen=True, slots=True)
class Layout:
    """Slots of a page, mm: how many in a row, how wide and high, and how many millimetres a metre is."""

    slot: float
    per_row: int
    row: float
    scale: float


def lay_rows(sheet: Mapping[str, Any], *, width: float, height: float) -> Layout:
    """Slots that fill a page so large; all strips at one scale."""
    count = max(1, len(sheet["strips"]))
    slot = min(SLOT_MM[1], max(SLOT_MM[0], width / count))
    per_row = max(1, int(width / slot))
    row = height / ceil(count / per_row)
    return Layout(slot, per_row, row, max(0.05, (row - 2.0 * ENDS_MM) / sheet["long_m"]))


def say_key(sheet: Mapping[str, Any], units: UnitSet) -> str:
    """What the drawing means, in words below its title."""
    limit = sheet["limit_mps"]
    line = "" if limit is None else f" The dashed line is the limit, {units.speed.say(limit, 1)}."
    return (
        f"One strip a pass, {units.length.say(sheet['swath_m'], 2)} wide on the ground, in the order they were walked; "
        "short lines at its ends lead to the next. As wide as the dotted lines: on target; thinner got less, thicker "
        "more; crossed is ground sprayed twice, bare is dry. A bracket on the left: a gap towards a strip walked "
        f"before; dashes there: cannot be told. The thread on the right is the wind, further right is more.{line} "
        "! above the limit, ? cannot be said."
    )


def draw_strips(
    pdf: "FPDF", sheet: Mapping[str, Any], units: UnitSet, family: str, *, left: float, top: float, height: float
) -> None:
    """Draw the sheet on the present page, from a place on over the page's breadth."""
    layout = lay_rows(sheet, width=pdf.w - 2.0 * left, height=height)
    winds = [speed for strip in sheet["strips"] for _, speed in strip["thread"]]
    highest = max(LOW_WIND_MPS, sheet["limit_mps"] or 0.0, *winds, 0.0)
    places = {}
    pdf.set_draw_color(0)
    pdf.set_font(family, "B", SIZE_PT)
    for number, strip in enumerate(sheet["strips"]):
        row, column = divmod(number, layout.per_row)
        x, base = left + column * layout.slot, top + (row + 1) * layout.row - ENDS_MM
        places[strip["pass"]] = (x, base)
        pen = _Pen(pdf, strip, layout, x, base)
        pen.draw_bins()
        pen.draw_thread(sheet["limit_mps"], highest)
        if number + 1 < len(sheet["strips"]) and column + 1 < layout.per_row:
            pen.draw_fold(sheet["strips"][number + 1])
        words = f"{strip['pass']}{MARKS.get(strip['verdict'], '')}"
        pdf.text(x + MIDDLE * layout.slot - pdf.get_string_width(words) / 2.0, base + ENDS_MM - 1.5, words)
    _draw_scale(pdf, family, units, layout.scale, left=left, y=top + height + 2.0)
    strips = {strip["pass"]: strip for strip in sheet["strips"]}
    for pair in sheet["between"]:
        if pair["pass_a"] in strips and pair["pass_b"] in places:
            _draw_between(pdf, pair, strips[pair["pass_a"]], places[pair["pass_b"]], layout)


def _draw_scale(pdf: "FPDF", family: str, units: UnitSet, scale: float, *, left: float, y: float) -> None:
    """A bar as long as a round length along a strip."""
    per_unit = scale / units.length.per_si
    length = max((each for each in BAR_LENGTHS if each * per_unit <= BAR_MM), default=BAR_LENGTHS[0])
    pdf.set_line_width(0.4)
    pdf.polyline([(left, y - 1.5), (left, y), (left + length * per_unit, y), (left + length * per_unit, y - 1.5)])
    pdf.set_font(family, "", SIZE_PT)
    pdf.text(left + length * per_unit + 2.0, y, f"{length} {units.length.sign} along a strip")


def _draw_between(
    pdf: "FPDF", pair: Mapping[str, Any], strip: Mapping[str, Any], place: tuple[float, float], layout: Layout
) -> None:
    """A bracket for a gap, dashes for what cannot be told."""
    ends = [min(pair[name], strip["length_m"]) for name in ("from_m", "to_m")]
    y, y_2 = (place[1] - place_along(strip, at) * layout.scale for at in ends)
    x, x_2 = (place[0] + share * layout.slot for share in GAP)
    pdf.set_line_width(0.4)
    if pair["verdict"] == "unsure":
        pdf.set_dash_pattern(dash=0.6, gap=0.9)
        pdf.line((x + x_2) / 2.0, y, (x + x_2) / 2.0, y_2)
        pdf.set_dash_pattern()
        return
    for start, end in (((x_2, y), (x, y)), ((x, y), (x, y_2)), ((x, y_2), (x_2, y_2))):
        pdf.line(*start, *end)


class _Pen:
    """Draws one strip in its slot."""

    def __init__(self, pdf: "FPDF", strip: Mapping[str, Any], layout: Layout, x: float, base: float) -> None:
        self._pdf, self._strip, self._layout, self._left, self._base = pdf, strip, layout, x, base
        self._middle = x + MIDDLE * layout.slot
        self._half = TARGET_HALF * layout.slot

    def _y(self, at_m: float) -> float:
        return self._base - place_along(self._strip, at_m) * self._layout.scale

    def draw_bins(self) -> None:
        """The strip metre by metre, and dotted lines where on target would be."""
        pdf = self._pdf
        for found in self._strip["bins"]:
            if found["is_bare"]:
                continue  # dry ground stays paper
            half = max(0.2, self._half * min(2.0, found["share"] or 0.0))
            top, low = sorted((self._y(found["from_m"]), self._y(found["to_m"])))
            pdf.set_fill_color(205)
            pdf.set_line_width(0.25)
            pdf.rect(self._middle - half, top, 2.0 * half, low - top, style="F")
            for side in (-half, half):
                pdf.line(self._middle + side, top, self._middle + side, low)
            if found["is_doubled"]:
                pdf.line(self._middle - half, top, self._middle + half, low)
                pdf.line(self._middle - half, low, self._middle + half, top)
        pdf.set_line_width(0.15)
        pdf.set_dash_pattern(dash=0.3, gap=0.8)
        for side in (-self._half, self._half):
            pdf.line(self._middle + side, self._y(0.0), self._middle + side, self._y(self._strip["length_m"]))
        pdf.set_dash_pattern()

    def draw_thread(self, limit_mps: float | None, highest_mps: float) -> None:
        """The wind along the strip, and the limit."""
        pdf, slot = self._pdf, self._layout.slot

        def x(speed: float) -> float:
            return self._left + slot * (THREAD[0] + (THREAD[1] - THREAD[0]) * min(1.0, speed / highest_mps))

        if limit_mps is not None:
            pdf.set_line_width(0.15)
            pdf.set_dash_pattern(dash=1.5, gap=0.8)
            pdf.line(x(limit_mps), self._y(0.0), x(limit_mps), self._y(self._strip["length_m"]))
            pdf.set_dash_pattern()
        pdf.set_line_width(0.8 if self._strip["verdict"] == "above" else 0.35)
        points = [(x(speed), self._y(at_m)) for at_m, speed in self._strip["thread"]]
        if len(points) > 1:
            pdf.polyline(points)

    def draw_fold(self, after: Mapping[str, Any]) -> None:
        """How the strip goes over into the next one, as lines beyond the ends of both."""
        pdf, layout = self._pdf, self._layout
        start, end = self._y(self._strip["length_m"]), self._base - after["start_m"] * layout.scale
        x, x_2 = self._middle, self._middle + layout.slot
        pdf.set_line_width(0.2)
        pdf.set_dash_pattern(dash=0.6, gap=0.6)
        if self._strip["is_up"] == after["is_up"]:
            pdf.line(x, start, x_2, end)
        else:
            out = min(start, end) - 3.0 if self._strip["is_up"] else max(start, end) + 3.0
            pdf.polyline([(x, start), (x, out), (x_2, out), (x_2, end)])
        pdf.set_dash_pattern()
