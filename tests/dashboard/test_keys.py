"""The dashboard without a pointer: a job walked by keys, each place gone through by Tab, and what is read out."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import cardbox
import pytest
from keyboard import Hands
from lawnroom import Answers, errors_of
from playwright.sync_api import Browser, Page, expect
from programs import Http, Program, find_free_port, start_service, wait_for
from spoken import CALM, HEARD, LISTEN, STOP, TOLD, forecast, open_room, picture, tell
from strolls import COUNT_REQUESTS, judge, settle
from weaklink import Walker

from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS
from firmware_sim.setup import save_setup
from firmware_sim.world.wind import WindPlan

PHONE = {"width": 390, "height": 844}
PACE = 30.0
PLACES = ("start", "lawn", "got/1", "record/1", "record", "site", "gear", "fill", "season", "air", "papers", "first")
OPENED = {"site": "Add a site", "gear": "Add a sprayer", "fill": "Add a treatment", "season": "Add a line"}


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Http, Walker]]:
    """A service with a few cards, and a rig on the demo's lawn in light air, its buttons left to the page."""
    folder: Path = tmp_path_factory.mktemp("keys")
    world = build_world(replace(SCENARIOS["demo"], wind=WindPlan(2.0, 235.0, 0.1)), 1)
    presses = tuple(press for press in world.feed.presses if press.name not in {"start", "finish"})
    world = replace(world, feed=replace(world.feed, presses=presses))
    save_setup(world.scenario, world.receiver.latency_s, folder)
    broker = Program(folder / "broker.log", "server.broker", "--port", str(port := find_free_port()))
    broker.start()
    service, http = start_service(folder, setup=folder / "setup.toml", broker_port=port, port=find_free_port())
    for noun, card in (("sites", cardbox.SITE), ("sprayers", cardbox.SPRAYER), ("products", cardbox.FEED),
                       ("treatments", cardbox.treatment())):  # fmt: skip
        http.ask(f"/api/{noun}", "POST", card)
    walker = Walker(world, port, rig="rig-1", pace=PACE)
    yield http, walker
    service.kill()
    broker.kill()


@pytest.fixture(scope="module")
def done(walked: tuple[Http, Walker]) -> Http:
    """The service with a job done and reviewed: the one that was walked by keys, or else one by orders."""
    http, walker = walked
    if http.ask("/api/jobs") == []:
        walker.start()
        wait_for(lambda: http.ask("/api/live")["rig"]["link"] == "online", "the rig is heard")
        http.ask("/api/jobs", "POST", {"name": "Lawn", "start": "now"})
        wait_for(lambda: http.ask("/api/live")["passes_done"] >= 2, "two passes are walked")
        http.ask("/api/jobs/1/buttons", "POST", {"kind": "finish", "detail": {}})
        walker.stop()
    wait_for(lambda: (http.ask("/api/jobs/1/review") or {}).get("state") == "ready", "the review is ready")
    return http


def open_page(browser: Browser, address: str) -> tuple[Page, list[str]]:
    """A page on a phone, and what it complained of."""
    page = browser.new_context(viewport=PHONE, reduced_motion="reduce").new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.add_init_script(COUNT_REQUESTS)
    page.goto(address)
    settle(page)
    return page, complaints


def walk_lawn(hands: Hands, http: Http) -> None:
    """From Start now? to the job's end."""
    page = hands.page
    bar = page.locator(".buttons .glove-label")
    hands.reach("To the lawn")
    hands.press("Enter")
    page.wait_for_url("**/#lawn")
    hands.reach("Start the job")
    hands.press("Enter", 2)
    expect(bar).to_have_text("Pause")
    wait_for(lambda: http.ask("/api/live")["passes_done"] >= 2, "two passes are walked")
    assert hands.look() is not None, "the bar keeps the focus whatever the picture does"
    hands.press("Space", 2)
    wait_for(lambda: http.ask("/api/live")["job"]["state"] == "paused", "the job is paused")
    expect(bar).to_have_text("Undo: go on")
    hands.press("Enter", 2)
    wait_for(lambda: http.ask("/api/live")["job"]["state"] == "running", "the job goes on")
    hands.reach("Finish", back=True)
    hands.press("Enter")
    expect(page.locator(".buttons .finish")).to_have_text("Press again")
    hands.press("Enter")
    wait_for(lambda: http.ask("/api/live")["job"] is None, "the job is finished")


