"""Every screen of the demo's job, by day and by night, at three sizes, in two sets of units."""

import json
import re
import threading
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route
from portraits import FOLDER, LIKE, LOOKS, SITTING, keep_portraits, measure_distance, name_strangers, take_portrait
from programs import Http, Program, find_free_port, start_service, wait_for
from strolls import COUNT_REQUESTS, judge, settle, stroll

from server.api.problems import UNFORESEEN
from server.live import NO_FIX

PACE = "20"
STATES: dict[str, Callable[[dict[str, Any]], bool]] = {
    "spraying": lambda told: (
        told["is_spraying"] and told["passes_done"] >= 4 and told["alarm"]["level"] == "none" and not told["faults"]
    ),
    "alarm": lambda told: told["alarm"] is not None and told["alarm"]["level"] == "stop" and not told["faults"],
    "finished": lambda told: told["job"] is None and told["volume_l"] > 1.0,
    "silent": lambda told: (
        told["volume_l"] > 1.0 and told["rig"]["link"] != "online" and any("silent" in each for each in told["faults"])
    ),
}
WALK = {
    "before": ("#start", "#first", "#fill", "#lawn"),
    "spraying": ("#lawn", "#start"),
    "alarm": ("#lawn", "#start"),
    "finished": (
        "#lawn", "#got/1", "#record", "#record: Add a person", "#record/1", "#record/1: Sign the record", "#season",
        "#season: Add a line", "#air", "#site", "#site: Demo lawn", "#gear", "#gear: Add a sprayer", "#gear/catch",
        "#gear/walk", "#gear/swath", "#gear/check", "#gear/cup", "#fill: Add a treatment", "#fill: Add a product",
        "#papers", "#papers/1", "help/",
    ),
    "silent": ("#lawn", "#start"),
    "lost": ("#lawn", "#start"),
    "huge": ("#got/1", "#record"),
    "error": ("#start", "#got/1", "#record/1", "#season", "#site"),
    "empty": ("#start", "#first", "#fill", "#lawn", "#got", "#record", "#season", "#air", "#site", "#gear", "#papers"),
}  # fmt: skip
WHOLE = (
    "before",
    "spraying",
    "alarm",
    "finished",
    "silent",
)  # judged at all sizes, the others where portraits are taken
SAY_AGAIN = """
const words = %s;
window.EventSource = class extends EventTarget {
  constructor() {
    super();
    this.readyState = 1;
    setTimeout(() => { this.say('open'); words.forEach(([name, data]) => this.say(name, data)); }, 0);
    this.beat = setInterval(() => this.say(...words[words.length - 1]), 1000);
  }
  say(name, data) {
    const event = new MessageEvent(name, {data});
    this.dispatchEvent(event);
    this[`on${name}`]?.(event);
  }
  close() { clearInterval(this.beat); this.readyState = 2; }
};"""


@dataclass
class Ear:
    """Hears the service's live stream, and keeps what a page would know in each state."""

    base: str
    kept: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    newest: dict[str, str] = field(default_factory=dict)
    drawn: list[tuple[str, str]] = field(default_factory=list)

    def listen(self) -> None:
        """Follow the stream until the service ends it."""
        name = ""
        try:
            with urllib.request.urlopen(f"{self.base}/api/live/stream", timeout=30) as stream:
                for line in stream:
                    head, _, rest = line.decode().rstrip("\n").partition(": ")
                    if head == "event":
                        name = rest
                    elif head == "data":
                        self._take(name, rest)
        except OSError:
            pass

    def _take(self, name: str, data: str) -> None:
        if name in ("track", "dose"):
            self.drawn.append((name, data))
            return
        self.newest[name] = data
        if name != "snapshot":
            return
        told = json.loads(data)
        for state, holds in STATES.items():
            if state not in self.kept and holds(told):
                rest = [(each, self.newest[each]) for each in ("strips", "outlook") if each in self.newest]
                self.kept[state] = [*self.drawn, *rest, (name, data)]


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Http, Ear]]:
    """The demo as README starts it, its job done and reviewed, and what its stream said meanwhile."""
    port = find_free_port()
    folder: Path = tmp_path_factory.mktemp("demo")
    demo = Program(
        folder / "demo.log", "server", "demo", "--port", str(port), "--folder", str(folder / "demo"), "--pace", PACE
    )
    demo.start()
    http = Http(port)
    try:
        wait_for(lambda: http.ask("/api/health"), "the service answers")
        ear = Ear(http.base)
        threading.Thread(target=ear.listen, daemon=True).start()
        wait_for(lambda: "The job is done" in demo.words, "the job is done and reviewed", 90)
        wait_for(lambda: set(ear.kept) == set(STATES), f"each state was heard, not only {set(ear.kept)}", 20)
        yield http, ear
    finally:
        demo.stop()


