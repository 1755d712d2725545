"""The outlook in the service: its route, the stream, the word to the rig, and for how many minutes it is asked."""

import asyncio
import json
import time
from dataclasses import replace
from math import nan
from types import SimpleNamespace

import numpy as np
import pytest
from standing import BEGIN, BOOT, live_through, stand

from rig import wire
from server.broadcast import Page
from server.calm.moment import take_moment
from server.calm.need import NeedFinder
from server.core.outlook import CalmChance
from server.core.setup import FlowMeter, Setup, Sprayer, Treatment, Zone
from server.intake import Fresh
from server.live import Live
from server.liveway import Areas
from server.notify import Notifier
from server.snapshot import MessagesPart
from server.views import fresh_events

LAWN = Zone("Lawn", "zone", (((0.0, 52.0), (0.0003, 52.0), (0.0003, 52.0002), (0.0, 52.0002), (0.0, 52.0)),))
"""About 20 by 22 m."""
SETUP = Setup(
    Sprayer(swath_m=1.0, tank_l=15.0), FlowMeter(pulses_per_l=450.0), Treatment(0.04, wind_limit_mps=3.0), zones=(LAWN,)
)


def set_up(desk, setup=SETUP):
    """Save settings as the form does."""
    desk.portal.call(desk.service.jobs.save_setup, setup)
    desk.portal.call(desk.service.live.begin, None, setup)


def ask(desk):
    """The outlook, looked for anew."""
    desk.service.outlooks.watch.looked_mono = -np.inf
    answer = desk.ask("GET", "/api/outlook")
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_an_hour_in_the_yard_is_enough_for_a_chance_on_every_way_out(desk) -> None:
    set_up(desk)
    assert ask(desk)["state"] == "no_rig"
    desk.take(stand(65, 0.8))
    found = ask(desk)
    assert found["state"] == "known", found
    assert found["chance"] > 0.7
    assert found["minutes_known"] >= 63
    assert found["need"]["origin"] == "lawn"
    assert desk.ask("GET", "/api/live").json()["outlook"]["chance"] == found["chance"]
    service = desk.service
    page = Page()
    events = fresh_events(service.live, {page}, page, service.snapshot, None, service.outlooks.told)
    assert dict(events)["outlook"]["chance"] == found["chance"]
    again = fresh_events(service.live, {page}, page, service.snapshot, None, service.outlooks.told)
    assert "outlook" not in dict(again)


def test_a_rig_without_a_date_is_told_what_to_do(desk) -> None:
    set_up(desk)
    desk.take(stand(3, 0.8, utc=False))
    found = ask(desk)
    assert found["state"] == "no_date"
    assert "free view of the sky" in found["sentence"]


def test_another_length_is_asked_for_and_outlasts_a_restart(open_desk) -> None:
    desk = open_desk()
    set_up(desk)
    for minutes, status in ((9, 422), (61, 422), (20.5, 422), ("20", 422), (True, 422), (40, 200)):
        assert desk.ask("PUT", "/api/outlook", {"minutes": minutes}).status_code == status, minutes
    assert desk.ask("PUT", "/api/outlook", {"minutes": 40, "more": 1}).status_code == 422
    assert ask(desk)["need"]["minutes"] == 40
    desk.portal.call(desk.service.stop)
    again = open_desk()
    assert (ask(again)["need"]["origin"], ask(again)["need"]["minutes"]) == ("chosen", 40)
    found = again.ask("PUT", "/api/outlook", {"minutes": None}).json()
    assert found["need"]["origin"] in ("lawn", "usual")


def open_lull(desk, *, is_open=True):
    """Drive the lull as the minutes do, without waiting for them."""
    watch, service = desk.service.outlooks.watch, desk.service

    def turn():
        moment = take_moment(service.live, service.outlooks.needs, now=lambda: 0.0, wall=lambda: BEGIN)
        chance = CalmChance(3.0, 25.0, 0.8 if is_open else 0.2, 0.6, 0.9, 0.0)
        for k in range(6):
            at = replace(moment, mono=time.monotonic() + 60.0 * (k if is_open else k + 6))
            watch._step(at, chance, is_calm_now=True)

    desk.portal.call(turn)