def look_into(hands: Hands, http: Http) -> None:
    """What it got: computed, a pass chosen, words unfolded."""
    page = hands.page
    page.get_by_text("Job finished.", exact=False).wait_for()
    hands.reach("What it got")
    hands.press("Enter")
    page.wait_for_url("**/#got/1")
    wait_for(lambda: (http.ask("/api/jobs/1/review") or {}).get("state") == "ready", "the review is ready")
    page.get_by_role("heading", name="Before you rely on it").wait_for()
    settle(page)
    hands.reach("Compute it again")
    page.evaluate("() => { document.querySelector('.report').dataset.old = 'yes'; }")
    hands.press("Enter")
    page.locator(".report:not([data-old])").wait_for()
    settle(page)
    assert page.evaluate("() => document.activeElement.className") == "job-title", "not lost with what was pressed"
    hands.reach("The strips in words")
    hands.press("Enter")
    assert page.locator("details.held").evaluate("each => each.open")
    hands.reach("Look at pass 2")
    hands.press("Space")
    expect(page.locator(".chosen-bar [role=status]")).to_contain_text("Pass 2 of")
    hands.reach("Pass before")
    hands.press("Enter")
    expect(page.locator(".chosen-bar [role=status]")).to_contain_text("Pass 1 of")


def keep_record(hands: Hands, http: Http) -> None:
    """The record: typed, signed, its file taken along."""
    page = hands.page
    hands.reach("The record", back=True)
    hands.press("Enter")
    page.wait_for_url("**/#record/1")
    page.get_by_role("heading", name="Sign").first.wait_for()
    hands.reach("Name of who signs")
    page.keyboard.type("A. Grower")
    hands.reach("Sign the record")
    hands.press("Enter")
    page.get_by_role("dialog").wait_for()
    hands.reach("Sign as A. Grower")
    hands.press("Enter")
    page.get_by_text("Signed.", exact=True).wait_for()
    assert http.ask("/api/jobs/1/record")["signature"]["name"] == "A. Grower"
    hands.reach("record.pdf")
    with page.expect_download() as coming:
        hands.press("Enter")
    assert Path(coming.value.path()).read_bytes().startswith(b"%PDF")


def test_a_job_is_walked_by_keys_from_start_to_its_record(browser: Browser, walked: tuple[Http, Walker]) -> None:
    http, walker = walked
    walker.start()
    wait_for(lambda: http.ask("/api/live")["rig"]["link"] == "online", "the rig is heard")
    page, complaints = open_page(browser, f"{http.base}/#start")
    hands = Hands(page)
    walk_lawn(hands, http)
    walker.stop()
    look_into(hands, http)
    keep_record(hands, http)
    assert "\n".join(hands.faults) == ""
    assert complaints == []
    assert hands.stops > 60


