"""Torn tables and rubbish: an import, a proposal or one refusal, and every row used or counted."""

import gzip
import json
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from readings import PLAIN, refusal_of

from server.history.importer import import_file, import_lines
from server.history.mapping import Mapping
from server.history.proposal import propose_mapping

HOUR = [f"2025-03-01 {i // 60:02}:{i % 60:02},2.0" for i in range(100)]
"""Rows a minute apart."""


@given(st.binary(max_size=2000))
@settings(max_examples=300)
def test_whatever_bytes_come_the_answer_is_a_proposal_or_one_refusal(data) -> None:
    said = refusal_of(lambda: json.dumps(propose_mapping(data).as_object()))
    assert "\n" not in said


FIELDS = st.sampled_from(
    ["2025-03-01", "00:01", "1.5", "-999", "", '"', '"a', "NaN", "1e400", "٣", "²", ";", "1_0", "\x00"]
)
TABLES = st.lists(st.lists(FIELDS | st.text(max_size=6), max_size=5), max_size=30)
MAPPINGS = st.builds(
    Mapping,
    time=st.lists(st.integers(1, 4), max_size=3).map(tuple),
    speed=st.integers(1, 4),
    gust=st.none() | st.integers(1, 4),
    direction=st.none() | st.integers(1, 4),
    unit=st.just("m/s"),
    separator=st.sampled_from([",", ";", " "]),
    date_order=st.sampled_from(["ymd", "dmy", "mdy", "day_of_year", "epoch_s", "epoch_ms"]),
    zone=st.sampled_from(["UTC", "+05:30", "Europe/Berlin"]),
    stamp=st.sampled_from(["begin", "end"]),
    height_m=st.just(2.0),
    first_line=st.integers(1, 3),
)


@given(TABLES, MAPPINGS)
@settings(max_examples=300)
def test_torn_tables_are_imported_or_refused_in_one_sentence(table, mapping) -> None:
    lines = [mapping.separator.join(row) for row in table]
    refusal_of(lambda: json.dumps(import_lines(lines, mapping).as_object(), allow_nan=False))


@given(st.lists(st.tuples(st.integers(0, 59), st.integers(0, 3), FIELDS | st.text(max_size=6)), max_size=40))
@settings(max_examples=300)
def test_every_row_of_a_torn_table_is_used_or_counted(tears) -> None:
    rows = [[*row.split(","), "3.0", "90"] for row in HOUR[:60]]
    for row, column, text in tears:
        rows[row][column] = text
    found = []
    mapping = replace(PLAIN, gust=3, direction=4)
    if not refusal_of(lambda: found.append(import_lines([",".join(row) for row in rows], mapping))):
        told, left_out = found[0], 0
        for note in told.notes:
            left_out += note.rows * (note.effect == "left out" and note.kind not in ("repeated", "contradicting"))
        assert told.used_rows + left_out == told.rows
        again = sum(n.rows for n in told.notes if n.kind in ("repeated", "contradicting", "clashing"))
        assert len(told.bins.minute) == told.used_rows - again
        json.dumps(told.as_object(), allow_nan=False)


@given(st.binary(max_size=400), st.booleans(), st.integers(0, 3000))
@settings(max_examples=150)
def test_a_file_with_rubbish_in_it_never_breaks_the_reader(tmp_path_factory, rubbish, is_packed, spot) -> None:
    data = "\n".join(HOUR).encode()
    data = data[: spot % len(data)] + rubbish + data[spot % len(data) :]
    file = tmp_path_factory.mktemp("torn") / "table"
    packed = gzip.compress(data)
    file.write_bytes(packed[: max(len(packed) - spot, 10)] if is_packed else data)
    assert "\n" not in refusal_of(lambda: import_file(file, PLAIN))
