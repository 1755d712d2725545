"""Lines and fields of a table in a text file, and the numbers in them."""

import csv
import gzip
import zlib
from collections.abc import Iterator
from io import BufferedIOBase
from math import isfinite
from pathlib import Path

from server.errors import HistoryError

LONGEST_LINE = 16_384
LARGEST_TEXT = 512 * 2**20
"""A file is not read further than this, however much it is compressed."""
MARKS = {b"\xef\xbb\xbf": "utf-8", b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}
NOTHING = frozenset(
    (
        "",
        "nan",
        "na",
        "n/a",
        "null",
        "none",
        "nil",
        "-",
        "--",
        "---",
        "----",
        "/",
        "//",
        "///",
        "////",
        "m",
        "*",
        "?",
        "x",
    )
)
"""What people and loggers write where there is no value, in small letters."""
_POINTS = ["N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"]
COMPASS = {point: 22.5 * spot for spot, point in enumerate(_POINTS)}
"""The sixteen points, in English; O is east in one language and west in another, so it is none."""


def read_lines(path: Path) -> Iterator[tuple[str, int]]:
    """Lines of a plain or gzip file, each with the number of bytes read so far; raises HistoryError."""
    try:
        with path.open("rb") as raw:
            is_packed = raw.read(2) == b"\x1f\x8b"
            raw.seek(0)
            yield from _each_line(gzip.GzipFile(fileobj=raw, mode="rb") if is_packed else raw, path.name)
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise HistoryError(f"{path.name}: the compressed file is broken ({error})") from error
    except OSError as error:
        raise HistoryError(f"{path.name}: cannot be read ({error.strerror or error})") from error


def split_lines(head: bytes) -> list[str]:
    """The lines of a file's first bytes; one that may be cut short is left out. Raises HistoryError."""
    lines: list[str] = []
    encoding, start = _find_encoding(head)
    text = head[start:].decode(encoding, "replace")
    lines = text.splitlines(keepends=True)
    if len(lines) > 1 and not lines[-1].endswith(("\n", "\r")):
        lines.pop()
    if any(len(line) > LONGEST_LINE for line in lines):
        raise HistoryError(f"a line of more than {LONGEST_LINE} characters: this is not a table of readings")
    if any("\0" in line for line in lines):
        raise HistoryError("this is not a table of readings, which would be text: is it the right file?")
    return [line.rstrip("\r\n") for line in lines]


def split_line(line: str, separator: str) -> list[str]:
    """A line's fields, without the blanks around them; quotes hold within one line."""
    if '"' in line:
        try:
            return [field.strip() for field in next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])]
        except csv.Error:
            return []
    if separator == " ":
        return line.split()
    return [field.strip() for field in line.split(separator)]


def read_number(text: str, decimal: str) -> float | None:
    """A number; NaN where there is none on purpose, None where it is none at all."""
    if decimal == ",":
        if "." in text and "," not in text:
            return None
        text = text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        return float("nan") if text.lower() in NOTHING else None
    if "_" in text:
        return None
    return value if isfinite(value) else float("nan")


def read_direction(text: str, decimal: str) -> float | None:
    """Degrees, or a point of the compass; NaN where there is none on purpose, None where it is none at all."""
    point = COMPASS.get(text.upper())
    return read_number(text, decimal) if point is None else point


def _each_line(file: BufferedIOBase, name: str) -> Iterator[tuple[str, int]]:
    """Lines decoded one by one, so that no more than one is in memory."""
    first = file.read(3)
    encoding, start = _find_encoding(first)
    step = 1 if encoding == "utf-8" else 2
    rest, size = first[start:], len(first)
    while True:
        block = file.read(65_536)
        size += len(block)
        rest += block
        if size > LARGEST_TEXT:
            raise HistoryError(f"{name}: longer than {LARGEST_TEXT // 2**20} MB: split it")
        cut = len(rest) - len(rest) % step if not block else _find_last_end(rest, encoding)
        # Old files end their lines with a carriage return alone.
        for line in rest[:cut].decode(encoding, "replace").splitlines():
            if len(line) > LONGEST_LINE:
                raise HistoryError(f"{name}: a line of more than {LONGEST_LINE} characters: not a table of readings")
            yield line, size
        rest = rest[cut:]
        if not block:
            return
        if len(rest) > 4 * LONGEST_LINE:
            raise HistoryError(f"{name}: a line of more than {LONGEST_LINE} characters: not a table of readings")


def _find_encoding(head: bytes) -> tuple[str, int]:
    """By the mark at a file's begin."""
    return next(((name, len(mark)) for mark, name in MARKS.items() if head.startswith(mark)), ("utf-8", 0))


def _find_last_end(data: bytes, encoding: str) -> int:
    """How many bytes are whole lines."""
    if encoding == "utf-8":
        return data.rfind(b"\n") + 1 or data.rfind(b"\r", 0, -1) + 1
    end = "\n".encode(encoding)
    spot = data.rfind(end)
    while spot >= 0 and spot % 2:
        spot = data.rfind(end, 0, spot + 1)
    return spot + 2 if spot >= 0 else 0
