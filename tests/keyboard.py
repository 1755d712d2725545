"""A page gone through by its keys: where the focus is, whether it is seen and named, and what is never reached."""

from typing import Any

from playwright.sync_api import Page

PRESSED = "a[href], button, input, select, textarea, summary, [tabindex='0']"
PARTS = {"date": 3, "time": 3, "datetime-local": 6}
"""How often Tab stays within a field, at the most: on its day, month and so on, and the button for its calendar."""
MOST_STOPS = 400
READ = """() => {
  const node = document.activeElement;
  if (!node || node === document.body) return null;
  window.stops ??= new Map();
  if (!stops.has(node)) stops.set(node, stops.size);
  const style = getComputedStyle(node);
  const others = (node.getAttribute('aria-labelledby') ?? '').split(' ').map((id) => document.getElementById(id));
  const named = [...(node.labels ?? []), ...others, node].map((each) => each?.innerText);
  const name = [node.getAttribute('aria-label'), ...named].join(' ').trim();
  const faults = [];
  if (name === '') faults.push('nameless');
  // Seen: within the screen, and nothing lies on it. What is nearly as high as the screen shows a good part of itself.
  const isOn = (x, y) => {
    const on = x >= 0 && y >= 0 && x < innerWidth && y < innerHeight ? document.elementFromPoint(x, y) : null;
    return on !== null && (node.contains(on) || (node.labels ?? []).length > 0 && [...node.labels].includes(on));
  };
  for (const {left, top, right, bottom, width, height} of node.getClientRects()) {
    if (width === 0 || height === 0) continue;
    const [x, y] = [(left + right) / 2, (top + bottom) / 2];
    if (height > 0.6 * innerHeight) {
      const rows = Array.from({length: Math.floor(innerHeight / 10)}, (_, row) => 10 * row + 5);
      const seen = rows.filter((row) => row > top && row < bottom && isOn(x, row)).length;
      if (10 * seen < 0.4 * innerHeight) faults.push(`hidden: ${10 * seen} of ${height.toFixed(0)} points are seen`);
      continue;
    }
    const points = [[x, y], [left + 3, y], [right - 3, y], [x, top + 3], [x, bottom - 3]];
    const hidden = points.filter(([a, b]) => !isOn(a, b));
    if (hidden.length === 0) continue;
    const by = document.elementFromPoint(...hidden[0])?.outerHTML.slice(0, 40) ?? 'the edge';
    faults.push(`hidden at ${hidden.length} points, ${top.toFixed(0)} to ${bottom.toFixed(0)}, by ${by}`);
  }
  if (node.getClientRects().length === 0) faults.push('hidden: no box');
  const rgb = (text) => (text.match(/[\\d.]+/g) ?? []).map(Number);
  const light = ([r, g, b]) => {
    const part = (v) => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const ground = (at) => {
    for (; at; at = at.parentElement) {
      const colour = rgb(getComputedStyle(at).backgroundColor);
      if (colour.length === 3 || colour[3] > 0.99) return colour;
    }
    return [255, 255, 255];
  };
  const isRinged = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
  if (!isRinged) faults.push('no ring');
  else {
    const [a, b] = [light(rgb(style.outlineColor)), light(ground(node.parentElement))].sort((p, q) => q - p);
    if ((a + 0.05) / (b + 0.05) < 3) faults.push(`a faint ring ${((a + 0.05) / (b + 0.05)).toFixed(2)}`);
  }
  return {stop: stops.get(node), name: name.replace(/\\s+/g, ' '), tag: node.tagName, type: node.type ?? '', faults};
}"""
FRAMES = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
TOP = """() => {
  const start = document.createElement('span');
  start.tabIndex = -1;
  document.body.prepend(start);
  start.focus();
  start.remove(); // what comes next by Tab is what stood behind it
  window.stops = new Map();
}"""
MISSED = """(pressed) => [...document.querySelectorAll(pressed)].filter((node) => {
  const box = node.getBoundingClientRect();
  if (!node.checkVisibility({checkVisibilityCSS: true}) || box.width * box.height === 0 || node.disabled) return false;
  if (node.closest('[inert]') || window.stops?.has(node)) return false;
  // Of several to choose one from, Tab goes to the one that is chosen.
  return !(node.type === 'radio' && [...stops.keys()].some(({type, name}) => type === 'radio' && name === node.name));
}).map((node) => node.outerHTML.slice(0, 90))"""


class Hands:
    """Presses keys and nothing else, and notes what is wrong with each stop of the focus."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.faults: list[str] = []
        self.stops = 0

    def press(self, key: str, times: int = 1) -> None:
        """Press a key."""
        for _ in range(times):
            self.page.keyboard.press(key)

    def look(self) -> dict[str, Any] | None:
        """What has the focus, None for nothing; what is wrong with it is noted, unless a moment later all is well."""
        found: dict[str, Any] | None = self.page.evaluate(READ)
        if found is not None and found["faults"]:
            self.page.evaluate(FRAMES)  # the page may have grown just now
            found = self.page.evaluate(READ)
        if found is not None:
            place = self.page.url.partition("#")[2]
            self.faults += [f"#{place} {found['tag']} {found['name'][:40]!r}: {each}" for each in found["faults"]]
        return found

    def go_to_top(self) -> None:
        """Leave the focus with nothing, before all of the page, as when it was opened."""
        self.page.evaluate(TOP)

    def step(self, *, back: bool = False) -> dict[str, Any] | None:
        """The next stop, or the one before."""
        self.press("Shift+Tab" if back else "Tab")
        self.stops += 1
        return self.look()

    def reach(self, name: str, *, back: bool = False) -> dict[str, Any]:
        """Go on until something of that name has the focus."""
        passed: list[str] = []
        for _ in range(MOST_STOPS):
            found = self.step(back=back)
            if found is not None and name in found["name"]:
                return found
            passed.append("nothing" if found is None else found["name"][:20])
            if passed.count("nothing") > 1:
                break
        raise AssertionError(f"{name!r} is not reached from {self.page.url}, only {passed}")

    def go_through(self, *, back: bool = False) -> int:
        """From where nothing has the focus through all of the page and out again; gives how many stops there were."""
        seen: list[int] = []
        again = 0
        for _ in range(MOST_STOPS):
            found = self.step(back=back)
            if found is None:
                return len(seen)
            if len(seen) > 1 and found["stop"] == seen[0]:
                return len(seen)  # out of the page and in again
            again = again + 1 if seen[-1:] == [found["stop"]] else 0
            if again > PARTS.get(found["type"], 0) or (again == 0 and found["stop"] in seen):
                self.faults.append(f"{self.page.url} holds the focus at {found['tag']} {found['name'][:40]!r}")
                return len(seen)
            if again == 0:
                seen.append(found["stop"])
        self.faults.append(f"{self.page.url} has no end")
        return len(seen)

    def list_missed(self) -> list[str]:
        """What is seen and can be pressed, and was never reached."""
        missed: list[str] = self.page.evaluate(MISSED, PRESSED)
        return missed
