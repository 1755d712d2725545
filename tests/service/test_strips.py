"""The strips of the running job: judged after each pass, beside the rest, and gone with the job."""

import asyncio
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from firmware_sim.bench import MONO_START_S, record, write_log
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS, Scenario, plan_strips, strip_lawn
from firmware_sim.setup import save_setup
from rig import wire
from server.broadcast import Page
from server.core.results import Plane
from server.core.setup import FlowMeter, Setup, Sprayer, Treatment
from server.intake import Fresh
from server.live import Live
from server.rawlog import Received, read_raw_log
from server.settings import read_setup
from server.snapshot import MessagesPart
from server.strips import Question, Strips
from server.views import fresh_events

BOOT = "0000000000000001"
PLANE = Plane(45.0, -30.0)
GAP = (3, 4)
"""Line 3 of lines 0 to 5 is left out: passes 3 and 4 lie on both sides of it."""
SETTLED_S = 3.0
"""So long after a pass its last samples are there, and the next one has not ended."""


class Day:
    """A simulated job: its samples as they come, when its passes ended, and its folder."""

    def __init__(self, folder: Path, receiver: str) -> None:
        scenario = Scenario("strips", "", strip_lawn(6, 20.0), plan_strips(6, missed=(3,), scatter_m=0.03))
        world = build_world(scenario, 1, receiver_class=receiver)
        write_log(world.feed, folder / "log.ndjson.gz", rig="rig-1", boot=BOOT)
        save_setup(world.scenario, world.receiver.latency_s, folder)
        self.folder = folder
        messages = read_raw_log(folder / "log.ndjson.gz")
        self.samples = [message for message in messages if not message.topic.endswith("/event")]
        self.ends = [end + MONO_START_S for _, end in world.walk.triggers]

    def until(self, passes: int) -> list[Received]:
        """The samples up to a little after the end of so many passes."""
        return [m for m in self.samples if json.loads(m.payload).get("mono", 0.0) < self.ends[passes - 1] + SETTLED_S]


@pytest.fixture(scope="module")
def surveyed(tmp_path_factory: pytest.TempPathFactory) -> Day:
    """A job with a receiver that is good to centimetres."""
    return Day(tmp_path_factory.mktemp("surveyed"), "fixed")


@pytest.fixture(scope="module")
def poor(tmp_path_factory: pytest.TempPathFactory) -> Day:
    """The same job with a receiver of the cheap kind."""
    return Day(tmp_path_factory.mktemp("poor"), "poor")


def judged(desk) -> dict | None:
    """What the service knows of the strips once nothing is under way."""
    desk.portal.call(desk.service.strips.settle)
    found = desk.ask("GET", "/api/live").json()
    assert not any("judged" in fault for fault in found["faults"])
    return found["strips"]


def begin(desk, day: Day) -> None:
    """Begin a job with the day's settings."""
    desk.take(day.samples[:1])
    desk.portal.call(desk.service.jobs.save_setup, read_setup(day.folder / "setup.toml"))
    answer = desk.ask("POST", "/api/jobs", {"name": "Lawn", "start": [BOOT, 0.0]})
    assert answer.status_code == 201, answer.text
    while desk.service.is_reading:
        desk.portal.call(asyncio.sleep, 0.01)


def verdicts(found: dict) -> set[tuple[int, int, str]]:
    """Which pairs are what."""
    return {(pair["pass_a"], pair["pass_b"], pair["verdict"]) for pair in found["pairs"]}


def test_after_each_pass_the_picture_tells_of_all_strips_so_far(desk, surveyed: Day) -> None:
    begin(desk, surveyed)
    assert judged(desk) is None
    taken = 1
    for count in range(1, len(surveyed.ends) + 1):
        due = surveyed.until(count)
        desk.take(due[taken:])
        taken = len(due)
        found = judged(desk)
        assert found is not None
        assert [each["pass"] for each in found["passes"]] == list(range(1, count + 1))
        told = verdicts(found)
        assert ((*GAP, "gap") in told) == (count >= GAP[1]), "told by the end of the pass beside it"
        others = {(a, a + 1, "even") for a in range(1, count) if (a, a + 1) != GAP}
        assert others <= told
        assert told - others <= {(*GAP, "gap")}
    gap = next(pair for pair in found["pairs"] if pair["verdict"] == "gap")
    assert gap["spacing_m"] == pytest.approx(2.0, abs=0.15)
    assert gap["width_m"] == pytest.approx(gap["spacing_m"] - 1.0, abs=0.002)
    assert gap["to_m"] - gap["from_m"] > 17.0
    assert gap["doubt"] is None
    assert gap["probability"] > 0.9
    way = desk.service.live.way
    for each in found["passes"]:
        for east, north in each["line_m"]:
            near = min(
                (east - x) ** 2 + (north - y) ** 2
                for x, y in zip(way.east_m[: found["way_points"]], way.north_m[: found["way_points"]], strict=True)
            )
            assert near < 0.5**2, "where the live way passed, too"

    desk.ask("POST", "/api/jobs/1/buttons", {"kind": "finish"})
    assert desk.await_review(1)["state"] == "ready"
    review = desk.ask("GET", "/api/jobs/1/pairs").json()
    assert {(pair["pass_a"], pair["pass_b"], pair["verdict"]) for pair in review} == verdicts(found)
    assert judged(desk) == found, "the finished job's picture stays"


