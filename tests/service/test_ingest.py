"""From the link to the store: nothing is acknowledged that is not committed, and nothing bad stops the stream."""

import sqlite3
import threading
import time
from concurrent.futures import Future

import pytest

from rig import wire
from server import ingest as module
from server import intake
from server.errors import StoreError, UnknownError
from server.ingest import Ingest
from server.store.connection import open_reader
from server.store.messages import MessageWriter, count_reasons, read_tally

BOOT = "a1b2c3d4e5f6a7b8"


class Replies:
    """Remembers what goes to the rigs, and tells when something did."""

    def __init__(self):
        self.sent, self.greeted, self.woken = [], set(), threading.Condition()

    def publish(self, rig, message, *, is_retained=False):
        """Note a message; it must keep the contract as the link's own encoding demands."""
        wire.encode(message)
        with self.woken:
            self.sent.append((rig, message))
            self.woken.notify_all()

    def greet(self, rig):
        """Note a greeting."""
        self.greeted.add(rig)

    def await_flow(self, seq):
        """Wait until a flow number is acknowledged."""
        with self.woken:
            return self.woken.wait_for(lambda: any(m.committed.get("flow", -1) >= seq for _, m in self.sent), 20)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A running ingest with quick turns, its replies, a look at what it has for the live picture, and its database."""
    monkeypatch.setattr(module, "COMMIT_PERIOD_S", 0.05)
    monkeypatch.setattr(module, "DISK_RETRY_S", 0.05)
    replies, file = Replies(), tmp_path / "store.db"
    found = Ingest(file, ring=lambda: None)
    found.start(replies)
    yield found, replies, lambda: list(iter(found.intake.take_fresh, None)), file
    found.stop()


def take_flow(ingest, seq, pulses=0):
    """Hand over a flow message."""
    ingest.take("calmpass/1/cart/flow", wire.encode(wire.Flow(BOOT, seq, float(seq), pulses, None, 0)))


def count_rows(file):
    """Flow rows that another connection sees."""
    reader = open_reader(file)
    try:
        return int(reader.execute("SELECT count(*) FROM flow").fetchone()[0])
    finally:
        reader.close()


def flush(ingest):
    """Wait until all that was taken is stored."""
    ingest.call(lambda writer: None).result(20)


def test_what_is_acknowledged_is_visible_to_another_connection(bench):
    ingest, replies, _, file = bench
    seen = []
    publish = replies.publish
    replies.publish = lambda rig, message, **kw: (seen.append((count_rows(file), message)), publish(rig, message, **kw))
    for seq in range(5):
        take_flow(ingest, seq)
    assert replies.await_flow(4)
    assert all(rows > ack.committed["flow"] for rows, ack in seen)


def test_a_failing_disk_holds_the_acknowledgement_back_until_it_recovers(bench, monkeypatch, caplog):
    ingest, replies, shown, file = bench
    tried, is_broken = threading.Event(), threading.Event()
    is_broken.set()
    store = MessageWriter._store

    def fail(self, arrivals, outcome):
        if is_broken.is_set():
            tried.set()
            raise sqlite3.OperationalError("database or disk is full")
        return store(self, arrivals, outcome)

    monkeypatch.setattr(MessageWriter, "_store", fail)
    take_flow(ingest, 0)
    assert tried.wait(20)
    for seq in (1, 2):
        take_flow(ingest, seq)
    tried.clear()
    assert tried.wait(20)
    assert replies.sent == []
    assert "cannot be written" in str(ingest.fault)
    assert len(shown()) == 3
    is_broken.clear()
    assert replies.await_flow(2)
    flush(ingest)
    assert ingest.fault is None
    assert count_rows(file) == 3
    assert ["disk is full" in r.message for r in caplog.records].count(True) == 1


def test_a_read_only_database_acknowledges_nothing_and_answers_what_is_asked(bench):
    ingest, replies, _, file = bench
    ingest.call(lambda writer: writer.connection.execute("PRAGMA query_only = ON")).result(20)
    take_flow(ingest, 0)
    deadline = time.monotonic() + 20
    while ingest.fault is None and time.monotonic() < deadline:
        threading.Event().wait(0.01)
    assert replies.sent == []
    assert count_rows(file) == 0
    assert ingest.fault is not None
    with pytest.raises(StoreError):
        ingest.call(lambda writer: writer.connection.execute("DELETE FROM tally")).result(20)
    ingest.call(lambda writer: writer.connection.execute("PRAGMA query_only = OFF")).result(20)
    assert replies.await_flow(0)
    assert count_rows(file) == 1


def test_unknown_streams_are_counted_and_dropped(bench):
    ingest, _, shown, file = bench
    for topic in ("calmpass/1/cart/flux", "calmpass/2/cart/flow", "calmpass/1/Cart!/flow", "calmpass/1/cart/flow/x"):
        ingest.take(topic, b"{}")
    for own in ("ack", "alarm", "service", "operator", "description"):
        ingest.take(f"calmpass/1/cart/{own}", b"not even JSON")
    flush(ingest)
    assert ingest.counts["unknown_stream"] == 4
    assert shown() == []
    reader = open_reader(file)
    assert count_reasons(reader) == {}
    reader.close()


def test_malformed_messages_wait_in_quarantine_and_the_stream_goes_on(bench):
    ingest, replies, shown, file = bench
    for payload in (b"\xff", b"[" * 900, b"{}", b'{"boot":"x"}', b"0" * 3000, b'{"mono":NaN}', b'{"seq":1e999}'):
        ingest.take("calmpass/1/cart/flow", payload)
    take_flow(ingest, 0)
    assert replies.await_flow(0)
    assert [fresh.message.seq for fresh in shown()] == [0]
    reader = open_reader(file)
    reasons, tally = count_reasons(reader), read_tally(reader)
    reader.close()
    assert sum(reasons.values()) == 7
    assert {"not UTF-8", "payload of 3000 bytes is over 1024", "NaN is not a number in JSON"} <= set(reasons)
    assert tally["refused"] == 7
    assert ingest.counts["refused"] == 7


def test_a_full_queue_leaves_the_rest_with_the_rig(tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "QUEUE_LIMIT", 10)
    ingest, replies = Ingest(tmp_path / "store.db", ring=lambda: None), Replies()
    for seq in range(25):
        take_flow(ingest, seq)
        ingest.intake.decode()
    assert ingest.backlog == 10
    assert "too slow" in str(ingest.fault)
    ingest.start(replies)
    assert replies.await_flow(9)
    for seq in range(25):
        take_flow(ingest, seq)
        flush(ingest)
    assert replies.await_flow(24)
    assert ingest.fault is None
    ingest.stop()


def test_a_call_gives_back_its_result_and_its_error_and_runs_in_order(bench):
    ingest, _, _, file = bench

    def refuse(writer):
        raise UnknownError("there is no job 7")

    take_flow(ingest, 0)
    counted = ingest.call(lambda writer: writer.connection.execute("SELECT count(*) FROM flow").fetchone()[0])
    assert counted.result(20) == 1
    with pytest.raises(UnknownError, match="no job 7"):
        ingest.call(refuse).result(20)
    with pytest.raises(StoreError):
        ingest.call(lambda writer: writer.connection.execute("SELECT * FROM nothing")).result(20)
    take_flow(ingest, 1)
    flush(ingest)
    assert count_rows(file) == 2


def test_a_call_that_nobody_waits_for_any_more_does_not_end_the_writer(bench):
    ingest, replies, _, _ = bench
    begun, go_on = Future(), threading.Event()
    ingest.call(lambda writer: (begun.set_result(None), go_on.wait(20)))
    begun.result(20)
    dropped = ingest.call(lambda writer: None)
    assert dropped.cancel()
    go_on.set()
    take_flow(ingest, 0)
    assert replies.await_flow(0)


def test_a_state_greets_the_rig_and_a_bad_one_only_warns(bench, caplog):
    ingest, replies, shown, _ = bench
    ingest.take("calmpass/1/cart/state", b'{"state":"online","boot":"a1b2c3d4e5f6a7b8"}')
    ingest.take("calmpass/1/other/state", b"{}")
    flush(ingest)
    assert replies.greeted == {"cart"}
    assert [fresh.message for fresh in shown()] == [wire.State("online", BOOT)]
    assert "the state of rig other was refused" in caplog.text


def test_stopping_stores_what_has_come(tmp_path):
    ingest = Ingest(tmp_path / "store.db", ring=lambda: None)
    ingest.start(Replies())
    for seq in range(50):
        take_flow(ingest, seq)
    ingest.stop()
    assert count_rows(tmp_path / "store.db") == 50


def test_the_bell_rings_once_until_somebody_has_come_to_it(tmp_path):
    rung = []
    ingest = Ingest(tmp_path / "store.db", ring=lambda: rung.append(1))
    for seq in range(5):
        take_flow(ingest, seq)
    assert len(rung) == 1
    taken = list(iter(ingest.intake.take_fresh, None))
    assert [fresh.message.seq for fresh in taken] == [0, 1, 2, 3, 4]
    take_flow(ingest, 5)
    assert len(rung) == 2
    ingest.start(Replies())
    ingest.stop()


def test_what_the_writer_came_to_first_is_still_shown_in_its_order(bench):
    ingest, _, shown, file = bench
    for seq in range(300):
        take_flow(ingest, seq)
        if seq % 100 == 50:
            flush(ingest)
    flush(ingest)
    assert count_rows(file) == 300
    assert [fresh.message.seq for fresh in shown()] == list(range(300))


def test_what_nobody_decodes_is_bounded(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(intake, "QUEUE_LIMIT", 10)
    ingest = Ingest(tmp_path / "store.db", ring=lambda: None)
    for seq in range(25):
        take_flow(ingest, seq)
    assert ingest.backlog == 10
    assert [record.message for record in caplog.records].count(
        "more messages than the disk takes: the rest waits on the rig"
    ) == 1
    ingest.start(Replies())
    ingest.stop()
    assert count_rows(tmp_path / "store.db") == 10


def test_a_task_that_fails_in_any_way_is_told_so_and_the_writer_goes_on(tmp_path):
    ingest = Ingest(tmp_path / "store.db", ring=lambda: None)
    ingest.start(Replies())
    try:

        def overflow(writer):
            writer.connection.execute("SELECT ?", (2**70,))

        with pytest.raises(UnknownError, match="so large a number"):
            ingest.call(overflow).result(5.0)
        with pytest.raises(ZeroDivisionError):
            ingest.call(lambda writer: 1 // 0).result(5.0)
        assert ingest.call(lambda writer: 7).result(5.0) == 7
    finally:
        ingest.stop()
