"""Four hours of 10 fixes a second on 100 x 100 m: what the open page and the review of it cost.

Run: python tests/benchmarks/hugejob.py [--hours 4] [--pace 20] [--size laptop] (needs Mosquitto and Debian's Chromium).
A page is open on the lawn while the job is fed: on a laptop the lawn from above, the strip underfoot and the steps are
all drawn. In the middle the feed slows down to the pace of walking for a minute, in which bytes are counted. Afterwards
the review is opened anew.
"""

import argparse
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from playwright.sync_api import CDPSession, Page, sync_playwright
from programs import Http, is_heard, start_service, wait_for
from sizes import resident_mb

from firmware_sim.bench import record
from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS, Scenario, plan_strips, strip_lawn
from firmware_sim.setup import save_setup
from rig import wire

PORT, HTTP = 24_100, 24_101
BOOT = "00000000000a11ce"
RIG = "huge"
STRIPS_FOR_FOUR_HOURS = 100
LENGTH_M = 100.0
PACE_MPS = 0.8
WATCH_S = 60.0
LONG_MS = 90.0
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run")
SIZES = {"phone": {"width": 390, "height": 844}, "laptop": {"width": 1440, "height": 900}}
WATCH_FRAMES = """
window.seen = {frames: 0, gaps: [], snapshots: 0, painted: 0, tasks: [], last: performance.now(),
  from: performance.now()};
const beat = (now) => {
  seen.gaps.push(now - seen.last);
  seen.last = now;
  seen.frames += 1;
  requestAnimationFrame(beat);
};
requestAnimationFrame(beat);
new PerformanceObserver((list) => seen.tasks.push(...list.getEntries().map((each) => [each.startTime, each.duration])))
  .observe({type: 'longtask', buffered: true});
const Source = window.EventSource;
window.EventSource = class extends Source {
  constructor(...words) {
    super(...words);
    this.addEventListener('snapshot', () => { seen.snapshots += 1; });
  }
};
const clear = CanvasRenderingContext2D.prototype.clearRect;
CanvasRenderingContext2D.prototype.clearRect = function (...words) {
  seen.painted += 1;
  return clear.apply(this, words);
};"""
TAKE_FRAMES = """() => {
  const {frames, snapshots, painted, gaps, tasks, from} = seen;
  const sorted = [...gaps].sort((a, b) => a - b);
  const found = {span_s: (performance.now() - from) / 1000, frames, snapshots, painted, worst_ms: sorted.at(-1) ?? 0,
    p99_ms: sorted[Math.floor(sorted.length * 0.99)] ?? 0, busy_ms: tasks.reduce((sum, [, span]) => sum + span, 0)};
  const now = performance.now();
  Object.assign(seen, {frames: 0, snapshots: 0, painted: 0, gaps: [], tasks: [], from: now, last: now});
  return found;
}"""
PICK = """() => new Promise((done) => {
  const begun = performance.now();
  const button = [...document.querySelectorAll('button.pick')].at(-1);
  const shown = () => requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun), 0));
  button.addEventListener('click', shown);
  button.scrollIntoView();
  button.click();
})"""
SHOWN = "() => document.querySelector('button.pick') !== null && document.querySelector('.report canvas') !== null"
LOADED = """() => performance.getEntriesByType('resource').filter(({name}) => name.includes('/api/'))
  .map((each) => [each.name.split('/api/')[1], each.transferSize, each.decodedBodySize, each.responseEnd])"""


def make_scenario(hours: float) -> Scenario:
    """A lawn of 100 m length and as many strips as the hours take, the tank filled every tenth strip."""
    lines = max(2, round(STRIPS_FOR_FOUR_HOURS * hours / 4.0))
    plan = plan_strips(lines, pace_mps=PACE_MPS, refill_after=tuple(range(9, lines - 1, 10)))
    about = "Hours of work on a large lawn."
    return replace(SCENARIOS["long_hour"], name="huge", about=about, lawn=strip_lawn(lines, LENGTH_M), plan=plan)


def write_messages(hours: float, folder: Path) -> list[tuple[float, str, bytes]]:
    """All messages of the job with when each is due; the settings are written beside."""
    world = build_world(make_scenario(hours), 1, receiver_class="fixed", rate_hz=10.0)
    save_setup(world.scenario, world.receiver.latency_s, folder)
    return [
        (at_s, wire.topic_of(RIG, wire.stream_of(message)), wire.encode(message))
        for at_s, message in record(world.feed, BOOT)
    ]


