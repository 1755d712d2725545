"""The wire contract: frozen samples, and 100,000 malformed messages against an independent JSON Schema."""

import gc
import json
import os
import random
import string
import tracemalloc
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import wire

FOLDER = Path(__file__).parent
SAMPLES = [json.loads(line) for line in (FOLDER / "samples.ndjson").read_text().splitlines()]
SCHEMA = json.loads((FOLDER / "wire.schema.json").read_text())
STREAMS = sorted({sample["stream"] for sample in SAMPLES})
MANY = 100_000


class StrictNumbers:
    """JSON Schema calls 1.0 an integer; the contract does not: the types are those of the JSON text."""

    @staticmethod
    def is_integer(checker: Any, value: Any) -> bool:
        return type(value) is int

    @staticmethod
    def is_number(checker: Any, value: Any) -> bool:
        return type(value) in (int, float)


TYPES = jsonschema.Draft202012Validator.TYPE_CHECKER.redefine_many(
    {"integer": StrictNumbers.is_integer, "number": StrictNumbers.is_number}
)
Validator = jsonschema.validators.extend(jsonschema.Draft202012Validator, type_checker=TYPES)
VALIDATORS = {stream: Validator({"$ref": f"#/$defs/{stream}", "$defs": SCHEMA["$defs"]}) for stream in SCHEMA["$defs"]}


def payload_of(sample: dict[str, Any]) -> bytes:
    """A sample as the one canonical writing has it."""
    return json.dumps(sample["payload"], separators=(",", ":"), ensure_ascii=False).encode()


