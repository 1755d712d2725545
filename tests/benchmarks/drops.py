"""A page behind a link that breaks for 1, 5, 20 and 120 s of real time: when it says so, when it is whole again.

Run: python tests/benchmarks/drops.py [SECONDS ...] (needs Mosquitto and Debian's Chromium; eight minutes).
Each span three ways: nothing passes and all is passed on afterwards; nothing passes and what was open stays mute for
ever; refused.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from playwright.sync_api import Page, sync_playwright
from programs import is_heard, run_command, start_service, wait_for
from weaklink import KEEP_STORE, LOOK, Walker, WeakLink, find_holes, watch_age

from firmware_sim.build import build_world
from firmware_sim.scenarios import SCENARIOS

PORT, HTTP = 24_102, 24_103
SPANS_S = (1.0, 5.0, 20.0, 120.0)
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run")


def measure(page: Page, link: WeakLink, walker: Walker, kind: str, span_s: float) -> str:
    """Break the link once; a line of what was seen."""
    (link.refuse if kind == "refused" else link.silence)()
    begun, told_s, faults = time.monotonic(), None, []
    while time.monotonic() - begun < span_s:
        faults += watch_age(page, walker, 0.2)
        if told_s is None and page.evaluate(LOOK)["old"]:
            told_s = time.monotonic() - begun
    (link.forget if kind == "mute afterwards" else link.mend)()
    begun = time.monotonic()
    wait_for(lambda: page.evaluate(LOOK)["old"] is False, "the page is current", 120.0)
    whole_s = time.monotonic() - begun
    faults += watch_age(page, walker, 2.0)
    told = "never" if told_s is None else f"after {told_s:.1f} s"
    return (
        f"{kind:16} {span_s:4.0f} s: told {told}, current again after {whole_s:.1f} s, "
        f"wrongly current {len(faults)} times"
    )


def main() -> None:
    """Measure and print."""
    spans = [float(word) for word in sys.argv[1:]] or SPANS_S
    folder = Path(tempfile.mkdtemp(prefix="drops"))
    run_command("firmware_sim", "log", "straight", "--out", str(folder / "scenario"), "--rig", "rig-1")
    broker = subprocess.Popen(["mosquitto", "-p", str(PORT)], stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    wait_for(lambda: is_heard(PORT), "the broker listens")
    service, http = start_service(folder, setup=folder / "scenario" / "setup.toml", broker_port=PORT, port=HTTP)
    try:
        walker = Walker(build_world(SCENARIOS["long_hour"], 1), PORT, rig="rig-1", pace=1.0)
        link = WeakLink(HTTP)
        walker.start()
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
            page = browser.new_page()
            page.add_init_script(KEEP_STORE)
            page.goto(f"http://127.0.0.1:{link.port}/#lawn")
            page.wait_for_function("() => window.known?.snapshot?.volume_l > 0.1", timeout=60_000)
            for span_s in spans:
                for kind in ("passed on", "mute afterwards", "refused"):
                    print(measure(page, link, walker, kind, span_s), flush=True)
            walker.stop()
            print("differs from what the service tells a new page:", find_holes(page, http.base) or "nothing")
            browser.close()
        link.close()
    finally:
        service.kill()
        broker.terminate()
        broker.wait()


if __name__ == "__main__":
    main()
