"""The help page: its figures are those that were measured, and it can be read on a phone."""

import json
import re
import sys
from pathlib import Path

import pytest
from playwright.sync_api import Browser

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import mower
import receivers

PAGE = receivers.HELP / "index.html"


def test_the_tables_are_those_of_the_measured_runs() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert receivers.put_between(page, "table", receivers.write_table(receivers.read_runs(receivers.RUNS))) == page
    assert receivers.put_between(page, "mower", receivers.write_mower_table(receivers.MOWER)) == page


def test_what_the_pages_say_of_a_receiver_is_of_the_same_runs() -> None:
    assert receivers.TOLD.read_text(encoding="utf-8") == receivers.write_told(receivers.read_runs(receivers.RUNS))


def test_the_runs_are_enough_to_say_so() -> None:
    runs = receivers.read_runs(receivers.RUNS)
    assert {swath for _, swath in runs} == {0.5, 0.75, 1.0, 1.5, 2.0, 3.0}
    for klass in receivers.CLASSES:
        assert runs[klass, 1.0]["jobs"] >= 120
        assert runs[klass, 1.0]["counts"]["planned gap"] >= 250
        assert min(runs[klass, swath]["jobs"] for swath in (0.5, 0.75, 1.5, 2.0, 3.0)) >= 30


def test_what_the_page_says_in_words_is_so() -> None:
    page, runs = PAGE.read_text(encoding="utf-8"), receivers.read_runs(receivers.RUNS)
    assert "No strip can be told at a swath up to 1 m." in page
    assert max(receivers.share_of(runs["poor", swath], "gap") for swath in (0.5, 0.75, 1.0)) < 0.01
    assert f"five jobs a class at a swath of {mower.SWATH_M} m" in page
    assert f"more than {mower.MISSED} swaths" in page
    assert f"less than {mower.BESIDE}" in page
    for line in receivers.MOWER.read_text(encoding="utf-8").splitlines():
        first, last = json.loads(line)["seeds"]
        assert last - first + 1 == 5


def test_shares_are_counted_as_written() -> None:
    told = {"gap": 6, "unsure": 2, "even": 1, "doubled": 1}
    row = {"counts": {"planned gap": 10, **{f"planned gap: {word}": count for word, count in told.items()}}}
    assert [receivers.share_of(row, word) for word in receivers.VERDICTS] == [0.6, 0.2, 0.2]


def test_plots_are_drawn_anew_from_the_runs() -> None:
    runs = receivers.read_runs(receivers.RUNS)
    draws = {"strips": receivers.draw_strips, "spacings": receivers.draw_spacings}
    for scheme, look in receivers.LOOKS.items():
        for name, draw in draws.items():
            kept = (receivers.HELP / f"{name}-{scheme}.svg").read_text(encoding="utf-8")
            words = re.findall(r"<text[^>]*>([^<]*)</text>", kept)
            assert words == re.findall(r"<text[^>]*>([^<]*)</text>", receivers.save_svg(draw(runs, look)).decode())
            assert set(receivers.CLASSES.values()) <= set(words)


@pytest.mark.parametrize("width", [390, 1440])
def test_the_page_is_reached_and_read_at_any_width(browser: Browser, files: str, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844})
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(f"{files}/help/index.html")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("[...document.images].every((image) => image.complete && image.naturalWidth > 300)")
    heads = page.eval_on_selector_all("h1, h2", "all => all.map((head) => head.textContent)")
    assert heads[0] == "What the receiver can tell"
    assert "label" in page.inner_text("main")
    tall = page.eval_on_selector_all("#places a", "all => all.map((link) => link.getBoundingClientRect().height)")
    assert min(tall) >= 48
    assert said == []
    page.close()


def test_the_dashboard_links_to_the_help() -> None:
    assert '<a href="help/" data-place="help"></a>' in (receivers.HELP.parent / "index.html").read_text(
        encoding="utf-8"
    )
