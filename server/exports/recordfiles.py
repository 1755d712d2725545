"""A record as files: page, PDF, table with its dictionary, plain values."""

from collections.abc import Iterator
from typing import Any

from server.core.recorditem import KINDS, SORTS, SOURCES
from server.errors import UnknownError
from server.exports.files import RECORD_NAMES
from server.exports.job_json import write_json
from server.exports.recordpage import write_page
from server.exports.tables import write_table
from server.exports.unitsets import UNIT_SETS

COLUMNS = {
    "job": "Number of the job.",
    "key": "Name of the item; a number in it counts products, zones and parts.",
    "group": "Section of the record.",
    "label": "Name of the item in words.",
    "value": "The value as it stands now, amendments included; empty: not known. Text that would begin a formula has "
    "an apostrophe in front.",
    "unit": "Unit of value and sd: SI, or a label's own.",
    "source": f"Where it comes from: {', '.join(SOURCES)}; empty: not known.",
    "sd": "Standard uncertainty of the value; empty: not known.",
    "missing": "Why it is not known.",
    "beside": "What was typed beside a measured value, or what a card said before something else was typed.",
    "earlier": "Values before each amendment, with who changed it when (UTC, seconds since 1970) and why.",
}
"""Columns of record.csv and what each says."""
DICTIONARY_COLUMNS = ("what", "name", "unit", "kind", "means")


def record_file(name: str, view: dict[str, Any], *, units: str) -> bytes:
    """A file's bytes, pages in the set of units; raises UnknownError."""
    if name == "record.html":
        return write_page(view, UNIT_SETS[units])
    if name == "record.pdf":
        # Here, so that a service that writes no record does without it.
        from server.exports.recordpdf import write_pdf

        return write_pdf(view, UNIT_SETS[units])
    if name == "record.csv":
        return write_table(tuple(COLUMNS), _rows(view))
    if name == "record-dictionary.csv":
        return write_table(DICTIONARY_COLUMNS, _dictionary())
    if name == "record.json":
        return write_json(view)
    raise UnknownError(f"there is no file of a record {name!r}; there are {', '.join(RECORD_NAMES)}")


def _rows(view: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for item in view["items"]:
        earlier = [
            f"{each['before']} {each['before_unit']} ({each['who']}, {each['utc']}: {each['reason']})"
            for each in item["amended"]
        ]
        row = {name: item.get(name) for name in COLUMNS}
        row |= {"job": view["job"], "earlier": " | ".join(earlier)}
        yield {name: _disarm(value) for name, value in row.items()}


def _disarm(value: Any) -> Any:
    """Text that a spreadsheet would take for a formula gets an apostrophe."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def _dictionary() -> Iterator[dict[str, Any]]:
    for name, means in COLUMNS.items():
        yield {"what": "column", "name": name, "unit": "", "kind": "", "means": means}
    for sort in SORTS:
        unit = "label's own" if sort.kind in ("amount", "rate") else KINDS[sort.kind][0]
        yield {"what": "item", "name": sort.key, "unit": unit, "kind": sort.kind, "means": f"{sort.label}: {sort.says}"}
