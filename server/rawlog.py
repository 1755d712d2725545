"""The raw log as a file: a message a line, newline-delimited JSON, plain or gzip."""

import base64
import binascii
import gzip
import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, cast

from rig import wire
from server.core.log import JobLog, Receipt
from server.core.setup import Span
from server.errors import LogError
from server.samples import NUMERIC, SAID, Rows, assemble_log, tabulate
from server.store.columns import row_of

GZIP_MAGIC = b"\x1f\x8b"
LATEST_UTC = 1e11


@dataclass(frozen=True, slots=True)
class Received:
    """One message as it came; `is_line` is False for a line of a file that is no message at all."""

    topic: str
    received_utc: float
    payload: bytes
    is_line: bool = True


def read_raw_log(path: Path) -> Iterator[Received]:
    """Read a raw log message by message; raises LogError where the file cannot be read as one."""
    try:
        with path.open("rb") as probe:
            is_packed = probe.read(2) == GZIP_MAGIC
        with gzip.open(path, "rb") if is_packed else path.open("rb") as lines:
            for line in cast("IO[bytes]", lines):
                if line.strip():
                    yield _read_line(line)
    except (OSError, EOFError, zlib.error) as error:
        reason = getattr(error, "strerror", None) or str(error) or "it ends in the midst"
        raise LogError(f"{path}: the raw log cannot be read: {reason}") from error


def _read_line(line: bytes) -> Received:
    """Read one line; one that is no message comes back as such and is counted as refused."""
    try:
        found = json.loads(line)
        topic, received = found["topic"], found["received"]
        if not isinstance(topic, str) or isinstance(received, bool) or not 0.0 <= received < LATEST_UTC:
            raise ValueError
        if "payload_base64" in found:
            payload = base64.b64decode(found["payload_base64"], validate=True)
        else:
            payload = json.dumps(found["payload"], separators=(",", ":"), ensure_ascii=False).encode()
    except (ValueError, KeyError, TypeError, RecursionError, binascii.Error):
        return Received("", 0.0, line, is_line=False)
    return Received(topic, float(received), payload)


def write_raw_log(path: Path, received: Iterable[Received]) -> int:
    """Write a raw log, gzip by its name, the same bytes for the same messages; tells how many."""
    count = 0
    with path.open("wb") as file:
        packed = gzip.GzipFile(filename="", mode="wb", fileobj=file, mtime=0) if path.suffix == ".gz" else None
        out = cast("IO[bytes]", packed or file)
        for message in received:
            out.write(_write_line(message))
            count += 1
        if packed is not None:
            packed.close()
    return count


