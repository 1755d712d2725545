"""The history's command line: what is told on it, and how answers are printed."""

import gzip
import json
import zlib
from collections.abc import Iterator
from collections.abc import Mapping as Table
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from server.errors import HistoryError, RequestError, ServiceError
from server.history.mapping import Mapping, check_mapping, read_mapping
from server.history.proposal import HEAD_BYTES, Proposal, propose_mapping

COLUMNS = ("speed", "gust", "direction", "flag")
LISTS = ("time", "good_flags", "missing")
SPOKEN = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "spaces": " ", "point": "."}


def read_told(file: Path, mapping_file: Path | None, told: Table[str, object]) -> Mapping:
    """A file's mapping: from JSON, or what its head says with what is told; raises RequestError for doubts left."""
    if mapping_file is not None:
        return read_mapping_file(mapping_file)
    given = {key: value for key, value in told.items() if value not in (None, ())}
    proposal = propose_mapping(read_head(file))
    mapping = check_mapping(replace(proposal.mapping, **_read_values(given, proposal.columns)))
    left = [doubt for doubt in proposal.doubts if doubt.key not in given]
    if mapping.time and mapping.date_order is None:
        # The rest of the file may tell it.
        left = [doubt for doubt in left if doubt.key != "date_order"]
    if mapping.flag is None:
        left = [doubt for doubt in left if doubt.key != "good_flags"]
    if left:
        options = " ".join(f"--{doubt.key.replace('_', '-')}" for doubt in left)
        sentences = " ".join(doubt.sentence for doubt in left)
        raise RequestError(left[0].key, f"{file.name} is not imported before it is told: {options}. {sentences}")
    return mapping


def read_mapping_file(path: Path) -> Mapping:
    """A mapping from a JSON file; raises HistoryError, RequestError."""
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise HistoryError(f"{path.name}: no mapping can be read from it ({error})") from error
    if not isinstance(table, dict):
        raise HistoryError(f"{path.name}: an object is wanted")
    return read_mapping(table)


def read_head(path: Path) -> bytes:
    """The first bytes of a plain or gzip file; raises HistoryError."""
    try:
        with path.open("rb") as raw:
            head = raw.read(HEAD_BYTES)
        return unpack_head(head)
    except OSError as error:
        raise HistoryError(f"{path.name}: cannot be read ({error.strerror})") from error


def unpack_head(head: bytes) -> bytes:
    """The head as text's bytes, where it is that of a gzip file; raises HistoryError."""
    if head[:2] != b"\x1f\x8b":
        return head
    try:
        return zlib.decompressobj(zlib.MAX_WBITS | 16).decompress(head, HEAD_BYTES)
    except (zlib.error, gzip.BadGzipFile) as error:
        raise HistoryError(f"the compressed file is broken ({error})") from error


@contextmanager
def tell_refusal(*, is_json: bool) -> Iterator[None]:
    """A refusal as JSON, for the program that asked; else it goes on to be told in one line."""
    try:
        yield
    except ServiceError as error:
        if not is_json:
            raise
        key = error.key if isinstance(error, RequestError) else None
        click.echo(json.dumps({"refusal": str(error), "key": key}))


def print_look(file: Path, *, is_json: bool) -> None:
    """How a file would be read, and what it does not say."""
    proposal = propose_mapping(read_head(file))
    if is_json:
        click.echo(json.dumps(proposal.as_object()))
        return
    for key, value in proposal.mapping.as_object().items():
        click.echo(f"{key:11} {_tell(key, value, proposal)}")
    for doubt in proposal.doubts:
        click.echo(f"Tell --{doubt.key.replace('_', '-')}: {doubt.sentence}")


def print_report(report: dict[str, Any], *, is_json: bool) -> None:
    """What became of each row."""
    if is_json:
        click.echo(json.dumps(report))
        return
    click.echo(
        f"{report['name']}: {report['used_rows']} of {report['rows']} rows, {report['blocks']} blocks of "
        f"{report['step_s']} s, {report['added_blocks']} of them new; median {report['median_mps']} m/s, "
        f"highest {report['highest_mean_mps']} m/s"
    )
    gaps = report["gaps"]
    for sentence in (*report["taken"], *(note["sentence"] for note in report["notes"])):
        click.echo(sentence)
    click.echo(f"{gaps['count']} gaps, {gaps['missing_steps']} intervals missing in them.")


def _read_values(given: Table[str, object], columns: tuple[str, ...]) -> dict[str, Any]:
    """Options as the mapping's values."""
    found: dict[str, Any] = dict(given)
    for key in COLUMNS:
        if key in found:
            found[key] = _find_column(key, str(found[key]), columns)
    if "time" in found:
        found["time"] = tuple(_find_column("time", str(text), columns) for text in found["time"])
    for key in ("separator", "decimal"):
        if key in found:
            found[key] = SPOKEN.get(str(found[key]), found[key])
    return found


def _find_column(key: str, text: str, columns: tuple[str, ...]) -> int | None:
    """A column's number, by number or name; raises RequestError."""
    if text in columns:
        return columns.index(text) + 1
    if text.isdigit() and len(text) < 6:
        return int(text)
    if text == "none" and key != "time":
        return None
    raise RequestError(key, f"{text[:40]!r} is no column: --look tells how the file would be read")


def _tell(key: str, value: Any, proposal: Proposal) -> str:
    """A value with the column's name beside its number."""
    numbers = value if key == "time" else [value] if key in COLUMNS and value is not None else []
    if numbers:
        return ", ".join(f"{number} ({proposal.columns[number - 1]})" for number in numbers)
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "–"
    return "–" if value is None else repr(value) if key in ("separator", "decimal") else str(value)