def is_good_by_the_schema(stream: str, payload: bytes) -> bool:
    """What an independent reader says: size, UTF-8, JSON, schema, and two rules a schema cannot tell."""

    def refuse(name: str) -> None:
        raise ValueError(name)

    if len(payload) > 1024:
        return False
    try:
        found = json.loads(payload.decode("utf-8"), parse_constant=refuse)
        if stream in ("event", "operator", "alarm"):
            json.dumps(found, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        return False
    if not isinstance(found, dict) or not VALIDATORS[stream].is_valid(found):
        return False
    detail = found.get("detail", {})
    return not (stream == "event" and found["kind"] == "overflow" and detail["from_seq"] > detail["to_seq"])


def refusal_of(stream: str, payload: bytes) -> str | None:
    """Why a message is refused, None where it is read."""
    try:
        wire.decode(stream, payload)
    except wire.Refusal as refusal:
        return refusal.reason
    return None


def test_every_stream_has_samples() -> None:
    assert set(STREAMS) == set(wire.STREAMS) - {"description"}


@pytest.mark.parametrize("sample", SAMPLES, ids=[f"{s['stream']}-{k}" for k, s in enumerate(SAMPLES)])
def test_frozen_samples_are_read_and_written_to_the_byte(sample: dict[str, Any]) -> None:
    payload = payload_of(sample)
    message = wire.decode(sample["stream"], payload)
    assert wire.encode(message) == payload
    assert wire.stream_of(message) == sample["stream"]
    assert is_good_by_the_schema(sample["stream"], payload)


def test_topics_are_strict() -> None:
    assert wire.topic_of("rig-1", "flow") == "calmpass/1/rig-1/flow"
    assert wire.split_topic("calmpass/1/rig-1/unheard-of") == ("rig-1", "unheard-of")
    for bad in ("calmpass/2/rig/flow", "calmpass/1/Rig/flow", "calmpass/1/rig", "calmpass/1/rig/flow/x", ""):
        with pytest.raises(wire.Refusal, match="topic"):
            wire.split_topic(bad)
    with pytest.raises(ValueError, match="rig name"):
        wire.topic_of("Rig 1", "flow")


def test_our_own_bad_message_raises() -> None:
    with pytest.raises(ValueError, match="cannot send on flow: pulses"):
        wire.encode(wire.Flow("0123abcd", 0, 1.0, -1, None, 0))


def test_refusals_tell_what_can_be_settled() -> None:
    with pytest.raises(wire.Refusal) as caught:
        wire.decode("flow", b'{"boot":"0123abcd","seq":7,"mono":1.0,"pulses":-1,"edge":null,"edges_rejected":0}')
    assert (caught.value.boot, caught.value.seq) == ("0123abcd", 7)
    assert "pulses" in caught.value.reason


ODD_VALUES: list[Any] = [
    None, True, False, -1, 0, 1, 1.0, -0.5, 2**53 + 1, 10**400, 1e308, "", "x", "0123abcd", [], {}, [[]], {"a": 1},
    "\ud800",
]  # fmt: skip


def mutate(dice: random.Random) -> tuple[str, bytes]:
    """One spoilt message."""
    sample = dice.choice(SAMPLES)
    stream = sample["stream"]
    payload = payload_of(sample)
    kind = dice.randrange(9)
    if kind == 0:
        place = dice.randrange(len(payload))
        return stream, payload[:place] + bytes([payload[place] ^ (1 << dice.randrange(8))]) + payload[place + 1 :]
    if kind == 1:
        return stream, payload[: dice.randrange(len(payload))]
    if kind == 2:
        return stream, payload + bytes(dice.randrange(256) for _ in range(dice.randrange(1, 4)))
    found = json.loads(payload)
    name = dice.choice(sorted(found))
    if kind == 3:
        del found[name]
    elif kind in (4, 5):
        found[name] = dice.choice(ODD_VALUES)
    elif kind == 6 and isinstance(found.get("detail"), dict):
        found["detail"][dice.choice([*found["detail"], "name", "stream"])] = dice.choice(ODD_VALUES)
    elif kind == 7:
        found["more"] = "".join(dice.choice(string.printable) for _ in range(dice.randrange(1200)))
    else:
        text = json.dumps(found)
        word = dice.choice(["NaN", "Infinity", "-Infinity", "1e999", "[" * 900, '{"a":' * 300, "truth", "0x10", "'a'"])
        return dice.choice(STREAMS), text.replace(json.dumps(found[name]), word, 1).encode()
    return dice.choice([stream, stream, dice.choice(STREAMS)]), json.dumps(found).encode()


def spoilt_messages(count: int) -> Iterator[tuple[str, bytes]]:
    """As many spoilt messages as wanted, always the same."""
    dice = random.Random(7)
    for _ in range(count):
        yield mutate(dice)


def resident_bytes() -> int:
    """What this process holds in memory now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def test_reading_keeps_nothing_of_what_it_read() -> None:
    # Tracing slows everything fourfold, so it is done to the decoder alone: 20,000 messages, under 5 bytes each.
    messages = list(spoilt_messages(5000))
    for stream, payload in messages:
        refusal_of(stream, payload)
    gc.collect()
    tracemalloc.start()
    for _ in range(4):
        for stream, payload in messages:
            refusal_of(stream, payload)
    gc.collect()
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert kept < 100_000


def test_a_hundred_thousand_malformed_messages_are_refused_or_valid() -> None:
    outcomes: Counter[str] = Counter()
    after_start = 0
    for number, (stream, payload) in enumerate(spoilt_messages(MANY)):
        reason = refusal_of(stream, payload)
        is_accepted = reason is None
        assert reason != ""
        assert is_accepted == is_good_by_the_schema(stream, payload), (stream, payload)
        outcomes["accepted" if is_accepted else "refused"] += 1
        if number == MANY // 10:
            after_start = resident_bytes()
    assert outcomes["refused"] > 0.5 * MANY
    assert outcomes["accepted"] > 0.02 * MANY
    assert resident_bytes() < after_start + 4_000_000, "memory stays steady"
    wire.decode("flow", payload_of(next(s for s in SAMPLES if s["stream"] == "flow")))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(STREAMS), st.sampled_from(SAMPLES), st.dictionaries(st.text(max_size=8), JSON, max_size=3), JSON)
def test_anything_in_any_field_is_refused_or_valid(stream: str, sample: Any, more: Any, value: Any) -> None:
    found = {**sample["payload"], **more}
    found[sorted(found)[0]] = value
    payload = json.dumps(found).encode()
    assert (refusal_of(stream, payload) is None) == is_good_by_the_schema(stream, payload)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from([*STREAMS, "unheard-of"]), st.binary(max_size=1500))
def test_any_bytes_are_refused(stream: str, payload: bytes) -> None:
    with pytest.raises(wire.Refusal):
        wire.decode(stream, payload)


SECONDS = st.floats(0.0, 1e10, allow_subnormal=True)
COUNTS = st.integers(0, 2**53)


@given(SECONDS, COUNTS, st.none() | SECONDS, st.floats(-90.0, 90.0), st.none() | st.integers(0, 1000))
def test_the_quick_writing_is_what_a_json_writer_makes(mono, seq, edge, lat, sats) -> None:
    boot = "0123456789abcdef"
    position = wire.Position(boot, seq, mono, "none", edge, lat, -lat, None, None, edge and 0.1, sats, None, None, 1e-9)
    messages = (
        position, wire.Flow(boot, seq, mono, seq, edge, 0), wire.Wind(boot, seq, mono, seq, edge, 0),
        wire.Wind(boot, seq, mono, None, None, None, abs(lat)), wire.Wind(boot, seq, mono, 3, edge, 0, None, abs(lat)),
        wire.Climate(boot, seq, mono, lat, None),
    )  # fmt: skip
    for message in messages:
        payload = wire.encode(message)
        assert payload == json.dumps(json.loads(payload), separators=(",", ":")).encode()
        assert wire.decode(wire.stream_of(message), payload) == message
