"""record.pdf: the record for those who mail it, its text searchable, with a font of this machine where there is one."""

from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.exports.recordwords import (
    DEFER,
    Row,
    Section,
    lay_out_record,
    lay_out_rules,
    say_signature,
    say_title,
)
from server.exports.straightpage import TITLE, draw_strips, say_key
from server.exports.unitsets import UnitSet

if TYPE_CHECKING:
    from fpdf import FPDF

FONT_FOLDERS = ("/usr/share/fonts/truetype/dejavu", "/usr/share/fonts/dejavu", "/usr/share/fonts/TTF")
REGULAR, BOLD = "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"
MARGIN_MM, GAP_MM, FOOT_MM = 12.0, 6.0, 12.0
SIZE_PT, HEAD_PT, TITLE_PT = 7.0, 8.5, 14.0
LABEL_SHARE = 0.38
REPLACED = "?"
BESIDE = "Drawn from the review as it stands now; what is signed is the record's text."


def write_pdf(view: dict[str, Any], units: UnitSet, *, fonts: Path | None = None, search: bool = True) -> bytes:
    """The file's bytes, on Letter for customary units and on A4 for others; the same record gives the same ones.

    `fonts` is a folder with the fonts; without one, and with `search`, they are looked for. Without any, letters that
    the format's own font lacks are printed as question marks, which the foot of the page says.
    """
    # Here, so that a service that writes no record does without it.
    from fpdf import FPDF

    pdf = FPDF(format="letter" if units.length.sign == "ft" else "a4")
    pdf.set_auto_page_break(False)
    pdf.set_margin(MARGIN_MM)
    sheet = _Sheet(pdf, fonts or (find_fonts() if search else None))
    ends = [item["value"] for item in view["items"] if item["key"] == "end_utc" and item["value"] is not None]
    stamp = view["signature"]["utc"] if view["signature"] else max(ends, default=0.0)
    pdf.set_creation_date(datetime.fromtimestamp(stamp, UTC))
    pdf.set_title(sheet.spell(f"Application record, job {view['job']}"))
    title = say_title(view)
    sheet.begin("Application record", title)
    for section in lay_out_record(view, units):
        sheet.put(section)
    for part in view.get("straightened", ()):
        sheet.begin(TITLE, f"{part['name']}. {say_key(part, units)} {BESIDE}")
        sheet.draw(part, units)
    sheet.begin("What the rules ask for", f"{title} {DEFER}")
    for section in lay_out_rules(view):
        sheet.put(section)
    sheet.close(say_signature(view))
    return bytes(pdf.output())


