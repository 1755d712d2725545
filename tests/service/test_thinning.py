"""Raw messages outside jobs leave the store: never a job's, never twice, and their numbers stay settled."""

import json
import random
import signal
import sqlite3
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from rig import wire
from server.core.setup import FlowMeter, Span
from server.errors import LogError
from server.rawlog import Received
from server.store import thinning
from server.store.connection import open_reader, open_writer
from server.store.joblog import iterate_received, load_job_log
from server.store.messages import Arrival, MessageWriter, read_tally
from server.store.settled import read_settled, read_thinned
from server.store.spells import find_spells
from server.store.thinning import HOLE_S, MARGIN_S, find_doomed, plan_thinning

RIG = "yard"
BEGIN = 1.75e9
HOUR = 3600.0
BOOTS = ["aaaaaaaa00000001", "aaaaaaaa00000002", "aaaaaaaa00000003"]
EVERY_S = {"position": 20.0, "flow": 30.0, "wind": 30.0, "climate": 60.0, "event": 60.0}
LEAST = 45.0


def make(stream, boot, seq, mono, pulses):
    """A message of a stream."""
    if stream == "position":
        return wire.Position(boot, seq, mono, "single", BEGIN + mono, 45.0, -30.0, None, 0.1, 0.0, 9, 0.8, None, None)
    if stream in ("flow", "wind"):
        kind = wire.Flow if stream == "flow" else wire.Wind
        return kind(boot, seq, mono, pulses if stream == "flow" else seq * 4, None, 0)
    if stream == "climate":
        return wire.Climate(boot, seq, mono, 20.0, 50.0)
    return wire.Event(boot, seq, mono, "receiver", {"sentences": seq, "refused": 0, "flags": {}})


def arrive(message, received, payload=None):
    """A message as it came."""
    stream = wire.stream_of(message)
    return Arrival(wire.topic_of(RIG, stream), received, payload or wire.encode(message), RIG, stream, message)


def record(hours, *, sprays=(), lost=0.0, odd=0.0, seed=1):
    """Starts one after another; `sprays` are (start, from hour, to hour); some lost, repeated, oddly written."""
    draw, found, at = random.Random(seed), [], BEGIN
    for boot, length in zip(BOOTS, hours, strict=False):
        for stream, every in EVERY_S.items():
            for seq in range(int(length * HOUR / every)):
                mono = round(seq * every, 3)
                flowed = [min(max(mono - a * HOUR, 0.0), (b - a) * HOUR) for k, a, b in sprays if BOOTS[k] == boot]
                message = make(stream, boot, seq, mono, int(4.0 * sum(flowed)))
                if draw.random() < lost:
                    continue
                payload = wire.encode(message)
                if draw.random() < odd:
                    payload = payload.replace(b'"seq":', b'"seq": ')
                found.append(arrive(message, at + mono + 0.05, payload))
                if draw.random() < odd:
                    found.append(arrive(message, at + mono + 3.0, payload))
        at += length * HOUR + 60.0
    return sorted(found, key=lambda arrival: arrival.received_utc)


def store(writer, arrivals):
    """Write in batches."""
    for begin in range(0, len(arrivals), 400):
        writer.write(arrivals[begin : begin + 400])


def thin(writer, *, keep_s, jobs=(), limit=1000):
    """A whole pass, as the service makes it; gives the parts and how many messages went."""
    connection = writer.connection
    parts = plan_thinning(connection, RIG, keep_s=keep_s, jobs=jobs, least_pulses=LEAST)
    removed = 0
    for part in parts:
        for stream in thinning.STREAMS:
            place = find_doomed(connection, part, stream, 0)
            while place is not None:
                piece = writer.thin(part, stream, place, limit=limit)
                removed += piece.removed
                place = find_doomed(connection, part, stream, piece.next_seq)
    return parts, removed


def read_all(connection, span):
    """All that is known of a job's log."""
    log = load_job_log(connection, span)
    return list(iterate_received(connection, span)), log.digest, log.receipt, log.boots


