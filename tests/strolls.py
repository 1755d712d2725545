"""What every screen is asked: words, names, headings, sizes, contrast, width, and axe-core's rules."""

from collections.abc import Callable, Sequence
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from screens import MEASURE, SIZES

SCREENS = {"phone": SIZES["phone"], "tablet": (820, 1180), "laptop": SIZES["laptop"]}
UNITS = ("l_per_100m2", "gal_per_1000ft2")
TEXTS = ("normal", "large", "largest", "largest", "normal", "large")  # a phone's and a laptop's largest among them
LOOKS: tuple[tuple[Any, str], ...] = tuple((scheme, size) for scheme in ("light", "dark") for size in SCREENS)
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
  const nameOf = (node) => [
    node.getAttribute('aria-label'), ...[...(node.labels ?? [])].map((each) => each.innerText), node.innerText,
    ...(node.getAttribute('aria-labelledby') ?? '').split(' ').map((id) => document.getElementById(id)?.innerText),
  ].join('').trim();
  const controls = 'button, a[href], input, select, textarea, summary, canvas, [role="button"], [role="img"]';
  const silent = '[aria-hidden="true"], [type="hidden"], [role="slider"][aria-label] canvas';
  const nameless = [...document.querySelectorAll(controls)]
    .filter((node) => seen(node) && !node.closest(silent) && nameOf(node) === '')
    .map((node) => node.outerHTML.slice(0, 90));
  // A link within a sentence is as high as its line; one that stands alone is a thing to press.
  const isInSentence = (node) => node.matches('p a, li a, td a, label a')
    && node.parentElement.textContent.trim() !== node.textContent.trim();
  const short = [];
  for (const node of document.querySelectorAll('textarea, summary, [role="button"], a[href]')) {
    const box = node.getBoundingClientRect();
    if (!seen(node) || isInSentence(node) || box.width === 0 || box.right < 0) continue;
    if (box.height < 47.5 || box.width < 47.5) {
      short.push(`${node.tagName} ${node.textContent.slice(0, 30)} ${box.width.toFixed(0)}x${box.height.toFixed(0)}`);
    }
  }
  // What is pressed shows all of its words.
  const cut = [...document.querySelectorAll('button, a[href], summary, th, legend')]
    .filter((node) => seen(node) && !node.closest('.unseen, .skip'))
    .filter(({clientWidth, scrollWidth}) => clientWidth > 0 && scrollWidth > clientWidth + 1)
    .map((node) => `${node.tagName} ${node.textContent.slice(0, 30)} ${node.scrollWidth}>${node.clientWidth}`);
  const firsts = levels.filter((level) => level === 1).length;
  return {odd, jumps, nameless, short, cut, firsts, starts: levels[0] ?? 0, title: document.title};
}"""
RULES = """async () => {
  const {violations} = await axe.run(document, {resultTypes: ['violations']});
  const tell = (id, {target, html}) => `${id}: ${target.join(' ')} ${html.slice(0, 90)}`;
  return violations.flatMap(({id, nodes}) => nodes.map((node) => tell(id, node)));
}"""
CHOOSE = """(choices) => {
  for (const [what, name] of Object.entries(choices)) {
    const select = document.getElementById(what);
    if (select === null) continue;
    select.value = name;
    select.dispatchEvent(new Event('change'));
  }
}"""
AXE = Axe().axe_script


def settle(page: Page) -> None:
    """Wait until nothing is asked for any more and what was answered has been drawn."""
    for _ in range(2):
        page.wait_for_function(QUIET, timeout=30_000)
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done, 0)))")


def judge(page: Page) -> list[str]:
    """What is wrong with the screen as it is now, by what is measured and by axe-core's rules."""
    found = page.evaluate(MEASURE)
    words = [*(f"faint {each}" for each in found["faint"]), *(f"small {each}" for each in found["small"])]
    if found["wide"] > 0:
        words.append(f"{found['wide']} points too wide")
    told = page.evaluate(PROBE)
    for name in ("odd", "jumps", "nameless", "short", "cut"):
        words += [f"{name} {each}" for each in told[name]]
    if told["firsts"] != 1 or told["starts"] != 1:
        words.append(f"{told['firsts']} first headings, the first of level {told['starts']}")
    if not told["title"].endswith(" · calmpass"):
        words.append(f"title {told['title']}")
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(AXE)
    return words + [f"axe {each}" for each in page.evaluate(RULES)]


def stroll(
    page: Page, place: str, *, looks: Sequence[int] = range(6), watch: Callable[[str], None] | None = None
) -> list[str]:
    """What is wrong with a place by day and by night at each size, all folds open.

    The units alternate, so that every size is seen in both sets, and both sets by day and by night; so does the
    size of the text, each screen having two of the three. `watch` is called at each look, before the folds open.
    """
    faults: list[str] = []
    for turn in looks:
        scheme, size = LOOKS[turn]
        units, text = UNITS[turn % 2], TEXTS[turn]
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        page.evaluate(CHOOSE, {"units": units, "text": text})
        width, height = SCREENS[size]
        page.set_viewport_size({"width": width, "height": height})
        settle(page)
        if watch is not None:
            watch(f"{size}_{scheme}")
        page.evaluate("() => document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        faults += [f"{place} {size} {scheme} {units} {text}: {word}" for word in judge(page)]
    return faults
