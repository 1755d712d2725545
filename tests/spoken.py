"""What a service tells each second at the test's clock, and what of it is read out. A double, clearly."""

from collections.abc import Callable
from typing import Any

from lawnroom import EMPTY_ROOM, JOB, POSITION, WIND, Answers
from playwright.sync_api import Browser, Page

NOW = 1_795_809_600.0
LISTEN = """() => {
  const all = ':is([role="status"], [role="alert"], [role="log"], output, [aria-live]):not([aria-live="off"])';
  window.spoken = new Map();
  const note = (region) => {
    const found = spoken.get(region);
    if (found === undefined) spoken.set(region, {text: region.innerText, said: []});
    else if (found.text !== region.innerText) {
      found.text = region.innerText;
      found.said.push(region.innerText);
    }
  };
  document.querySelectorAll(all).forEach(note);
  new MutationObserver((changes) => {
    const nodes = changes.map(({target}) => (target.nodeType === 1 ? target : target.parentElement));
    const changed = new Set(nodes.map((node) => node?.closest(all)));
    for (const region of document.querySelectorAll(all)) if (changed.has(region) || !spoken.has(region)) note(region);
  }).observe(document.body, {subtree: true, childList: true, characterData: true, attributes: true});
}"""
HEARD = """() => [...spoken].map(([region, {said}]) => ({
  region: `${region.tagName}.${region.className}[${region.getAttribute('role') ?? 'live'}]`,
  isAlert: region.getAttribute('role') === 'alert', said}))"""
SPEAK = """
window.EventSource = class extends EventTarget {
  constructor() { super(); window.stream = this; this.readyState = 1; }
  close() {}
};
window.tell = (name, data) => window.stream.dispatchEvent(new MessageEvent(name, {data: JSON.stringify(data)}));"""
LIMIT_MPS = 3.0
CALM = {"level": "none", "reason": "", "since_utc": None}
STOP = {"level": "stop", "since_utc": NOW}


def picture(second: int, **more: Any) -> dict[str, Any]:
    """What a service would tell, its figures other ones each second."""
    wave = (second * 7) % 10 / 10.0
    wind = {**WIND, "true_mps": 1.4 + wave, "mean_60s_mps": 1.5 + wave / 2, "mean_2min_mps": 1.6 + wave / 2,
            "gust_3s_mps": 2.4 + wave, "true_sd_mps": 0.1, "limit_mps": LIMIT_MPS, "notice_mps": 2.4, "height_m": 2.0,
            "from_deg": 10.0 * second}  # fmt: skip
    return {
        **EMPTY_ROOM, "at_utc": NOW + second, "sequence": second, "job": JOB, "wind": wind, "alarm": CALM,
        "rig": {"name": "yard", "boot": "b", "link": "online", "age_s": wave, "spool_s": 0.0},
        "receiver": {"fix": "single", "sats": 9, "hdop": 0.9, "sd_m": 0.4, "rate_hz": 5.0},
        "position": {**POSITION, "east_m": 0.1 * second}, "speed_mps": 0.9 + wave / 5, "wanted_speed_mps": 1.0,
        "flow_l_per_min": 1.1 + wave / 9, "is_spraying": True, "rate_l_per_m2": 0.03 + wave / 50, "volume_l": 0.1,
        "rate_percent": 90.0 + 20.0 * wave, "tank_left_l": 15.0 - 0.1 * second, "covered_area_m2": 1.0 * second,
        "area_left_m2": 100.0 - second, "zone_area_m2": 100.0,
        "counts": {"flow_pulses": 30 * second, "flow_ago_s": 0.2, "flow_hz": 9.0 + wave, "cup_pulses": 9 * second,
                   "cup_ago_s": 0.1}, **more,
    }  # fmt: skip


def forecast(second: int, **more: Any) -> dict[str, Any]:
    """The outlook at a second."""
    need = {"minutes": 25, "origin": "chosen", "total_min": 24.3, "walk_min": 12.5, "turns_min": 3.8, "fills_min": 6.0,
            "passes": 28, "fills": 1, "area_m2": 750.0, "pace_mps": 1.0, "is_pace_known": False}  # fmt: skip
    return {
        "at_utc": NOW + second, "limit_mps": LIMIT_MPS, "height_m": 2.0, "state": "known", "sentence": "",
        "chance": 0.81, "low": 0.7, "high": 0.9, "days": 12.0, "mean_min": 1, "likely_min": 14.0, "minutes_known": 70,
        "minutes_wanted": 70, "need": need, "fault": None, "left_out": [],
        "record": {"sentence": "", "minutes": 30, "days": 12, "said": 40, "came_true": 33},
        "hours": {"minutes": 30, "days": 12, "usual": [], "next_utc": None, "next_share": None, "next_days": 12},
        "lull": {"is_open": False, "since_utc": None, "reason": ""},
        "inversion": {"is_likely": False, "sentence": "", "sun_deg": 31.0, "below_mps": 1.5},
        "recent": {"begin_utc": NOW - 1800, "mean_mps": [1.5] * 30, "gust_3s_mps": [2.5] * 30}, **more,
    }  # fmt: skip


def above(second: int) -> dict[str, Any]:
    """The wind above the limit, by another figure each second."""
    told = picture(second, job=None, is_spraying=False)
    told["wind"]["mean_60s_mps"] = LIMIT_MPS + 1.0 + (second * 7) % 10 / 10.0
    return told


def late(second: int) -> dict[str, Any] | None:
    """On a weak link a word comes only now and then."""
    return picture(second) if second % 5 == 0 else None


Told = Callable[[int], dict[str, Any] | None]
TOLD: dict[str, tuple[str, Told, Told]] = {
    "walking": ("lawn", picture, forecast),
    "what the rig kept": (
        "lawn",
        lambda second: picture(second, faults=[f"The rig still sends what it kept: what is shown is {second} s old."]),
        forecast,
    ),
    "a weak link": ("lawn", late, lambda _: None),
    "a stop": (
        "lawn",
        lambda second: picture(
            second, alarm={**STOP, "reason": f"The mean is {4 + second / 10:.1f} m/s."} if second > 8 else CALM
        ),
        lambda second: forecast(second, chance=second / 40),
    ),
    "before": ("start", lambda second: picture(second, job=None, is_spraying=False), forecast),
    "above": ("start", above, lambda second: forecast(second, state="above")),
    "at the edge": (
        "start",
        lambda second: picture(second, job=None, is_spraying=False),
        lambda second: forecast(second, chance=0.69 + 0.02 * (second % 2)),
    ),
    "the first time": ("first", lambda second: picture(second, job=None, is_spraying=False), forecast),
}


def open_room(browser: Browser, files: str, answers: Answers, place: str) -> Page:
    """A page on a phone that is told what the test says, at the test's clock."""
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.clock.install(time=NOW)
    page.add_init_script(SPEAK)
    page.on("pageerror", lambda error: answers.asked.append(("ERROR", str(error), None)))
    page.route("**/api/**", answers.answer)
    page.goto(f"{files}/#{place}")
    page.wait_for_function("() => window.stream !== undefined")
    return page


def tell(page: Page, answers: Answers, second: int, room: Told, outlook: Told) -> str:
    """A second of the service's words, and what is seen then; where it has none the link is broken."""
    answers.is_down = room(second) is None
    answers.known["live"] = room(second)
    seen: str = page.evaluate(
        """(words) => {
      for (const [name, told] of Object.entries(words)) if (told !== null) window.tell(name, told);
      return document.querySelector('main').innerText;
    }""",
        {"outlook": outlook(second), "snapshot": room(second)},
    )
    page.clock.run_for(1000)
    return seen