def stored(connection):
    """Every stored key, and every removed one."""
    here, gone = set(), set()
    for stream in wire.DATA_STREAMS:
        here |= {(b, stream, s) for b, s in connection.execute(f"SELECT boot, seq FROM {stream}")}
    for boot, stream, low, high in connection.execute("SELECT boot, stream, from_seq, to_seq FROM thinned"):
        ours = {(boot, stream, seq) for seq in range(low, high + 1)}
        assert not ours & gone, "no number is noted twice"
        gone |= ours
    return here, gone


def test_of_a_parked_day_only_the_last_hours_stay(writer) -> None:
    store(writer, record([12.0]))
    _, removed = thin(writer, keep_s=4 * HOUR)
    for stream, every in EVERY_S.items():
        kept = [mono for (mono,) in writer.connection.execute(f"SELECT mono FROM {stream} ORDER BY seq")]
        assert kept[0] == pytest.approx(8 * HOUR, abs=2 * every)
        assert kept[-1] == pytest.approx(12 * HOUR, abs=2 * every)
    here, gone = stored(writer.connection)
    assert len(gone) == removed == thinning.count_thinned(writer.connection)
    assert len(here) + len(gone) == sum(int(12 * HOUR / every) for every in EVERY_S.values())
    rows = writer.connection.execute("SELECT count(*) FROM thinned").fetchone()
    assert rows == (len(EVERY_S),), "one range a stream, however many pieces"


UNSHRUNK = (Phase.explicit, Phase.reuse, Phase.generate)
"""Examples are large: to shrink one takes minutes."""
SPANS = st.tuples(st.integers(0, 2), st.floats(0.0, 2.0), st.integers(0, 2), st.floats(0.05, 2.5))


@settings(max_examples=25, phases=UNSHRUNK)
@given(
    hours=st.lists(st.floats(0.6, 3.0), min_size=1, max_size=3), spans=st.lists(SPANS, max_size=3),
    keep_hours=st.floats(0.2, 4.0), lost=st.sampled_from([0.0, 0.1]), limit=st.sampled_from([3, 50, 1000]),
    spray=st.tuples(st.integers(0, 2), st.floats(0.0, 2.0)), seed=st.integers(0, 99),
)  # fmt: skip
def test_a_jobs_log_is_the_same_to_the_byte_whatever_goes(
    tmp_path_factory, hours, spans, keep_hours, lost, limit, spray, seed
) -> None:
    writer = MessageWriter(open_writer(tmp_path_factory.mktemp("thin") / "store.db"))
    connection = writer.connection
    sprays = [(spray[0], spray[1], spray[1] + 0.1)]
    came = record(hours, sprays=sprays, lost=lost, odd=0.05, seed=seed)
    store(writer, came)
    jobs = []
    for first, low, last, length in spans:
        first, last = min(first, len(hours) - 1), min(last, len(hours) - 1)
        end = (low + length if first == last else length) * HOUR
        span = Span(RIG, (BOOTS[min(first, last)], low * HOUR), (BOOTS[max(first, last)], end))
        try:
            load_job_log(connection, span)
        except LogError:
            continue
        jobs.append(span)
    before = [read_all(connection, span) for span in jobs]
    whole, _ = stored(connection)
    boots = [number for (number,) in connection.execute("SELECT id FROM boot")]
    settled = {(b, s): read_settled(connection, b, s) for b in boots for s in wire.DATA_STREAMS}
    _, removed = thin(writer, keep_s=keep_hours * HOUR, jobs=jobs, limit=limit)
    here, gone = stored(connection)
    assert here | gone == whole
    assert not here & gone
    assert len(gone) == removed
    assert [read_all(connection, span) for span in jobs] == before
    # What flowed in no job can still become one.
    for boot in boots:
        for spell in find_spells(connection, boot):
            low, high = spell.low - MARGIN_S, spell.high + MARGIN_S
            went = connection.execute(
                "SELECT count(*) FROM thinned WHERE boot = ? AND stream = 'flow' AND from_mono <= ? AND to_mono >= ?",
                (boot, high, low),
            ).fetchone()
            assert spell.pulses < LEAST or went == (0,)
    assert thin(writer, keep_s=keep_hours * HOUR, jobs=jobs, limit=limit)[1] == 0, "nothing is left to go"
    # The same messages again are repeats, before and after a restart; what is settled is the same.
    for again in (writer, MessageWriter(connection)):
        outcome = again.write(came)
        assert set(outcome.counts) <= {"read", "duplicate"}
        assert outcome.counts["duplicate"] == len(came)
        assert stored(connection) == (here, gone)
    for (boot, stream), numbers in settled.items():
        now = read_settled(connection, boot, stream)
        assert (now.settled, now.highest, now.count) == (numbers.settled, numbers.highest, numbers.count)
        came_at_all = {seq for b, s, seq in whole if (b, s) == (boot, stream)}
        prefix = next(n for n in range(10**6) if n not in came_at_all) - 1
        assert (now.settled, now.count) == (prefix, len(came_at_all))
    connection.close()


