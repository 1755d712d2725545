"""Watches whether it stays calm long enough: the chance each minute, a lull's opening and closing told once.

The past is looked through by a program of its own, seldom; the minute's work takes a few milliseconds in a thread.
"""

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable
from contextlib import closing
from dataclasses import dataclass, replace
from math import isfinite, nan
from pathlib import Path
from typing import Any

import numpy as np

from server.calm.fits import Fits, Question, read_fits, share_fits
from server.calm.moment import Moment, is_placed
from server.calm.past import MINUTE_S, average_latest, read_latest, read_recent
from server.calm.telling import (
    CAUTION,
    find_state,
    judge_inversion,
    lay_out_chance,
    lay_out_hours,
    lay_out_need,
    lay_out_record,
)
from server.core.lull import OPEN_ABOVE, LullState, step_lull
from server.core.outlook import CalmChance, find_likely_minutes, foresee_calm
from server.core.windpast import WindPast, lay_past, mean_before
from server.errors import ServiceError
from server.snapshot import known
from server.store.connection import DATABASE_ERRORS, open_reader
from server.store.history import Source
from server.store.outlook import list_sources, read_note
from server.tasks import PROGRAM, await_answer, begin_program, begin_task

log = logging.getLogger(__name__)
EVERY_S, SOONEST_S = 60.0, 5.0
AGAIN_S = 3600.0
"""A past that could not be looked through is tried again after so long."""
CLOSED_TOLD_S = 900.0
"""So long a closed lull is told."""
SAME_PLACE_DEG = 0.5
BACK_S = 3600.0
"""A date so much before that of the fits is another clock's."""
LULL, CHOSEN, PLACE = "lull", "minutes", "place"


@dataclass(frozen=True, slots=True)
class Word:
    """What is said of a lull while there is no alarm, and since when; an empty one says nothing."""

    reason: str = ""
    since_utc: float | None = None