def alarms_of(desk):
    """What the rig was told as alarm, in order."""
    return [message for _, message, _ in desk.replies.sent if isinstance(message, wire.Alarm)]


def test_a_lull_goes_to_the_rig_once_as_the_reason_of_no_alarm(desk) -> None:
    set_up(desk)
    live_through(desk, stand(1, 0.8))
    assert [(alarm.level, alarm.reason, alarm.since) for alarm in alarms_of(desk)] == [("none", "", None)]
    open_lull(desk)
    live_through(desk, stand(0.2, 0.8, from_s=60))
    word = alarms_of(desk)[-1]
    assert word.reason == "A lull has opened: 8 in 10 that it stays under 3 m/s for the 25 minutes."
    assert word.since == pytest.approx(BEGIN + 60.0, abs=30.0)
    assert wire.decode("alarm", wire.encode(word)) == word
    count = len(alarms_of(desk))
    live_through(desk, stand(0.5, 0.8, from_s=72))
    assert len(alarms_of(desk)) == count, "told once"
    assert desk.ask("GET", "/api/live").json()["alarm"]["reason"] == word.reason
    open_lull(desk, is_open=False)
    live_through(desk, stand(0.2, 0.8, from_s=102))
    assert alarms_of(desk)[-1].reason.startswith("The lull has closed: 2 in 10")
    assert len(alarms_of(desk)) == count + 1
    assert all(is_retained for _, message, is_retained in desk.replies.sent if isinstance(message, wire.Alarm))


def test_an_alarm_comes_before_a_lull(desk) -> None:
    set_up(desk)
    live_through(desk, stand(1, 0.8))
    open_lull(desk)
    live_through(desk, stand(3, 9.0, from_s=60))
    assert alarms_of(desk)[-1].level == "stop"
    assert "lull" not in alarms_of(desk)[-1].reason
    assert desk.ask("GET", "/api/live").json()["alarm"]["level"] == "stop"


def test_without_a_limit_the_rig_hears_of_no_lull(desk) -> None:
    set_up(desk)
    live_through(desk, stand(1, 0.8))
    open_lull(desk)
    set_up(desk, replace(SETUP, treatment=Treatment(0.04)))
    desk.portal.call(lambda: Notifier(desk.replies).tell(desk.service.live, desk.service.outlooks.word))
    last = alarms_of(desk)[-1]
    assert (last.level, last.reason) == ("none", "")
    assert desk.ask("GET", "/api/live").json()["alarm"] is None
    assert ask(desk)["state"] == "no_limit"


def test_looks_are_taken_once_a_minute_and_at_once_for_another_question(desk) -> None:
    looked = []
    watch = desk.service.outlooks.watch

    async def look(moment):
        looked.append(moment.mono)
        watch.looked_mono = moment.mono

    async def drive():
        watch.look, watch.looked_mono = look, -np.inf
        live, needs = desk.service.live, desk.service.outlooks.needs
        for second in range(200):
            needs.chosen = 40 if second >= 90 else None
            watch.tick(take_moment(live, needs, now=lambda s=second: float(s), wall=lambda: BEGIN))
            await asyncio.sleep(0)
            await asyncio.sleep(0)

    set_up(desk)
    desk.portal.call(drive)
    assert looked == [0.0, 60.0, 90.0, 150.0]


def picture(job=None, left=None, flow=0.0, setup=SETUP, used=0.0):
    """A live picture, as much of it as matters here."""
    way = SimpleNamespace(
        areas=lambda: Areas(0.0, None, left), tank_used_l=used, plane=None,
        flow=SimpleNamespace(is_spraying=flow > 0.0, flow_l_per_min=flow),
    )  # fmt: skip
    return SimpleNamespace(job=job, way=way, setup=setup)