def find_fonts() -> Path | None:
    """A folder of this machine with the fonts; the plotting package brings them, too."""
    folders = [Path(folder) for folder in FONT_FOLDERS]
    spec = find_spec("matplotlib")
    if spec is not None and spec.origin is not None:
        folders.append(Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf")
    return next((each for each in folders if (each / REGULAR).is_file() and (each / BOLD).is_file()), None)


class _Sheet:
    """Pages in two columns, filled from the top left on."""

    def __init__(self, pdf: "FPDF", fonts: Path | None) -> None:
        self._pdf = pdf
        self._is_plain = fonts is None
        self._has_replaced = False
        self._family = "helvetica"
        if fonts is not None:
            self._family = "record"
            pdf.add_font("record", "", fonts / REGULAR)
            pdf.add_font("record", "B", fonts / BOLD)
        self._column = 0
        self._top = 0.0
        self._width = (pdf.w - 2 * MARGIN_MM - GAP_MM) / 2

    def spell(self, text: str) -> str:
        """The text as the font can print it, what it cannot replaced visibly."""
        if not self._is_plain:
            return text
        for sign, plain in (("–", "-"), ("−", "-"), ("“", '"'), ("”", '"')):
            text = text.replace(sign, plain)
        spelled = text.encode("latin-1", "replace").decode("latin-1")
        self._has_replaced |= spelled != text
        return spelled

    def begin(self, title: str, words: str) -> None:
        """A new page with its heading."""
        self._new_page()
        self._write(title, TITLE_PT, "B", self._pdf.epw)
        self._write(words, SIZE_PT, "", self._pdf.epw)
        self._pdf.set_y(self._pdf.get_y() + 2.0)
        self._top = self._pdf.get_y()

    def put(self, section: Section) -> None:
        """A section, its heading never alone at the foot of a column."""
        head = self._measure(section.title, HEAD_PT, "B", self._width) + 1.5
        first = self._height(section.rows[0]) if section.rows else 0.0
        self._make_room(head + first)
        self._write(section.title, HEAD_PT, "B", self._width)
        y = self._pdf.get_y()
        self._pdf.line(self._left, y, self._left + self._width, y)
        self._pdf.set_y(y + 0.8)
        for row in section.rows:
            self._make_room(self._height(row))
            self._row(row)
        self._pdf.set_y(self._pdf.get_y() + 2.0)

    def draw(self, strips: dict[str, Any], units: UnitSet) -> None:
        """The straightened lawn, over what is left of the page."""
        height = self._pdf.h - 2.0 * FOOT_MM - self._top - 4.0
        draw_strips(self._pdf, strips, units, self._family, left=MARGIN_MM, top=self._top, height=height)

    def close(self, words: str) -> None:
        """The signature at the foot, and whether letters had to be replaced."""
        foot = f"{words} {self._tell_replaced()}".strip()
        height = self._measure(self.spell(foot), SIZE_PT, "", self._pdf.epw)
        self._column = 0
        self._pdf.set_y(self._pdf.h - FOOT_MM - height)
        self._pdf.line(MARGIN_MM, self._pdf.get_y() - 1.0, self._pdf.w - MARGIN_MM, self._pdf.get_y() - 1.0)
        self._write(foot, SIZE_PT, "", self._pdf.epw)

    @property
    def _left(self) -> float:
        return MARGIN_MM + self._column * (self._width + GAP_MM)

    def _tell_replaced(self) -> str:
        if not self._has_replaced:
            return ""
        return f"Letters that this machine has no font for are printed as {REPLACED}: record.html has them."

    def _new_page(self) -> None:
        self._pdf.add_page()
        self._column = 0
        self._top = MARGIN_MM
        self._pdf.set_y(MARGIN_MM)

    def _make_room(self, height: float) -> None:
        """Go on to the next column, or page, where the rest is too short."""
        if self._pdf.get_y() + height <= self._pdf.h - 2 * FOOT_MM:
            return
        if self._column == 0:
            self._column = 1
            self._pdf.set_y(self._top)
        else:
            self._new_page()

    def _texts(self, row: Row) -> tuple[str, str]:
        behind = f" ({row.source})" if row.source else ""
        return row.label, "\n".join([row.words + behind, *row.earlier])

    def _height(self, row: Row) -> float:
        label, words = self._texts(row)
        widths = (LABEL_SHARE * self._width, (1.0 - LABEL_SHARE) * self._width)
        return max(self._measure(text, SIZE_PT, "", width) for text, width in zip((label, words), widths, strict=True))

    def _row(self, row: Row) -> None:
        label, words = self._texts(row)
        y, height = self._pdf.get_y(), self._height(row)
        self._write(label, SIZE_PT, "", LABEL_SHARE * self._width)
        self._pdf.set_y(y)
        self._write(words, SIZE_PT, "", (1.0 - LABEL_SHARE) * self._width, indent=LABEL_SHARE * self._width)
        self._pdf.set_y(y + height)

    def _measure(self, text: str, size: float, style: str, width: float) -> float:
        self._pdf.set_font(self._family, style, size)
        found = self._pdf.multi_cell(
            width, self._line(size), self.spell(text), align="L", dry_run=True, output="HEIGHT"
        )  # fmt: skip
        assert isinstance(found, float)
        return found

    def _write(self, text: str, size: float, style: str, width: float, *, indent: float = 0.0) -> None:
        self._pdf.set_font(self._family, style, size)
        self._pdf.set_x(self._left + indent)
        self._pdf.multi_cell(width, self._line(size), self.spell(text), align="L", new_x="LEFT", new_y="NEXT")

    @staticmethod
    def _line(size: float) -> float:
        """Height of a line, mm."""
        return size * 0.3528 * 1.25