class CalmWatch:
    """Keeps the outlook; `told` is what the pages show."""

    def __init__(
        self, database: Path, *, flush: Callable[[], Awaitable[None]], note: Callable[[str, Any], object],
        on_change: Callable[[], None], program: tuple[str, ...] = PROGRAM,
    ) -> None:  # fmt: skip
        self._database = database
        self._flush = flush
        self._note = note
        self._on_change = on_change
        self._program = program
        self._fits: Fits | None = None
        self._shared: Fits | None = None
        self._sources: tuple[tuple[int, Source], ...] = ()
        self._sources_now: tuple[tuple[int, Source], ...] = ()
        self._recent: dict[str, Any] | None = None
        self._kept_place = (nan, nan)
        self._lull = LullState()
        self._word = Word()
        self._about: tuple[Any, ...] | None = None
        self._looked: tuple[Any, ...] = ()
        self.looked_mono = self._failed_mono = -np.inf
        self._mono = nan
        self._task: asyncio.Task[None] | None = None
        self._refit: asyncio.Task[None] | None = None
        self._child: asyncio.subprocess.Process | None = None
        self._is_stopped = False
        self._faults = {"look": "", "past": ""}
        self.told: dict[str, Any] | None = None

    def restore(self) -> int | None:
        """Take up what was told before a restart; gives the minutes that were chosen."""
        with closing(open_reader(self._database)) as connection:
            kept, chosen, place = (read_note(connection, name) for name in (LULL, CHOSEN, PLACE))
        if place is not None:
            self._kept_place = (place[0], place[1])
        if kept is not None and kept["is_open"]:
            self._about = (kept["rig"], kept["limit_mps"], kept["height_m"])
            self._word = Word(kept["reason"], kept["since_utc"])
            self._lull = LullState(is_open=True, reason=kept["reason"])
        return int(chosen) if chosen is not None else None

    @property
    def word(self) -> Word:
        """What the rig's sounder and the pages are told of a lull now."""
        is_past = not self._lull.is_open and self._mono - self._lull.since > CLOSED_TOLD_S
        return Word() if is_past else self._word

    def tick(self, moment: Moment) -> None:
        """Look once a minute, and at once where something else is asked; a look under way is not doubled."""
        self._mono = moment.mono
        asked = (
            moment.rig, moment.limit_mps, moment.height_m, moment.need.minutes, moment.need.origin, moment.is_silent,
        )  # fmt: skip
        # NaN differs from itself, not from its name.
        wait = EVERY_S if repr(asked) == repr(self._looked) else SOONEST_S
        if moment.mono - self.looked_mono < wait or (self._task is not None and not self._task.done()):
            return
        self._looked = asked
        self._task = begin_task(self.look(moment))

    def forget_past(self) -> None:
        """Look through the past again; sources that come or go are noticed without this."""
        self._sources, self._failed_mono, self._looked = (), -np.inf, ()

    def stop(self) -> None:
        """Begin nothing more, end the program."""
        self._is_stopped = True
        if self._child is not None and self._child.returncode is None:
            self._child.kill()

    async def settle_look(self) -> None:
        """Wait until no look is under way."""
        if self._task is not None and not self._task.done():
            await asyncio.wait([self._task])

    async def settle(self) -> None:
        """Wait until nothing is under way."""
        while tasks := [task for task in (self._task, self._refit) if task is not None and not task.done()]:
            await asyncio.wait(tasks)

    async def look(self, moment: Moment) -> None:
        """One minute's chance, the lull, and what is told of them."""
        self._mono = self.looked_mono = moment.mono
        try:
            await self._flush()
            latest = await asyncio.to_thread(self._read, moment)
            moment = self._place(moment)
            found = await asyncio.to_thread(self._foresee, moment, latest)
        except (ServiceError, OSError, *DATABASE_ERRORS) as error:
            self._complain("look", f"The outlook cannot be told: {error}")
            return
        self._faults["look"] = ""
        fits, chance = found
        is_calm = _is_calm(latest, moment)
        self._step(moment, chance, is_calm_now=is_calm)
        self.told = self._lay_out(moment, latest, fits, chance, is_calm_now=is_calm)
        self._begin_refit(moment)
        self._on_change()

    def _read(self, moment: Moment) -> WindPast:
        """In a thread: the sources, and the rig's last minutes."""
        with closing(open_reader(self._database)) as connection:
            self._sources_now = tuple(list_sources(connection))
            self._recent = None
            if moment.rig is None or not isfinite(moment.utc):
                return lay_past(np.zeros(0), np.zeros(0), step_s=MINUTE_S)
            self._recent = read_recent(connection, moment.rig, height_m=moment.height_m, now_utc=moment.utc)
            return read_latest(connection, moment.rig, height_m=moment.height_m, now_utc=moment.utc)

    def _complain(self, about: str, fault: str) -> None:
        """Say what does not work, to the log once."""
        if not self._faults[about]:
            log.error("%s", fault)
        self._faults[about] = fault

    def _place(self, moment: Moment) -> Moment:
        """The moment with a place: the last one where neither lawn nor fix tells one; a new one is kept."""
        lat, lon = self._kept_place
        if not is_placed(moment):
            return replace(moment, lat_deg=lat, lon_deg=lon)
        if not max(abs(moment.lat_deg - lat), abs(moment.lon_deg - lon)) < SAME_PLACE_DEG / 5.0:
            self._kept_place = (moment.lat_deg, moment.lon_deg)
            self._note(PLACE, list(self._kept_place))
        return moment

    def _foresee(self, moment: Moment, latest: WindPast) -> tuple[Fits, CalmChance]:
        """In a thread: the chance for the minutes that are needed."""
        limit, minutes = moment.limit_mps, moment.need.minutes
        question = _question_of(moment)
        if not limit > 0.0:
            return self._share(replace(question, limit_mps=1.0)), CalmChance(limit, minutes, nan, nan, nan, 0.0)
        fits = self._fits if self._fits is not None and _is_about(self._fits, question) else self._share(question)
        past = latest if fits.step_s == latest.step_s else average_latest(latest)
        chance = foresee_calm(past, fits.models, minutes=minutes, limit_mps=limit, lon_deg=moment.lon_deg)
        return fits, chance

    def _share(self, question: Question) -> Fits:
        """What all places share, reckoned once for a question."""
        if self._shared is None or not _is_about(self._shared, question):
            self._shared = share_fits(question)
        return self._shared

    def _step(self, moment: Moment, chance: CalmChance, *, is_calm_now: bool) -> None:
        """Open or close the lull; another rig, limit or height begins anew without a word."""
        about = (moment.rig, known(moment.limit_mps), known(moment.height_m))
        if moment.rig is None and self._about is not None:
            about = (self._about[0], *about[1:])
        if about != self._about:
            was_open = self._lull.is_open
            self._about, self._lull, self._word = about, LullState(), Word()
            if was_open:
                self._keep(moment)
        if not moment.limit_mps > 0.0:
            return
        self._lull = step_lull(self._lull, at=moment.mono, chance=chance, is_calm_now=is_calm_now)
        if self._lull.changed:
            since = moment.utc if isfinite(moment.utc) else moment.wall_utc
            is_doubtful = self._lull.is_open and judge_inversion(moment)["is_likely"]
            self._word = Word(self._lull.reason + (f" {CAUTION}" if is_doubtful else ""), round(since, 1))
            self._keep(moment)

    def _keep(self, moment: Moment) -> None:
        """Note the lull, so that a restart does not tell it again."""
        rig, limit, height = self._about or (moment.rig, None, None)
        told = {"is_open": self._lull.is_open, "reason": self._word.reason, "since_utc": self._word.since_utc}
        self._note(LULL, {**told, "rig": rig, "limit_mps": limit, "height_m": height})

    def _lay_out(
        self, moment: Moment, latest: WindPast, fits: Fits, chance: CalmChance, *, is_calm_now: bool
    ) -> dict[str, Any]:
        """What the pages are told."""
        state = find_state(moment, latest, chance, is_calm_now=is_calm_now)
        now = moment.utc if isfinite(moment.utc) else max(moment.wall_utc, fits.question.now_utc)
        is_told = state == "known"
        return {
            "at_utc": known(now, 1),
            "limit_mps": known(moment.limit_mps, 3),
            "height_m": known(moment.height_m, 2),
            **lay_out_chance(state, chance, fits, latest),
            "likely_min": self._tell_likely(moment, latest, fits) if is_told else None,
            "need": lay_out_need(moment.need),
            "record": lay_out_record(chance, fits) if is_told else None,
            "hours": lay_out_hours(fits, minutes=moment.need.minutes, now_utc=now),
            "lull": {"is_open": self._lull.is_open, "since_utc": self.word.since_utc, "reason": self.word.reason},
            "inversion": judge_inversion(moment),
            "recent": self._recent,
            "fault": next((fault for fault in self._faults.values() if fault), None),
        }

    def _tell_likely(self, moment: Moment, latest: WindPast, fits: Fits) -> float | None:
        """For how many minutes calm is as likely as opens a lull."""
        past = latest if fits.step_s == latest.step_s else average_latest(latest)
        found = find_likely_minutes(
            past, fits.models, least_chance=OPEN_ABOVE, limit_mps=moment.limit_mps, lon_deg=moment.lon_deg
        )
        return known(found, 1)

    def _begin_refit(self, moment: Moment) -> None:
        """Have the past looked through where that is due and there is one."""
        question = _question_of(moment)
        is_known = self._fits is not None and _is_about(self._fits, question) and self._sources == self._sources_now
        is_due = not is_known or (self._fits is not None and _is_past(self._fits, question.now_utc))
        is_busy = self._refit is not None and not self._refit.done()
        is_tired = moment.mono - self._failed_mono < AGAIN_S
        if not (question.limit_mps > 0.0 and self._sources_now and is_due) or is_busy or is_tired or self._is_stopped:
            return
        self._refit = begin_task(self._fit(question, moment.mono))

    async def _fit(self, question: Question, mono: float) -> None:
        """Run the program and take what it found; what was known before stays where it fails."""
        sources = self._sources_now
        try:
            fits = read_fits(json.loads(await self._ask(question)))
        except (ServiceError, OSError, ValueError, KeyError, TypeError) as error:
            self._failed_mono = mono
            if not self._is_stopped:
                last = (str(error).splitlines() or ["?"])[-1]
                self._complain("past", f"The wind's past cannot be looked through: {last}")
            return
        self._fits, self._sources, self._looked = fits, sources, ()
        self._faults["past"] = ""

    async def _ask(self, question: Question) -> bytes:
        """What the program prints; raises JudgingError with what it complained of."""
        options = [
            "--database", str(self._database), "--limit-mps", repr(question.limit_mps), "--height-m",
            repr(question.height_m), "--now", str(round(question.now_utc)),
        ]  # fmt: skip
        if isfinite(question.lon_deg):
            options += ["--lon", repr(question.lon_deg)]
        self._child = child = await begin_program(*self._program, "outlook", *options)
        if self._is_stopped:
            child.kill()
        try:
            return await await_answer(child)
        finally:
            self._child = None


def _question_of(moment: Moment) -> Question:
    now = moment.utc if isfinite(moment.utc) else moment.wall_utc
    return Question(moment.limit_mps, moment.height_m, moment.lon_deg, now)


def _is_past(fits: Fits, now_utc: float) -> bool:
    """Whether the past is to be looked through again: the log has grown, or a wrong date was put right."""
    return now_utc >= fits.due_utc or now_utc < fits.question.now_utc - BACK_S


def _is_about(fits: Fits, question: Question) -> bool:
    """Whether fits answer this question: limit, height and about the same place."""
    told = fits.question
    is_near = abs(told.lon_deg - question.lon_deg) < SAME_PLACE_DEG
    is_placed = is_near or (not isfinite(told.lon_deg) and not isfinite(question.lon_deg))
    return (told.limit_mps, told.height_m) == (question.limit_mps, question.height_m) and is_placed


def _is_calm(latest: WindPast, moment: Moment) -> bool:
    """Whether nothing known of the last minutes is above the limit."""
    last = [float(latest.mean_mps[-1]), float(mean_before(latest, 10)[-1])] if len(latest.mean_mps) else []
    return not any(speed > moment.limit_mps for speed in (*last, moment.mean_60s_mps))
