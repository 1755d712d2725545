"""Will it stay calm long enough, told minute by minute on a clock that the test moves, from a store of its own."""

import json
from contextlib import closing
from dataclasses import replace
from math import nan

import numpy as np
import pytest
from yard import AT_NOON, LIMIT, NEED, NOON, draw_wind, play

from server.calm.fits import Question, share_fits
from server.calm.past import average_latest, read_latest, read_place
from server.calm.telling import CAUTION
from server.calm.watch import CLOSED_TOLD_S, Word
from server.core.outlook import foresee_calm
from server.core.profile import height_factor
from server.core.windpast import lay_past
from server.store.connection import open_reader
from server.store.history import Source
from server.store.outlook import read_note


def test_on_a_fresh_install_each_missing_thing_is_said_with_what_to_do(yard) -> None:
    assert yard.look(rig=None)["state"] == "no_rig"
    assert "switch it on" in yard.watch.told["sentence"]
    assert yard.look(limit_mps=nan)["state"] == "no_limit"
    assert yard.watch.told["limit_mps"] is None
    assert yard.look(AT_NOON, utc=nan)["state"] == "no_date"
    assert yard.look(is_silent=True)["state"] == "silent"
    assert yard.look()["state"] == "no_wind"
    yard.record(np.full(20, 1.0))
    found = yard.look()
    assert (found["state"], found["minutes_known"], found["minutes_wanted"]) == ("short", 20, 70)
    assert "stand in the yard for 70 minutes" in found["sentence"]
    assert (found["chance"], found["record"]) == (None, None)
    json.dumps(found, allow_nan=False)


def test_without_a_past_the_shared_regression_answers_from_the_last_70_minutes(yard) -> None:
    speeds = np.tile([1.4, 1.9, 1.6, 2.1], 18)
    yard.record(speeds)
    found = yard.look(is_whole=False)
    past = lay_past(NOON - 60.0 * np.arange(72)[::-1], speeds, step_s=60.0)
    shared = share_fits(Question(LIMIT, 2.0, 0.0, NOON)).models
    wanted = foresee_calm(past, shared, minutes=25, limit_mps=LIMIT, lon_deg=0.0)
    assert found["chance"] == pytest.approx(wanted.chance, abs=1e-4)
    assert (found["low"], found["high"]) == (pytest.approx(wanted.low, abs=1e-4), pytest.approx(wanted.high, abs=1e-4))
    assert found["days"] == 0.0
    assert found["sentence"].endswith("in 10 that it stays under 3 m/s for the 25 minutes.")
    assert found["hours"]["usual"] == []


def test_after_a_day_chances_still_rest_on_what_places_share_but_are_kept_account_of(yard) -> None:
    yard.record(draw_wind(0.95))
    found = yard.look(need=replace(NEED, minutes=10), limit_mps=4.5)
    assert found["days"] == 0.0
    assert yard.watch._fits.days == pytest.approx(0.95, abs=0.01)
    shared = share_fits(Question(4.5, 2.0, 0.0, NOON)).models
    for own, common in zip(yard.watch._fits.models, shared, strict=True):
        assert own.coefficients == pytest.approx(common.coefficients)
    assert sum(row.said for row in yard.watch._fits.records[0].rows) > 20
    assert found["hours"]["next_utc"] is None, "of one day nothing is called usual"


def test_fourteen_days_move_the_chance_and_tell_the_usual_hours(yard) -> None:
    yard.record(draw_wind(14))
    first = yard.look(is_whole=False, limit_mps=4.5)
    assert first["state"] == "known"
    found = yard.look(limit_mps=4.5)
    assert found["days"] == pytest.approx(7.0 * 1.15**4, abs=0.01), "fitted last when the log was so long"
    assert yard.watch._fits.days == pytest.approx(14.0, abs=0.01)
    assert found["chance"] != first["chance"]
    record = found["record"]
    assert record["minutes"] == 30
    assert 0 <= record["came_true"] <= record["said"]
    assert record["days"] == pytest.approx(14.0, abs=1.0)
    spans = yard.look(limit_mps=2.5)["hours"]
    assert spans["days"] >= 13
    assert len(spans["usual"]) >= 1
    begin, end = spans["usual"][-1]["from_utc"], spans["usual"][-1]["to_utc"]
    assert spans["next_utc"] == min(span["from_utc"] for span in spans["usual"] if span["from_utc"] > NOON)
    # Calm nights were drawn: a sine lowest at 3 h by the sun, at longitude 0.
    assert begin < NOON + 15 * 3600 < end


