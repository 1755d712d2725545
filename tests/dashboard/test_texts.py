"""What the pages say stands in one catalogue, and nothing else stands there."""

import re
from pathlib import Path

from scripts import Literal, is_speech, read_literals, strip_holes

PAGES = Path(__file__).resolve().parents[2] / "server" / "dashboard"
CATALOGUE = PAGES / "core" / "texts.js"
MODULES = [path for path in sorted(PAGES.rglob("*.js")) if path.name not in ("texts.js", "say.js")]
ENTRY = re.compile(r'^  "([a-z0-9_]+\.[a-z0-9_]+)":', re.MULTILINE)
SAID = re.compile(r'\bsay\(\s*(["`])([a-z0-9_]+\..*?)\1')
NAMES = {
    "ArrowLeft",
    "ArrowRight",
    "ArrowUp",
    "ArrowDown",
    "Enter",
    "Escape",
    "Home",
    "End",
    "Accept",
    "GET",
    "Content-Type",
}

# Modules whose texts are not in the catalogue yet.
UNMOVED = {
    "core/aftercare.js",
    "core/alarm.js",
    "core/card.js",
    "core/check.js",
    "core/cup.js",
    "core/feel.js",
    "core/figures.js",
    "core/fill.js",
    "core/footfall.js",
    "core/form.js",
    "core/format.js",
    "core/glove.js",
    "core/mend.js",
    "core/papers.js",
    "core/past.js",
    "core/readings.js",
    "core/record.js",
    "core/rope.js",
    "core/season.js",
    "core/shape.js",
    "core/shapewords.js",
    "core/start.js",
    "core/strips.js",
    "core/underfoot.js",
    "core/units.js",
    "draw/air.js",
    "draw/airpart.js",
    "draw/alarm.js",
    "draw/bring.js",
    "draw/buttons.js",
    "draw/calendar.js",
    "draw/calibrations.js",
    "draw/canvas.js",
    "draw/cardform.js",
    "draw/cards.js",
    "draw/checkforms.js",
    "draw/cornertable.js",
    "draw/edgewalk.js",
    "draw/fields.js",
    "draw/footfall.js",
    "draw/glove.js",
    "draw/jotting.js",
    "draw/lawn.js",
    "draw/mapping.js",
    "draw/matters.js",
    "draw/mixsheet.js",
    "draw/objections.js",
    "draw/recordforms.js",
    "draw/recordsheet.js",
    "draw/retention.js",
    "draw/rope.js",
    "draw/shapefile.js",
    "draw/shapemap.js",
    "draw/shapes.js",
    "draw/shapetools.js",
    "draw/sheetform.js",
    "draw/shelves.js",
    "draw/siteversions.js",
    "draw/soil.js",
    "draw/swap.js",
    "draw/tank.js",
    "draw/underfoot.js",
    "feed.js",
    "views/air.js",
    "views/check.js",
    "views/cup.js",
    "views/fill.js",
    "views/lawn.js",
    "views/mylawn.js",
    "views/papers.js",
    "views/record.js",
    "views/season.js",
    "views/setup.js",
    "views/start.js",
}


def list_speech(path: Path) -> list[str]:
    found = [each for each in read_literals(path.read_text()) if is_speech(each) and each.text not in NAMES]
    return [f"{path.relative_to(PAGES)}:{each.line}: {each.text}" for each in found]


def test_a_page_says_nothing_that_is_not_in_the_catalogue() -> None:
    outside = {path.relative_to(PAGES).as_posix() for path in MODULES if list_speech(path)}
    assert outside == UNMOVED


def test_each_text_is_said_somewhere_and_each_that_is_said_is_there() -> None:
    entries = ENTRY.findall(CATALOGUE.read_text())
    assert len(set(entries)) == len(entries)
    keys = {
        match[2] if match[1] == '"' else strip_holes(match[2])
        for path in MODULES
        for match in SAID.finditer(path.read_text())
    }
    patterns = [re.compile("[a-z0-9_]*".join(map(re.escape, key.split("\0")))) for key in keys]
    unsaid = [entry for entry in entries if not any(each.fullmatch(entry) for each in patterns)]
    unknown = [each.pattern for each in patterns if not any(each.fullmatch(entry) for entry in entries)]
    assert (unsaid, unknown) == ([], [])


def test_speech_is_told_from_code() -> None:
    source = """
    import { a } from "./draw/b c.js"; // "not this"
    element("p", { class: "small wide" }, "Wind now", `${x ? "too much" : "calm"} at ${y}`);
    say("lawn.go"); const name = "pass_l"; split(/"no \\/ this"/g); const word = 'stop.';
    """
    said = [each.text for each in read_literals(source) if is_speech(each)]
    assert said == ["Wind now", "too much", "stop."]
    assert is_speech(Literal(1, "setText(a, ", "${x} is not ${y}")) is True
