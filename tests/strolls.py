"""What every screen is asked: words, names, headings, sizes, contrast, width, and axe-core's rules."""

from dataclasses import dataclass
from itertools import product

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from screens import MEASURE, SIZES

SCREENS = {"phone": SIZES["phone"], "tablet": (820, 1180), "laptop": SIZES["laptop"]}
UNITS = ("l_per_100m2", "gal_per_1000ft2")
QUIET = "() => window.inFlight === 0 && document.querySelector('main h1') !== null"
COUNT_REQUESTS = """
window.inFlight = 0;
const ask = window.fetch;
window.fetch = (...words) => {
  window.inFlight += 1;
  return ask(...words).finally(() => setTimeout(() => { window.inFlight -= 1; }, 20));
};"""
PROBE = """() => {
  const seen = (node) => node.checkVisibility({checkVisibilityCSS: true});
  const texts = [document.body.innerText];
  for (const node of document.querySelectorAll('[aria-label], [title], [alt], [value]')) {
    if (!seen(node)) continue;
    texts.push(...['aria-label', 'title', 'alt', 'value'].map((name) => node.getAttribute(name) ?? ''));
  }
  const odd = texts.join('\\n').match(/.{0,30}(\\bNaN\\b|undefined|\\bnull\\b|Infinity|\\[object).{0,20}/g) ?? [];
  const heads = [...document.querySelectorAll('h1, h2, h3, h4, h5, h6')].filter(seen);
  const levels = heads.map((node) => Number(node.tagName[1]));
  const jumps = heads.filter((_, at) => at > 0 && levels[at] > levels[at - 1] + 1).map((node) => node.textContent);
  const nameOf = (node) => node.getAttribute('aria-label') || [...(node.labels ?? [])].map((each) => each.innerText).join()
    || (node.getAttribute('aria-labelledby') ?? '').split(' ').map((id) => document.getElementById(id)?.innerText).join('')
    || node.innerText || '';
  const controls = 'button, a[href], input, select, textarea, summary, canvas, [role="button"], [role="img"]';
  const nameless = [...document.querySelectorAll(controls)]
    .filter((node) => seen(node) && node.type !== 'hidden' && !node.closest('[aria-hidden="true"], [role="slider"][aria-label] canvas') && !nameOf(node).trim())
    .map((node) => node.outerHTML.slice(0, 90));
  const short = [];
  for (const node of document.querySelectorAll('textarea, summary, [role="button"], a[href]:not(p a, li a, td a, label a)')) {
    const box = node.getBoundingClientRect();
    if (seen(node) && box.width > 0 && box.right > 0 && (box.height < 47.5 || box.width < 47.5)) {
      short.push(`${node.tagName} ${node.textContent.slice(0, 30)} ${box.width.toFixed(0)}x${box.height.toFixed(0)}`);
    }
  }
  const firsts = levels.filter((level) => level === 1).length;
  return {odd, jumps, nameless, short, firsts, starts: levels[0] ?? 0, title: document.title};
}"""
RULES = """() => axe.run(document, {resultTypes: ['violations']}).then(({violations}) =>
  violations.flatMap(({id, nodes}) => nodes.map((node) => `${id}: ${node.target.join(' ')} ${node.html.slice(0, 90)}`)))"""
AXE = Axe().axe_script


@dataclass(frozen=True)
class Faults:
    """What was found wrong, each with where it was found."""

    found: list[str]

    def add(self, where: str, words: list[str]) -> None:
        """Keep each word once a place."""
        self.found.extend(f"{where}: {word}" for word in words)


def settle(page: Page) -> None:
    """Wait until nothing is asked for any more and what was answered has been drawn."""
    for _ in range(2):
        page.wait_for_function(QUIET, timeout=30_000)
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def judge(page: Page) -> list[str]:
    """What is wrong with the screen as it is now."""
    found = page.evaluate(MEASURE)
    words = [*(f"faint {each}" for each in found["faint"]), *(f"small {each}" for each in found["small"])]
    if found["wide"] > 0:
        words.append(f"{found['wide']} points too wide")
    told = page.evaluate(PROBE)
    for name in ("odd", "jumps", "nameless", "short"):
        words += [f"{name} {each}" for each in told[name]]
    if told["firsts"] != 1 or told["starts"] != 1:
        words.append(f"{told['firsts']} first headings, the first of level {told['starts']}")
    if not told["title"].endswith(" · calmpass"):
        words.append(f"title {told['title']}")
    return words


def ask_axe(page: Page) -> list[str]:
    """What axe-core's rules say against the screen as it is now."""
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(AXE)
    return [f"axe {each}" for each in page.evaluate(RULES)]


def stroll(page: Page, place: str, faults: Faults) -> None:
    """Judge a place by day and night, at each size, in each set of units, all folds open.

    axe-core is asked in half of them: at each size by day and by night, and in both sets of units.
    """
    for turn, (scheme, units, size) in enumerate(product(("light", "dark"), UNITS, SCREENS)):
        page.emulate_media(color_scheme=scheme)
        if page.locator("#units").count() and page.locator("#units").input_value() != units:
            page.locator("#units").evaluate("(node, name) => { node.value = name; node.dispatchEvent(new Event('change')); }", units)
        width, height = SCREENS[size]
        page.set_viewport_size({"width": width, "height": height})
        settle(page)
        page.evaluate("() => document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        is_asked = (turn // 6 + turn // 3 + turn % 3) % 2 == 0
        faults.add(f"{place} {size} {scheme} {units}", judge(page) + (ask_axe(page) if is_asked else []))
