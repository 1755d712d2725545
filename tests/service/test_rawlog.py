"""The raw log as a file: what is written comes back, and what is no message is counted, never fatal."""

import gzip
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig import wire
from server.core.setup import Span
from server.errors import LogError
from server.rawlog import Received, gather_log, read_raw_log, write_raw_log

BOOT = "0123abcd"


def flow(seq: int, received: float = 1e9, rig: str = "rig-1") -> Received:
    """One flow message."""
    payload = wire.encode(wire.Flow(BOOT, seq, 10.0 + seq, seq, None, 0))
    return Received(f"calmpass/1/{rig}/flow", received + seq, payload)


def line_of(message: Received) -> bytes:
    """A message as a line, written independently of the writer."""
    return json.dumps(
        {"topic": message.topic, "received": message.received_utc, "payload": json.loads(message.payload)}
    ).encode()


@given(st.lists(st.tuples(st.floats(0.0, 9e10), st.binary(max_size=60)), max_size=8))
def test_any_payload_comes_back_to_the_byte(tmp_path_factory, found) -> None:
    path = tmp_path_factory.getbasetemp() / "any.ndjson.gz"
    messages = [Received("calmpass/1/rig-1/flow", received, payload) for received, payload in found]
    assert write_raw_log(path, messages) == len(messages)
    assert list(read_raw_log(path)) == messages


@pytest.mark.parametrize("payload", [b'{"a":NaN}', b'{"a":1.0e0}', b'{"a": 1}', b'"text"', b'{"a":"\\ud800"}', b"\xff"])
def test_a_payload_that_json_would_change_goes_as_base64(tmp_path, payload) -> None:
    path = tmp_path / "log.ndjson"
    write_raw_log(path, [Received("calmpass/1/rig-1/flow", 1.0, payload)])
    written = json.loads(path.read_bytes(), parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert "payload" not in written
    assert [found.payload for found in read_raw_log(path)] == [payload]


def test_the_same_messages_give_the_same_file(tmp_path) -> None:
    for name in ("a.ndjson.gz", "b.ndjson.gz"):
        write_raw_log(tmp_path / name, [flow(seq) for seq in range(50)])
    assert (tmp_path / "a.ndjson.gz").read_bytes() == (tmp_path / "b.ndjson.gz").read_bytes()


def test_plain_and_packed_logs_read_alike_whatever_their_names(tmp_path) -> None:
    lines = b"\n".join(line_of(flow(seq)) for seq in range(5))
    (tmp_path / "plain.gz").write_bytes(lines)
    (tmp_path / "packed.txt").write_bytes(gzip.compress(lines))
    plain, packed = (gather_log(read_raw_log(tmp_path / name), Span()) for name in ("plain.gz", "packed.txt"))
    assert plain.digest == packed.digest
    assert plain.flow.pulses.tolist() == [0, 1, 2, 3, 4]


def test_blank_lines_are_skipped_and_what_is_no_message_is_counted_as_refused(tmp_path) -> None:
    bad = [
        b"not JSON", b"[1, 2]", b'{"topic": "calmpass/1/rig-1/flow"}', b'{"topic": 5, "received": 1, "payload": {}}',
        b'{"topic": "calmpass/1/rig-1/flow", "received": NaN, "payload": {}}', b"\xff\xfe\x00",
        b'{"topic": "calmpass/1/rig-1/flow", "received": 1, "payload_base64": "%"}',
        b'{"topic": "calmpass/1/rig-1/flow", "received": 1' + b"0" * 400 + b', "payload": {}}',
        b'{"topic": "elsewhere", "received": 1, "payload": {}}',
        b'{"topic": "calmpass/1/rig-1/flow", "received": 1, "payload": {}}',
    ]  # fmt: skip
    torn = line_of(flow(3))[:-9]
    lines = [line_of(flow(0)), b"", b"   ", *bad, line_of(flow(1)), line_of(flow(1)), line_of(flow(2)), torn]
    (tmp_path / "log.ndjson").write_bytes(b"\n".join(lines))
    log = gather_log(read_raw_log(tmp_path / "log.ndjson"), Span())
    assert log.flow.seq.tolist() == [0, 1, 2]
    assert log.receipt.refused == len(bad) + 1
    assert log.receipt.duplicate == 1
    assert log.receipt.read == 3 + 1 + len(bad) + 1


def test_streams_that_are_no_samples_are_left_out_and_not_counted(tmp_path) -> None:
    alarm = Received("calmpass/1/rig-1/alarm", 1.0, wire.encode(wire.Alarm("none", "", None, None)))
    log = gather_log([flow(0), alarm, Received("calmpass/1/rig-1/weather", 1.0, b"{}")], Span())
    assert (log.receipt.read, log.receipt.refused) == (1, 0)


def test_a_repeat_with_other_content_is_refused() -> None:
    other = Received("calmpass/1/rig-1/flow", 1e9, wire.encode(wire.Flow(BOOT, 0, 10.0, 99, 9.5, 0)))
    log = gather_log([flow(0), other], Span())
    assert log.flow.pulses.tolist() == [0]
    assert (log.receipt.refused, log.receipt.duplicate) == (1, 0)


@given(st.permutations(range(12)))
def test_the_order_of_arrival_changes_neither_samples_nor_digest(order) -> None:
    whole = [flow(seq, received=1e9) for seq in range(12)]
    assert gather_log([whole[k] for k in order], Span()).digest == gather_log(whole, Span()).digest


def test_a_span_keeps_its_ends_and_names_an_unknown_start() -> None:
    whole = [flow(seq) for seq in range(10)]
    log = gather_log(whole, Span("rig-1", (BOOT, 12.0), (BOOT, 15.0)))
    assert log.flow.mono.tolist() == [12.0, 13.0, 14.0, 15.0]
    with pytest.raises(LogError, match="ffffffff"):
        gather_log(whole, Span("rig-1", ("ffffffff", 0.0), None))


def test_two_rigs_in_one_log_ask_for_a_name() -> None:
    whole = [flow(0), flow(0, rig="rig-2"), flow(1, rig="rig-2")]
    with pytest.raises(LogError, match="rig-1, rig-2"):
        gather_log(whole, Span())
    assert gather_log(whole, Span("rig-2")).flow.seq.tolist() == [0, 1]


def test_a_log_that_cannot_be_read_is_told_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "torn.gz").write_bytes(gzip.compress(b"{}\n" * 1000)[:-12])
    for name in ("torn.gz", "absent.ndjson"):
        with pytest.raises(LogError, match=name) as told:
            list(read_raw_log(tmp_path / name))
        assert "\n" not in str(told.value)
    with pytest.raises(LogError, match="holds no message of a rig"):
        gather_log([], Span())