def test_a_lull_is_told_once_when_it_opens_and_once_when_it_closes(yard) -> None:
    speeds = [*np.full(100, 0.6), 3.8, 3.9, *np.full(20, 4.0)]
    words = play(yard, speeds)
    (opened, word), (closed, last), *rest = words
    assert 45 <= opened <= 73, "as soon as enough of the last 70 minutes is known, held for 3 minutes"
    assert word.reason.startswith("A lull has opened: ")
    assert word.since_utc == pytest.approx(NOON + 60.0 * opened, abs=10.0)
    assert (closed, last.reason) == (101, "The lull has closed: the wind is above 3 m/s now.")
    assert rest == [(closed + int(CLOSED_TOLD_S / 60.0) + 1, Word())], "a closed lull is forgotten after a while"


def test_a_restart_tells_an_open_lull_neither_again_nor_not_at_all(yard) -> None:
    words = play(yard, np.full(100, 0.6))
    assert len(words) == 1
    yard.wake_up()
    assert yard.watch.word == words[0][1], "before the first look, too"
    yard.look(rig=None, utc=nan, minutes=100.2, is_whole=False)
    assert yard.watch.word == words[0][1], "the rig has not been heard yet"
    for minute in (100.3, 101.1):
        yard.look(minutes=minute, is_whole=False)
        assert yard.watch.word == words[0][1]
    yard.look(minutes=102.0, mean_60s_mps=3.4, is_whole=False)
    assert yard.watch.word.reason.startswith("The lull has closed: ")
    assert read_note(yard.connection, "lull")["is_open"] is False
    yard.wake_up()
    assert yard.watch.word == Word()


def test_a_short_gap_closes_nothing_and_a_long_one_says_so(yard) -> None:
    words = play(yard, [*np.full(100, 0.6), *np.full(5, nan), *np.full(5, 0.6), *np.full(25, nan)])
    assert [word.reason for _, word in words][1:] == ["The lull has closed: the wind has not been known for 15 min."]
    assert yard.watch.told["state"] in ("no_wind", "short")


def test_a_lull_of_another_limit_is_dropped_without_a_word(yard) -> None:
    play(yard, np.full(100, 1.2))
    assert yard.watch.word.reason
    yard.look(minutes=100.5, limit_mps=2.0, is_whole=False)
    assert yard.watch.word == Word()
    assert read_note(yard.connection, "lull")["is_open"] is False
    for minute in (101, 102, 103, 104, 105):
        yard.record([1.2], until=NOON + 60.0 * minute)
        yard.look(minutes=minute + 0.1, limit_mps=LIMIT, is_whole=False)
    assert "3 m/s" in yard.watch.word.reason
    yard.look(minutes=106, limit_mps=nan, is_whole=False)
    assert yard.watch.word == Word()


def test_a_limit_that_calm_air_hardly_keeps_is_told_too(yard) -> None:
    yard.record(np.tile([0.2, 0.4], 40))
    found = yard.look(limit_mps=0.5)
    assert found["state"] == "known"
    assert 0.0 < found["low"] < found["chance"] < found["high"] < 1.0
    assert "under 0.5 m/s" in found["sentence"]
    assert yard.look(limit_mps=0.35)["state"] == "above"
    assert yard.watch.told["sentence"] == "The wind is above 0.35 m/s now."


def test_history_of_another_height_counts_at_the_limits_height(yard) -> None:
    mast = Source("import", "mast " * 11, 10.0)
    yard.record(np.full(200, 4.0), source=mast)
    with closing(open_reader(yard.database)) as connection:
        place = read_place(connection, height_m=2.0, from_utc=NOON - 86400.0, to_utc=NOON)
    # FAO-56, equation 47 and its example 14: 3.2 m/s at 10 m are 2.4 m/s at 2 m.
    assert np.nanmean(place.minutes.mean_mps) == pytest.approx(4.0 * 2.4 / 3.2, abs=0.02)
    assert yard.look()["days"] == 0.0
    assert yard.watch._fits.days == pytest.approx(200 / 1440, abs=0.01)
    assert yard.watch.told["state"] == "no_wind", "a mast elsewhere does not tell what is now"


