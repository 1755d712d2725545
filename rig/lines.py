"""Whole NMEA sentences out of a stream of bytes, however it was cut; what is not one is counted and skipped."""

from collections import Counter
from dataclasses import dataclass, field
from functools import reduce
from operator import xor

LINE_LIMIT_BYTES = 256
"""NMEA 0183 allows 82; receivers with more digits send somewhat more."""


@dataclass
class LineReader:
    """Collects bytes into lines and keeps those with a right checksum."""

    refused: Counter[str] = field(default_factory=Counter)
    sentences: int = 0
    _rest: bytes = b""
    _rest_mono: float = 0.0
    _is_overlong: bool = False

    def feed(self, data: bytes, mono: float) -> list[tuple[bytes, float]]:
        """Take the next bytes; give back whole good sentences, each with the time of its line's first byte."""
        found = []
        if not self._rest:
            self._rest_mono = mono
        *lines, self._rest = (self._rest + data).replace(b"\r", b"\n").split(b"\n")
        for line in lines:
            sentence = self._judge(line)
            if sentence is not None:
                found.append((sentence, self._rest_mono))
            self._rest_mono = mono
        if len(self._rest) > LINE_LIMIT_BYTES:
            self._rest = self._rest[-LINE_LIMIT_BYTES:]
            self._is_overlong = True
        return found

    def _judge(self, line: bytes) -> bytes | None:
        """Give back a line's good sentence, or count why there is none."""
        is_overlong, self._is_overlong = self._is_overlong, False
        if is_overlong:
            self.refused["overlong"] += 1
        if not line:
            return None
        start = line.rfind(b"$") if b"$" in line else line.find(b"!")
        if start < 0:
            self.refused["binary" if _is_binary(line) else "not_nmea"] += 1
            return None
        head, sentence = line[:start], line[start:]
        reason = "torn" if head and not is_overlong else None
        if head and not head.startswith((b"$", b"!")):
            reason = "binary" if _is_binary(head) else "wrapped"
        if reason in {"torn", "binary"} and _fault_of(sentence) is None:
            self.refused[reason] += 1
            self.sentences += 1
            return sentence
        reason = reason or _fault_of(sentence)
        if reason is None:
            self.sentences += 1
            return sentence
        self.refused[reason] += 1
        return None


def _is_binary(line: bytes) -> bool:
    return any(byte < 0x20 or byte > 0x7E for byte in line)


def _fault_of(sentence: bytes) -> str | None:
    """Name what is wrong with a sentence that begins with $ or !, or None."""
    if _is_binary(sentence):
        return "binary"
    body, star, stated = sentence[1:].partition(b"*")
    stated = stated.rstrip()
    if not star or len(stated) != 2:
        return "torn"
    try:
        wanted = int(stated, 16)
    except ValueError:
        return "torn"
    return None if reduce(xor, body, 0) == wanted else "checksum"
