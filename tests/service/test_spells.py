"""Proposals and times of day out of parts of the log: the same as out of the whole, and a parked rig's costs little."""

from dataclasses import replace

import pytest

from rig import wire
from server import jobs
from server.core.setup import Span
from server.core.timebase import align_boots
from server.jobs import _propose_in, _propose_of
from server.store.connection import open_reader
from server.store.joblog import SPARSE, load_job_log, load_sparse_log
from server.store.messages import Arrival
from server.store.spells import find_spells, find_spray_spans

RIG, BEGIN = "yard", 1.75e9
BOOTS = ["aaaaaaaa00000001", "aaaaaaaa00000002"]


def flow(boot, seq, mono, pulses, at):
    """A count as it came."""
    message = wire.Flow(boot, seq, round(mono, 3), pulses, round(mono, 3) if pulses else None, 0)
    return Arrival(wire.topic_of(RIG, "flow"), at, wire.encode(message), RIG, "flow", message)


def counts(boot, flowing, *, length_s, begin=BEGIN, first=0):
    """Five counts a second; 8 pulses a second flow in the given stretches."""
    found = []
    for k in range(int(5 * length_s)):
        mono = 1.0 + k / 5
        pulses = first + int(8 * sum(min(max(mono - a, 0.0), b - a) for a, b in flowing))
        found.append(flow(boot, k, mono, pulses, begin + mono))
    return found


def test_spells_part_after_a_quarter_of_an_hour_and_drops_are_none(writer) -> None:
    writer.write(counts(BOOTS[0], [(60, 90), (600, 620), (2000, 2030), (3400, 3400.3)], length_s=3600))
    found = [(round(s.low), round(s.high), s.pulses) for s in find_spells(writer.connection, 1)]
    assert found == [(60, 620, 400), (2000, 2030, 240)]


def test_spraying_that_goes_on_after_a_restart_is_one_part_and_later_spraying_another(writer) -> None:
    writer.write(counts(BOOTS[0], [(200, 299)], length_s=300))
    writer.write(counts(BOOTS[1], [(5, 60), (2500, 2560)], length_s=2600, begin=BEGIN + 310))
    first, second = find_spray_spans(writer.connection, RIG, margin_s=30.0)
    assert (first.start[0], first.end[0]) == (BOOTS[0], BOOTS[1])
    assert first.end[1] == pytest.approx(90.0, abs=1.0)
    assert second.start == (BOOTS[1], pytest.approx(2470.0, abs=1.0))


def test_parts_propose_what_the_whole_log_does(busy_desk, tmp_path) -> None:
    reader = open_reader(tmp_path / "db.sqlite3")
    setup = busy_desk.service.jobs.setup
    whole = _propose_in(load_job_log(reader, Span("rig-1")), setup)
    parts = _propose_of(reader, "rig-1", setup)
    reader.close()
    assert len(whole) == len(parts) == 1
    assert parts[0].volume_l == pytest.approx(whole[0].volume_l, rel=1e-6)
    for end in ("start", "end"):
        assert getattr(parts[0], end) == (getattr(whole[0], end)[0], pytest.approx(getattr(whole[0], end)[1], abs=0.01))


def test_a_parked_log_is_not_read_for_proposals(writer, monkeypatch, desk) -> None:
    writer.write(counts(BOOTS[0], [], length_s=3000))
    read = []
    monkeypatch.setattr(jobs, "load_job_log", lambda *a: read.append(a))
    assert _propose_of(writer.connection, RIG, desk.service.jobs.setup) == []
    assert read == []


def test_a_sparse_log_tells_the_time_of_day_as_the_whole_one_does(writer) -> None:
    fixes = []
    for k in range(4 * SPARSE):
        mono = 5.0 + k / 10
        late = 0.02 * ((k * 7) % 5)
        fix = wire.Position(
            BOOTS[0], k, round(mono + late, 3), "single", round(BEGIN + mono, 3), 45.0, -30.0, *[None] * 7
        )  # fmt: skip
        fixes.append(
            Arrival(wire.topic_of(RIG, "position"), BEGIN + mono + 0.1, wire.encode(fix), RIG, "position", fix)
        )
    writer.write(fixes)
    sparse, whole = (load(writer.connection, Span(RIG)) for load in (load_sparse_log, load_job_log))
    assert len(whole.fixes.mono) == 4 * SPARSE
    assert len(sparse.fixes.mono) <= SPARSE
    offsets = [align_boots(log, latency_s=0.0).utc_offset_s for log in (sparse, whole)]
    assert offsets[0] == pytest.approx(offsets[1], abs=0.02)
    short = replace(Span(RIG), end=(BOOTS[0], 105.0))
    assert len(load_job_log(writer.connection, short).fixes.mono) == pytest.approx(1000, abs=2)