def test_each_place_is_gone_through_by_tab_and_left_again(browser: Browser, done: Http) -> None:
    page, complaints = open_page(browser, f"{done.base}/#start")
    hands = Hands(page)
    missed: dict[str, list[str]] = {}
    for place in PLACES:
        page.goto(f"{done.base}/#{place}")
        settle(page)
        if place in OPENED:
            hands.go_to_top()
            hands.reach(OPENED[place])
            hands.press("Enter")
            settle(page)
        page.evaluate("() => document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        settle(page)
        hands.go_to_top()
        count = hands.go_through()
        missed[place] = hands.list_missed()
        assert hands.go_through(back=True) == count, place
        assert count >= 14, place
    assert "\n".join(hands.faults) == ""
    assert missed == {place: [] for place in PLACES}
    assert complaints == []


SOUND = "<main><button style='width:200px;height:60px;outline:3px solid black'>Go</button><a href='#x'>On</a></main>"
FLAWS = {
    "<button style='outline:none'>plain</button>": "no ring",
    "<button style='outline:3px solid #eee'>pale</button>": "a faint ring",
    "<button></button>": "nameless",
    "<div style='position:fixed;inset:auto 0 0 0;height:600px;background:white'></div><button>low</button>": "hidden",
    "<button style='position:absolute;left:-900px'>beyond</button>": "hidden",
    "<button onkeydown='event.preventDefault()'>held</button>": "holds the focus",
    "<div tabindex='0' onfocus='document.querySelector(\"a\").focus()'>sent back</div>": "holds the focus",
}


def test_what_keys_cannot_do_is_found_and_a_sound_page_has_no_fault(browser: Browser) -> None:
    page = browser.new_context(viewport=PHONE).new_page()
    style = "<style>:focus-visible { outline: 3px solid black; scroll-margin: 0 }</style>"
    for flaw, word in {"": "", **FLAWS}.items():
        page.set_content(style + SOUND.replace("</main>", f"{'<p>words</p>' * 30}{flaw}</main>"))
        hands = Hands(page)
        hands.go_to_top()
        hands.go_through()
        assert word in "\n".join(hands.faults), flaw
        assert (word == "") == (hands.faults == []), flaw
    page.set_content(SOUND.replace("</main>", "<button tabindex='-1'>left out</button></main>"))
    hands = Hands(page)
    hands.go_to_top()
    hands.go_through()
    assert len(hands.list_missed()) == 1


def test_each_drawing_steps_through_the_passes_by_its_arrows(browser: Browser, done: Http) -> None:
    page, complaints = open_page(browser, f"{done.base}/#got/1")
    page.get_by_role("heading", name="Before you rely on it").wait_for()
    said = page.locator(".chosen-bar [role=status] strong")
    drawings = page.locator(".report canvas[tabindex='0']")
    assert drawings.count() == 6, "the lawn, the strips, and wind, flow, pace and dose over time"
    for place in range(6):
        drawing = drawings.nth(place)
        drawing.focus()
        assert "Escape" in (drawing.get_attribute("aria-label") or "")
        told = [drawing.get_attribute("aria-valuetext")]
        for key in ("ArrowRight", "ArrowRight", "ArrowLeft", "ArrowLeft"):
            page.keyboard.press(key)
            told.append(said.inner_text().partition(" of ")[0])
            assert (drawing.get_attribute("aria-valuetext") or "").startswith(told[-1])
        assert told == ["No pass chosen", "Pass 1", "Pass 2", "Pass 1", "Pass 1"]
        page.keyboard.press("Escape")
        expect(page.locator(".chosen-bar")).to_be_hidden()
        assert drawing.get_attribute("aria-valuenow") == "0"
        assert drawing.evaluate("each => each === document.activeElement")
    assert judge(page) == []
    assert complaints == []


def test_a_link_to_a_file_says_that_it_is_being_made_until_the_page_is_looked_at_again(
    browser: Browser, done: Http
) -> None:
    page, _ = open_page(browser, f"{done.base}/#got/1")
    for place, name in (("got/1", "dose.npz"), ("record/1", "record.csv"), ("season", "season.ics")):
        page.goto(f"{done.base}/#{place}")
        settle(page)
        page.evaluate("() => document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        words = page.get_by_role("status").filter(has_text=f"{name} is being made")
        with page.expect_download():
            page.locator(f"a[download='{name}']").press("Enter")
        expect(words).to_be_visible()
        page.evaluate("() => window.dispatchEvent(new Event('focus'))")
        expect(words).to_have_count(0)


@pytest.mark.parametrize("what", TOLD)
def test_what_is_read_out_changes_at_most_twice_in_twenty_seconds(
    browser: Browser, files: str, answers: Answers, what: str
) -> None:
    place, room, outlook = TOLD[what]
    page = open_room(browser, files, answers, place)
    for second in range(3):
        tell(page, answers, second, room, outlook)
    page.evaluate(LISTEN)
    seen = {tell(page, answers, second, room, outlook) for second in range(3, 23)}
    assert len(seen) >= 10, "the picture changes all the while"
    heard = page.evaluate(HEARD)
    assert len(heard) >= 1
    assert {each["region"]: each["said"] for each in heard if len(each["said"]) > 2} == {}
    if what == "a stop":
        assert [each["said"] for each in heard if each["isAlert"]] == [["STOP SPRAYING"]]
    assert errors_of(answers) == []


def test_another_answer_is_read_out_at_once_and_an_alarm_too(browser: Browser, files: str, answers: Answers) -> None:
    page = open_room(browser, files, answers, "start")
    page.evaluate(LISTEN)
    for second, chance in ((0, 0.8), (1, 0.2)):
        tell(page, answers, second, partial(picture, job=None), partial(forecast, chance=chance))
    (answer,) = [each["said"] for each in page.evaluate(HEARD) if "answer" in each["region"]]
    assert [each.partition(":")[0] for each in answer] == ["Yes, likely", "Better wait"]
    page = open_room(browser, files, answers, "lawn")
    page.evaluate(LISTEN)
    for second, alarm in ((0, CALM), (1, {**STOP, "reason": "The mean is 4.0 m/s."})):
        tell(page, answers, second, partial(picture, alarm=alarm), forecast)
    assert [each["said"] for each in page.evaluate(HEARD) if each["isAlert"]] == [["No alarm", "STOP SPRAYING"]]
    hands = Hands(page)
    hands.reach("Seen")
    hands.press("Enter", 2)
    expect(page.locator(".alarm")).not_to_have_class("alarm whole")
    hands.reach("Pause")
    assert hands.faults == []
