"""What a rig and the service say to each other over MQTT, version 1: topics, messages, strict decoding.

Times are seconds, positions degrees WGS 84, speeds m/s, lengths m, temperature °C, humidity %. `mono` is the
device's monotonic clock, `utc` and `since` are seconds since 1970. A missing number is None (`null`), never 0.
"""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from operator import attrgetter
from typing import Any

TOPIC_ROOT = "calmpass/1"
PAYLOAD_LIMIT_BYTES = 1024
SEQ_LIMIT = 2**53
FIXES = ("none", "single", "differential", "float", "fixed", "estimated")
BUTTONS = ("start", "pause", "finish", "refill", "peg", "note")
LEVELS = ("none", "notice", "stop")
SAMPLE_STREAMS = ("position", "flow", "wind", "climate", "event")
"""The streams a device sends samples on; each is acknowledged."""
DATA_STREAMS = (*SAMPLE_STREAMS, "operator")
STREAMS = (*DATA_STREAMS, "state", "description", "ack", "service", "alarm")

_RIG = re.compile(r"[a-z0-9-]{1,32}")
_BOOT = re.compile(r"[0-9a-f]{8,32}")


class Refusal(ValueError):
    """A message that breaks the contract; `boot` and `seq` are told where they could still be read."""

    def __init__(self, reason: str, boot: str | None = None, seq: int | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.boot = boot
        self.seq = seq


@dataclass(frozen=True, slots=True)
class Position:
    """One fix of the receiver; `speed` and `course` are the receiver's own Doppler solution."""

    boot: str
    seq: int
    mono: float
    fix: str
    utc: float | None
    lat: float | None
    lon: float | None
    alt: float | None
    speed: float | None
    course: float | None
    sats: int | None
    hdop: float | None
    sd_east: float | None
    sd_north: float | None


@dataclass(frozen=True, slots=True)
class Flow:
    """The flow meter's cumulative count since boot and when its last edge came."""

    boot: str
    seq: int
    mono: float
    pulses: int
    edge: float | None
    edges_rejected: int


@dataclass(frozen=True, slots=True)
class Wind:
    """A cup's cumulative count, or the `speed` of an instrument that reports one; `from_` where a vane is fitted."""

    boot: str
    seq: int
    mono: float
    pulses: int | None
    edge: float | None
    edges_rejected: int | None
    speed: float | None = None
    from_: float | None = None


@dataclass(frozen=True, slots=True)
class Climate:
    """Air temperature and relative humidity."""

    boot: str
    seq: int
    mono: float
    temperature: float | None
    humidity: float | None


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened on the rig: a button, a start, an overflow, receiver statistics, an odd rate."""

    boot: str
    seq: int
    mono: float
    kind: str
    detail: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Operator:
    """A button pressed on the dashboard, stamped with the service's estimate of the device's clock."""

    boot: str
    seq: int
    mono: float
    utc: float | None
    kind: str
    detail: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Ack:
    """Per stream the highest sequence number up to which everything is settled."""

    boot: str
    committed: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Alarm:
    """What the sounder should do."""

    level: str
    reason: str
    since: float | None
    job: int | None


@dataclass(frozen=True, slots=True)
class State:
    """Whether the device is there; `offline` comes as its will."""

    state: str
    boot: str | None


@dataclass(frozen=True, slots=True)
class Service:
    """Whether the service is there; `offline` comes as its will."""

    state: str


Sample = Position | Flow | Wind | Climate | Event
Data = Sample | Operator
Message = Data | Ack | Alarm | State | Service

Check = Callable[[Any], bool]


def _number(low: float, high: float) -> Check:
    return lambda v: type(v) in (float, int) and low <= v <= high


def _integer(low: int, high: int) -> Check:
    return lambda v: type(v) is int and low <= v <= high


def _choice(*words: str) -> Check:
    return lambda v: type(v) is str and v in words


def _or_null(check: Check) -> Check:
    return lambda v: v is None or check(v)


def _is_boot(value: Any) -> bool:
    return type(value) is str and _BOOT.fullmatch(value) is not None


def _is_object(value: Any) -> bool:
    return type(value) is dict


def _is_counts(value: Any) -> bool:
    return type(value) is dict and all(_COUNT(v) for v in value.values())


def _is_committed(value: Any) -> bool:
    return _is_counts(value) and all(stream in DATA_STREAMS for stream in value)


_COUNT = _integer(0, SEQ_LIMIT)
_MONO = _number(0.0, 1e10)
_UTC = _number(0.0, 1e11)
_STREAM = _choice(*SAMPLE_STREAMS)
_HEAD: dict[str, Check] = {"boot": _is_boot, "seq": _COUNT, "mono": _MONO}
_COUNTER: dict[str, Check] = {**_HEAD, "pulses": _COUNT, "edge": _or_null(_MONO), "edges_rejected": _COUNT}
_VANE: dict[str, Check] = {"from": _or_null(_number(0.0, 360.0))}
_SPEED_WIND: dict[str, Check] = {**_HEAD, "speed": _or_null(_number(0.0, 150.0))}
_FIELDS: dict[str, dict[str, Check]] = {
    "position": {
        **_HEAD,
        "fix": _choice(*FIXES),
        "utc": _or_null(_UTC),
        "lat": _or_null(_number(-90.0, 90.0)),
        "lon": _or_null(_number(-180.0, 180.0)),
        "alt": _or_null(_number(-1e5, 1e5)),
        "speed": _or_null(_number(0.0, 1000.0)),
        "course": _or_null(_number(0.0, 360.0)),
        "sats": _or_null(_integer(0, 1000)),
        "hdop": _or_null(_number(0.0, 1000.0)),
        "sd_east": _or_null(_number(0.0, 1e7)),
        "sd_north": _or_null(_number(0.0, 1e7)),
    },
    "flow": _COUNTER,
    "wind": _COUNTER,
    "climate": {
        **_HEAD,
        "temperature": _or_null(_number(-90.0, 90.0)),
        "humidity": _or_null(_number(0.0, 100.0)),
    },
    "event": {
        **_HEAD,
        "kind": _choice("started", "button", "overflow", "receiver", "implausible"),
        "detail": _is_object,
    },
    "operator": {**_HEAD, "utc": _or_null(_UTC), "kind": _choice(*BUTTONS), "detail": _is_object},
    "ack": {"boot": _is_boot, "committed": _is_committed},
    "alarm": {
        "level": _choice(*LEVELS),
        "reason": lambda v: type(v) is str and len(v) <= 400,
        "since": _or_null(_UTC),
        "job": _or_null(_COUNT),
    },
    "state": {"state": _choice("online", "offline"), "boot": _or_null(_is_boot)},
    "service": {"state": _choice("online", "offline")},
}
_DETAILS: dict[str, dict[str, Check]] = {
    "started": {},
    "button": {"name": _choice(*BUTTONS)},
    "overflow": {"stream": _STREAM, "from_seq": _COUNT, "to_seq": _COUNT},
    "receiver": {"sentences": _COUNT, "refused": _COUNT, "flags": _is_counts},
    "implausible": {"stream": _STREAM, "rate_hz": _number(0.0, 1e9)},
}
_KINDS = (Position, Flow, Wind, Climate, Event, Operator, Ack, Alarm, State, Service)
_CLASSES: dict[str, Callable[..., Message]] = {cls.__name__.lower(): cls for cls in _KINDS}
_STREAM_OF: dict[type, str] = {cls: cls.__name__.lower() for cls in _KINDS}
_VALUES = {stream: attrgetter(*_FIELDS[stream]) for stream in ("position", "flow", "wind", "climate")}
_SLOTS = {"boot": '"%s"', "fix": '"%s"'}
_TEMPLATES = {
    stream: "{" + ",".join(f'"{name}":' + _SLOTS.get(name, "%s") for name in _FIELDS[stream]) + "}"
    for stream in _VALUES
}
"""Payloads of numbers and plain words, to the byte as the JSON writer makes them and twice as fast."""
_FLOATS = {
    cls.__name__.lower(): [name.rstrip("_") for name, hint in cls.__annotations__.items() if "float" in str(hint)]
    for cls in _KINDS
}


def topic_of(rig: str, stream: str) -> str:
    """Name the topic of one stream of one rig; raises ValueError for a bad rig name or stream."""
    if _RIG.fullmatch(rig) is None:
        raise ValueError(f"rig name {rig!r}: 1 to 32 of a-z, 0-9 and '-' are allowed")
    if stream not in STREAMS:
        raise ValueError(f"stream {stream!r} is none of {', '.join(STREAMS)}")
    return f"{TOPIC_ROOT}/{rig}/{stream}"


@lru_cache(maxsize=256)
def split_topic(topic: str) -> tuple[str, str]:
    """Read rig and stream from a topic; the stream may be unknown; raises Refusal for a topic of another shape."""
    parts = topic.split("/")
    if len(parts) != 4 or f"{parts[0]}/{parts[1]}" != TOPIC_ROOT or _RIG.fullmatch(parts[2]) is None:
        raise Refusal(f"topic is not {TOPIC_ROOT}/<rig>/<stream>")
    return parts[2], parts[3]


def stream_of(message: Message) -> str:
    """Name the stream that a message belongs on."""
    return _STREAM_OF[type(message)]


def encode(message: Message) -> bytes:
    """Write a message as the one canonical payload; raises ValueError where our own message breaks the contract."""
    stream = stream_of(message)
    payload = write(message, stream)
    try:
        decode(stream, payload)
    except Refusal as refusal:
        raise ValueError(f"cannot send on {stream}: {refusal.reason}") from refusal
    return payload


def write(message: Message, stream: str) -> bytes:
    """Write a message that is known to keep the contract, one just decoded say, without checking it again."""
    is_special = isinstance(message, Wind) and (message.pulses is None or message.from_ is not None)
    if stream in _TEMPLATES and not is_special:
        return (_TEMPLATES[stream] % _VALUES[stream](message)).replace("None", "null").encode()
    return _WRITER.encode(_to_object(message, stream)).encode()


def decode(stream: str, payload: bytes) -> Message:
    """Read one payload strictly; raises Refusal with a reason for everything that breaks the contract."""
    found = _parse(payload)
    if stream not in _CLASSES:
        raise Refusal(f"no messages are read on stream {stream!r}")
    fields = _FIELDS[stream] if stream != "wind" else _wind_fields(found)
    for name, check in fields.items():
        if name not in found:
            raise _refuse(found, f"{name} is left out (a missing number is null)")
        if not check(found[name]):
            raise _refuse(found, f"{name} has a wrong type or is out of range")
    _check_whole(stream, found)
    for name in _FLOATS.get(stream, ()):
        if type(found.get(name)) is int:
            found[name] = float(found[name])
    if stream == "wind":
        return _CLASSES[stream](*map(found.get, (*_COUNTER, "speed", "from")))
    return _CLASSES[stream](*[found[name] for name in fields])


def _parse(payload: bytes) -> dict[str, Any]:
    """Read a JSON object, refusing what the JSON grammar or UTF-8 does not know."""
    if len(payload) > PAYLOAD_LIMIT_BYTES:
        raise Refusal(f"payload of {len(payload)} bytes is over {PAYLOAD_LIMIT_BYTES}")
    try:
        found = _READER.decode(payload.decode("utf-8"))
    except Refusal:
        raise
    except (ValueError, RecursionError) as error:
        is_text = not isinstance(error, UnicodeDecodeError)
        raise Refusal("not JSON, or nested too deeply" if is_text else "not UTF-8") from error
    if type(found) is not dict:
        raise Refusal("not a JSON object")
    return found


def _refuse_constant(name: str) -> float:
    raise Refusal(f"{name} is not a number in JSON")


_READER = json.JSONDecoder(parse_constant=_refuse_constant)
_WRITER = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False)


def _refuse(found: Mapping[str, Any], reason: str) -> Refusal:
    """Make a refusal that tells boot and sequence number where they are readable, so that they can be settled."""
    boot, seq = found.get("boot"), found.get("seq")
    return Refusal(reason, boot if _is_boot(boot) else None, seq if _COUNT(seq) else None)


def _wind_fields(found: Mapping[str, Any]) -> dict[str, Check]:
    """Choose between the two forms of a wind message: a count, or a speed."""
    if "speed" in found and "pulses" in found:
        raise _refuse(found, "wind has both pulses and speed")
    fields = _SPEED_WIND if "speed" in found else _COUNTER
    return {**fields, **_VANE} if "from" in found else fields


def _check_whole(stream: str, found: Mapping[str, Any]) -> None:
    """Check what concerns several fields of one message at once."""
    if stream == "position":
        if (found["lat"] is None) != (found["lon"] is None):
            raise _refuse(found, "lat without lon or lon without lat")
        if found["fix"] != "none" and found["lat"] is None:
            raise _refuse(found, f"fix {found['fix']} without a position")
    elif stream == "event":
        _check_detail(found)
    if stream in ("event", "operator", "alarm"):
        try:
            _WRITER.encode(found).encode()
        except UnicodeEncodeError as error:
            raise _refuse(found, "a lone surrogate in a string") from error


def _check_detail(found: Mapping[str, Any]) -> None:
    """Check an event's detail by its kind."""
    detail = found["detail"]
    for name, check in _DETAILS[found["kind"]].items():
        if name not in detail:
            raise _refuse(found, f"detail.{name} is left out")
        if not check(detail[name]):
            raise _refuse(found, f"detail.{name} has a wrong type or is out of range")
    if found["kind"] == "overflow" and detail["from_seq"] > detail["to_seq"]:
        raise _refuse(found, "detail.from_seq is above detail.to_seq")


def _to_object(message: Message, stream: str) -> dict[str, Any]:
    """Lay a message out as its JSON object, fields in the contract's order."""
    if not isinstance(message, Wind):
        return {name: getattr(message, name) for name in _FIELDS[stream]}
    found: dict[str, Any] = {"boot": message.boot, "seq": message.seq, "mono": message.mono}
    if message.pulses is None:
        found["speed"] = message.speed
    else:
        found.update(pulses=message.pulses, edge=message.edge, edges_rejected=message.edges_rejected)
    if message.from_ is not None:
        found["from"] = message.from_
    return found
