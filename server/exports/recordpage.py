"""record.html: the record as one page that needs nothing else, and prints on two."""

from html import escape
from typing import Any

from server.exports.recordwords import (
    DEFER,
    Row,
    Section,
    lay_out_record,
    lay_out_rules,
    say_signature,
    say_title,
)
from server.exports.unitsets import UnitSet

STYLE = """
@page { margin: 11mm 12mm; }
:root { color-scheme: light; }
body { font: 9pt/1.25 "DejaVu Sans", "Noto Sans", sans-serif; color: #14201f; background: #fff; margin: 1rem auto;
  max-width: 60rem; padding: 0 .5rem; }
h1 { font-size: 15pt; margin: 0; }
h2 { font-size: 9.5pt; margin: 0 0 1pt; border-bottom: 1pt solid #14201f; break-after: avoid; }
p { margin: 2pt 0 5pt; }
.sheet { columns: 2 22rem; column-gap: 6mm; }
section { margin: 0 0 6pt; }
table { border-collapse: collapse; width: 100%; }
tr { break-inside: avoid; }
th, td { text-align: left; vertical-align: top; padding: .8pt 4pt .8pt 0; font-weight: normal;
  overflow-wrap: anywhere; }
th { width: 38%; color: #4a5654; }
.from { color: #4a5654; font-size: 7pt; }
.missing { font-style: italic; }
.earlier { font-size: 7.5pt; }
.second { break-before: page; }
.sign { border-top: 1pt solid #14201f; padding-top: 4pt; overflow-wrap: anywhere; }
@media print { body { margin: 0; max-width: none; padding: 0; font-size: 7.8pt; } .sheet { columns: 2; } }
"""


def write_page(view: dict[str, Any], units: UnitSet) -> bytes:
    """The page's bytes: the record on its first sheet, checklists, amendments and signature on its second."""
    record = "".join(_section(each) for each in lay_out_record(view, units))
    rules = "".join(_section(each) for each in lay_out_rules(view))
    title = escape(say_title(view))
    parts = (
        "<!doctype html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>Application record, job {view['job']}</title><style>{STYLE}</style></head><body>",
        f"<h1>Application record</h1><p>{title}</p><div class='sheet'>{record}</div>",
        f"<div class='second'><h1>What the rules ask for</h1><p>{title} {escape(DEFER)}</p>",
        f"<div class='sheet'>{rules}</div>{_amendments(view)}",
        f"<p class='sign'>{escape(say_signature(view))}</p></div></body></html>\n",
    )
    return "".join(parts).encode()


def _amendments(view: dict[str, Any]) -> str:
    count = len(view["amendments"])
    if not count:
        return ""
    words = "One amendment" if count == 1 else f"{count} amendments"
    return f"<p>{words} after signing; the values before stand beside those that were changed.</p>"


def _section(section: Section) -> str:
    return f"<section><h2>{escape(section.title)}</h2><table>{''.join(map(_row, section.rows))}</table></section>"


def _row(row: Row) -> str:
    mark = " class='missing'" if row.is_missing else ""
    source = f" <span class='from'>{escape(row.source)}</span>" if row.source else ""
    earlier = "".join(f"<br><span class='earlier'>{escape(each)}</span>" for each in row.earlier)
    return f"<tr><th scope='row'>{escape(row.label)}</th><td{mark}>{escape(row.words)}{source}{earlier}</td></tr>"