class Feeder:
    """Publishes what is due from a process of its own, at a pace that can be changed between spans of the job."""

    def __init__(self, messages: list[tuple[float, str, bytes]]) -> None:
        self._messages = messages
        self._next = 0

    def feed(self, until_s: float, pace: float) -> int:
        """Begin to feed up to a time of the job; tells the process to wait for."""
        first, self._next = self._next, next(
            (k for k in range(self._next, len(self._messages)) if self._messages[k][0] > until_s), len(self._messages)
        )  # fmt: skip
        child = os.fork()
        if child:
            return child
        try:
            publish(self._messages[first : self._next], pace)
        finally:
            os._exit(0)


def publish(messages: list[tuple[float, str, bytes]], pace: float) -> None:
    """Publish in time, waiting for the broker where it lags."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", PORT)
    client.loop_start()
    begun, first_s, sent = time.monotonic(), messages[0][0], []
    for at_s, topic, payload in messages:
        wait = begun + (at_s - first_s) / pace - time.monotonic()
        if wait > 0.0:
            time.sleep(wait)
        sent.append(client.publish(topic, payload, 1))
        if len(sent) > 500:
            sent.pop(0).wait_for_publish()
    for each in sent:
        each.wait_for_publish()
    client.loop_stop()


def count_sent() -> int:
    """Bytes that the service has sent over its open connections, of which the stream is the one that matters."""
    told = subprocess.run(["ss", "-tinH", f"sport = :{HTTP}"], capture_output=True, text=True, check=True).stdout
    return max((int(count) for count in re.findall(r"bytes_sent:(\d+)", told)), default=0)


def measure_heap(session: CDPSession) -> float:
    """Megabytes that the page's script holds after garbage collection, with its typed arrays."""
    session.send("HeapProfiler.enable")
    session.send("HeapProfiler.collectGarbage")
    found = session.send("Runtime.getHeapUsage")
    return float(found["usedSize"] + found.get("backingStorageSize", 0.0)) / 1e6


def measure_renderers() -> float:
    """Megabytes of memory that the browser's drawing processes hold."""
    return sum(resident_mb(pid) for pid in find_renderers())


def find_renderers() -> Iterator[int]:
    """The processes of this program's Chromium that draw pages."""
    parents: dict[int, int] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
    for pid in parents:
        with suppress(OSError):
            if b"--type=renderer" in Path(f"/proc/{pid}/cmdline").read_bytes() and os.getpid() in list_forebears(
                parents, pid
            ):
                yield pid


def list_forebears(parents: dict[int, int], pid: int) -> list[int]:
    """The processes that a process comes from."""
    found = []
    while pid in parents:
        pid = parents[pid]
        found.append(pid)
    return found


def wait_while(child: int, page: Page, report: Any) -> None:
    """Let the page live until a feeding process has ended."""
    told = time.monotonic()
    while os.waitpid(child, os.WNOHANG) == (0, 0):
        page.wait_for_timeout(250)
        if time.monotonic() - told > 60.0:
            told = time.monotonic()
            report()


def tell_frames(page: Page, what: str) -> None:
    """Print the frames since this was last asked."""
    seen = page.evaluate(TAKE_FRAMES)
    span = seen["span_s"]
    print(
        f"  {what}: {seen['frames'] / span:.1f} frames/s, longest gap {seen['worst_ms']:.0f} ms, 99 % below "
        f"{seen['p99_ms']:.0f} ms; pictures told {seen['snapshots'] / span:.1f}/s, "
        f"canvases drawn {seen['painted'] / span:.1f}/s; "
        f"long tasks {seen['busy_ms'] / span / 10:.1f} % of the time",
        flush=True,
    )