def test_the_command_gives_the_same_bytes_as_often_as_it_is_asked(desk, surveyed: Day, tmp_path: Path) -> None:
    begin(desk, surveyed)
    desk.take(surveyed.until(3)[1:])
    told = judged(desk)
    command = [sys.executable, "-m", "server", "strips", "--job", "1", "--database", str(tmp_path / "db.sqlite3")]
    first, second = (subprocess.run(command, capture_output=True, check=True).stdout for _ in range(2))
    assert first == second
    assert told is not None
    assert json.loads(first)["pairs"] == told["pairs"]


def test_a_job_or_store_that_is_not_there_is_told_in_one_line(desk, tmp_path: Path) -> None:
    here = tmp_path / "db.sqlite3"
    for words, complaint in (
        (("--job", "7", "--database", str(here)), "job 7"),
        (("--job", "1", "--database", "no"), "no such"),
    ):
        done = subprocess.run([sys.executable, "-m", "server", "strips", *words], capture_output=True, text=True)
        assert done.returncode == 1
        assert done.stderr.count("\n") == 1
        assert complaint in done.stderr


def test_a_receiver_that_cannot_tell_says_so(desk, poor: Day) -> None:
    begin(desk, poor)
    desk.take(poor.until(4)[1:])
    found = judged(desk)
    assert found is not None
    unsure = [pair for pair in found["pairs"] if pair["verdict"] == "unsure"]
    assert {(pair["pass_a"], pair["pass_b"]) for pair in unsure} == {(1, 2), (2, 3), (3, 4)}
    assert {pair["doubt"] for pair in unsure} == {"receiver"}
    assert min(pair["spacing_sd_m"] for pair in unsure) > 0.25
    # Near a turn two passes are seconds apart, where even this receiver may know; of most of their length it does not.
    length, doubtful = (sum(pair["to_m"] - pair["from_m"] for pair in pairs) for pairs in (found["pairs"], unsure))
    assert doubtful > 0.6 * length
    assert all((verdict == "gap") == ((a, b) == GAP) for a, b, verdict in verdicts(found) if verdict != "unsure")


def test_a_restart_brings_the_verdicts_back(open_desk, surveyed: Day) -> None:
    desk = open_desk()
    begin(desk, surveyed)
    desk.take(surveyed.until(4)[1:])
    before = judged(desk)
    assert before is not None
    desk.portal.call(desk.service.stop)
    again = open_desk()
    while again.service.is_reading:
        again.portal.call(asyncio.sleep, 0.01)
    found = judged(again)
    assert found is not None
    for name in ("as_of_utc", "passes", "pairs"):
        assert found[name] == before[name]
    again.take(surveyed.until(5)[len(surveyed.until(4)) :])
    after = judged(again)
    assert after is not None
    assert len(after["passes"]) == 5
    again.portal.call(again.service.stop)


def test_another_job_begins_without_the_strips_of_the_last(desk, surveyed: Day) -> None:
    begin(desk, surveyed)
    desk.take(surveyed.until(2)[1:])
    assert judged(desk) is not None
    desk.ask("POST", "/api/jobs/1/buttons", {"kind": "finish"})
    assert desk.ask("POST", "/api/jobs", {"name": "Next", "start": "now"}).status_code == 201
    assert judged(desk) is None


def test_other_settings_of_the_running_job_judge_its_strips_anew(desk, surveyed: Day) -> None:
    begin(desk, surveyed)
    desk.take(surveyed.until(3)[1:])
    assert "even" in {verdict for _, _, verdict in verdicts(judged(desk) or {})}
    setup = desk.ask("GET", "/api/setup").json()
    setup["sprayer"]["swath_m"] = 2.5
    assert desk.ask("PATCH", "/api/jobs/1", {"setup": setup}).status_code == 200
    assert {verdict for _, _, verdict in verdicts(judged(desk) or {})} == {"doubled"}


def test_a_pass_ends_with_a_turn_where_the_spray_stays_on() -> None:
    scenario = SCENARIOS["spray_on_turns"]
    world = build_world(scenario, 1)
    assert len(world.walk.triggers) == 1
    live = Live(setup_of(), now=lambda: 0.0)
    counts = []
    for at_s, message in record(world.feed, BOOT):
        if isinstance(message, wire.Position | wire.Flow):
            live.take(Fresh("rig-1", message, at_s, at_s))
            counts.append(live.way.passes_done)
    assert counts[-1] == scenario.plan.lines
    assert live.snapshot(MessagesPart()).passes_done == scenario.plan.lines