@pytest.fixture
def bare(tmp_path: Path) -> Iterator[Http]:
    """A service that nothing was entered into yet, and its broker, where no rig has spoken."""
    broker_port = find_free_port()
    broker = Program(tmp_path / "broker.log", "server.broker", "--port", str(broker_port))
    broker.start()
    service, http = start_service(tmp_path, setup=None, broker_port=broker_port, port=find_free_port())
    yield http
    service.stop()
    broker.stop()


def open_page(browser: Browser, words: list[tuple[str, str]] | None, complaints: list[str]) -> Page:
    """A page that hears again what the service said in a state, where words are given; all else it asks itself."""
    page = browser.new_context().new_page()
    page.add_init_script(COUNT_REQUESTS)
    if words is not None:
        page.add_init_script(SAY_AGAIN % json.dumps(words))
        # The demo's clock runs at twenty times: held against the wall's, its words would be another age at each look.
        page.clock.set_fixed_time(datetime.fromtimestamp(json.loads(words[-1][1])["at_utc"], UTC))
    page.on("console", lambda message: complaints.append(f"{page.url} {message.type}: {message.text}"))
    page.on("pageerror", lambda error: complaints.append(f"{page.url} {error}"))
    return page


# Doubles, clearly: states that the demo does not come to, made of one that it did.


