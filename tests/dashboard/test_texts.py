"""What the pages say stands in one catalogue, and nothing else stands there."""

import re
from pathlib import Path

from scripts import Literal, is_speech, read_keys, read_literals, strip_holes

PAGES = Path(__file__).resolve().parents[2] / "server" / "dashboard"
CATALOGUE = PAGES / "core" / "texts.js"
MODULES = [path for path in sorted(PAGES.rglob("*.js")) if path.name not in ("texts.js", "say.js")]
ENTRY = re.compile(r'^  "([a-z0-9_]+\.[a-z0-9_]+)":', re.MULTILINE)
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
    "fl oz",
}


def list_speech(path: Path) -> list[str]:
    found = [each for each in read_literals(path.read_text()) if is_speech(each) and each.text not in NAMES]
    return [f"{path.relative_to(PAGES)}:{each.line}: {each.text}" for each in found]


def test_a_page_says_nothing_that_is_not_in_the_catalogue() -> None:
    outside = {path.relative_to(PAGES).as_posix() for path in MODULES if list_speech(path)}
    assert outside == set()


def test_each_text_is_said_somewhere_and_each_that_is_said_is_there() -> None:
    entries = ENTRY.findall(CATALOGUE.read_text())
    assert len(set(entries)) == len(entries)
    keys = {key for path in MODULES for key in read_keys(path.read_text())}
    patterns = [re.compile("[a-z0-9_]*".join(map(re.escape, key.split("\0")))) for key in keys]
    unsaid = [entry for entry in entries if not any(each.fullmatch(entry) for each in patterns)]
    unknown = [each.pattern for each in patterns if not any(each.fullmatch(entry) for entry in entries)]
    assert (unsaid, unknown) == ([], [])


def test_speech_is_told_from_code() -> None:
    source = """
    import { a } from "./draw/b c.js"; // "not this"
    element("p", { class: "small wide" }, "Wind now", `${x ? "too much" : "calm"} at ${y}`);
    say("lawn.go"); const name = "pass_l"; split(/"no \\/ this"/g); const word = 'stop.';
    const marks = { "too slow": "Faster" }; if (what === "a strong mix") go();
    """
    said = [strip_holes(each.text) for each in read_literals(source) if is_speech(each)]
    assert said == ["Wind now", "\0 at \0", "too much", "calm", "stop.", "Faster"]
    assert is_speech(Literal(1, "setText(a, ", "${x} is not ${y}")) is True


def test_a_single_word_and_a_part_of_a_sentence_are_speech_where_they_are_shown() -> None:
    source = """
    element("b", { class: "low" }, isNow ? "today" : "later"); option("", "none", true); const side = "left";
    tell(`${length} to the ${x > 0 ? "right" : "near"} side`); write(`, for ${span}`); write(`${n} new`);
    element("a", { id: "b", "aria-describedby": `${id}-hint ${id}-wrong`, role: "row" }, `/jobs/${x ? "rest" : "all"}`);
    """
    said = [strip_holes(each.text) for each in read_literals(source) if is_speech(each)]
    assert said == ["today", "later", "none", "\0 to the \0 side", "right", "near", ", for \0", "\0 new"]


def test_keys_are_found_in_choices_and_templates() -> None:
    source = 'say("lawn.go", { n: f("not.this") }); say(a.b(1) ? "lawn.on" : "lawn.off"); say(`lawn.${x}_far`)'
    assert list(read_keys(source)) == ["lawn.go", "lawn.on", "lawn.off", "lawn.\0_far"]
