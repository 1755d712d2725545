"""Reads the dashboard's modules as far as a test needs it: their text literals, each with what stands before it."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

BEFORE_PATTERN = re.compile(r"(?:[(=:,!&|?{};\[\n]|\breturn|=>)\s*$")
WORDS = re.compile(r"[A-Za-z]{2,}[,.:;?!]? +[A-Za-z(]|^[A-Z][a-z]+\b|[a-z]{2,}[.?!:,]$")
NOT_SHOWN = re.compile(
    r"(?:\bclass: |className = |font = |setProperty\(|querySelector(?:All)?\(|closest\(|matches\(|from |import |"
    r"matchMedia\(|new Event\(|addEventListener\(|\.key === |dispatchEvent\(.*|role: |\bsay\(|headers: .*|"
    r"contentHint = )$"
)


@dataclass(frozen=True, slots=True)
class Literal:
    """A text literal of a module: its line, what stands before it on that line, and the text."""

    line: int
    before: str
    text: str


def read_literals(source: str) -> Iterator[Literal]:
    """The text literals of a module, outermost first; comments and patterns are passed over."""
    at = 0
    while at < len(source):
        end = pass_over(source, at)
        if end > at:
            at = end
        elif source[at] in "\"'`":
            end = close_literal(source, at)
            line_start = source.rfind("\n", 0, at) + 1
            text = source[at + 1 : end - 1]
            yield Literal(source.count("\n", 0, at) + 1, source[line_start:at], text)
            if source[at] == "`":
                for hole in find_holes(text):
                    yield from read_literals(hole)
            at = end
        else:
            at += 1


def pass_over(source: str, at: int) -> int:
    """The end of the comment or pattern that begins here, or the place itself."""
    if source.startswith("//", at):
        end = source.find("\n", at)
        return len(source) if end < 0 else end
    if source.startswith("/*", at):
        return source.index("*/", at) + 2
    if source[at] == "/" and BEFORE_PATTERN.search(source, 0, at) and (found := PATTERN.match(source, at)):
        return found.end()
    return at


PATTERN = re.compile(r"/(?:\\.|\[(?:\\.|[^\]\n])*\]|[^/\n\\\[])+/[a-z]*")


def close_literal(source: str, at: int) -> int:
    """The place behind the quote that closes the one here."""
    quote = source[at]
    place = at + 1
    while source[place] != quote:
        if source[place] == "\\":
            place += 2
        elif quote == "`" and source.startswith("${", place):
            place = close_hole(source, place + 2)
        else:
            place += 1
    return place + 1


def close_hole(source: str, at: int) -> int:
    """The place behind the brace that closes a hole of a template."""
    depth = 1
    while depth:
        if source[at] in "\"'`":
            at = close_literal(source, at)
            continue
        depth += {"{": 1, "}": -1}.get(source[at], 0)
        at += 1
    return at


def find_holes(text: str) -> Iterator[str]:
    """What stands in the holes of a template."""
    at = text.find("${")
    while at >= 0:
        end = close_hole(text, at + 2)
        yield text[at + 2 : end - 1]
        at = text.find("${", end)


def strip_holes(text: str) -> str:
    """A template without what stands in its holes."""
    at = text.find("${")
    while at >= 0:
        text = text[:at] + "\0" + text[close_hole(text, at + 2) :]
        at = text.find("${")
    return text


def is_speech(literal: Literal) -> bool:
    """Is this something that a person reads: words in a row, a capital first, a stop at the end?"""
    if NOT_SHOWN.search(literal.before):
        return False
    return WORDS.search(strip_holes(literal.text)) is not None