def test_a_lost_message_that_comes_after_all_is_stored_and_not_taken_for_a_repeat(writer) -> None:
    came = record([6.0])
    late = came.pop(200)
    store(writer, came)
    thin(writer, keep_s=HOUR)
    assert writer.write([late]).counts == {"read": 1}
    key = (1, late.stream, late.message.seq)
    assert key in stored(writer.connection)[0]
    thin(writer, keep_s=HOUR)
    assert key in stored(writer.connection)[1]


def test_counts_say_what_was_read_also_of_what_has_gone(writer) -> None:
    came = record([5.0])
    store(writer, came)
    before = read_tally(writer.connection)
    thin(writer, keep_s=HOUR)
    assert read_tally(writer.connection) == before == {"read": len(came)}


def test_the_newest_start_is_kept_whatever_the_services_clock_said(writer) -> None:
    """A board without a battery begins in the past, and goes forward when it learns the time."""
    came = record([6.0, 3.0])
    first = {id(a) for a in came if a.message.boot == BOOTS[1] and a.message.mono < 2 * HOUR}
    store(writer, [replace(a, received_utc=1000.0 + a.message.mono) if id(a) in first else a for a in came])
    thin(writer, keep_s=4 * HOUR)
    assert writer.connection.execute("SELECT min(mono) FROM flow WHERE boot = 2").fetchone() == (0.0,)


def test_a_clock_that_leaps_ahead_takes_nothing_away(writer) -> None:
    came = record([3.0])
    ahead = [replace(a, received_utc=a.received_utc + 1e8) if a.message.mono > 2 * HOUR else a for a in came]
    store(writer, ahead)
    assert thin(writer, keep_s=4 * HOUR)[1] == 0


def test_a_device_clock_that_leaps_takes_nothing_away(writer) -> None:
    came = record([3.0])
    store(writer, [*came, arrive(make("flow", BOOTS[0], 10**6, 1e9, 0), came[-1].received_utc + 1.0)])
    assert thin(writer, keep_s=4 * HOUR)[1] == 0


def test_what_was_filled_in_late_is_kept_its_time_from_when_it_came(writer) -> None:
    came = record([12.0])
    store(writer, [replace(a, received_utc=BEGIN + 1e6) for a in came])
    assert thin(writer, keep_s=4 * HOUR)[1] == 0


def test_an_hour_that_was_filled_in_late_stays_among_older_ones_that_go(writer) -> None:
    came = record([12.0])
    late = {id(a) for a in came if 2 * HOUR <= a.message.mono <= 3 * HOUR}
    store(writer, [replace(a, received_utc=BEGIN + 12 * HOUR) if id(a) in late else a for a in came])
    thin(writer, keep_s=4 * HOUR)
    old = writer.connection.execute("SELECT min(mono), max(mono), count(*) FROM flow WHERE mono < ?", (7.9 * HOUR,))
    assert old.fetchone() == (2 * HOUR, 3 * HOUR, 121)


