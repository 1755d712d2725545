"""What wrong dates, lost places and a failing store do to the outlook: nothing that lasts."""

import asyncio
import logging
from contextlib import closing
from dataclasses import replace
from math import nan

import numpy as np
import pytest
from yard import AT_NOON, LIMIT, NOON, draw_wind, play

from server.calm.fits import Question, fit_place
from server.calm.outlooks import Outlooks
from server.errors import StoreError
from server.store.connection import open_reader
from server.store.history import Source, remove_source


def test_a_wrong_date_in_the_future_spoils_nothing_later(yard) -> None:
    yard.record(np.full(60, 9.0), until=NOON + 20 * 365 * 86400.0)
    yard.record(np.tile([0.9, 1.3], 40))
    found = yard.look()
    assert (found["state"], found["fault"]) == ("known", None)
    assert yard.watch._fits.days == pytest.approx(80 / 1440, abs=0.01)
    with closing(open_reader(yard.database)) as connection:
        fits = fit_place(connection, Question(LIMIT, 2.0, 0.0, NOON))
    assert fits.from_utc == NOON - 80 * 60.0


def test_a_clock_that_goes_back_neither_opens_nor_closes(yard) -> None:
    words = play(yard, np.full(100, 0.6))
    yard.look(minutes=100.3, is_whole=False)
    back = replace(AT_NOON, utc=NOON - 3 * 86400.0, mono=AT_NOON.mono + 101 * 60.0)
    yard.look(back, is_whole=False)
    assert yard.watch.word == words[0][1]
    assert yard.watch.told["state"] == "no_wind"


def test_fits_of_a_wrong_date_are_made_anew_when_it_is_put_right(yard) -> None:
    yard.record(draw_wind(3.0))
    years = 10 * 365 * 86400.0
    yard.look(replace(AT_NOON, utc=NOON + years))
    assert yard.watch._fits.days == 0.0
    yard.look(minutes=1.0)
    assert yard.watch._fits.days == pytest.approx(3.0, abs=0.01)


def test_the_place_outlasts_a_restart_without_a_fix(yard) -> None:
    yard.look(lat_deg=52.0, lon_deg=105.0)
    yard.wake_up()
    found = yard.look(lat_deg=nan, lon_deg=nan, mean_2min_mps=0.5)
    assert found["inversion"]["is_likely"], "evening there"


def test_without_any_place_no_hour_is_called_usual_and_the_chance_still_told(yard) -> None:
    yard.record(draw_wind(14))
    found = yard.look(lat_deg=nan, lon_deg=nan, limit_mps=4.5)
    assert found["state"] == "known"
    assert (found["hours"]["usual"], found["hours"]["next_utc"]) == ([], None)
    assert found["inversion"] == {"is_likely": False, "sentence": "", "sun_deg": None, "below_mps": 1.5}


def test_the_past_is_looked_through_seldom_and_anew_for_what_changes_it(yard, caplog) -> None:
    yard.record(draw_wind(2.0))
    asked = []
    ask = yard.watch._ask

    async def count(question):
        asked.append(question.now_utc)
        return await ask(question)

    yard.watch._ask = count
    for minute in (0.0, 1.0, 2.0, 300.0):
        yard.look(minutes=minute)
    assert len(asked) == 1, "a seventh of two days has not passed"
    yard.look(minutes=440.0)
    assert len(asked) == 2
    yard.record(np.full(30, 2.0), source=Source("import", "mast", 10.0))
    yard.look(minutes=441.0)
    assert len(asked) == 3
    remove_source(yard.connection, 2)
    yard.look(minutes=442.0)
    assert len(asked) == 4
    yard.look(minutes=443.0, limit_mps=4.0)
    assert len(asked) == 5
    yard.watch._program = ("false",)
    with caplog.at_level(logging.ERROR):
        assert "cannot be looked through" in yard.look(minutes=444.0, limit_mps=2.0)["fault"]
        yard.look(minutes=445.0, limit_mps=2.0)
    assert len(caplog.records) == 1, "said once"
    assert len(asked) == 6, "and tried again after an hour"


async def tell(yard):
    """What the route asks for."""
    front = Outlooks.__new__(Outlooks)
    front.watch, front._now = yard.watch, lambda: yard.watch.looked_mono
    return front._tell()


def test_a_store_that_cannot_be_read_is_said_and_nothing_breaks(yard, caplog) -> None:
    yard.watch._database = yard.database.parent / "elsewhere.sqlite3"
    with caplog.at_level(logging.ERROR):
        yard.look(is_whole=False)
        yard.look(minutes=1.0, is_whole=False)
    assert len(caplog.records) == 1
    assert yard.watch.told is None
    with pytest.raises(StoreError):
        asyncio.run(tell(yard))
    yard.watch._database = yard.database
    assert yard.look(minutes=2.0, is_whole=False)["fault"] is None