def test_a_rigs_own_minute_counts_before_a_brought_one_whichever_came_first(yard) -> None:
    yard.record(np.full(100, 1.0))
    yard.record(np.full(300, 2.0), source=Source("import", "mast", 2.0))
    with closing(open_reader(yard.database)) as connection:
        place = read_place(connection, height_m=2.0, from_utc=NOON - 86400.0, to_utc=NOON)
    assert place.minutes.mean_mps[-100:] == pytest.approx(np.full(100, 1.0))
    assert place.minutes.mean_mps[:200] == pytest.approx(np.full(200, 2.0))


def test_means_over_ten_minutes_are_gone_by_where_minutes_are_few(yard) -> None:
    tens = draw_wind(20)[: 20 * 1440].reshape(-1, 10).mean(axis=1)
    yard.record(tens, source=Source("import", "club", 2.0, 600))
    yard.record(np.full(90, 1.0), source=Source("import", "hours", 2.0, 3600))
    yard.record(np.tile([0.9, 1.3], 40))
    found = yard.look(limit_mps=4.5)
    assert found["mean_min"] == 10
    assert found["days"] == pytest.approx(7.0 * 1.15**7, abs=0.1)
    assert found["state"] == "known"
    assert found["left_out"] == ["hours: means over 60 min are too long, 10 min at most can be used"]
    with closing(open_reader(yard.database)) as connection:
        latest = average_latest(read_latest(connection, "yard", height_m=2.0, now_utc=NOON))
    assert latest.mean_mps == pytest.approx(np.full(8, 1.1))
    assert latest.ends[-1] == NOON


def test_the_last_half_hour_is_told_minute_by_minute_at_the_limits_height(yard) -> None:
    yard.record([1.0, nan, 2.0])
    recent = yard.look(height_m=10.0, is_whole=False)["recent"]
    factor = height_factor(from_height=2.0, to_height=10.0)
    assert recent["begin_utc"] == NOON - 1800.0
    assert recent["mean_mps"][-4:] == [None, pytest.approx(factor, abs=1e-3), None, pytest.approx(2 * factor, abs=1e-3)]
    assert recent["gust_3s_mps"] == [None] * 30, "these blocks tell none"
    assert yard.look(rig=None, is_whole=False)["recent"] is None


def test_gappy_minutes_are_still_gone_by(yard) -> None:
    speeds = draw_wind(3)
    speeds[np.random.default_rng(1).random(len(speeds)) < 0.4] = nan
    yard.record(speeds)
    assert yard.look(limit_mps=4.5)["mean_min"] == 1


def test_calm_under_a_low_sun_is_doubted_in_the_word_of_the_lull_too(yard) -> None:
    """The sun's height at 52° north, June 16th, half past eight in the evening by the sun: below 20°."""
    evening = replace(AT_NOON, lon_deg=105.0, mean_2min_mps=0.6)
    words = play(yard, np.full(100, 0.6), lon_deg=105.0, mean_2min_mps=0.6)
    assert words[0][1].reason.endswith(CAUTION)
    assert len(words[0][1].reason) <= 400, "the wire's limit"
    assert yard.look(evening, is_whole=False)["inversion"]["is_likely"]
    assert not yard.look(evening, is_whole=False, mean_2min_mps=2.0)["inversion"]["is_likely"]
    assert not yard.look(is_whole=False, mean_2min_mps=0.6)["inversion"]["is_likely"], "noon"


@pytest.mark.parametrize("height", [0.1, 0.5, 10.0])
def test_latest_minutes_are_told_at_the_height_asked_for(yard, height) -> None:
    yard.record(np.full(30, 2.0))
    with closing(open_reader(yard.database)) as connection:
        latest = read_latest(connection, "yard", height_m=height, now_utc=NOON + 70.0)
        other = read_latest(connection, "other", height_m=height, now_utc=NOON)
    factor = height_factor(from_height=2.0, to_height=height)
    assert latest.mean_mps == pytest.approx(np.full(30, 2.0 * factor))
    assert len(other.mean_mps) == 0


def test_the_minutes_that_are_likely_calm_reach_as_far_as_a_lull_would_open(yard) -> None:
    yard.record(np.full(100, 0.6))
    assert yard.look()["likely_min"] == 60.0, "calm air far below the limit"
    yard.record(np.tile([2.0, 2.9], 50))
    found = yard.look(is_whole=False)
    is_likely = found["chance"] >= 0.7
    assert (found["likely_min"] >= found["need"]["minutes"]) == is_likely, "both by the same curve"
    assert yard.look(is_whole=False, mean_60s_mps=9.0)["likely_min"] is None, "above the limit nothing is promised"