def test_a_job_that_goes_on_keeps_all_that_came_since(writer) -> None:
    store(writer, record([6.0, 6.0]))
    thin(writer, keep_s=HOUR, jobs=[Span(RIG, (BOOTS[0], 5 * HOUR), None)])
    ends = writer.connection.execute("SELECT boot, min(mono) FROM flow GROUP BY boot").fetchall()
    assert ends == [(1, pytest.approx(5 * HOUR - MARGIN_S, abs=31)), (2, 0.0)]


def test_single_pulses_of_a_shaken_meter_keep_nothing(writer) -> None:
    came = [
        replace(a, message=replace(a.message, pulses=int(a.message.mono // 300)), payload=b"")
        for a in record([12.0])
        if a.stream == "flow"
    ]
    store(writer, [replace(a, payload=wire.encode(a.message)) for a in came])
    assert find_spells(writer.connection, 1) == []
    thin(writer, keep_s=HOUR)
    assert writer.connection.execute("SELECT min(mono) FROM flow").fetchone()[0] > 10.9 * HOUR


def test_ranges_end_at_long_silences_so_that_none_reaches_over_a_job(writer) -> None:
    quiet = [arrive(make("climate", BOOTS[0], k, 3 * HOUR * k, 0), BEGIN + 3 * HOUR * k) for k in range(4)]
    store(writer, [*record([10.0]), *[a for a in quiet if a.message.mono > 10 * HOUR]])
    store(writer, [arrive(make("climate", BOOTS[1], k, 900.0 * k, 0), BEGIN + 36e3 + 900 * k) for k in range(9)])
    thin(writer, keep_s=0.5 * HOUR)
    found = writer.connection.execute("SELECT to_seq - from_seq, to_mono - from_mono FROM thinned WHERE boot = 2")
    assert {(0, 0.0)} == set(found.fetchall())
    assert HOLE_S < 2 * MARGIN_S


CHILD = """
import sys, time
from pathlib import Path
from server.core.setup import Span
from server.store.connection import open_writer
from server.store.messages import MessageWriter
from server.store.thinning import STREAMS, find_doomed, plan_thinning, thin_piece
connection = open_writer(Path(sys.argv[1]))
job = Span("yard", ("aaaaaaaa00000001", 7200.0), ("aaaaaaaa00000001", 9000.0))
for part in plan_thinning(connection, "yard", keep_s=3600.0, jobs=[job], least_pulses=45.0):
    for stream in STREAMS:
        place = find_doomed(connection, part, stream, 0)
        while place is not None:
            piece = thin_piece(connection, part, stream, place, limit=3)
            print(piece.removed, flush=True)
            place = find_doomed(connection, part, stream, piece.next_seq)
"""


@pytest.mark.parametrize("pieces", [1, 17, 60, 250])
def test_a_kill_in_the_middle_leaves_each_message_stored_or_noted_as_removed(tmp_path, pieces) -> None:
    file = tmp_path / "store.db"
    writer = MessageWriter(open_writer(file))
    came = record([8.0], odd=0.05)
    store(writer, came)
    job = Span(RIG, (BOOTS[0], 7200.0), (BOOTS[0], 9000.0))
    before, (whole, _) = read_all(writer.connection, job), stored(writer.connection)
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(file)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    told = sum(int(child.stdout.readline()) for _ in range(pieces))
    child.send_signal(signal.SIGKILL)
    child.stdout.close()
    child.wait()
    here, gone = stored(writer.connection)
    assert here | gone == whole
    assert not here & gone
    assert 0 < told <= len(gone) < len(whole)
    assert read_all(writer.connection, job) == before
    again = MessageWriter(writer.connection)
    assert again.write(came).counts["duplicate"] == len(came)
    thin(again, keep_s=HOUR, jobs=[job])
    fresh = MessageWriter(open_writer(tmp_path / "fresh.db"))
    store(fresh, came)
    thin(fresh, keep_s=HOUR, jobs=[job])
    assert stored(fresh.connection) == stored(writer.connection)
    for each in (writer, fresh):
        each.connection.close()


def test_beside_rows_go_with_their_message(writer) -> None:
    store(writer, record([6.0], odd=0.3))
    thin(writer, keep_s=HOUR)
    for table in ("verbatim", "repeat"):
        for boot, stream, seq in writer.connection.execute(f"SELECT boot, stream, seq FROM {table}"):
            assert seq not in read_thinned(writer.connection, boot, stream)


def received_of(arrivals):
    """As a service's link hands them over; they all come now."""
    return [Received(a.topic, a.received_utc, a.payload) for a in arrivals]


def test_the_service_thins_tells_it_and_refuses_jobs_over_what_has_gone(desk, tmp_path) -> None:
    came = record([8.0], sprays=[(0, 2.0, 2.1)])
    work = desk.service.ingest.call(lambda writer: store(writer, came))
    work.result(30)
    health = desk.ask("GET", "/api/health").json()["store"]
    assert (health["removed_messages"], health["keep_hours"]) == (0, 48.0)
    desk.service.thinner.keep_s = HOUR
    removed = desk.portal.call(desk.service.thinner.thin, FlowMeter(450.0))
    health = desk.ask("GET", "/api/health").json()["store"]
    assert health["removed_messages"] == removed > 1000
    assert health["file_bytes"] > 100_000
    assert health["outside_jobs_since_utc"] == pytest.approx(BEGIN + 7 * HOUR, abs=60)
    # Spraying that was in no job is still proposed, and can be made one with a little around it.
    (found,) = desk.ask("GET", "/api/jobs/proposals").json()
    assert found["volume_l"] == pytest.approx(0.1 * HOUR * 4.0 / 450.0, rel=0.02)
    boot = BOOTS[0]
    body = {"name": "Kept", "start": [boot, 2 * HOUR - 600.0], "end": [boot, 2.1 * HOUR + 600.0]}
    assert desk.ask("POST", "/api/jobs", body).status_code == 201
    body = {"name": "Gone", "start": [boot, HOUR], "end": [boot, 2 * HOUR]}
    refusal = desk.ask("POST", "/api/jobs", body)
    assert refusal.status_code == 422
    assert "no longer kept" in refusal.json()["detail"]
    assert json.loads(refusal.text)["detail"].count("\n") == 0
    reader = open_reader(tmp_path / "db.sqlite3")
    assert read_tally(reader)["read"] == len(came)
    reader.close()


def test_a_job_whose_start_is_not_in_the_log_stops_thinning_and_is_told_once(desk, caplog) -> None:
    desk.service.ingest.call(lambda writer: store(writer, record([4.0]))).result(30)
    span = Span(RIG, ("ffffffffffffffff", 0.0), None)
    desk.portal.call(lambda: desk.service.jobs.add("Odd", span, state="finished"))
    desk.service.thinner.keep_s = HOUR
    for _ in range(2):
        assert desk.portal.call(desk.service.thinner.thin, FlowMeter(450.0)) == 0
    assert caplog.text.count("cannot be placed") == 1


def test_the_watch_goes_on_after_a_disk_that_refused(desk, caplog, monkeypatch) -> None:
    """Two looks an instant apart: the first is refused, the second removes what the first could not."""
    desk.service.ingest.call(lambda writer: store(writer, record([4.0]))).result(30)
    thinner, looks = desk.service.thinner, []
    thinner.keep_s = HOUR
    monkeypatch.setattr("server.thinning.FIRST_AFTER_S", 0.0)
    monkeypatch.setattr("server.thinning.PERIOD_S", 0.0)
    monkeypatch.setattr("server.thinning.SHORTEST_REST_S", 0.0)
    plan = thinner._plan

    def refuse_once(least):
        looks.append(least)
        if len(looks) == 1:
            raise sqlite3.OperationalError("disk I/O error")
        thinner.keep_s = HOUR if len(looks) == 2 else None
        return plan(least) if len(looks) == 2 else []

    monkeypatch.setattr(thinner, "_plan", refuse_once)
    desk.portal.call(thinner.watch, lambda: FlowMeter(450.0))
    assert caplog.text.count("disk I/O error") == 1
    assert looks == [45.0] * 3
    assert desk.ask("GET", "/api/health").json()["store"]["removed_messages"] > 500
