"""Reads printed sheets back: how many pages a PDF has, and its text as a reader's search finds it."""

import re
import zlib

_OBJECT = re.compile(rb"(\d+) 0 obj\n(.*?)\nendobj", re.DOTALL)
_STREAM = re.compile(rb"stream\r?\n(.*)\r?\nendstream", re.DOTALL)
_WORDS = re.compile(rb"/(F\d+) [\d.]+ Tf|\(((?:[^()\\]|\\.)*)\) Tj", re.DOTALL)
_ESCAPES = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def count_pages(pdf: bytes) -> int:
    """How many pages there are."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def read_text(pdf: bytes) -> str:
    """The text of a PDF written by fpdf2, by its fonts' own tables of what each glyph stands for."""
    objects = {int(number): body for number, body in _OBJECT.findall(pdf)}
    fonts = {}
    for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", pdf):
        found = re.search(rb"/ToUnicode (\d+) 0 R", objects[int(number)])
        fonts[name] = None if found is None else _read_table(_unpack(objects[int(found[1])]))
    contents = [int(number) for number in re.findall(rb"/Contents (\d+) 0 R", pdf)]
    return "\n".join(_read_page(_unpack(objects[number]), fonts) for number in contents)


def _unpack(body: bytes) -> bytes:
    found = _STREAM.search(body)
    assert found is not None
    return zlib.decompress(found[1]) if b"/FlateDecode" in body[: found.start()] else found[1]


def _read_table(text: bytes) -> dict[int, str]:
    pairs = re.findall(rb"<([0-9A-F]{4})> <([0-9A-F]+)>", text.split(b"beginbfchar", 1)[1])
    return {int(code, 16): bytes.fromhex(to.decode()).decode("utf-16-be") for code, to in pairs}


def _read_page(content: bytes, fonts: dict[bytes, dict[int, str] | None]) -> str:
    table: dict[int, str] | None = None
    lines = []
    for font, shown in _WORDS.findall(content):
        if font:
            table = fonts[font]
            continue
        raw = re.sub(rb"\\(.)", lambda found: _ESCAPES.get(found[1], found[1]), shown, flags=re.DOTALL)
        if table is None:
            lines.append(raw.decode("latin-1"))
        else:
            codes = [int.from_bytes(raw[place : place + 2], "big") for place in range(0, len(raw), 2)]
            lines.append("".join(table[code] for code in codes))
    return "\n".join(lines)


def read_places(pdf: bytes) -> list[list[tuple[float, float]]]:
    """Where each line of each page begins, points from the lower left."""
    objects = {int(number): body for number, body in _OBJECT.findall(pdf)}
    pages = [_unpack(objects[int(number)]) for number in re.findall(rb"/Contents (\d+) 0 R", pdf)]
    return [[(float(x), float(y)) for x, y in re.findall(rb"BT ([\d.]+) ([\d.]+) Td", page)] for page in pages]
