"""The store: every message once, to the byte, and nothing called settled that is not there."""

import json
import signal
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import wire
from server.core.log import Receipt
from server.core.setup import Span
from server.errors import StoreError
from server.store import messages
from server.store.connection import open_reader, open_writer
from server.store.joblog import iterate_messages, iterate_received, load_job_log
from server.store.messages import Arrival, MessageWriter, count_reasons, read_quarantine, read_tally

RIG = "cart"
BOOT, EARLIER = "a1b2c3d4e5f6a7b8", "0011223344556677"


@pytest.fixture
def connection(tmp_path):
    """A new database's writing connection."""
    found = open_writer(tmp_path / "store.db")
    yield found
    found.close()


def arrive(stream, payload, received_utc=1000.0):
    """A payload as ingest hands it over."""
    message, refusal = None, None
    try:
        message = wire.decode(stream, payload)
    except wire.Refusal as error:
        refusal = error
    return Arrival(wire.topic_of(RIG, stream), received_utc, payload, RIG, stream, message, refusal)


def flow(seq, pulses=None, boot=BOOT):
    """A flow message's arrival."""
    count = seq * 3 if pulses is None else pulses
    return arrive("flow", wire.encode(wire.Flow(boot, seq, seq / 5, count, None, 0)), 1000.0 + seq / 5)


def overflow(seq, low, high, **more):
    """An overflow event's arrival."""
    detail = {"stream": "flow", "from_seq": low, "to_seq": high, **more}
    return arrive("event", wire.encode(wire.Event(BOOT, seq, 9.0, "overflow", detail)))


SAMPLES = [
    (
        "position",
        wire.encode(wire.Position(BOOT, 0, 1.0, "fixed", 1e9, 45.0, -30.0, 12.5, 1.3, 90.0, 12, 0.8, 0.01, None)),
    ),
    ("flow", wire.encode(wire.Flow(BOOT, 0, 1.0, 2**53, 0.5, 3))),
    ("wind", wire.encode(wire.Wind(BOOT, 0, 1.25, 17, None, 0))),
    ("wind", wire.encode(wire.Wind(BOOT, 1, 1.5, None, None, None, 3.5, 270.0))),
    ("climate", wire.encode(wire.Climate(BOOT, 0, 1.0, None, 61.5))),
    ("event", wire.encode(wire.Event(BOOT, 0, 0.5, "started", {"note": "Größe"}))),
    ("operator", wire.encode(wire.Operator(BOOT, 0, 2.0, 1e9, "note", {"text": "wet \u2028 edge"}))),
    ("flow", b'{ "seq":1, "boot":"a1b2c3d4e5f6a7b8","mono":2,"pulses":4,"edge":null,"edges_rejected":0,"extra":[1]}'),
    ("climate", b'{"boot":"a1b2c3d4e5f6a7b8","seq":1,"mono":1e0,"temperature":20,"humidity":50.00}'),
    ("event", b'{"boot":"a1b2c3d4e5f6a7b8","seq":1,"mono":3.0,"kind":"started","detail":{"x":1e999}}'),
]


def test_payloads_come_back_to_the_byte(connection):
    MessageWriter(connection).write([arrive(*sample) for sample in SAMPLES])
    found = {(m.topic.rsplit("/", 1)[1], m.payload) for m in iterate_received(connection, Span())}
    assert found == set(SAMPLES)


def test_only_payloads_of_another_form_are_kept_beside_their_row(connection):
    MessageWriter(connection).write([arrive(*sample) for sample in SAMPLES])
    kept = {payload for (payload,) in connection.execute("SELECT payload FROM verbatim")}
    assert kept == {payload for _, payload in SAMPLES[-3:]}


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.integers(0, 25), min_size=1, max_size=12), min_size=1, max_size=6))
def test_each_message_is_stored_once_whatever_the_order_and_batches(tmp_path_factory, batches):
    connection = open_writer(tmp_path_factory.mktemp("once") / "store.db")
    writer, seen = MessageWriter(connection), set()
    for batch in batches:
        outcome = writer.write([flow(seq) for seq in batch])
        seen |= set(batch)
        prefix = next(n for n in range(99) if n not in seen) - 1
        assert outcome.settled[RIG, BOOT].get("flow", -1) == prefix
    stored = [seq for (seq,) in connection.execute("SELECT seq FROM flow ORDER BY seq")]
    repeats = sum(map(len, batches)) - len(seen)
    tally = read_tally(connection)
    again = MessageWriter(connection).write([flow(min(seen))])
    connection.close()
    assert stored == sorted(seen)
    assert tally["duplicate"] == repeats
    assert again.settled[RIG, BOOT].get("flow", -1) == prefix


