"""What was left out or put right while a table was read, counted by kind and told in sentences."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

LINES_KEPT = 5
KINDS = {
    "short": ("row", "have too few fields"),
    "no_time": ("row", "have a time that cannot be read in the order told"),
    "no_number": ("row", "have a speed that is no number"),
    "missing": ("row", "say nothing of the speed (empty, NAN, -- and the like)"),
    "code": ("row", "hold a code for a missing speed"),
    "implausible": ("row", "hold a speed below 0 or above 75 m/s"),
    "flagged": ("row", "carry a flag that is not among the good ones"),
    "skipped_hour": (
        "row",
        "lie in the hour that clocks skip at the change to summer time",
    ),
    "twice_unclear": ("row", "lie in the hour that comes twice at the end of summer time, and cannot be told apart"),
    "twice_settled": ("time", "lie in the hour that comes twice at the end of summer time; told apart by their order"),
    "own_offset": ("time", "state their own offset from UTC, which counts instead of the zone told"),
    "no_gust": ("gust", "have no readable or plausible gust"),
    "gust_below_mean": ("gust", "have a gust below the mean"),
    "no_direction": ("direction", "have no direction: 0 to 360 degrees or N, NNE, NE and so on"),
    "repeated": ("row", "repeat a row word for word in time and values"),
    "contradicting": ("row", "name a time again with other values; the first row counts"),
    "out_of_order": ("order", "stand out of order; they are sorted in"),
    "clashing": ("row", "fall into the same minute as the row before although they are not that close; averaged"),
}
"""Each kind: what it touches, and what such rows do."""
_STANDARD = "If the logger keeps standard time all year, tell a fixed offset instead of the zone's name."
ADVICE = {
    "skipped_hour": _STANDARD,
    "twice_settled": _STANDARD,
    "code": "If such speeds can be true, take them off the list of codes.",
    "out_of_order": "If this is only near a change of clocks, the time zone may be wrong.",
}
"""What to do about some kinds."""
UNREADABLE = ("short", "no_time", "no_number")
"""Kinds that speak for a wrong mapping when there are many."""


@dataclass(frozen=True, slots=True)
class Note:
    """One kind of repair: how many rows, what became of them, the numbers of the first lines."""

    kind: str
    rows: int
    effect: str
    sentence: str
    lines: tuple[int, ...]

    def as_object(self) -> dict[str, Any]:
        """Plain values for JSON."""
        found = {"kind": self.kind, "rows": self.rows, "effect": self.effect, "sentence": self.sentence}
        return {**found, "lines": list(self.lines)}


_EFFECTS = {
    "row": "left out",
    "gust": "gust left out",
    "direction": "direction left out",
    "time": "kept",
    "order": "kept",
}


class Tally:
    """Counts repairs."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self._lines: dict[str, list[int]] = {}

    def note(self, kind: str, line: int) -> None:
        """One row of a kind."""
        self.counts[kind] += 1
        kept = self._lines.setdefault(kind, [])
        if len(kept) < LINES_KEPT:
            kept.append(line)

    def note_many(self, kind: str, rows: int, lines: list[int]) -> None:
        """So many rows of a kind, if there are any."""
        if rows:
            self.counts[kind] += rows
            self._lines.setdefault(kind, []).extend(lines[:LINES_KEPT])

    def notes(self) -> tuple[Note, ...]:
        """Every kind that there was, the most frequent first."""
        return tuple(self._tell(kind, rows) for kind, rows in self.counts.most_common())

    def worst(self, kinds: tuple[str, ...]) -> Note | None:
        """The most frequent of some kinds."""
        return next((note for note in self.notes() if note.kind in kinds), None)

    def _tell(self, kind: str, rows: int) -> Note:
        touches, what = KINDS[kind]
        effect = "averaged" if kind == "clashing" else _EFFECTS[touches]
        counted = "1 row" if rows == 1 else f"{rows} rows"
        lines = tuple(self._lines.get(kind, ()))
        sentence = f"{counted} {what}: {effect}. {ADVICE.get(kind, '')}".strip()
        return Note(kind, rows, effect, sentence, lines)