def setup_of() -> Setup:
    """Settings that only serve to look at the way."""
    return Setup(Sprayer(swath_m=1.0), FlowMeter(pulses_per_l=450.0), Treatment(target_l_per_m2=0.04))


PROGRAM = """
import json, sys
number = sys.argv[sys.argv.index("--job") + 1]
with open({seen!r}, "a") as seen:
    print("begin", number, file=seen)
with open({gate!r} + number) as gate:
    said = gate.read()
with open({seen!r}, "a") as seen:
    print("end", number, file=seen)
if said.startswith("fail"):
    sys.exit("the disk is " + said[5:])
plane = {{"lat0_deg": 45.0001, "lon0_deg": -30.0}}
passes = [{{"pass": int(number), "line_m": [[1, 2]]}}]
print(json.dumps({{"as_of_utc": None, "plane": plane, "pairs": [], "passes": passes}}))
"""


class Stage:
    """A program that waits at a gate, one for each job it is asked about, and the strips that ask it."""

    def __init__(self, folder: Path) -> None:
        self.gate, self.seen, script = folder / "gate", folder / "seen", folder / "program.py"
        for number in (1, 2, 3):
            os.mkfifo(f"{self.gate}{number}")
        self.seen.touch()
        script.write_text(PROGRAM.format(seen=str(self.seen), gate=str(self.gate)))
        self.changes = 0
        self.strips = Strips(
            folder / "db", flush=self._flush, on_change=self._note, program=(sys.executable, str(script))
        )

    async def _flush(self) -> None:
        """Nothing is waiting."""

    def _note(self) -> None:
        self.changes += 1

    def ask(self, job: int) -> None:
        """Ask for a job."""
        self.strips.request(Question(job, PLANE, 0))

    async def await_begin(self, job: int) -> None:
        """Wait until the program that judges a job stands before its gate."""
        self.hand = await asyncio.to_thread(Path(f"{self.gate}{job}").open, "w")

    async def play_one(self, job: int) -> None:
        """Let the program begin and answer, and wait for what comes of it."""
        await self.await_begin(job)
        self.let_go()
        await self.strips.settle()

    def let_go(self, word: str = "go") -> None:
        """Open the gate for it."""
        self.hand.write(word)
        self.hand.close()

    @property
    def log(self) -> str:
        """What the programs noted."""
        return self.seen.read_text()


def test_never_two_at_once_and_the_newest_question_counts(tmp_path: Path) -> None:
    stage = Stage(tmp_path)

    async def play() -> None:
        stage.ask(1)
        await stage.await_begin(1)
        stage.ask(2)
        stage.ask(3)
        stage.let_go()
        await stage.play_one(3)

    asyncio.run(play())
    assert stage.log.splitlines() == ["begin 1", "end 1", "begin 3", "end 3"]
    assert stage.changes == 2
    assert stage.strips.told is not None
    assert stage.strips.told["passes"][0]["pass"] == 3


def test_lines_are_moved_to_the_plane_of_the_live_picture(tmp_path: Path) -> None:
    stage = Stage(tmp_path)

    async def play() -> None:
        stage.ask(1)
        await stage.play_one(1)

    asyncio.run(play())
    # A degree of latitude at 45 degrees is 111.13 km long (WGS 84: any handbook of geodesy).
    assert stage.strips.told is not None
    assert stage.strips.told["passes"][0]["line_m"] == [[1.0, pytest.approx(13.11, abs=0.01)]]


def test_the_end_of_a_job_ends_the_program(tmp_path: Path) -> None:
    stage = Stage(tmp_path)

    async def play() -> None:
        stage.ask(1)
        await stage.await_begin(1)
        stage.ask(2)
        stage.strips.stop()
        await stage.strips.settle()
        stage.hand.close()
        assert stage.log == "begin 1\n"
        stage.ask(3)
        await stage.play_one(3)

    asyncio.run(play())
    assert stage.strips.told is not None
    assert stage.strips.told["passes"][0]["pass"] == 3
    assert stage.strips.fault is None


def test_a_program_that_fails_is_told_once_and_forgotten_when_it_works(tmp_path: Path, caplog) -> None:
    stage = Stage(tmp_path)
    faults = []

    async def play() -> None:
        for word in ("fail full", "fail full", "go"):
            stage.ask(1)
            await stage.await_begin(1)
            stage.let_go(word)
            await stage.strips.settle()
            faults.append(stage.strips.fault)

    asyncio.run(play())
    assert faults == ["The strips so far cannot be judged: the disk is full"] * 2 + [None]
    assert caplog.text.count("could not be judged") == 1
    assert stage.changes == 3


def test_a_page_gets_the_strips_once_and_again_when_they_change() -> None:
    live, page = Live(setup_of(), now=lambda: 0.0), Page()

    def told(strips: dict | None) -> list:
        events = fresh_events(live, {page}, page, lambda: live.snapshot(MessagesPart()), strips)
        return [content for name, content in events if name == "strips"]

    first = {"passes": []}
    assert [told(None), told(None), told(first), told(first), told(None)] == [[None], [], [first], [], [None]]