def _write_line(message: Received) -> bytes:
    """A line; a payload that does not survive the way through JSON goes as base64."""
    head: dict[str, Any] = {"topic": message.topic, "received": message.received_utc}
    try:
        found = json.loads(message.payload)
        text = json.dumps(found, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()
    except (ValueError, RecursionError):
        text = None
    if text == message.payload and isinstance(found, dict):
        head["payload"] = found
    else:
        head["payload_base64"] = base64.b64encode(message.payload).decode()
    return json.dumps(head, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"


def gather_log(received: Iterable[Received], span: Span) -> JobLog:
    """Decode a raw log into a job's arrays, once each; raises LogError where it holds no job."""
    gathering = _Gathering(span)
    for message in received:
        gathering.take(message)
    return gathering.finish()


class _Gathering:
    """Decodes, refuses and counts message by message."""

    def __init__(self, span: Span) -> None:
        self._span = span
        self._rows: dict[str, Rows] = {}
        self._boots: dict[tuple[str, str], int] = {}
        self._names: list[str] = []
        self._seen: dict[tuple[int, str, int], wire.Data] = {}
        self._rigs: dict[str, int] = {}
        self._refused: dict[str, int] = {}
        self._duplicates: list[tuple[str, int, float]] = []

    def take(self, received: Received) -> None:
        """Take one message."""
        if not received.is_line:
            self._refused[""] = self._refused.get("", 0) + 1
            return
        try:
            rig, stream = wire.split_topic(received.topic)
        except wire.Refusal:
            self._refused[""] = self._refused.get("", 0) + 1
            return
        if stream not in wire.DATA_STREAMS:
            return
        try:
            message = cast("wire.Data", wire.decode(stream, received.payload))
        except wire.Refusal:
            self._refused[rig] = self._refused.get(rig, 0) + 1
            return
        self._keep(rig, stream, message, received.received_utc)

    def _keep(self, rig: str, stream: str, message: wire.Data, received_utc: float) -> None:
        """Keep a message the first time that its key comes."""
        boot = self._boots.setdefault((rig, message.boot), len(self._names))
        if boot == len(self._names):
            self._names.append(message.boot)
        self._rigs[rig] = self._rigs.get(rig, 0) + 1
        key = (boot, stream, message.seq)
        if key in self._seen:
            if self._seen[key] == message:
                self._duplicates.append((rig, boot, message.mono))
            else:
                self._refused[rig] = self._refused.get(rig, 0) + 1
            return
        self._seen[key] = message
        row = row_of(stream, message, boot, received_utc)
        self._rows.setdefault(rig, {}).setdefault(stream, []).append(row)

    def finish(self) -> JobLog:
        """Choose the rig, cut the span and make the arrays."""
        rig = self._choose_rig()
        arrivals: dict[int, float] = {}
        rows = self._rows.get(rig, {})
        for found in rows.values():
            for row in found:
                arrivals[row[-2]] = min(arrivals.get(row[-2], row[-1]), row[-1])
        order = sorted(arrivals, key=lambda boot: (arrivals[boot], self._names[boot]))
        limits = cut_span(self._span, [self._names[boot] for boot in order])
        bounds = dict(zip(order, limits, strict=True))
        cut = {stream: [row for row in found if _is_inside(bounds[row[-2]], row[1])] for stream, found in rows.items()}
        read = sum(map(len, cut.values()))
        duplicate = sum(_is_inside(bounds[boot], mono) for name, boot, mono in self._duplicates if name == rig)
        refused = self._refused.get(rig, 0) + self._refused.get("", 0)
        receipt = Receipt(read + refused + duplicate, refused, duplicate)
        if not read:
            raise LogError(f"the raw log holds no sample of rig {rig!r} in the job's span")
        tables = {stream: tabulate(cut.get(stream, []), stream) for stream in NUMERIC}
        return assemble_log(rig, self._names, tables, {stream: cut.get(stream, []) for stream in SAID}, receipt)

    def _choose_rig(self) -> str:
        """The span's rig, or the only one."""
        if self._span.rig is not None:
            return self._span.rig
        if not self._rigs:
            raise LogError("the file holds no message of a rig: is it a raw log (log.ndjson.gz)?")
        if len(self._rigs) != 1:
            known = ", ".join(sorted(self._rigs))
            raise LogError(f"the raw log must hold one rig, or [job] rig must name one; it holds {known}")
        return next(iter(self._rigs))


Limits = tuple[float, float] | None
"""First and last mono of a boot, or None where the boot lies outside the job."""


def cut_span(span: Span, boots: list[str]) -> list[Limits]:
    """Which part of each boot, in order of arrival, belongs to the job; raises LogError for an unknown boot."""
    for end in (span.start, span.end):
        if end is not None and end[0] not in boots:
            raise LogError(f"boot {end[0]} of the job's span is not in the log")
    first = boots.index(span.start[0]) if span.start else 0
    last = boots.index(span.end[0]) if span.end else len(boots) - 1
    limits: list[Limits] = []
    for place, _ in enumerate(boots):
        if not first <= place <= last:
            limits.append(None)
            continue
        low = span.start[1] if span.start and place == first else float("-inf")
        high = span.end[1] if span.end and place == last else float("inf")
        limits.append((low, high))
    return limits


def _is_inside(limits: Limits, mono: float) -> bool:
    return limits is not None and limits[0] <= mono <= limits[1]