def test_a_repeat_with_other_content_goes_to_quarantine(connection):
    writer = MessageWriter(connection)
    writer.write([flow(0, 5)])
    outcome = writer.write([flow(0, 6)])
    assert outcome.counts == {"read": 1, "refused": 1}
    assert count_reasons(connection) == {"a repeat with other content": 1}
    assert connection.execute("SELECT pulses FROM flow").fetchall() == [(5,)]


def test_an_overflow_settles_its_range_and_a_late_sample_is_still_kept(connection):
    writer = MessageWriter(connection)
    writer.write([flow(0), flow(5)])
    assert writer.write([overflow(0, 1, 4)]).settled[RIG, BOOT] == {"flow": 5, "event": 0}
    assert writer.write([flow(2)]).counts["late"] == 1
    assert MessageWriter(connection).write([flow(6)]).settled[RIG, BOOT]["flow"] == 6


def test_an_overflow_of_an_earlier_start_settles_that_start(connection):
    writer = MessageWriter(connection)
    writer.write([flow(0, boot=EARLIER)])
    outcome = writer.write([overflow(0, 1, 7, of_boot=EARLIER)])
    assert outcome.settled[RIG, EARLIER] == {"flow": 7}
    assert "flow" not in outcome.settled[RIG, BOOT]


@pytest.mark.parametrize("of_boot", ["no boot", 7, "", ["x"]])
def test_an_overflow_of_what_is_no_start_settles_nothing_and_can_be_acknowledged(connection, of_boot):
    outcome = MessageWriter(connection).write([overflow(0, 0, 3, of_boot=of_boot)])
    assert outcome.settled == {(RIG, BOOT): {"event": 0}}
    for (_, boot), committed in outcome.settled.items():
        wire.encode(wire.Ack(boot, committed))


def test_a_shorter_overflow_from_the_same_number_takes_nothing_back_after_a_restart(connection):
    writer = MessageWriter(connection)
    writer.write([overflow(0, 0, 9), overflow(1, 0, 4)])
    assert MessageWriter(connection).write([flow(10)]).settled[RIG, BOOT]["flow"] == 10


def test_a_refused_message_with_readable_number_is_settled(connection):
    bad = json.dumps({"boot": BOOT, "seq": 1, "mono": 1.0, "pulses": -1, "edge": None, "edges_rejected": 0}).encode()
    outcome = MessageWriter(connection).write([flow(0), arrive("flow", bad), flow(2)])
    assert outcome.settled[RIG, BOOT] == {"flow": 2}
    assert outcome.counts == {"read": 3, "refused": 1}
    assert read_quarantine(connection, 5)[0]["reason"] == "pulses has a wrong type or is out of range"
    assert MessageWriter(connection).write([flow(3)]).settled[RIG, BOOT] == {"flow": 3}


def test_a_refused_message_without_a_number_settles_nothing(connection):
    outcome = MessageWriter(connection).write([arrive("flow", b"\xff\xfe"), arrive("flow", b"[]")])
    assert outcome.settled == {}


def test_the_quarantine_keeps_the_newest_within_its_bound(connection, monkeypatch):
    monkeypatch.setattr(messages, "QUARANTINE_ROWS", 10)
    MessageWriter(connection).write([arrive("flow", b"%d" % n + b"x" * 5000) for n in range(25)])
    kept = connection.execute("SELECT payload FROM quarantine ORDER BY id").fetchall()
    assert [bytes(payload[:2]) for (payload,) in kept] == [b"%d" % n for n in range(15, 25)]
    assert max(len(payload) for (payload,) in kept) == messages.QUARANTINE_BYTES


def test_a_batch_that_the_disk_refuses_leaves_nothing_and_can_be_written_again(connection):
    writer = MessageWriter(connection)
    writer.write([flow(0)])
    connection.execute("PRAGMA query_only = ON")
    with pytest.raises(StoreError):
        writer.write([flow(1)])
    connection.execute("PRAGMA query_only = OFF")
    assert connection.execute("SELECT count(*) FROM flow").fetchone() == (1,)
    assert writer.write([flow(2)]).settled[RIG, BOOT] == {"flow": 0}
    assert writer.write([flow(1)]).settled[RIG, BOOT] == {"flow": 2}