def test_minutes_are_those_of_the_lawn_then_those_that_are_left_of_the_job() -> None:
    needs = NeedFinder()
    lawn = needs.find(picture(), SETUP, wall_utc=BEGIN)
    # 0.0003° of longitude at 52° north times 0.0002° of latitude: 20.6 m x 22.25 m on the WGS 84 ellipsoid.
    assert lawn.area_m2 == pytest.approx(20.6 * 22.25, rel=0.01)
    assert (lawn.origin, lawn.is_pace_known) == ("lawn", False)
    # 458 m² at 1 m/s and 1 m: 7.6 min; 22 turns of 5 s: 1.8 min; 18.3 L from a tank of 15 L: one fill of 6 min.
    assert lawn.minutes == 16
    job = SimpleNamespace(created_utc=BEGIN)
    assert needs.find(picture(job, left=300.0), SETUP, wall_utc=BEGIN).origin == "left"
    assert needs.find(picture(job, left=1e6), SETUP, wall_utc=BEGIN).minutes == 60
    for rest in (0.0, 10.0):
        assert needs.find(picture(job, left=rest), SETUP, wall_utc=BEGIN).minutes == 10, "the shortest that is told"


def test_the_pace_is_the_one_that_the_flow_asks_for_once_it_was_seen() -> None:
    needs = NeedFinder()
    slow = picture(flow=0.04 * 1.0 * 0.6 * 60.0)
    assert needs.find(slow, SETUP, wall_utc=BEGIN).pace_mps == pytest.approx(0.6)
    assert needs.find(picture(), SETUP, wall_utc=BEGIN).pace_mps == pytest.approx(0.6), "remembered"
    assert needs.find(picture(flow=100.0), SETUP, wall_utc=BEGIN).pace_mps == pytest.approx(0.6), "a torn hose is not"


def test_a_chosen_length_runs_down_with_a_job_whose_lawn_is_not_known() -> None:
    plain = replace(SETUP, zones=())
    needs = NeedFinder()
    assert needs.find(picture(setup=plain), plain, wall_utc=BEGIN).minutes == 30
    needs.chosen = 40
    assert needs.find(picture(setup=plain), plain, wall_utc=BEGIN).minutes == 40
    job = SimpleNamespace(created_utc=BEGIN)
    for gone, minutes in ((0, 40), (15, 25), (35, 10), (600, 10), (-600, 40)):
        found = needs.find(picture(job, setup=plain), plain, wall_utc=BEGIN + 60.0 * gone)
        assert (found.minutes, found.origin) == (minutes, "chosen"), gone


def test_a_running_jobs_rest_is_asked_for_in_the_outlook(desk) -> None:
    set_up(desk)
    desk.take(stand(1, 0.8))
    desk.ask("PUT", "/api/outlook", {"minutes": 55})
    assert desk.ask("POST", "/api/jobs", {"name": "x" * 120, "start": "now"}).status_code == 201
    desk.take(stand(0.5, 0.8, from_s=60))
    found = ask(desk)
    assert found["need"]["origin"] in ("left", "chosen")
    json.dumps(found, allow_nan=False)


def test_a_moment_of_a_rig_that_was_never_heard_knows_nothing(desk) -> None:
    live = Live(replace(SETUP, zones=()), now=lambda: 5.0)
    moment = take_moment(live, NeedFinder(), now=lambda: 5.0, wall=lambda: BEGIN)
    assert (moment.rig, moment.is_silent) == (None, False)
    assert np.isnan([moment.utc, moment.lat_deg, moment.lon_deg, moment.mean_60s_mps]).all()
    live.take(Fresh("yard", wire.Wind(BOOT, 0, 1.0, None, None, None, 1.0), 5.0, BEGIN))
    assert take_moment(live, NeedFinder(), now=lambda: 40.0, wall=lambda: BEGIN).is_silent
    assert live.snapshot(MessagesPart()).wind.limit_mps == 3.0
    assert np.isnan(CalmChance(3.0, 10.0, nan, nan, nan, 0.0).chance)