def measure_live(
    page: Page, session: CDPSession, messages: list[tuple[float, str, bytes]], pace: float, pid: int
) -> None:
    """Feed the whole job while the page is open."""
    feeder, end_s = Feeder(messages), messages[-1][0]

    def report() -> None:
        tell_frames(page, f"service {resident_mb(pid):.0f} MB, heap {measure_heap(session):.1f} MB")

    wait_while(feeder.feed(60.0, min(pace, 20.0)), page, report)
    first, first_mb = measure_heap(session), measure_renderers()
    tell_frames(page, "first minute")
    middle_s = end_s / 2
    wait_while(feeder.feed(middle_s, pace), page, report)
    page.wait_for_timeout(2000)
    tell_frames(page, "up to the middle")
    before = count_sent()
    wait_while(feeder.feed(middle_s + WATCH_S, 1.0), page, lambda: None)
    tell_frames(page, "a minute at walking pace")
    print(f"  sent to the page in that minute: {(count_sent() - before) / 1e6:.3f} MB", flush=True)
    before, begun = count_sent(), time.monotonic()
    wait_while(feeder.feed(end_s, pace), page, report)
    minutes, span = (end_s - middle_s - WATCH_S) / 60.0, (time.monotonic() - begun) / 60.0
    sent = (count_sent() - before) / 1e6
    print(f"  afterwards a minute of the job {sent / minutes:.3f} MB, of the clock {sent / span:.3f} MB", flush=True)
    page.wait_for_timeout(2000)
    last, last_mb = measure_heap(session), measure_renderers()
    print(
        f"  heap {first:.1f} -> {last:.1f} MB, grown by {last - first:.1f}; "
        f"drawing processes {first_mb:.0f} -> {last_mb:.0f} MB"
    )
    print(f"  service resident {resident_mb(pid):.0f} MB, at most {resident_mb(pid, 'VmHWM'):.0f} MB", flush=True)


def measure_reopen(page: Page, address: str) -> None:
    """A page that opens late gets all of it at once."""
    begun = time.monotonic()
    page.goto(f"{address}/#lawn")
    page.reload()
    page.wait_for_function("() => seen.snapshots > 0 && seen.painted > 2")
    print(f"page opened late: first drawn after {time.monotonic() - begun:.2f} s", flush=True)


def measure_review(page: Page, address: str, size: str) -> None:
    """Open *What it got* in a page of its own and choose the last pass."""
    begun = time.monotonic()
    page.goto(f"{address}/#got/1")
    page.wait_for_function(SHOWN, polling=20, timeout=120_000)
    shown = time.monotonic() - begun
    picked_ms = page.evaluate(PICK)
    ready = time.monotonic() - begun
    page.wait_for_timeout(4000)
    tasks = page.evaluate("seen.tasks")
    print(
        f"review, {size}: table after {shown:.2f} s, last pass chosen and drawn after {ready:.2f} s "
        f"(choosing took {picked_ms:.0f} ms)"
    )
    long = [f"{at / 1e3:.2f} s: {span:.0f} ms" for at, span in tasks if span > LONG_MS]
    print("  long tasks: " + ", ".join(long))
    again_ms = page.evaluate(PICK)
    print(f"  choosing once more took {again_ms:.0f} ms")
    for name, sent, read, at_ms in page.evaluate(LOADED):
        if read > 50_000:
            print(f"  {name}: {sent / 1e6:.2f} MB sent, {read / 1e6:.2f} MB read, there after {at_ms / 1e3:.2f} s")


def await_review(http: Http, pid: int) -> None:
    """Wait for the review that begins with the end of the job."""
    begun = time.monotonic()
    wait_for(lambda: http.ask("/api/jobs")[0]["state"] == "finished", "the job is finished")
    wait_for(lambda: http.ask("/api/jobs/1/review").get("state") in ("ready", "failed"), "the review", 900.0)
    print(
        f"review computed: {time.monotonic() - begun:.1f} s, service at most {resident_mb(pid, 'VmHWM'):.0f} MB",
        flush=True,
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=4.0)
    parser.add_argument("--pace", type=float, default=20.0)
    parser.add_argument("--size", choices=SIZES, default="laptop")
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="huge"))
    messages = write_messages(asked.hours, folder)
    print(f"{len(messages)} messages, {messages[-1][0] / 3600:.2f} h, fed at {asked.pace:.0f} times", flush=True)
    broker = subprocess.Popen(["mosquitto", "-p", str(PORT)], stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    wait_for(lambda: is_heard(PORT), "the broker listens")
    service, http = start_service(folder, setup=folder / "setup.toml", broker_port=PORT, port=HTTP)
    try:
        assert service.child is not None
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
            page = browser.new_context(viewport=SIZES[asked.size]).new_page()
            page.add_init_script(WATCH_FRAMES)
            page.goto(f"{http.base}/#lawn")
            page.wait_for_function("() => seen.snapshots > 0")
            measure_live(page, page.context.new_cdp_session(page), messages, asked.pace, service.child.pid)
            measure_reopen(page, http.base)
            page.close()
            await_review(http, service.child.pid)
            for size, viewport in SIZES.items():
                page = browser.new_context(viewport=viewport).new_page()
                page.add_init_script(WATCH_FRAMES)
                measure_review(page, http.base, size)
                page.close()
            browser.close()
    finally:
        service.kill()
        broker.send_signal(signal.SIGTERM)
        broker.wait()
        print(f"kept in {folder}")


if __name__ == "__main__":
    main()