def lose_receiver(words: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The words of a state, the receiver gone silent meanwhile."""
    name, data = words[-1]
    told = json.loads(data)
    told["receiver"] = {**told["receiver"], "fix": "none", "sd_m": None}
    told["faults"] = [NO_FIX]
    return [*words[:-1], (name, json.dumps(told))]


def await_start(words: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The words of a state in a job as they were before it: the demo begins too soon to be caught there."""
    name, data = words[-1]
    told = json.loads(data)
    told |= {
        "job": None,
        "is_spraying": False,
        "volume_l": 0.0,
        "passes_done": 0,
        "speed_mps": 0.0,
        "rate_l_per_m2": None,
    }
    told |= {"rate_percent": None, "wanted_speed_mps": None, "reach": None, "covered_area_m2": 0.0}
    told |= {"tank_left_l": told["tank_l"], "area_left_m2": told["zone_area_m2"]}
    return [("strips", "null"), (name, json.dumps(told))]


def multiply(route: Route) -> None:
    """Let a job have forty times its passes, and the list of jobs forty times its jobs."""
    answer = route.fetch().json()
    key = "pass" if route.request.url.endswith("passes") else "id"
    route.fulfill(json=[{**each, key: each[key] + len(answer) * turn} for turn in range(40) for each in answer])


def open_state(browser: Browser, state: str, ear: Ear, complaints: list[str]) -> Page:
    """A page in one of the states, kept from the demo or made of one that was."""
    if state == "lost":
        return open_page(browser, lose_receiver(ear.kept["spraying"]), complaints)
    if state == "before":
        return open_page(browser, await_start(ear.kept["spraying"]), complaints)
    if state == "empty":
        return open_page(browser, None, complaints)
    page = open_page(browser, ear.kept.get(state, ear.kept["finished"]), complaints)
    if state == "error":
        told = {"title": "Internal Server Error", "detail": UNFORESEEN}
        page.route("**/api/**", lambda route: route.fulfill(status=500, json=told))
    if state == "huge":
        page.route("**/api/jobs/1/passes", multiply)
        page.route("**/api/jobs", multiply)
    return page


def test_every_screen_can_be_read_pressed_heard_and_known_again(
    browser: Browser, played: tuple[Http, Ear], bare: Http
) -> None:
    served, ear = played
    faults: list[str] = []
    complaints: list[str] = []
    titles: dict[str, str] = {}
    taken: dict[str, Image.Image] = {}
    for state, places in WALK.items():
        base = bare.base if state == "empty" else served.base
        page = open_state(browser, state, ear, complaints)
        for place in places:
            address, _, opened = place.partition(": ")
            page.goto("about:blank")  # the same address once more would leave the page as it is
            page.goto(f"{base}/{address}")
            settle(page)
            titles[address.partition("/")[0]] = page.title()
            if opened:
                page.get_by_role("main").get_by_text(opened, exact=True).first.click()
                settle(page)
            name = re.sub(r"[^a-z0-9]+", "_", f"{state} {place}".lower()).strip("_")

            def watch(look: str, name: str = name, page: Page = page, opened: str = opened) -> None:
                if look in LOOKS:
                    taken[f"{name}.{look}.png"] = take_portrait(page, from_top=not opened)

            looks = range(6) if state in WHOLE else (0, 5)
            faults += stroll(page, f"{state} {place}", looks=looks, watch=watch)
        page.context.close()
    if SITTING:
        keep_portraits(taken, Path(SITTING))
        pytest.skip("the portraits are taken: look at them before they are kept")
    assert "\n".join(faults) == ""
    refused = [each for each in complaints if "the server responded with a status of 500" in each]
    assert "\n".join(each for each in complaints if each not in refused) == ""
    assert refused, "what the state with errors is made of"
    assert len(set(titles.values())) == len(titles), "each place has a title of its own"
    assert {path.name for path in FOLDER.glob("*.png")} == set(taken)
    assert name_strangers(taken) == {}


@pytest.mark.parametrize("look", LOOKS)
def test_a_portrait_tells_its_place_from_every_other(look: str) -> None:
    faces = {path.name: Image.open(path) for path in FOLDER.glob(f"*.{look}.png")}
    assert len(faces) > 40
    near = [
        (one, other)
        for (one, first), (other, second) in combinations(faces.items(), 2)
        if place_of(one) != place_of(other) and measure_distance(first, second) <= LIKE
    ]
    assert near == []


def place_of(name: str) -> str:
    """The place in a portrait's name, without the state and what was opened."""
    place = re.match(r"[a-z]+_([a-z]+(?:_\d+)?)", name)
    assert place is not None, name
    return place[1]


def test_the_states_that_are_judged_are_on_the_page(browser: Browser, played) -> None:
    http, ear = played
    for state, is_alarm in (("spraying", False), ("alarm", True)):
        page = open_page(browser, ear.kept[state], [])
        page.goto(f"{http.base}/#lawn")
        settle(page)
        page.wait_for_function("!/Looking for the service/.test(document.body.innerText)")
        assert ("STOP" in page.inner_text("main")) == is_alarm, state
        page.context.close()


def test_the_passcode_is_asked_for_in_words_that_can_be_read_and_heard(browser: Browser, played) -> None:
    http, ear = played
    page = open_page(browser, ear.kept["finished"], [])
    page.route("**/api/**", lambda route: route.fulfill(status=401, json={"title": "Unauthorized", "detail": "no"}))
    page.goto(f"{http.base}/#start")
    page.get_by_role("button", name="Go in").wait_for()
    assert "\n".join(stroll(page, "passcode")) == ""
    page.context.close()


def test_every_file_that_a_job_is_offered_as_is_there(browser: Browser, played) -> None:
    http, ear = played
    page = open_page(browser, ear.kept["finished"], [])
    files: set[str] = set()
    for place in ("got/1", "record/1"):
        page.goto(f"{http.base}/#{place}")
        settle(page)
        found = page.eval_on_selector_all(
            "main a[href*='/api/']", "all => all.map((link) => link.getAttribute('href'))"
        )
        assert len(found) >= 2, place
        files |= set(found)
    page.context.close()
    assert dict.fromkeys(files, True) == {name: len(http.file(name)) > 20 for name in files}


SOUND = "<title>A · calmpass</title><main><h1>A</h1><button style='width:60px;height:60px'>Go</button></main>"
FLAWS = {
    "<p>NaN m</p>": "odd",
    "<p>undefined</p>": "odd",
    "<h3>far down</h3>": "jumps",
    "<h1>two</h1>": "2 first",
    "<button style='width:60px;height:60px'></button>": "nameless",
    "<textarea aria-label='a'></textarea>": "short",
    "<p><a href='#x'>alone</a></p>": "short",
    "<button style='height:30px'>low</button>": "small",
    "<div style='width:3000px'>w</div>": "too wide",
    "<button style='width:60px;height:60px;overflow:hidden'>Incomprehensibility</button>": "cut",
    "<p style='color:#999;background:#fff'>pale</p>": "faint",
    "<ul role='status'><li>a</li></ul>": "axe listitem",
    "<input style='width:60px;height:60px'>": "axe label",
    "<script>document.title = ''</script>": "title",
}


def test_a_flaw_is_found_and_a_sound_page_has_none(browser: Browser) -> None:
    page = browser.new_page()
    page.set_content(f"<html lang='en'>{SOUND}</html>")
    assert judge(page) == []
    for flaw, word in FLAWS.items():
        page.set_content(f"<html lang='en'>{SOUND.replace('</main>', flaw + '</main>')}</html>")
        assert word in "\n".join(judge(page)), flaw
    page.close()