def test_operator_messages_are_numbered_on_over_restarts(connection):
    writer = MessageWriter(connection)
    for expected in range(3):
        assert writer.next_operator_seq(RIG, BOOT) == expected
        writer.write([arrive("operator", wire.encode(wire.Operator(BOOT, expected, 1.0, None, "peg", {})))])
        writer = MessageWriter(connection)


def test_counts_last_over_restarts(connection):
    for _ in range(2):
        MessageWriter(connection).write([flow(0), arrive("flow", b"{}")])
    assert read_tally(connection) == {"read": 4, "refused": 2, "duplicate": 1}


def test_a_log_comes_out_in_the_order_it_came_with_repeats_and_refusals_in_their_place(connection):
    came = [flow(0), flow(2), arrive("wind", SAMPLES[2][1], 1000.1), arrive("flow", b"nonsense", 1000.3), flow(1)]
    came += [replace(flow(2), received_utc=1000.35), replace(flow(9), received_utc=1000.31)]
    came = [replace(arrival, received_utc=1000.0 + 0.01 * k) for k, arrival in enumerate(came)]
    writer = MessageWriter(connection)
    for arrival in came:
        writer.write([arrival])
    found = [(m.received_utc, m.topic, m.payload) for m in iterate_received(connection, Span())]
    assert found == [(arrival.received_utc, arrival.topic, arrival.payload) for arrival in came]
    assert load_job_log(connection, Span()).receipt == Receipt(7, 1, 1)


def test_messages_come_out_in_the_order_they_were_taken_start_by_start(connection):
    later = [replace(flow(seq), received_utc=2000.0 - seq) for seq in (3, 1, 2)]
    wind = arrive("wind", wire.encode(wire.Wind(BOOT, 0, 0.5, 17, None, 0)), 2001.0)
    earlier = [replace(flow(seq, boot=EARLIER), received_utc=1000.0) for seq in (1, 0)]
    MessageWriter(connection).write([*later, wind, *earlier])
    found = [(m.boot, wire.stream_of(m), m.seq) for m, _ in iterate_messages(connection, Span())]
    assert found == [
        (EARLIER, "flow", 0), (EARLIER, "flow", 1), (BOOT, "flow", 1), (BOOT, "flow", 2), (BOOT, "wind", 0),
        (BOOT, "flow", 3),
    ]  # fmt: skip


def test_a_far_number_costs_no_memory_and_no_time(connection):
    writer = MessageWriter(connection)
    far = arrive("flow", wire.encode(wire.Flow(BOOT, 2**52, 1.0, 1, None, 0)))
    writer.write([flow(0), far, *(flow(seq) for seq in range(5000, 9000))])
    assert writer.write([overflow(0, 1, 4999)]).settled[RIG, BOOT]["flow"] == 8999
    assert MessageWriter(connection).write([flow(9000)]).settled[RIG, BOOT]["flow"] == 9000


CHILD = """
import sys
from pathlib import Path
from rig import wire
from server.store.connection import open_writer
from server.store.messages import Arrival, MessageWriter
writer = MessageWriter(open_writer(Path(sys.argv[1])))
for start in range(0, 10**9, 7):
    batch = []
    for seq in range(start, start + 7):
        message = wire.Flow("a1b2c3d4e5f6a7b8", seq, seq / 5, seq, None, 0)
        topic = "calmpass/1/cart/flow"
        batch.append(Arrival(topic, 1.0, wire.encode(message), "cart", "flow", message))
    print(writer.write(batch).settled["cart", "a1b2c3d4e5f6a7b8"]["flow"], flush=True)
"""


def test_a_killed_writer_leaves_everything_that_it_called_settled(tmp_path):
    file = tmp_path / "store.db"
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(file)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    reported = [int(child.stdout.readline()) for _ in range(20)]
    child.send_signal(signal.SIGKILL)
    reported += [int(line) for line in child.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
    child.stdout.close()
    child.wait()
    reader = open_reader(file)
    log = load_job_log(reader, Span())
    reader.close()
    stored = log.flow.seq.tolist()
    assert stored == list(range(len(stored)))
    assert len(stored) % 7 == 0
    assert stored[-1] >= reported[-1]


def test_a_place_without_a_database_is_told_in_one_line(tmp_path):
    with pytest.raises(StoreError, match=r"gone/store\.db: the database cannot be used"):
        open_writer(tmp_path / "gone" / "store.db")
    (tmp_path / "text.db").write_text("no database at all, " * 100)
    with pytest.raises(StoreError, match="is not a database of this program"):
        open_reader(tmp_path / "text.db")
